"""Questions kept on a device, and answers given there without signal."""

import sqlalchemy as sa
from alembic import op

revision = "20261126_device"
down_revision = "20261125_parts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("practice_set", schema=None) as batch_op:
        batch_op.add_column(sa.Column("for_device", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.add_column(sa.Column("offline", sa.Boolean(), nullable=False, server_default=sa.false()))
        batch_op.add_column(sa.Column("device_outcome", sa.Text(), nullable=True))
        batch_op.create_check_constraint(
            op.f("ck_answer_device_outcome_word"), "device_outcome IN ('full', 'part', 'miss', 'pass')"
        )


def downgrade() -> None:
    # Before this a device's questions are a set like others: one that is over, for nobody to go on with.
    op.execute("UPDATE practice_set SET ended_at = started_at WHERE for_device AND ended_at IS NULL")
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("ck_answer_device_outcome_word"), type_="check")
        batch_op.drop_column("device_outcome")
        batch_op.drop_column("offline")
    with op.batch_alter_table("practice_set", schema=None) as batch_op:
        batch_op.drop_column("for_device")

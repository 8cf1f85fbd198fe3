"""A person's last check, from which the month of the next is reckoned, and what they were asked at checks."""

import sqlalchemy as sa
from alembic import op

from quizsvc.store import types

revision = "20261126_checks"
down_revision = "20261126_desk"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "last_check",
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("taken_on", sa.Date(), nullable=False),
        sa.Column("interval_months", sa.Integer(), nullable=False),
        sa.Column("counts_in", sa.Date(), nullable=False),
        sa.CheckConstraint("interval_months IN (6, 12, 24)", name=op.f("ck_last_check_interval_known")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_last_check_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_last_check")),
    )
    op.create_table(
        "check_debrief",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("taken_on", sa.Date(), nullable=False),
        sa.Column("concepts", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("told_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_check_debrief_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_debrief")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("check_debrief", schema=None) as batch_op:
        batch_op.create_index("uq_check_debrief_person_id_taken_on", ["person_id", "taken_on"], unique=True)


def downgrade() -> None:
    op.drop_table("check_debrief")
    op.drop_table("last_check")

"""Parts of a scenario: questions that belong to one chain."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_parts"
down_revision = "20261125_first"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.add_column(sa.Column("part", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("chain", sa.Text(), nullable=True))
        batch_op.create_check_constraint(op.f("ck_question_part_in_chain"), "(part IS NULL) = (chain IS NULL)")
        batch_op.create_index("ix_question_chain", ["chain"], unique=False)


def downgrade() -> None:
    # Parts cannot be shown without their scenario's words: their questions go, with the answers to them.
    op.execute("DELETE FROM question WHERE chain IS NOT NULL")
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.drop_index("ix_question_chain")
        batch_op.drop_constraint(op.f("ck_question_part_in_chain"), type_="check")
        batch_op.drop_column("chain")
        batch_op.drop_column("part")

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
    # SQLite migrates without enforcing foreign keys, so what hangs on them is taken away here and not by CASCADE.
    parts = "(SELECT id FROM question WHERE chain IS NOT NULL)"
    op.execute(f"DELETE FROM grade WHERE answer_id IN (SELECT id FROM answer WHERE question_id IN {parts})")
    op.execute(f"DELETE FROM answer WHERE question_id IN {parts}")
    op.execute(f"UPDATE squawk SET question_id = NULL WHERE question_id IN {parts}")
    op.execute(f"UPDATE question SET repeat_of = NULL WHERE repeat_of IN {parts}")
    op.execute("DELETE FROM question WHERE chain IS NOT NULL")
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.drop_index("ix_question_chain")
        batch_op.drop_constraint(op.f("ck_question_part_in_chain"), type_="check")
        batch_op.drop_column("chain")
        batch_op.drop_column("part")

"""The history of a text at the bank desk, its text in use beside a changed one, and withdrawing it there."""

import sqlalchemy as sa
from alembic import op

from quizsvc.store import types

revision = "20261126_desk"
down_revision = "20261126_school"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("desk_item", schema=None) as batch_op:
        batch_op.add_column(sa.Column("live_text", sa.Text(), nullable=True))
        batch_op.drop_constraint(op.f("ck_desk_item_state_word"), type_="check")
        batch_op.create_check_constraint(
            op.f("ck_desk_item_state_word"), "state IN ('draft', 'read', 'live', 'withdrawn')"
        )
    # Of a text that has been changed since it was put into use, the one in use was kept nowhere as it was written.
    op.execute("UPDATE desk_item SET live_text = text WHERE state = 'live'")
    op.create_table(
        "desk_step",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "what IN ('sent back', 'read', 'put into use', 'taken over', 'withdrawn', 'made a draft again', "
            "'changes dropped')",
            name=op.f("ck_desk_step_what_word"),
        ),
        sa.ForeignKeyConstraint(["by"], ["person.id"], name=op.f("fk_desk_step_by_person"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["item_id"], ["desk_item.id"], name=op.f("fk_desk_step_item_id_desk_item"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_desk_step")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("desk_step", schema=None) as batch_op:
        batch_op.create_index("ix_desk_step_item_id", ["item_id"], unique=False)
        batch_op.create_index("ix_desk_step_by", ["by"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("desk_step", schema=None) as batch_op:
        batch_op.drop_index("ix_desk_step_by")
        batch_op.drop_index("ix_desk_step_item_id")
    op.drop_table("desk_step")
    # The older code knows no withdrawn text at the desk. As a draft it is read again before anybody is asked it.
    op.execute("UPDATE desk_item SET state = 'draft', read_by = NULL, read_at = NULL WHERE state = 'withdrawn'")
    with op.batch_alter_table("desk_item", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("ck_desk_item_state_word"), type_="check")
        batch_op.create_check_constraint(op.f("ck_desk_item_state_word"), "state IN ('draft', 'read', 'live')")
        batch_op.drop_column("live_text")

"""The school: groups, assignments and work on them, looks, produced files, a school's own items."""

import sqlalchemy as sa
from alembic import op

from quizsvc.store import types

revision = "20261126_school"
down_revision = "20261126_device"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calendar_feed",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("revoked_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_calendar_feed_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendar_feed")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("calendar_feed", schema=None) as batch_op:
        batch_op.create_index("ix_calendar_feed_person_id", ["person_id"], unique=False)
        batch_op.create_index("uq_calendar_feed_secret_hash", ["secret_hash"], unique=True)

    op.create_table(
        "desk_item",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("author_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("read_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("changed_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("read_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint("(state = 'draft') = (read_by IS NULL)", name=op.f("ck_desk_item_read_by_somebody")),
        sa.CheckConstraint("state IN ('draft', 'read', 'live')", name=op.f("ck_desk_item_state_word")),
        sa.CheckConstraint("read_by <> author_id", name=op.f("ck_desk_item_read_by_another")),
        sa.ForeignKeyConstraint(["author_id"], ["person.id"], name=op.f("fk_desk_item_author_id_person")),
        sa.ForeignKeyConstraint(["read_by"], ["person.id"], name=op.f("fk_desk_item_read_by_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_desk_item")),
    )
    with op.batch_alter_table("desk_item", schema=None) as batch_op:
        batch_op.create_index("ix_desk_item_author_id", ["author_id"], unique=False)
        batch_op.create_index("ix_desk_item_read_by", ["read_by"], unique=False)

    op.create_table(
        "handbook_revision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("sections", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("items", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_handbook_revision_made_by_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_handbook_revision")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("handbook_revision", schema=None) as batch_op:
        batch_op.create_index("ix_handbook_revision_made_by", ["made_by"], unique=False)

    op.create_table(
        "look",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("looked_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["looked_by"], ["person.id"], name=op.f("fk_look_looked_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_look_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_look")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("look", schema=None) as batch_op:
        batch_op.create_index("ix_look_looked_by", ["looked_by"], unique=False)
        batch_op.create_index("ix_look_person_id_at", ["person_id", "at"], unique=False)

    op.create_table(
        "notice",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("path", sa.Text(), nullable=True),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("seen_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_notice_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.create_index("ix_notice_person_id_at", ["person_id", "at"], unique=False)

    op.create_table(
        "produced_file",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint("length(id) = 32", name=op.f("ck_produced_file_id_length")),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_produced_file_sha256_length")),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_produced_file_made_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_produced_file_person_id_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_produced_file")),
    )
    with op.batch_alter_table("produced_file", schema=None) as batch_op:
        batch_op.create_index("ix_produced_file_made_by", ["made_by"], unique=False)
        batch_op.create_index("ix_produced_file_person_id", ["person_id"], unique=False)

    op.create_table(
        "school_group",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("starts_on", sa.Date(), nullable=True),
        sa.Column("ends_on", sa.Date(), nullable=True),
        sa.Column("aircraft", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "(starts_on IS NULL) = (ends_on IS NULL)", name=op.f("ck_school_group_intake_has_both_days")
        ),
        sa.CheckConstraint("ends_on >= starts_on", name=op.f("ck_school_group_intake_days_in_order")),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_school_group_made_by_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_school_group")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("school_group", schema=None) as batch_op:
        batch_op.create_index("ix_school_group_made_by", ["made_by"], unique=False)
        batch_op.create_index("uq_school_group_name_key", ["name_key"], unique=True)

    op.create_table(
        "sharing",
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("practice_to_instructors", sa.Boolean(), nullable=False),
        sa.Column("expectation_to_head", sa.Boolean(), nullable=False),
        sa.Column("changed_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sharing_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_sharing")),
    )
    op.create_table(
        "assignment",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("group_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("numbers", sa.Text(), nullable=False),
        sa.Column("feedback", sa.Text(), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("sitting_minutes", sa.Integer(), nullable=True),
        sa.Column("opens_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("closes_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("late_until_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("changed_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("released_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("released_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("summary", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("summed_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint("(state = 'draft') = (released_at IS NULL)", name=op.f("ck_assignment_released_with_time")),
        sa.CheckConstraint(
            "feedback IN ('straight away', 'with the mark', 'after closing')", name=op.f("ck_assignment_feedback_word")
        ),
        sa.CheckConstraint("numbers IN ('own', 'common')", name=op.f("ck_assignment_numbers_word")),
        sa.CheckConstraint("state IN ('draft', 'released', 'taken back')", name=op.f("ck_assignment_state_word")),
        sa.CheckConstraint("closes_at > opens_at", name=op.f("ck_assignment_closes_after_opening")),
        sa.CheckConstraint("late_until_at >= closes_at", name=op.f("ck_assignment_late_after_closing")),
        sa.CheckConstraint("sitting_minutes BETWEEN 1 AND 480", name=op.f("ck_assignment_sitting_minutes_range")),
        sa.CheckConstraint("tries BETWEEN 1 AND 10", name=op.f("ck_assignment_tries_range")),
        sa.ForeignKeyConstraint(
            ["group_id"], ["school_group.id"], name=op.f("fk_assignment_group_id_school_group"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_assignment_made_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["released_by"], ["person.id"], name=op.f("fk_assignment_released_by_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_assignment")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("assignment", schema=None) as batch_op:
        batch_op.create_index("ix_assignment_group_id_closes_at", ["group_id", "closes_at"], unique=False)
        batch_op.create_index("ix_assignment_made_by", ["made_by"], unique=False)
        batch_op.create_index("ix_assignment_released_by", ["released_by"], unique=False)

    op.create_table(
        "join_code",
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("group_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("made_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("expires_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("ended_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint("length(code) = 8", name=op.f("ck_join_code_code_length")),
        sa.ForeignKeyConstraint(
            ["group_id"], ["school_group.id"], name=op.f("fk_join_code_group_id_school_group"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_join_code_made_by_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_join_code")),
    )
    with op.batch_alter_table("join_code", schema=None) as batch_op:
        batch_op.create_index("ix_join_code_group_id", ["group_id"], unique=False)
        batch_op.create_index("ix_join_code_made_by", ["made_by"], unique=False)

    op.create_table(
        "membership",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("group_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("asked_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("joined_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("left_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("decided_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.CheckConstraint("part IN ('student', 'instructor')", name=op.f("ck_membership_part_word")),
        sa.CheckConstraint("state IN ('waiting', 'in', 'refused', 'left')", name=op.f("ck_membership_state_word")),
        sa.ForeignKeyConstraint(
            ["decided_by"], ["person.id"], name=op.f("fk_membership_decided_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["group_id"], ["school_group.id"], name=op.f("fk_membership_group_id_school_group"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_membership_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_membership")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("membership", schema=None) as batch_op:
        batch_op.create_index("ix_membership_decided_by", ["decided_by"], unique=False)
        batch_op.create_index("ix_membership_person_id", ["person_id"], unique=False)
        batch_op.create_index(
            "uq_membership_group_id_person_id_now",
            ["group_id", "person_id"],
            unique=True,
            sqlite_where=sa.text("state IN ('waiting', 'in')"),
            postgresql_where=sa.text("state IN ('waiting', 'in')"),
        )

    op.create_table(
        "roll_entry",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("group_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("imported_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["group_id"], ["school_group.id"], name=op.f("fk_roll_entry_group_id_school_group"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_roll_entry_person_id_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_roll_entry")),
        sa.UniqueConstraint("group_id", "name_key", name=op.f("uq_roll_entry_group_id_name_key")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("roll_entry", schema=None) as batch_op:
        batch_op.create_index("ix_roll_entry_person_id", ["person_id"], unique=False)

    op.create_table(
        "allowance",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("assignment_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("until_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("taken_back", sa.Boolean(), nullable=False),
        sa.Column("given_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("given_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "(what = 'extension') = (until_at IS NOT NULL)", name=op.f("ck_allowance_extension_with_time")
        ),
        sa.CheckConstraint("what IN ('extension', 'excused')", name=op.f("ck_allowance_what_word")),
        sa.ForeignKeyConstraint(
            ["assignment_id"], ["assignment.id"], name=op.f("fk_allowance_assignment_id_assignment"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["given_by"], ["person.id"], name=op.f("fk_allowance_given_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_allowance_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_allowance")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("allowance", schema=None) as batch_op:
        batch_op.create_index("ix_allowance_assignment_id_person_id", ["assignment_id", "person_id"], unique=False)
        batch_op.create_index("ix_allowance_given_by", ["given_by"], unique=False)
        batch_op.create_index("ix_allowance_person_id", ["person_id"], unique=False)

    op.create_table(
        "assignment_place",
        sa.Column("assignment_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Text(), nullable=False),
        sa.Column("revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.CheckConstraint("position > 0", name=op.f("ck_assignment_place_position_positive")),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignment.id"],
            name=op.f("fk_assignment_place_assignment_id_assignment"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_assignment_place_item_id_item")),
        sa.ForeignKeyConstraint(
            ["revision_id"], ["revision.id"], name=op.f("fk_assignment_place_revision_id_revision")
        ),
        sa.PrimaryKeyConstraint("assignment_id", "position", name=op.f("pk_assignment_place")),
    )
    with op.batch_alter_table("assignment_place", schema=None) as batch_op:
        batch_op.create_index("ix_assignment_place_item_id", ["item_id"], unique=False)
        batch_op.create_index("ix_assignment_place_revision_id", ["revision_id"], unique=False)

    op.create_table(
        "common_draw",
        sa.Column("assignment_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("drafts", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["assignment_id"],
            ["assignment.id"],
            name=op.f("fk_common_draw_assignment_id_assignment"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("assignment_id", "position", "number", name=op.f("pk_common_draw")),
    )
    op.create_table(
        "work",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("assignment_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("drawn_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("begun_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("ends_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("handed_in_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("device_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("late", sa.Boolean(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=True),
        sa.Column("released_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint("(handed_in_at IS NULL) = (content_hash IS NULL)", name=op.f("ck_work_handed_in_with_hash")),
        sa.CheckConstraint(
            "handed_in_at IS NULL OR begun_at IS NOT NULL", name=op.f("ck_work_begun_before_handing_in")
        ),
        sa.CheckConstraint("length(id) = 32", name=op.f("ck_work_id_length")),
        sa.CheckConstraint("number > 0", name=op.f("ck_work_number_positive")),
        sa.ForeignKeyConstraint(
            ["assignment_id"], ["assignment.id"], name=op.f("fk_work_assignment_id_assignment"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_work_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work")),
        sa.UniqueConstraint(
            "assignment_id", "person_id", "number", name=op.f("uq_work_assignment_id_person_id_number")
        ),
    )
    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.create_index("ix_work_person_id", ["person_id"], unique=False)

    op.create_table(
        "draft_response",
        sa.Column("question_id", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("raw", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("sureness", sa.Text(), nullable=True),
        sa.Column("given_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("saved_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["question_id"], ["question.id"], name=op.f("fk_draft_response_question_id_question"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("question_id", name=op.f("pk_draft_response")),
    )
    op.create_table(
        "squawk_step",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("squawk_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "status IN ('open', 'deferred', 'fixed', 'no fault found')", name=op.f("ck_squawk_step_status_word")
        ),
        sa.ForeignKeyConstraint(["by"], ["person.id"], name=op.f("fk_squawk_step_by_person"), ondelete="SET NULL"),
        sa.ForeignKeyConstraint(
            ["squawk_id"], ["squawk.id"], name=op.f("fk_squawk_step_squawk_id_squawk"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_squawk_step")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("squawk_step", schema=None) as batch_op:
        batch_op.create_index("ix_squawk_step_by", ["by"], unique=False)
        batch_op.create_index("ix_squawk_step_squawk_id", ["squawk_id"], unique=False)

    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.add_column(sa.Column("homework_only", sa.Boolean(), server_default=sa.false(), nullable=False))
        batch_op.drop_constraint(op.f("ck_item_withdrawn_by_word"), type_="check")
        batch_op.create_check_constraint(
            op.f("ck_item_withdrawn_by_word"), "withdrawn_by IN ('bank', 'squawk', 'handbook')"
        )
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.add_column(sa.Column("work_id", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("place", sa.Integer(), nullable=True))
        batch_op.add_column(sa.Column("sealed", sa.Boolean(), server_default=sa.false(), nullable=False))
        batch_op.alter_column("set_id", existing_type=sa.TEXT(), nullable=True)
        batch_op.create_unique_constraint(op.f("uq_question_work_id_position"), ["work_id", "position"])
        batch_op.create_foreign_key(op.f("fk_question_work_id_work"), "work", ["work_id"], ["id"], ondelete="CASCADE")
        batch_op.create_check_constraint(op.f("ck_question_of_set_or_work"), "(set_id IS NULL) = (work_id IS NOT NULL)")
        batch_op.create_check_constraint(op.f("ck_question_work_with_place"), "(work_id IS NULL) = (place IS NULL)")
        batch_op.create_check_constraint(op.f("ck_question_only_work_is_sealed"), "work_id IS NOT NULL OR NOT sealed")


def downgrade() -> None:
    # The older code knows no homework: its questions go, with the answers to them and the grades of these.
    # SQLite migrates without enforcing foreign keys, so what hangs on them is taken away here and not by CASCADE.
    homework = "(SELECT id FROM question WHERE work_id IS NOT NULL)"
    op.execute(f"DELETE FROM grade WHERE answer_id IN (SELECT id FROM answer WHERE question_id IN {homework})")
    op.execute(f"DELETE FROM answer WHERE question_id IN {homework}")
    op.execute(f"UPDATE squawk SET question_id = NULL WHERE question_id IN {homework}")
    op.execute(f"UPDATE question SET repeat_of = NULL WHERE repeat_of IN {homework}")
    op.execute(f"DELETE FROM draft_response WHERE question_id IN {homework}")
    op.execute("DELETE FROM question WHERE work_id IS NOT NULL")
    # Nor does it know items that practice must not ask, or a handbook that withdraws.
    op.execute("UPDATE item SET status = 'draft' WHERE homework_only")
    op.execute("UPDATE item SET withdrawn_by = 'squawk' WHERE withdrawn_by = 'handbook'")
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("ck_question_only_work_is_sealed"), type_="check")
        batch_op.drop_constraint(op.f("ck_question_work_with_place"), type_="check")
        batch_op.drop_constraint(op.f("ck_question_of_set_or_work"), type_="check")
        batch_op.drop_constraint(op.f("fk_question_work_id_work"), type_="foreignkey")
        batch_op.drop_constraint(op.f("uq_question_work_id_position"), type_="unique")
        batch_op.alter_column("set_id", existing_type=sa.TEXT(), nullable=False)
        batch_op.drop_column("sealed")
        batch_op.drop_column("place")
        batch_op.drop_column("work_id")
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.drop_constraint(op.f("ck_item_withdrawn_by_word"), type_="check")
        batch_op.create_check_constraint(op.f("ck_item_withdrawn_by_word"), "withdrawn_by IN ('bank', 'squawk')")
        batch_op.drop_column("homework_only")
    with op.batch_alter_table("squawk_step", schema=None) as batch_op:
        batch_op.drop_index("ix_squawk_step_squawk_id")
        batch_op.drop_index("ix_squawk_step_by")

    op.drop_table("squawk_step")
    op.drop_table("draft_response")
    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.drop_index("ix_work_person_id")

    op.drop_table("work")
    op.drop_table("common_draw")
    with op.batch_alter_table("assignment_place", schema=None) as batch_op:
        batch_op.drop_index("ix_assignment_place_revision_id")
        batch_op.drop_index("ix_assignment_place_item_id")

    op.drop_table("assignment_place")
    with op.batch_alter_table("allowance", schema=None) as batch_op:
        batch_op.drop_index("ix_allowance_person_id")
        batch_op.drop_index("ix_allowance_given_by")
        batch_op.drop_index("ix_allowance_assignment_id_person_id")

    op.drop_table("allowance")
    with op.batch_alter_table("roll_entry", schema=None) as batch_op:
        batch_op.drop_index("ix_roll_entry_person_id")

    op.drop_table("roll_entry")
    with op.batch_alter_table("membership", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_membership_group_id_person_id_now",
            sqlite_where=sa.text("state IN ('waiting', 'in')"),
            postgresql_where=sa.text("state IN ('waiting', 'in')"),
        )
        batch_op.drop_index("ix_membership_person_id")
        batch_op.drop_index("ix_membership_decided_by")

    op.drop_table("membership")
    with op.batch_alter_table("join_code", schema=None) as batch_op:
        batch_op.drop_index("ix_join_code_made_by")
        batch_op.drop_index("ix_join_code_group_id")

    op.drop_table("join_code")
    with op.batch_alter_table("assignment", schema=None) as batch_op:
        batch_op.drop_index("ix_assignment_released_by")
        batch_op.drop_index("ix_assignment_made_by")
        batch_op.drop_index("ix_assignment_group_id_closes_at")

    op.drop_table("assignment")
    op.drop_table("sharing")
    with op.batch_alter_table("school_group", schema=None) as batch_op:
        batch_op.drop_index("uq_school_group_name_key")
        batch_op.drop_index("ix_school_group_made_by")

    op.drop_table("school_group")
    with op.batch_alter_table("produced_file", schema=None) as batch_op:
        batch_op.drop_index("ix_produced_file_person_id")
        batch_op.drop_index("ix_produced_file_made_by")

    op.drop_table("produced_file")
    with op.batch_alter_table("notice", schema=None) as batch_op:
        batch_op.drop_index("ix_notice_person_id_at")

    op.drop_table("notice")
    with op.batch_alter_table("look", schema=None) as batch_op:
        batch_op.drop_index("ix_look_person_id_at")
        batch_op.drop_index("ix_look_looked_by")

    op.drop_table("look")
    with op.batch_alter_table("handbook_revision", schema=None) as batch_op:
        batch_op.drop_index("ix_handbook_revision_made_by")

    op.drop_table("handbook_revision")
    with op.batch_alter_table("desk_item", schema=None) as batch_op:
        batch_op.drop_index("ix_desk_item_read_by")
        batch_op.drop_index("ix_desk_item_author_id")

    op.drop_table("desk_item")
    with op.batch_alter_table("calendar_feed", schema=None) as batch_op:
        batch_op.drop_index("uq_calendar_feed_secret_hash")
        batch_op.drop_index("ix_calendar_feed_person_id")

    op.drop_table("calendar_feed")

"""The first tables: people, bank, practice."""

import sqlalchemy as sa
from alembic import op

from quizsvc.store import types

revision = "20261125_first"
down_revision = None
branch_labels = None
depends_on = None

KIND = "kind IN ('one', 'some', 'order', 'match', 'number', 'gauge', 'profile', 'still-works', 'scenario', 'say')"
ROLE = "role IN ('pilot', 'instructor', 'head of training', 'item author', 'reviewer', 'keeper')"


def upgrade() -> None:
    op.create_table(
        "aircraft",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_aircraft")),
    )
    op.create_table(
        "aircraft_text",
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("hash", name=op.f("pk_aircraft_text")),
    )
    op.create_table(
        "bank_load",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("loaded_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("new", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("unchanged", sa.Integer(), nullable=False),
        sa.Column("withdrawn", sa.Integer(), nullable=False),
        sa.Column("content_hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bank_load")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "caution",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("where_owed", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_caution")),
    )
    op.create_table(
        "concept",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("system", sa.Text(), nullable=False),
        sa.Column("handbook", sa.Text(), nullable=True),
        sa.Column("what", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("first", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("consequence", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.CheckConstraint("consequence BETWEEN 1 AND 3", name=op.f("ck_concept_consequence_range")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_concept")),
    )
    op.create_table(
        "handbook_section",
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("folder", "id", name=op.f("pk_handbook_section")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("name_key", sa.Text(), nullable=True),
        sa.Column("password_hash", sa.Text(), nullable=True),
        sa.Column("aircraft", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("check_date", sa.Date(), nullable=True),
        sa.Column("minutes_a_day", sa.Integer(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("experience", sa.Text(), nullable=False),
        sa.Column("created_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("last_seen_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "experience IN ('never trained', 'in training', 'rated')", name=op.f("ck_person_experience_word")
        ),
        sa.CheckConstraint("(name IS NULL) = (name_key IS NULL)", name=op.f("ck_person_name_with_key")),
        sa.CheckConstraint("minutes_a_day BETWEEN 1 AND 240", name=op.f("ck_person_minutes_a_day_range")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.create_index("ix_person_last_seen_at", ["last_seen_at"], unique=False)
        batch_op.create_index("uq_person_name_key", ["name_key"], unique=True)

    op.create_table(
        "sign_in_failure",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_failure")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("sign_in_failure", schema=None) as batch_op:
        batch_op.create_index("ix_sign_in_failure_address_at", ["address", "at"], unique=False)
        batch_op.create_index("ix_sign_in_failure_name_key_at", ["name_key", "at"], unique=False)

    op.create_table(
        "weights",
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("body", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("accepted_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_weights")),
    )
    op.create_table(
        "acknowledgement",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("caution_id", sa.Text(), nullable=False),
        sa.Column("text_hash", sa.Text(), nullable=False),
        sa.Column("at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_acknowledgement_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_acknowledgement")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("acknowledgement", schema=None) as batch_op:
        batch_op.create_index(
            "ix_acknowledgement_person_id_caution_id_at", ["person_id", "caution_id", "at"], unique=False
        )

    op.create_table(
        "concept_state",
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("concept_id", sa.Text(), nullable=False),
        sa.Column("state", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["concept_id"], ["concept.id"], name=op.f("fk_concept_state_concept_id_concept")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_concept_state_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("person_id", "concept_id", name=op.f("pk_concept_state")),
    )
    op.create_table(
        "device_session",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("token_hash", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("claim_from", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("created_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("last_seen_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["claim_from"], ["person.id"], name=op.f("fk_device_session_claim_from_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_device_session_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device_session")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("device_session", schema=None) as batch_op:
        batch_op.create_index("ix_device_session_claim_from", ["claim_from"], unique=False)
        batch_op.create_index("ix_device_session_person_id", ["person_id"], unique=False)
        batch_op.create_index("uq_device_session_token_hash", ["token_hash"], unique=True)

    op.create_table(
        "item",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("concept_id", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("withdrawn_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("withdrawn_by", sa.Text(), nullable=True),
        sa.CheckConstraint("status IN ('draft', 'read', 'live', 'withdrawn')", name=op.f("ck_item_status_word")),
        sa.CheckConstraint("withdrawn_by IN ('bank', 'squawk')", name=op.f("ck_item_withdrawn_by_word")),
        sa.CheckConstraint("(withdrawn_at IS NULL) = (withdrawn_by IS NULL)", name=op.f("ck_item_withdrawn_by_whom")),
        sa.ForeignKeyConstraint(["concept_id"], ["concept.id"], name=op.f("fk_item_concept_id_concept")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_item")),
    )
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.create_index("ix_item_concept_id", ["concept_id"], unique=False)
        batch_op.create_index("ix_item_source", ["source"], unique=False)

    op.create_table(
        "learner",
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("state", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("newest_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("version", sa.BigInteger(), nullable=False),
        sa.Column("weights_version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_learner_person_id_person"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["weights_version"], ["weights.version"], name=op.f("fk_learner_weights_version_weights")
        ),
        sa.PrimaryKeyConstraint("person_id", name=op.f("pk_learner")),
    )
    op.create_table(
        "one_time_link",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("secret_hash", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("made_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("created_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("expires_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("used_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_one_time_link_made_by_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_one_time_link_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_one_time_link")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("one_time_link", schema=None) as batch_op:
        batch_op.create_index("ix_one_time_link_made_by", ["made_by"], unique=False)
        batch_op.create_index("ix_one_time_link_person_id", ["person_id"], unique=False)
        batch_op.create_index("uq_one_time_link_secret_hash", ["secret_hash"], unique=True)

    op.create_table(
        "person_alias",
        sa.Column("old_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=False, nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("claimed_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("answers", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_person_alias_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("old_id", name=op.f("pk_person_alias")),
    )
    with op.batch_alter_table("person_alias", schema=None) as batch_op:
        batch_op.create_index("ix_person_alias_person_id", ["person_id"], unique=False)

    op.create_table(
        "person_role",
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.CheckConstraint(ROLE, name=op.f("ck_person_role_role_word")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_person_role_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("person_id", "role", name=op.f("pk_person_role")),
    )
    op.create_table(
        "practice_set",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("long", sa.Boolean(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("started_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("ended_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("repeats_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint("length(id) = 32", name=op.f("ck_practice_set_id_length")),
        sa.CheckConstraint("minutes BETWEEN 1 AND 240", name=op.f("ck_practice_set_minutes_range")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_practice_set_person_id_person"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_set")),
    )
    with op.batch_alter_table("practice_set", schema=None) as batch_op:
        batch_op.create_index("ix_practice_set_person_id_started_at", ["person_id", "started_at"], unique=False)

    op.create_table(
        "revision",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("concept_id", sa.Text(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.Column("ramp", sa.Boolean(), nullable=False),
        sa.Column("generated", sa.Boolean(), nullable=False),
        sa.Column("handbook", sa.Text(), nullable=True),
        sa.Column("aircraft_hash", sa.Text(), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("loaded_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.CheckConstraint(KIND, name=op.f("ck_revision_kind_word")),
        sa.CheckConstraint("seconds > 0", name=op.f("ck_revision_seconds_positive")),
        sa.ForeignKeyConstraint(
            ["aircraft_hash"], ["aircraft_text.hash"], name=op.f("fk_revision_aircraft_hash_aircraft_text")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_revision_item_id_item")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sa.UniqueConstraint("item_id", "hash", name=op.f("uq_revision_item_id_hash")),
        sa.UniqueConstraint("item_id", "number", name=op.f("uq_revision_item_id_number")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "question",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("set_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Text(), nullable=False),
        sa.Column("revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("concept_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("drawn", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("option_order", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("record", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("draw_key", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("repeat_of", sa.Text(), nullable=True),
        sa.Column("offline", sa.Boolean(), nullable=False),
        sa.Column("issued_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(KIND, name=op.f("ck_question_kind_word")),
        sa.CheckConstraint("length(id) = 32", name=op.f("ck_question_id_length")),
        sa.ForeignKeyConstraint(["concept_id"], ["concept.id"], name=op.f("fk_question_concept_id_concept")),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_question_item_id_item")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_question_person_id_person"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["repeat_of"], ["question.id"], name=op.f("fk_question_repeat_of_question"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_question_revision_id_revision")),
        sa.ForeignKeyConstraint(
            ["set_id"], ["practice_set.id"], name=op.f("fk_question_set_id_practice_set"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_question")),
        sa.UniqueConstraint("set_id", "position", name=op.f("uq_question_set_id_position")),
    )
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.create_index("ix_question_issued_at", ["issued_at"], unique=False)
        batch_op.create_index("ix_question_person_id_draw_key", ["person_id", "draw_key"], unique=False)
        batch_op.create_index(
            "ix_question_person_id_item_id_issued_at", ["person_id", "item_id", "issued_at"], unique=False
        )
        batch_op.create_index("ix_question_repeat_of", ["repeat_of"], unique=False)
        batch_op.create_index("ix_question_revision_id", ["revision_id"], unique=False)

    op.create_table(
        "answer",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("uuid", sa.Text(), nullable=False),
        sa.Column("question_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("again", sa.Boolean(), nullable=False),
        sa.Column("raw", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("response", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("sureness", sa.Text(), nullable=True),
        sa.Column("given_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("sent_at", types.UtcDateTime(timezone=True), nullable=True),
        sa.Column("received_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("effective_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("local_day", sa.Integer(), nullable=False),
        sa.CheckConstraint("sureness IN ('sure', 'think', 'guess')", name=op.f("ck_answer_sureness_word")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_answer_person_id_person"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["question_id"], ["question.id"], name=op.f("fk_answer_question_id_question"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_answer")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.create_index("ix_answer_person_id_effective_at_id", ["person_id", "effective_at", "id"], unique=False)
        batch_op.create_index("ix_answer_question_id", ["question_id"], unique=False)
        batch_op.create_index(
            "uq_answer_question_id_first",
            ["question_id"],
            unique=True,
            sqlite_where=sa.text("again = 0"),
            postgresql_where=sa.text("NOT again"),
        )
        batch_op.create_index("uq_answer_uuid", ["uuid"], unique=True)

    op.create_table(
        "squawk",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("item_id", sa.Text(), nullable=False),
        sa.Column("revision_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("question_id", sa.Text(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("status", sa.Text(), nullable=False),
        sa.Column("withdrew", sa.Boolean(), nullable=False),
        sa.Column("raised_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "status IN ('open', 'deferred', 'fixed', 'no fault found')", name=op.f("ck_squawk_status_word")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_squawk_item_id_item")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_squawk_person_id_person"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(
            ["question_id"], ["question.id"], name=op.f("fk_squawk_question_id_question"), ondelete="SET NULL"
        ),
        sa.ForeignKeyConstraint(["revision_id"], ["revision.id"], name=op.f("fk_squawk_revision_id_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_squawk")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("squawk", schema=None) as batch_op:
        batch_op.create_index("ix_squawk_item_id_revision_id", ["item_id", "revision_id"], unique=False)
        batch_op.create_index("ix_squawk_person_id", ["person_id"], unique=False)
        batch_op.create_index("ix_squawk_question_id", ["question_id"], unique=False)

    op.create_table(
        "grade",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("answer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("credit", sa.Float(), nullable=False),
        sa.Column("void_reason", sa.Text(), nullable=True),
        sa.Column("trap", sa.Text(), nullable=True),
        sa.Column("belief", sa.Text(), nullable=True),
        sa.Column("remark", sa.Text(), nullable=True),
        sa.Column("read_back", sa.Text(), nullable=True),
        sa.Column("marks", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("graded_at", types.UtcDateTime(timezone=True), nullable=False),
        sa.Column("graded_by", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.CheckConstraint("(outcome = 'void') = (void_reason IS NOT NULL)", name=op.f("ck_grade_void_with_reason")),
        sa.CheckConstraint("outcome IN ('full', 'part', 'miss', 'pass', 'void')", name=op.f("ck_grade_outcome_word")),
        sa.CheckConstraint("credit BETWEEN 0 AND 1", name=op.f("ck_grade_credit_range")),
        sa.ForeignKeyConstraint(
            ["answer_id"], ["answer.id"], name=op.f("fk_grade_answer_id_answer"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["graded_by"], ["person.id"], name=op.f("fk_grade_graded_by_person"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_grade")),
        sa.UniqueConstraint("answer_id", "number", name=op.f("uq_grade_answer_id_number")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("grade", schema=None) as batch_op:
        batch_op.create_index("ix_grade_graded_by", ["graded_by"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("grade", schema=None) as batch_op:
        batch_op.drop_index("ix_grade_graded_by")

    op.drop_table("grade")
    with op.batch_alter_table("squawk", schema=None) as batch_op:
        batch_op.drop_index("ix_squawk_question_id")
        batch_op.drop_index("ix_squawk_person_id")
        batch_op.drop_index("ix_squawk_item_id_revision_id")

    op.drop_table("squawk")
    with op.batch_alter_table("answer", schema=None) as batch_op:
        batch_op.drop_index("uq_answer_uuid")
        batch_op.drop_index(
            "uq_answer_question_id_first", sqlite_where=sa.text("again = 0"), postgresql_where=sa.text("NOT again")
        )
        batch_op.drop_index("ix_answer_question_id")
        batch_op.drop_index("ix_answer_person_id_effective_at_id")

    op.drop_table("answer")
    with op.batch_alter_table("question", schema=None) as batch_op:
        batch_op.drop_index("ix_question_revision_id")
        batch_op.drop_index("ix_question_repeat_of")
        batch_op.drop_index("ix_question_person_id_item_id_issued_at")
        batch_op.drop_index("ix_question_person_id_draw_key")
        batch_op.drop_index("ix_question_issued_at")

    op.drop_table("question")
    op.drop_table("revision")
    with op.batch_alter_table("practice_set", schema=None) as batch_op:
        batch_op.drop_index("ix_practice_set_person_id_started_at")

    op.drop_table("practice_set")
    op.drop_table("person_role")
    with op.batch_alter_table("person_alias", schema=None) as batch_op:
        batch_op.drop_index("ix_person_alias_person_id")

    op.drop_table("person_alias")
    with op.batch_alter_table("one_time_link", schema=None) as batch_op:
        batch_op.drop_index("uq_one_time_link_secret_hash")
        batch_op.drop_index("ix_one_time_link_person_id")
        batch_op.drop_index("ix_one_time_link_made_by")

    op.drop_table("one_time_link")
    op.drop_table("learner")
    with op.batch_alter_table("item", schema=None) as batch_op:
        batch_op.drop_index("ix_item_source")
        batch_op.drop_index("ix_item_concept_id")

    op.drop_table("item")
    with op.batch_alter_table("device_session", schema=None) as batch_op:
        batch_op.drop_index("uq_device_session_token_hash")
        batch_op.drop_index("ix_device_session_person_id")
        batch_op.drop_index("ix_device_session_claim_from")

    op.drop_table("device_session")
    op.drop_table("concept_state")
    with op.batch_alter_table("acknowledgement", schema=None) as batch_op:
        batch_op.drop_index("ix_acknowledgement_person_id_caution_id_at")

    op.drop_table("acknowledgement")
    op.drop_table("weights")
    with op.batch_alter_table("sign_in_failure", schema=None) as batch_op:
        batch_op.drop_index("ix_sign_in_failure_name_key_at")
        batch_op.drop_index("ix_sign_in_failure_address_at")

    op.drop_table("sign_in_failure")
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.drop_index("uq_person_name_key")
        batch_op.drop_index("ix_person_last_seen_at")

    op.drop_table("person")
    op.drop_table("handbook_section")
    op.drop_table("concept")
    op.drop_table("caution")
    op.drop_table("bank_load")
    op.drop_table("aircraft_text")
    op.drop_table("aircraft")

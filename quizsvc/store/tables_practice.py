"""Practice: sets, questions, answers and grades (append-only), the learner's memory, squawks, weights."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Float,
    ForeignKey,
    Index,
    Integer,
    Text,
    UniqueConstraint,
    false,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from quizsvc.store.tables_bank import KINDS
from quizsvc.store.tables_base import Base, hex_id, one_of
from quizsvc.store.types import Json, RowId, UtcDateTime

OUTCOMES = ("full", "part", "miss", "pass", "void")
SURENESS = ("sure", "think", "guess")
SQUAWK_STATUSES = ("open", "deferred", "fixed", "no fault found")


class PracticeSet(Base):
    """A set: what was planned in one go for one person."""

    __tablename__ = "practice_set"
    __table_args__ = (
        hex_id(),
        CheckConstraint("minutes BETWEEN 1 AND 240", name="minutes_range"),
        Index("ix_practice_set_person_id_started_at", "person_id", "started_at"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    long: Mapped[bool] = mapped_column(Boolean)
    minutes: Mapped[int] = mapped_column(Integer)
    started_at: Mapped[datetime] = mapped_column(UtcDateTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    repeats_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    # Written for a device to keep: asked there in pieces, so it is never gone on with here, nor ended.
    for_device: Mapped[bool] = mapped_column(Boolean, server_default=false(), default=False)


class Question(Base):
    """One item as put to one person: its drawn values are the only truth about its numbers."""

    __tablename__ = "question"
    __table_args__ = (
        hex_id(),
        one_of("kind", KINDS),
        UniqueConstraint("set_id", "position"),
        UniqueConstraint("work_id", "position"),
        CheckConstraint("(set_id IS NULL) = (work_id IS NOT NULL)", name="of_set_or_work"),
        CheckConstraint("(work_id IS NULL) = (place IS NULL)", name="work_with_place"),
        CheckConstraint("work_id IS NOT NULL OR NOT sealed", name="only_work_is_sealed"),
        Index("ix_question_person_id_item_id_issued_at", "person_id", "item_id", "issued_at"),
        Index("ix_question_person_id_draw_key", "person_id", "draw_key"),
        Index("ix_question_issued_at", "issued_at"),
        Index("ix_question_repeat_of", "repeat_of"),
        Index("ix_question_revision_id", "revision_id"),
        Index("ix_question_chain", "chain"),
        CheckConstraint("(part IS NULL) = (chain IS NULL)", name="part_in_chain"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    # Of a practice set, or of somebody's work on an assignment.
    set_id: Mapped[str | None] = mapped_column(Text, ForeignKey("practice_set.id", ondelete="CASCADE"))
    work_id: Mapped[str | None] = mapped_column(Text, ForeignKey("work.id", ondelete="CASCADE"))
    # The assignment's place that it asks; a scenario's parts share one.
    place: Mapped[int | None] = mapped_column(Integer)
    # Homework whose feedback is not released: neither memory, nor log, nor practice knows its answer.
    sealed: Mapped[bool] = mapped_column(Boolean, server_default=false(), default=False)
    position: Mapped[int] = mapped_column(Integer)
    item_id: Mapped[str] = mapped_column(Text, ForeignKey("item.id"))
    revision_id: Mapped[int] = mapped_column(RowId, ForeignKey("revision.id"))
    concept_id: Mapped[str] = mapped_column(Text, ForeignKey("concept.id"))
    kind: Mapped[str] = mapped_column(Text)
    drawn: Mapped[dict[str, Any]] = mapped_column(Json, nullable=False)
    option_order: Mapped[list[str]] = mapped_column(Json, nullable=False)
    record: Mapped[dict[str, Any]] = mapped_column(Json, nullable=False)
    draw_key: Mapped[str] = mapped_column(Text)
    reason: Mapped[str] = mapped_column(Text)
    repeat_of: Mapped[str | None] = mapped_column(Text, ForeignKey("question.id", ondelete="SET NULL"))
    offline: Mapped[bool] = mapped_column(Boolean)
    issued_at: Mapped[datetime] = mapped_column(UtcDateTime)
    # A part of a scenario, and the questions of one scenario together.
    part: Mapped[str | None] = mapped_column(Text)
    chain: Mapped[str | None] = mapped_column(Text)


class Answer(Base):
    """What came back for a question. Only ever added; `again` marks all but a question's first."""

    __tablename__ = "answer"
    __table_args__ = (
        CheckConstraint("sureness IN ('sure', 'think', 'guess')", name="sureness_word"),
        CheckConstraint("device_outcome IN ('full', 'part', 'miss', 'pass')", name="device_outcome_word"),
        Index("uq_answer_uuid", "uuid", unique=True),
        Index(
            "uq_answer_question_id_first",
            "question_id",
            unique=True,
            sqlite_where=text("again = 0"),
            postgresql_where=text("NOT again"),
        ),
        Index("ix_answer_question_id", "question_id"),
        Index("ix_answer_person_id_effective_at_id", "person_id", "effective_at", "id"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    uuid: Mapped[str] = mapped_column(Text)
    question_id: Mapped[str] = mapped_column(Text, ForeignKey("question.id", ondelete="CASCADE"))
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    again: Mapped[bool] = mapped_column(Boolean)
    raw: Mapped[dict[str, Any]] = mapped_column(Json, nullable=False)
    response: Mapped[dict[str, Any]] = mapped_column(Json, nullable=False)
    sureness: Mapped[str | None] = mapped_column(Text)
    given_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    sent_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    effective_at: Mapped[datetime] = mapped_column(UtcDateTime)
    # The day in the person's zone when it was given; kept, so that moving to another zone changes no history.
    local_day: Mapped[int] = mapped_column(Integer)
    # Given on a device from a question kept there, and what the device made of it; the grade is the service's.
    offline: Mapped[bool] = mapped_column(Boolean, server_default=false(), default=False)
    device_outcome: Mapped[str | None] = mapped_column(Text)


class Grade(Base):
    """A judgement of an answer. Only ever added; the highest `number` counts."""

    __tablename__ = "grade"
    __table_args__ = (
        one_of("outcome", OUTCOMES),
        UniqueConstraint("answer_id", "number"),
        CheckConstraint("credit BETWEEN 0 AND 1", name="credit_range"),
        CheckConstraint("(outcome = 'void') = (void_reason IS NOT NULL)", name="void_with_reason"),
        Index("ix_grade_graded_by", "graded_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    answer_id: Mapped[int] = mapped_column(RowId, ForeignKey("answer.id", ondelete="CASCADE"))
    number: Mapped[int] = mapped_column(Integer)
    outcome: Mapped[str] = mapped_column(Text)
    credit: Mapped[float] = mapped_column(Float)
    void_reason: Mapped[str | None] = mapped_column(Text)
    trap: Mapped[str | None] = mapped_column(Text)
    belief: Mapped[str | None] = mapped_column(Text)
    remark: Mapped[str | None] = mapped_column(Text)
    read_back: Mapped[str | None] = mapped_column(Text)
    marks: Mapped[list[Any]] = mapped_column(Json, nullable=False)
    graded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    graded_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    why: Mapped[str | None] = mapped_column(Text)


class Learner(Base):
    """A person's memory as a whole. This row is locked first by whatever changes the person's log.

    `newest_at` is the time of the last answer, in the log's order, that the state has taken in; an answer that comes
    later has a higher number, so of two at the same time it is the later one. `version` counts changes of the log.
    """

    __tablename__ = "learner"

    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True)
    state: Mapped[Any] = mapped_column(Json, nullable=False)
    newest_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    version: Mapped[int] = mapped_column(BigInteger)
    weights_version: Mapped[int] = mapped_column(Integer, ForeignKey("weights.version"))


class ConceptState(Base):
    """A person's hold on one concept."""

    __tablename__ = "concept_state"

    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True)
    concept_id: Mapped[str] = mapped_column(Text, ForeignKey("concept.id"), primary_key=True)
    state: Mapped[Any] = mapped_column(Json, nullable=False)


class Squawk(Base):
    """A disputed item. The person goes with their account, the words stay."""

    __tablename__ = "squawk"
    __table_args__ = (
        one_of("status", SQUAWK_STATUSES),
        Index("ix_squawk_item_id_revision_id", "item_id", "revision_id"),
        Index("ix_squawk_person_id", "person_id"),
        Index("ix_squawk_question_id", "question_id"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    item_id: Mapped[str] = mapped_column(Text, ForeignKey("item.id"))
    revision_id: Mapped[int] = mapped_column(RowId, ForeignKey("revision.id"))
    person_id: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    question_id: Mapped[str | None] = mapped_column(Text, ForeignKey("question.id", ondelete="SET NULL"))
    text: Mapped[str] = mapped_column(Text)
    status: Mapped[str] = mapped_column(Text)
    withdrew: Mapped[bool] = mapped_column(Boolean)
    raised_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Weights(Base):
    """One accepted set of the memory model's weights; the highest version is in use."""

    __tablename__ = "weights"

    version: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    body: Mapped[Any] = mapped_column(Json, nullable=False)
    origin: Mapped[str] = mapped_column(Text)
    accepted_at: Mapped[datetime] = mapped_column(UtcDateTime)

"""The school: groups and their people, assignments and the work on them, what was looked at and produced."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Date,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.orm import Mapped, mapped_column

from quizsvc.store.tables_base import Base, hex_id, one_of
from quizsvc.store.types import Json, RowId, UtcDateTime

MEMBER_PARTS = ("student", "instructor")
MEMBER_STATES = ("waiting", "in", "refused", "left")
ASSIGNMENT_STATES = ("draft", "released", "taken back")
NUMBERS = ("own", "common")
FEEDBACK = ("straight away", "with the mark", "after closing")
ALLOWANCES = ("extension", "excused")
DESK_STATES = ("draft", "read", "live", "withdrawn")
DESK_STEPS = ("sent back", "read", "put into use", "taken over", "withdrawn", "made a draft again", "changes dropped")


class Group(Base):
    """A standing set of people; with a start and an end it is an intake. Times of its assignments are in its zone."""

    __tablename__ = "school_group"
    __table_args__ = (
        CheckConstraint("(starts_on IS NULL) = (ends_on IS NULL)", name="intake_has_both_days"),
        CheckConstraint("ends_on >= starts_on", name="intake_days_in_order"),
        Index("uq_school_group_name_key", "name_key", unique=True),
        Index("ix_school_group_made_by", "made_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    name_key: Mapped[str] = mapped_column(Text)
    time_zone: Mapped[str] = mapped_column(Text)
    starts_on: Mapped[date | None] = mapped_column(Date)
    ends_on: Mapped[date | None] = mapped_column(Date)
    aircraft: Mapped[list[str]] = mapped_column(Json, nullable=False)
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Membership(Base):
    """One person's time in a group. It is never deleted: who left keeps the history, and may join again."""

    __tablename__ = "membership"
    __table_args__ = (
        one_of("part", MEMBER_PARTS),
        one_of("state", MEMBER_STATES),
        Index(
            "uq_membership_group_id_person_id_now",
            "group_id",
            "person_id",
            unique=True,
            sqlite_where=text("state IN ('waiting', 'in')"),
            postgresql_where=text("state IN ('waiting', 'in')"),
        ),
        Index("ix_membership_person_id", "person_id"),
        Index("ix_membership_decided_by", "decided_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    group_id: Mapped[int] = mapped_column(RowId, ForeignKey("school_group.id", ondelete="CASCADE"))
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    part: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    asked_at: Mapped[datetime] = mapped_column(UtcDateTime)
    joined_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    left_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    decided_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))


class RollEntry(Base):
    """A name that a group expects: whoever joins under it need not wait for the instructor's yes."""

    __tablename__ = "roll_entry"
    __table_args__ = (
        UniqueConstraint("group_id", "name_key"),
        Index("ix_roll_entry_person_id", "person_id"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    group_id: Mapped[int] = mapped_column(RowId, ForeignKey("school_group.id", ondelete="CASCADE"))
    name: Mapped[str] = mapped_column(Text)
    name_key: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    imported_at: Mapped[datetime] = mapped_column(UtcDateTime)


class JoinCode(Base):
    """Eight characters that lead to a group's door. They are shown again, so they are stored as they are."""

    __tablename__ = "join_code"
    __table_args__ = (
        CheckConstraint("length(code) = 8", name="code_length"),
        Index("ix_join_code_group_id", "group_id"),
        Index("ix_join_code_made_by", "made_by"),
    )

    code: Mapped[str] = mapped_column(Text, primary_key=True)
    group_id: Mapped[int] = mapped_column(RowId, ForeignKey("school_group.id", ondelete="CASCADE"))
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    ended_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class Assignment(Base):
    """Homework or a Sitting: places, rules and times. `version` counts changes, so that two editors do not collide."""

    __tablename__ = "assignment"
    __table_args__ = (
        one_of("state", ASSIGNMENT_STATES),
        one_of("numbers", NUMBERS),
        one_of("feedback", FEEDBACK),
        CheckConstraint("tries BETWEEN 1 AND 10", name="tries_range"),
        CheckConstraint("sitting_minutes BETWEEN 1 AND 480", name="sitting_minutes_range"),
        CheckConstraint("closes_at > opens_at", name="closes_after_opening"),
        CheckConstraint("late_until_at >= closes_at", name="late_after_closing"),
        CheckConstraint("(state = 'draft') = (released_at IS NULL)", name="released_with_time"),
        Index("ix_assignment_group_id_closes_at", "group_id", "closes_at"),
        Index("ix_assignment_made_by", "made_by"),
        Index("ix_assignment_released_by", "released_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    group_id: Mapped[int] = mapped_column(RowId, ForeignKey("school_group.id", ondelete="CASCADE"))
    title: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer)
    numbers: Mapped[str] = mapped_column(Text)
    feedback: Mapped[str] = mapped_column(Text)
    tries: Mapped[int] = mapped_column(Integer)
    # A Sitting has a time limit and gives no feedback before its end; None for homework.
    sitting_minutes: Mapped[int | None] = mapped_column(Integer)
    opens_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    closes_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    # Handing in between closing and this is taken and marked late; None: not taken.
    late_until_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    changed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    released_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    released_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    # The unnamed summaries, fixed once all work is in or its time is over.
    summary: Mapped[dict[str, Any] | None] = mapped_column(Json)
    summed_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class AssignmentPlace(Base):
    """An item in an assignment. The revision is that of the day it was picked, and is frozen by release."""

    __tablename__ = "assignment_place"
    __table_args__ = (
        CheckConstraint("position > 0", name="position_positive"),
        Index("ix_assignment_place_item_id", "item_id"),
        Index("ix_assignment_place_revision_id", "revision_id"),
    )

    assignment_id: Mapped[int] = mapped_column(RowId, ForeignKey("assignment.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    item_id: Mapped[str] = mapped_column(Text, ForeignKey("item.id"))
    revision_id: Mapped[int] = mapped_column(RowId, ForeignKey("revision.id"))


class CommonDraw(Base):
    """What all persons get in one try of an assignment with common numbers: the drawn questions of a place."""

    __tablename__ = "common_draw"

    assignment_id: Mapped[int] = mapped_column(RowId, ForeignKey("assignment.id", ondelete="CASCADE"), primary_key=True)
    position: Mapped[int] = mapped_column(Integer, primary_key=True)
    number: Mapped[int] = mapped_column(Integer, primary_key=True)
    drafts: Mapped[list[Any]] = mapped_column(Json, nullable=False)


class Work(Base):
    """One try of one person at an assignment. Written at preview or first opening; the last one handed in counts.

    The person's row is blanked, not deleted, when they leave the service, so that homework stays under a pseudonym.
    """

    __tablename__ = "work"
    __table_args__ = (
        hex_id(),
        UniqueConstraint("assignment_id", "person_id", "number"),
        CheckConstraint("number > 0", name="number_positive"),
        CheckConstraint("handed_in_at IS NULL OR begun_at IS NOT NULL", name="begun_before_handing_in"),
        CheckConstraint("(handed_in_at IS NULL) = (content_hash IS NULL)", name="handed_in_with_hash"),
        Index("ix_work_person_id", "person_id"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    assignment_id: Mapped[int] = mapped_column(RowId, ForeignKey("assignment.id", ondelete="CASCADE"))
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id"))
    number: Mapped[int] = mapped_column(Integer)
    drawn_at: Mapped[datetime] = mapped_column(UtcDateTime)
    begun_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    # The end of a Sitting for this person; answers count if received by then and 60 s.
    ends_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    handed_in_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    # The phone's clock beside it; the rule of lateness goes by arrival.
    device_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    late: Mapped[bool] = mapped_column(Boolean)
    # SHA-256 of what was handed in, as the receipt shows it.
    content_hash: Mapped[str | None] = mapped_column(Text)
    # Since when its feedback may be seen and its answers count for memory and practice.
    released_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class DraftResponse(Base):
    """What stands in an answer field before handing in; the last write wins, by a running number."""

    __tablename__ = "draft_response"

    question_id: Mapped[str] = mapped_column(Text, ForeignKey("question.id", ondelete="CASCADE"), primary_key=True)
    version: Mapped[int] = mapped_column(Integer)
    raw: Mapped[dict[str, Any]] = mapped_column(Json, nullable=False)
    sureness: Mapped[str | None] = mapped_column(Text)
    given_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    saved_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Allowance(Base):
    """An extension or an excuse for one person, with its reason. Only ever added; the newest counts."""

    __tablename__ = "allowance"
    __table_args__ = (
        one_of("what", ALLOWANCES),
        CheckConstraint("(what = 'extension') = (until_at IS NOT NULL)", name="extension_with_time"),
        Index("ix_allowance_assignment_id_person_id", "assignment_id", "person_id"),
        Index("ix_allowance_person_id", "person_id"),
        Index("ix_allowance_given_by", "given_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    assignment_id: Mapped[int] = mapped_column(RowId, ForeignKey("assignment.id", ondelete="CASCADE"))
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id"))
    what: Mapped[str] = mapped_column(Text)
    until_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    reason: Mapped[str] = mapped_column(Text)
    taken_back: Mapped[bool] = mapped_column(Boolean)
    given_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    given_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Notice(Base):
    """Something that a person has to be told: a re-mark, an extension, a yes to joining."""

    __tablename__ = "notice"
    __table_args__ = (Index("ix_notice_person_id_at", "person_id", "at"), {"sqlite_autoincrement": True})

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    text: Mapped[str] = mapped_column(Text)
    path: Mapped[str | None] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    seen_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class Look(Base):
    """Somebody has looked at a person's record; that person can see it."""

    __tablename__ = "look"
    __table_args__ = (
        Index("ix_look_person_id_at", "person_id", "at"),
        Index("ix_look_looked_by", "looked_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    looked_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    what: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)


class ProducedFile(Base):
    """A sheet as it was handed out, so that asking again returns it byte for byte. It outlives the person's account."""

    __tablename__ = "produced_file"
    __table_args__ = (
        hex_id(),
        CheckConstraint("length(sha256) = 64", name="sha256_length"),
        Index("ix_produced_file_person_id", "person_id"),
        Index("ix_produced_file_made_by", "made_by"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    what: Mapped[str] = mapped_column(Text)
    title: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    media_type: Mapped[str] = mapped_column(Text)
    body: Mapped[bytes] = mapped_column(LargeBinary)
    sha256: Mapped[str] = mapped_column(Text)
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)


class CalendarFeed(Base):
    """The secret address of a person's closings, stored hashed."""

    __tablename__ = "calendar_feed"
    __table_args__ = (
        Index("uq_calendar_feed_secret_hash", "secret_hash", unique=True),
        Index("ix_calendar_feed_person_id", "person_id"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    secret_hash: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class Sharing(Base):
    """What a person shows of practice: nothing to instructors and the expectation to the head of training, as begun."""

    __tablename__ = "sharing"

    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True)
    practice_to_instructors: Mapped[bool] = mapped_column(Boolean)
    expectation_to_head: Mapped[bool] = mapped_column(Boolean)
    changed_at: Mapped[datetime] = mapped_column(UtcDateTime)


class DeskItem(Base):
    """A school's own item as text in the bank's format, with who wrote and who read it; `version` counts changes.

    `live_text` is the text that was last put into use, to go back to; None where none has been.
    """

    __tablename__ = "desk_item"
    __table_args__ = (
        one_of("state", DESK_STATES),
        CheckConstraint("(state = 'draft') = (read_by IS NULL)", name="read_by_somebody"),
        CheckConstraint("read_by <> author_id", name="read_by_another"),
        Index("ix_desk_item_author_id", "author_id"),
        Index("ix_desk_item_read_by", "read_by"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    folder: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer)
    author_id: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id"))
    read_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id"))
    changed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    read_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    live_text: Mapped[str | None] = mapped_column(Text)


class DeskStep(Base):
    """What was done with a text of the bank desk, by whom, in which words; `version` is the text's own after it."""

    __tablename__ = "desk_step"
    __table_args__ = (
        one_of("what", DESK_STEPS),
        Index("ix_desk_step_item_id", "item_id"),
        Index("ix_desk_step_by", "by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    item_id: Mapped[str] = mapped_column(Text, ForeignKey("desk_item.id", ondelete="CASCADE"))
    what: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    version: Mapped[int] = mapped_column(Integer)
    by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)


class HandbookRevision(Base):
    """A new revision of a handbook: which sections changed, and so which items must be read again."""

    __tablename__ = "handbook_revision"
    __table_args__ = (Index("ix_handbook_revision_made_by", "made_by"), {"sqlite_autoincrement": True})

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    folder: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    sections: Mapped[list[str]] = mapped_column(Json, nullable=False)
    items: Mapped[list[str]] = mapped_column(Json, nullable=False)
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)


class SquawkStep(Base):
    """What became of a squawk: its new status, by whom, with which words."""

    __tablename__ = "squawk_step"
    __table_args__ = (
        one_of("status", ("open", "deferred", "fixed", "no fault found")),
        Index("ix_squawk_step_squawk_id", "squawk_id"),
        Index("ix_squawk_step_by", "by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    squawk_id: Mapped[int] = mapped_column(RowId, ForeignKey("squawk.id", ondelete="CASCADE"))
    status: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)

"""People: accounts and anonymous persons, their sessions, links, checks, and what they acknowledged."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Date, ForeignKey, Index, Integer, Text
from sqlalchemy.orm import Mapped, mapped_column

from quizsvc.store.tables_base import Base, one_of
from quizsvc.store.types import Json, RowId, UtcDateTime

ROLES = ("pilot", "instructor", "head of training", "item author", "reviewer", "keeper")
EXPERIENCES = ("never trained", "in training", "rated")
CHECK_INTERVALS = (6, 12, 24)


class Person(Base):
    """One person. `name` is None until they sign up; `name_key` is the name as it is compared."""

    __tablename__ = "person"
    __table_args__ = (
        one_of("experience", EXPERIENCES),
        CheckConstraint("minutes_a_day BETWEEN 1 AND 240", name="minutes_a_day_range"),
        CheckConstraint("(name IS NULL) = (name_key IS NULL)", name="name_with_key"),
        Index("uq_person_name_key", "name_key", unique=True),
        Index("ix_person_last_seen_at", "last_seen_at"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    name: Mapped[str | None] = mapped_column(Text)
    name_key: Mapped[str | None] = mapped_column(Text)
    password_hash: Mapped[str | None] = mapped_column(Text)
    aircraft: Mapped[list[str]] = mapped_column(Json, nullable=False)
    check_date: Mapped[date | None] = mapped_column(Date)
    minutes_a_day: Mapped[int] = mapped_column(Integer)
    time_zone: Mapped[str] = mapped_column(Text)
    experience: Mapped[str] = mapped_column(Text)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_seen_at: Mapped[datetime] = mapped_column(UtcDateTime)


class PersonRole(Base):
    """One role of one person."""

    __tablename__ = "person_role"
    __table_args__ = (one_of("role", ROLES),)

    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True)
    role: Mapped[str] = mapped_column(Text, primary_key=True)


class PersonAlias(Base):
    """An anonymous person whose answers went to an account: its old id still leads there, and cannot go twice."""

    __tablename__ = "person_alias"
    __table_args__ = (Index("ix_person_alias_person_id", "person_id"),)

    old_id: Mapped[int] = mapped_column(RowId, primary_key=True, autoincrement=False)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    claimed_at: Mapped[datetime] = mapped_column(UtcDateTime)
    answers: Mapped[int] = mapped_column(Integer)


class DeviceSession(Base):
    """A signed-in (or anonymous) browser. The token itself is only in its cookie."""

    __tablename__ = "device_session"
    __table_args__ = (
        Index("uq_device_session_token_hash", "token_hash", unique=True),
        Index("ix_device_session_person_id", "person_id"),
        Index("ix_device_session_claim_from", "claim_from"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    token_hash: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    claim_from: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    device: Mapped[str] = mapped_column(Text)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    last_seen_at: Mapped[datetime] = mapped_column(UtcDateTime)


class OneTimeLink(Base):
    """A link for a first sign-in or a forgotten password, stored hashed."""

    __tablename__ = "one_time_link"
    __table_args__ = (
        Index("uq_one_time_link_secret_hash", "secret_hash", unique=True),
        Index("ix_one_time_link_person_id", "person_id"),
        Index("ix_one_time_link_made_by", "made_by"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    secret_hash: Mapped[str] = mapped_column(Text)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    made_by: Mapped[int | None] = mapped_column(RowId, ForeignKey("person.id", ondelete="SET NULL"))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    expires_at: Mapped[datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class SignInFailure(Base):
    """A try to sign in that has not (or not yet) turned out right; counted to slow guessing."""

    __tablename__ = "sign_in_failure"
    __table_args__ = (
        Index("ix_sign_in_failure_name_key_at", "name_key", "at"),
        Index("ix_sign_in_failure_address_at", "address", "at"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    name_key: Mapped[str] = mapped_column(Text)
    address: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)


class Acknowledgement(Base):
    """A caution that a person took note of, with the text it had then (by hash)."""

    __tablename__ = "acknowledgement"
    __table_args__ = (
        Index("ix_acknowledgement_person_id_caution_id_at", "person_id", "caution_id", "at"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    caution_id: Mapped[str] = mapped_column(Text)
    text_hash: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime] = mapped_column(UtcDateTime)


class LastCheck(Base):
    """A person's last check, from which the month of the next is reckoned.

    `counts_in` is the first day of the month that it counts in, which the month before or after it was taken may be.
    """

    __tablename__ = "last_check"
    __table_args__ = (CheckConstraint(f"interval_months IN {CHECK_INTERVALS}", name="interval_known"),)

    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"), primary_key=True)
    taken_on: Mapped[date] = mapped_column(Date)
    interval_months: Mapped[int] = mapped_column(Integer)
    counts_in: Mapped[date] = mapped_column(Date)


class CheckDebrief(Base):
    """What a person was asked at a check, as they told it the day after: concepts by id."""

    __tablename__ = "check_debrief"
    __table_args__ = (
        Index("uq_check_debrief_person_id_taken_on", "person_id", "taken_on", unique=True),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    person_id: Mapped[int] = mapped_column(RowId, ForeignKey("person.id", ondelete="CASCADE"))
    taken_on: Mapped[date] = mapped_column(Date)
    concepts: Mapped[list[str]] = mapped_column(Json, nullable=False)
    told_at: Mapped[datetime] = mapped_column(UtcDateTime)

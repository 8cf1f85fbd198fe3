"""The bank as loaded: aircraft, concepts, handbook, cautions, items and their immutable revisions."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Boolean, CheckConstraint, Float, ForeignKey, Index, Integer, Text, UniqueConstraint, false
from sqlalchemy.orm import Mapped, mapped_column

from quizsvc.store.tables_base import Base, one_of
from quizsvc.store.types import Json, RowId, UtcDateTime

KINDS = ("one", "some", "order", "match", "number", "gauge", "profile", "still-works", "scenario", "say")
STATUSES = ("draft", "read", "live", "withdrawn")


class BankLoad(Base):
    """One load of a bank: when, from which source, and what it did."""

    __tablename__ = "bank_load"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    loaded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    new: Mapped[int] = mapped_column(Integer)
    changed: Mapped[int] = mapped_column(Integer)
    unchanged: Mapped[int] = mapped_column(Integer)
    withdrawn: Mapped[int] = mapped_column(Integer)
    content_hash: Mapped[str] = mapped_column(Text)


class Aircraft(Base):
    """A checked aircraft description, canonical JSON in SI."""

    __tablename__ = "aircraft"

    key: Mapped[str] = mapped_column(Text, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    name: Mapped[str] = mapped_column(Text)
    position: Mapped[int] = mapped_column(Integer)
    hash: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)


class AircraftText(Base):
    """An aircraft description by its hash: what an older revision was checked with stays readable."""

    __tablename__ = "aircraft_text"

    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    body: Mapped[str] = mapped_column(Text)


class Concept(Base):
    """What can be known. `active` is false once its source's files no longer hold it."""

    __tablename__ = "concept"
    __table_args__ = (CheckConstraint("consequence BETWEEN 1 AND 3", name="consequence_range"),)

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    folder: Mapped[str] = mapped_column(Text)
    title: Mapped[str] = mapped_column(Text)
    system: Mapped[str] = mapped_column(Text)
    handbook: Mapped[str | None] = mapped_column(Text)
    what: Mapped[list[str]] = mapped_column(Json, nullable=False)
    first: Mapped[list[str]] = mapped_column(Json, nullable=False)
    consequence: Mapped[int] = mapped_column(Integer)
    position: Mapped[int] = mapped_column(Integer)
    active: Mapped[bool] = mapped_column(Boolean)


class HandbookSection(Base):
    """A section of a handbook, Markdown."""

    __tablename__ = "handbook_section"

    folder: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    title: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    position: Mapped[int] = mapped_column(Integer)


class Caution(Base):
    """A caution's text and where it is owed."""

    __tablename__ = "caution"

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    text: Mapped[str] = mapped_column(Text)
    where_owed: Mapped[str] = mapped_column(Text)
    position: Mapped[int] = mapped_column(Integer)


class Item(Base):
    """A stable item id; history hangs on it. `withdrawn_by` says who took it out of use."""

    __tablename__ = "item"
    __table_args__ = (
        one_of("status", STATUSES),
        CheckConstraint("withdrawn_by IN ('bank', 'squawk', 'handbook')", name="withdrawn_by_word"),
        CheckConstraint("(withdrawn_at IS NULL) = (withdrawn_by IS NULL)", name="withdrawn_by_whom"),
        Index("ix_item_concept_id", "concept_id"),
        Index("ix_item_source", "source"),
    )

    id: Mapped[str] = mapped_column(Text, primary_key=True)
    source: Mapped[str] = mapped_column(Text)
    concept_id: Mapped[str] = mapped_column(Text, ForeignKey("concept.id"))
    status: Mapped[str] = mapped_column(Text)
    # No foreign key: item and revision would point at each other, and neither could be written first.
    revision_id: Mapped[int] = mapped_column(RowId)
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    withdrawn_by: Mapped[str | None] = mapped_column(Text)
    # A school's item that practice never asks, so that its key is not open.
    homework_only: Mapped[bool] = mapped_column(Boolean, server_default=false(), default=False)


class Revision(Base):
    """One immutable text of an item: canonical JSON in SI, known by its hash."""

    __tablename__ = "revision"
    __table_args__ = (
        one_of("kind", KINDS),
        UniqueConstraint("item_id", "number"),
        UniqueConstraint("item_id", "hash"),
        CheckConstraint("seconds > 0", name="seconds_positive"),
        {"sqlite_autoincrement": True},
    )

    id: Mapped[int] = mapped_column(RowId, primary_key=True)
    item_id: Mapped[str] = mapped_column(Text, ForeignKey("item.id"))
    number: Mapped[int] = mapped_column(Integer)
    hash: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    folder: Mapped[str] = mapped_column(Text)
    concept_id: Mapped[str] = mapped_column(Text)
    seconds: Mapped[float] = mapped_column(Float)
    ramp: Mapped[bool] = mapped_column(Boolean)
    generated: Mapped[bool] = mapped_column(Boolean)
    handbook: Mapped[str | None] = mapped_column(Text)
    aircraft_hash: Mapped[str | None] = mapped_column(Text, ForeignKey("aircraft_text.hash"))
    body: Mapped[str] = mapped_column(Text)
    loaded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    # Set with the item's; stays when the item comes back with another text.
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime)

"""What all mapped classes share: the names of constraints and the usual columns."""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import CheckConstraint, MetaData
from sqlalchemy.orm import DeclarativeBase


class Base(DeclarativeBase):
    """Base of every mapped class. Constraints have names from the first migration on, so that they can be changed."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_N_name)s",
            "uq": "uq_%(table_name)s_%(column_0_N_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )


def one_of(column: str, words: Iterable[str], name: str | None = None) -> CheckConstraint:
    """A CHECK that a text column holds one of the words."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=name or f"{column}_word")


def hex_id(column: str = "id") -> CheckConstraint:
    """A CHECK that a text id is 128 bits in lower-case hexadecimal, by its length."""
    return CheckConstraint(f"length({column}) = 32", name=f"{column}_length")

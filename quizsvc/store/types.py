"""Column types that behave alike on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, DateTime, Integer
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

# SQLite only numbers rows by itself in a column that is declared INTEGER; there it holds 64 bits anyway.
RowId = BigInteger().with_variant(Integer(), "sqlite")

# PostgreSQL's JSON (not JSONB) keeps the text, so a float comes back with the bits it went in with.
Json = JSON(none_as_null=True)


class UtcDateTime(TypeDecorator[datetime]):
    """A point in time: takes aware datetimes only, stores UTC, returns aware UTC.

    SQLAlchemy's own type drops the offset on SQLite, which moves the instant.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn an aware time into what the database stores."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise TypeError(f"a time without a zone cannot be stored: {value!r}")
        value = value.astimezone(UTC)
        return value.replace(tzinfo=None) if dialect.name == "sqlite" else value

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Turn what the database stores into an aware time in UTC."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)

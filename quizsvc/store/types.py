"""Column types that behave alike on SQLite and PostgreSQL."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, BigInteger, DateTime, Integer, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

# SQLite only numbers rows by itself in a column that is declared INTEGER; there it holds 64 bits anyway.
RowId = BigInteger().with_variant(Integer(), "sqlite")

# PostgreSQL's JSON (not JSONB) keeps the text, so a float comes back with the bits it went in with.
Json = JSON(none_as_null=True)


class UtcDateTime(TypeDecorator[datetime]):
    """A point in time: takes aware datetimes only, stores UTC, returns aware UTC.

    SQLAlchemy's own type drops the offset on SQLite, which moves the instant. There it is ISO text of one length with
    its offset, so that the order of the text is the order of time.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        """Text on SQLite, which has no type for times."""
        return dialect.type_descriptor(Text() if dialect.name == "sqlite" else DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """Turn an aware time into what the database stores."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise TypeError(f"a time without a zone cannot be stored: {value!r}")
        if value.tzinfo is not UTC:
            value = value.astimezone(UTC)
        return value.isoformat(" ", "microseconds") if dialect.name == "sqlite" else value

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Turn what the database stores into an aware time in UTC."""
        if value is None:
            return None
        if isinstance(value, str):
            return datetime.fromisoformat(value)
        return value.astimezone(UTC)

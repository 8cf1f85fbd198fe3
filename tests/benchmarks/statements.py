"""How many statements the database runs for a request, as SQLite itself reports them."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from sqlalchemy import event

from quizsvc.store.session import Database

__all__ = ["counted"]

_WORDS = ("SELECT", "INSERT", "UPDATE", "DELETE", "WITH")


@contextlib.contextmanager
def counted(database: Database) -> Iterator[list[str]]:
    """Every statement that reads or writes while the block runs; not BEGIN and COMMIT. SQLite only."""
    seen: list[str] = []

    def trace(statement: str) -> None:
        if statement.split(None, 1)[0] in _WORDS:
            seen.append(statement)

    def watch(connection, _record, _proxy):
        connection.set_trace_callback(trace)

    event.listen(database.engine, "checkout", watch)
    try:
        yield seen
    finally:
        event.remove(database.engine, "checkout", watch)
        with database.engine.connect() as connection:
            connection.connection.driver_connection.set_trace_callback(None)

"""The database: how it is opened, and the two kinds of unit of work.

`writing` and `reading` give an ORM session, `writing_rows` and `reading_rows` a bare connection for the hot path.
On SQLite a unit that writes begins IMMEDIATE: a deferred one that reads first cannot wait for a lock, it fails at
once. What the driver throws never leaves this module as it is.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import sqlalchemy as sa
from sqlalchemy import Executable, event, exc
from sqlalchemy.engine import Connection, CursorResult, Dialect, Engine, make_url
from sqlalchemy.orm import Session

from quizsvc.errors import ConflictError, InputError, NotPreparedError, QuizsvcError, StoreUnavailableError

BUSY_TIMEOUT_S = 5.0
_BEGIN = "quizsvc_begin"
_AGAIN_S = 0.01

# What prepared statements and BEGIN meet without SQLAlchemy in between: the base class of each driver in use.
_driver_errors: set[type[Exception]] = {sqlite3.Error}


# Built once: json.dumps with options of its own would build an encoder for every value.
_dumps = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode


class Rows:
    """A driver's connection, borrowed from the pool, as prepared statements use it."""

    __slots__ = ("cursor", "dialect", "driver")

    def __init__(self, dialect: Dialect, driver: Any) -> None:
        self.dialect = dialect
        self.driver = driver
        self.cursor = driver.cursor


class Borrowed:
    """The life of a borrowed connection: begin, commit or roll back, give back. Written out, because it is hot."""

    __slots__ = ("begin", "commit", "driver", "engine")

    def __init__(self, engine: Engine, *, begin: str | None, commit: bool) -> None:
        self.engine = engine
        self.begin = begin
        self.commit = commit

    def __enter__(self) -> Rows:
        try:
            self.driver = self.engine.raw_connection()
            if self.begin is not None:
                try:
                    self.driver.cursor().execute(self.begin)
                except BaseException:
                    self.driver.close()
                    raise
        except _caught() as fault:
            raise translate(fault) from fault
        return Rows(self.engine.dialect, self.driver)

    def __exit__(self, _kind: object, fault: BaseException | None, _trace: object) -> None:
        try:
            try:
                if fault is None and self.commit:
                    self.driver.commit()
            except BaseException as late:
                self._give_back(late)
                raise
            self._give_back(fault)
        except _caught() as late:
            raise translate(late) from late
        if fault is not None and isinstance(fault, _caught()):
            raise translate(fault) from fault

    def _give_back(self, fault: BaseException | None) -> None:
        """Back to the pool, which rolls back what is open; a connection that is lost goes no further."""
        dialect = self.engine.dialect
        if isinstance(fault, dialect.loaded_dbapi.Error) and dialect.is_disconnect(fault, self.driver, None):
            self.driver.invalidate()
        self.driver.close()


class Database:
    """One database and its pool of connections. Make one in each process."""

    def __init__(self, engine: Engine, url: str) -> None:
        self.engine = engine
        self.url = url
        _driver_errors.add(engine.dialect.loaded_dbapi.Error)
        self._writing = engine.execution_options(**{_BEGIN: "BEGIN IMMEDIATE"})

    @classmethod
    def open(cls, url: str, *, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Database:
        """Prepare the pool; connects at the first unit of work.

        `busy_timeout_s` is how long, in seconds, a unit waits for another one's lock before it gives up.
        """
        if url.startswith("sqlite:"):
            engine = _sqlite_engine(url, busy_timeout_s)
        else:
            engine = sa.create_engine(
                url,
                json_serializer=_dumps,
                pool_pre_ping=True,
                connect_args={
                    "connect_timeout": max(2, int(busy_timeout_s)),
                    "options": f"-c lock_timeout={int(busy_timeout_s * 1000)} -c timezone=UTC",
                },
            )
        return cls(engine, url)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is the embedded database."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A unit of work that writes: all of it is stored at the end of the block, or nothing."""
        with translated_errors(), Session(self._writing, expire_on_commit=False) as session, session.begin():
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A unit of work that only reads, from one state of the database where that is SQLite."""
        with (
            translated_errors(),
            Session(self.engine, expire_on_commit=False, autoflush=False) as session,
            session.begin(),
        ):
            yield session

    @contextmanager
    def writing_rows(self) -> Iterator[Connection]:
        """Like `writing`, with a bare connection for statements built once."""
        with translated_errors(), self._writing.begin() as connection:
            yield connection

    @contextmanager
    def reading_rows(self) -> Iterator[Connection]:
        """Like `reading`, with a bare connection for statements built once."""
        with translated_errors(), self.engine.begin() as connection:
            yield connection

    def recording(self) -> Borrowed:
        """A unit of work that writes by prepared statements alone, without SQLAlchemy's connection around it."""
        # psycopg begins by itself, with the first statement.
        return Borrowed(self.engine, begin="BEGIN IMMEDIATE" if self.is_sqlite else None, commit=True)

    def glance(self) -> Borrowed:
        """For prepared statements that read, each for itself: they need no transaction around them."""
        return Borrowed(self.engine, begin=None, commit=False)

    def close(self) -> None:
        """Close every connection of the pool."""
        self.engine.dispose()

    def forked(self) -> None:
        """Forget the connections that belong to the parent process. Call in the child after a fork."""
        self.engine.dispose(close=False)


def _use_wal(cursor: sqlite3.Cursor, busy_timeout_s: float) -> None:
    """Switch to the write-ahead log.

    Of two connections that switch a new file at once, SQLite turns one away without the busy timeout, for both would
    wait for each other; it has only to ask again.
    """
    until = time.monotonic() + busy_timeout_s
    while True:
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as fault:
            if fault.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
            time.sleep(_AGAIN_S)


def _sqlite_engine(url: str, busy_timeout_s: float) -> Engine:
    file = make_url(url).database
    if file and file != ":memory:":
        try:
            Path(file).parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise StoreUnavailableError(
                "store-folder", f"the folder of the database cannot be made: {fault.strerror}", where=file
            ) from None
    engine = sa.create_engine(
        url, json_serializer=_dumps, connect_args={"isolation_level": None, "timeout": busy_timeout_s}
    )

    @event.listens_for(engine, "connect")
    def _prepare(driver_connection: Any, _record: Any) -> None:
        cursor = driver_connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {int(busy_timeout_s * 1000)}")
        _use_wal(cursor, busy_timeout_s)
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # Straight to the driver: as a statement of SQLAlchemy's own it would cost as much as the work that follows.
        cursor = connection.connection.cursor()
        try:
            cursor.execute(connection.get_execution_options().get(_BEGIN, "BEGIN"))
        finally:
            cursor.close()

    return engine


def touched(session: Session, statement: Executable) -> int:
    """Run an UPDATE or DELETE; returns how many rows it touched."""
    return cast("CursorResult[Any]", session.execute(statement)).rowcount


@contextmanager
def translated_errors() -> Iterator[None]:
    """Turn what SQLAlchemy and the driver raise into the service's own errors."""
    try:
        yield
    except _caught() as fault:
        raise translate(fault) from fault


def _caught() -> tuple[type[Exception], ...]:
    """Every class of error that is translated."""
    return (exc.DBAPIError, exc.TimeoutError, *_driver_errors)


def translate(fault: Exception) -> QuizsvcError:
    """The service's error for one of the driver's; the driver's words stay behind, in `__cause__`."""
    text = str(getattr(fault, "orig", fault)).lower()
    # The classes of both drivers have the names of the Python database API (PEP 249), and so has SQLAlchemy.
    kinds = {kind.__name__ for kind in type(fault).__mro__}
    if "no such table" in text or "no such column" in text or _sqlstate(fault) in ("42P01", "42703"):
        return NotPreparedError(
            "schema-old", "the database lacks a table or column that this version needs", mend="quizsvc db upgrade"
        )
    if "IntegrityError" in kinds:
        return ConflictError(
            "store-conflict", "this no longer fits what is stored", mend="load the page again and try once more"
        )
    if "DataError" in kinds:
        return InputError("store-value", "a value that the database cannot hold", mend="shorten or correct it")
    if "ProgrammingError" in kinds:
        return QuizsvcError("store-statement", "the service asked the database something it does not understand")
    return StoreUnavailableError(
        "store-unavailable",
        "the database is busy or cannot be reached, so this is not stored yet",
        mend="send it again in a moment; it will be stored once",
    )


def _sqlstate(fault: Exception) -> str:
    return getattr(getattr(fault, "orig", fault), "sqlstate", None) or ""

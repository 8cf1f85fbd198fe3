"""The file of the embedded database: copying it while it is in use, checking it, putting another in its place."""

from __future__ import annotations

import itertools
import os
import secrets
import sqlite3
from pathlib import Path

from quizsvc.errors import ConflictError, InputError, StoreUnavailableError

_WAIT_S = 10.0


def copy(source: Path, target: Path) -> None:
    """Copy a database into a new file by VACUUM INTO: a whole, compact copy of one moment."""
    scratch = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
    try:
        connection = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
        try:
            connection.execute("VACUUM INTO ?", (str(scratch),))
        finally:
            connection.close()
        inspect(scratch)
        _sync(scratch)
        # A link never overwrites: whoever made the target meanwhile keeps it.
        os.link(scratch, target)
    except FileExistsError:
        raise InputError(
            "backup-exists", "the file exists already", where=str(target), mend="name a new file"
        ) from None
    except (sqlite3.Error, OSError) as fault:
        raise StoreUnavailableError(
            "backup-failed", f"the copy could not be made: {fault}", where=str(target), mend="check space and rights"
        ) from fault
    finally:
        scratch.unlink(missing_ok=True)


def inspect(file: Path) -> str:
    """The migration of a database file, after its integrity check.

    Raises
    ------
    InputError
        It is no database of this service, or a damaged one.
    """
    try:
        connection = sqlite3.connect(f"{file.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
        try:
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()
            if found != ("ok",):
                raise InputError(
                    "database-damaged", f"the file is damaged: {found[0]}", where=str(file), mend="use another backup"
                )
            if connection.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise InputError(
                    "database-damaged",
                    "rows of the file point at rows that are not there",
                    where=str(file),
                    mend="use another backup",
                )
            row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        finally:
            connection.close()
    except sqlite3.Error:
        row = None
    if row is None:
        raise InputError(
            "database-foreign", "the file is no database of this service", where=str(file), mend="check the path"
        )
    return row[0]


def put_in_place(source: Path, target: Path, *, stamp: str) -> Path | None:
    """Put a copy of `source` where `target` is; returns where the database that was there is kept, or None.

    The kept one is named by `stamp`, and by a number from 2 on where that name is taken: no kept one is overwritten.

    Raises
    ------
    ConflictError
        Somebody has the database open.
    """
    scratch = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
    try:
        connection = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
        try:
            connection.execute("VACUUM INTO ?", (str(scratch),))
        finally:
            connection.close()
        inspect(scratch)
        _sync(scratch)
        if not target.exists():
            os.replace(scratch, target)
            return None
        _refuse_open(target)
        kept = _keep(target, stamp)
        for ending in ("-wal", "-shm"):
            Path(f"{target}{ending}").unlink(missing_ok=True)
        os.replace(scratch, target)
        return kept
    except (sqlite3.Error, OSError) as fault:
        raise StoreUnavailableError(
            "restore-failed", f"the backup could not be put in place: {fault}", where=str(target)
        ) from fault
    finally:
        scratch.unlink(missing_ok=True)


def _keep(target: Path, stamp: str) -> Path:
    """Give the database a name that nothing else has; returns it."""
    for number in itertools.count(1):
        again = f"-{number}" if number > 1 else ""
        kept = target.with_name(f"{target.stem}.before-restore-{stamp}{again}{target.suffix}")
        try:
            # Two restores may share a second: made exclusively first, the name is ours before anything is put there.
            os.close(os.open(kept, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        except FileExistsError:
            continue
        try:
            os.replace(target, kept)
        except OSError:
            kept.unlink(missing_ok=True)
            raise
        return kept
    raise AssertionError("itertools.count has no end")


def _refuse_open(file: Path) -> None:
    """Leave WAL mode, which only the single user of a database can; it also moves the log into the file."""
    connection = sqlite3.connect(file, timeout=1.0, isolation_level=None)
    try:
        mode = connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    except sqlite3.OperationalError:
        mode = "busy"
    except sqlite3.DatabaseError:
        return  # A file too damaged to be asked is what a restore is for.
    finally:
        connection.close()
    if mode.lower() != "delete":
        raise ConflictError(
            "restore-in-use", "the service is running on this database", where=str(file), mend="stop it first"
        )


def _sync(file: Path) -> None:
    descriptor = os.open(file, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)

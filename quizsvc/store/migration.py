"""Migrations, configured in code: which one a database has, bringing it to the newest, comparing models with it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError
from sqlalchemy.engine import Connection

from quizsvc.errors import ConflictError, QuizsvcError
from quizsvc.store.session import Database, translated_errors


def configuration(folder: Path, connection: Connection | None = None) -> Config:
    """Alembic's configuration for the migrations in a folder; writes nothing to standard output."""
    config = Config(stdout=io.StringIO())
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


@contextmanager
def migrating(database: Database) -> Iterator[Connection]:
    """A connection in one transaction for migrations: all of them are kept, or none.

    On SQLite foreign keys are off meanwhile, because a table that is made anew would take its children's rows with it;
    what they demand is checked before the end.
    """
    with translated_errors(), database.engine.connect() as connection:
        driver: Any = connection.connection.driver_connection
        if database.is_sqlite:
            # Straight to the driver: within a transaction SQLite ignores the pragma.
            driver.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.execution_options(quizsvc_begin="BEGIN IMMEDIATE").begin():
                if database.is_sqlite:
                    yield connection
                    _refuse_broken_keys(connection)
                else:
                    # Two processes that upgrade at once: the second waits, then finds nothing to do.
                    connection.exec_driver_sql("SELECT pg_advisory_xact_lock(7183045201)")
                    yield connection
        finally:
            if database.is_sqlite:
                driver.execute("PRAGMA foreign_keys = ON")


def _refuse_broken_keys(connection: Connection) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        tables = sorted({row[0] for row in broken})
        raise ConflictError(
            "migration-foreign-keys",
            f"{len(broken)} rows would point at rows that are not there, in {', '.join(tables)}; nothing was changed",
            mend="restore the backup, then report this",
        )


def head(folder: Path) -> str:
    """The newest migration that this version knows."""
    found = ScriptDirectory.from_config(configuration(folder)).get_current_head()
    if found is None:
        raise QuizsvcError("migrations-missing", "there are no migrations", where=str(folder))
    return found


def known(folder: Path) -> tuple[str, ...]:
    """Every migration that this version knows, newest first."""
    scripts = ScriptDirectory.from_config(configuration(folder))
    return tuple(script.revision for script in scripts.walk_revisions())


def current(database: Database) -> str | None:
    """The migration that a database has; None where it is empty."""
    with translated_errors(), database.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(database: Database, folder: Path, target: str = "head") -> None:
    """Bring a database to a migration, in one transaction."""
    with migrating(database) as connection:
        command.upgrade(configuration(folder, connection), target)


def downgrade(database: Database, folder: Path, target: str) -> None:
    """Bring a database back to an earlier migration, in one transaction."""
    with migrating(database) as connection:
        command.downgrade(configuration(folder, connection), target)


def differences(database: Database, folder: Path) -> str:
    """What the models have that the database has not, in Alembic's words; empty where they agree."""
    with migrating(database) as connection:
        try:
            command.check(configuration(folder, connection))
        except CommandError as fault:
            return str(fault)
    return ""

"""The database as a whole: opening it, bringing its schema up to date, backup and restore."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from quizsvc.errors import ConflictError, InputError, NotPreparedError
from quizsvc.settings import Settings, migrations_folder
from quizsvc.store import embedded_file, migration
from quizsvc.store.session import Database

UPGRADE_WAIT_S = 60.0
"""So long an upgrade waits for another one, which may be making large tables anew."""


def open_database(settings: Settings) -> Database:
    """The database of the settings; connects at the first use. Close it with `close()`."""
    return Database.open(settings.database_url)


def upgrade(settings: Settings) -> str:
    """Bring the schema to the newest migration, all of it or nothing; returns a sentence.

    Raises
    ------
    NotPreparedError
        A newer version of the service has been here.
    """
    folder = migrations_folder()
    db = Database.open(settings.database_url, busy_timeout_s=UPGRADE_WAIT_S)
    try:
        before = migration.current(db)
        _refuse_newer(before)
        migration.upgrade(db, folder)
        after = migration.current(db)
    finally:
        db.close()
    if before == after:
        return f"the schema is up to date ({after})"
    return f"the schema was brought from {before or 'nothing'} to {after}"


def check(settings: Settings) -> str:
    """Compare the schema with what this version needs; returns a sentence.

    Raises
    ------
    NotPreparedError
        It is older or newer; `mend` says the command.
    ConflictError
        It has the right migration and yet differs: somebody changed it by hand.
    """
    require_current(settings)
    db = open_database(settings)
    try:
        differences = migration.differences(db, migrations_folder())
    finally:
        db.close()
    if differences:
        raise ConflictError(
            "schema-differs",
            f"the database differs from what its migration says: {differences}",
            mend="undo what was changed by hand, or restore a backup",
        )
    return f"the schema is up to date ({migration.head(migrations_folder())})"


def require_current(settings: Settings) -> None:
    """Do nothing where the schema is the newest.

    Raises
    ------
    NotPreparedError
        It is not; `mend` is the command to type.
    """
    db = open_database(settings)
    try:
        found = migration.current(db)
    finally:
        db.close()
    _refuse_newer(found)
    if found is None:
        raise NotPreparedError(
            "schema-missing", "the database is empty", mend="quizsvc db upgrade, then quizsvc bank load"
        )
    if found != migration.head(migrations_folder()):
        raise NotPreparedError(
            "schema-old", f"the database has schema {found}, this version needs a newer one", mend="quizsvc db upgrade"
        )


def _refuse_newer(found: str | None) -> None:
    if found is not None and found not in migration.known(migrations_folder()):
        raise NotPreparedError(
            "schema-newer",
            f"the database has schema {found}, which this version does not know",
            mend="install the newer version again, or restore a backup made by this one",
        )


def backup(settings: Settings, file: Path | str) -> str:
    """Copy the embedded database into a new file while it is in use, and check the copy; returns a sentence.

    Raises
    ------
    InputError
        The file exists already, or its folder does not.
    NotPreparedError
        The database is PostgreSQL: `mend` is the line to type.
    """
    target = Path(file)
    source = _embedded(settings, "backup", target)
    if target.exists():
        raise InputError("backup-exists", "the file exists already", where=str(target), mend="name a new file")
    if not target.parent.is_dir():
        raise InputError("backup-folder", "the folder does not exist", where=str(target.parent), mend="make it first")
    if not source.is_file():
        raise NotPreparedError(
            "schema-missing", "there is no database yet", where=str(source), mend="quizsvc db upgrade"
        )
    embedded_file.copy(source, target)
    version = embedded_file.inspect(target)
    return f"{target}: {target.stat().st_size:,} bytes, whole, schema {version}"


def restore(settings: Settings, file: Path | str) -> str:
    """Put a backup in the place of the embedded database, which is kept beside it; returns a sentence.

    Raises
    ------
    InputError
        The file is no whole backup of this service, or of a newer version.
    ConflictError
        The service is running on the database.
    NotPreparedError
        The database is PostgreSQL: `mend` is the line to type.
    """
    source = Path(file)
    target = _embedded(settings, "restore", source)
    if not source.is_file():
        raise InputError("restore-missing", "there is no such file", where=str(source), mend="check the path")
    if target.exists() and source.resolve() == target.resolve():
        raise InputError("restore-itself", "that is the database itself", where=str(source), mend="name the backup")
    version = embedded_file.inspect(source)
    if version not in migration.known(migrations_folder()):
        raise InputError(
            "restore-newer",
            f"the backup has schema {version}, which this version does not know",
            where=str(source),
            mend="install the version that made it, or a newer one",
        )
    target.parent.mkdir(parents=True, exist_ok=True)
    kept = embedded_file.put_in_place(source, target, stamp=datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ"))
    said = f"restored {source}, schema {version}"
    if kept is not None:
        said += f"; the database that was there is kept as {kept}"
    if version != migration.head(migrations_folder()):
        said += "; now type: quizsvc db upgrade"
    return said


def _embedded(settings: Settings, verb: str, file: Path) -> Path:
    """The file of the embedded database."""
    url = settings.database_url
    if url.startswith("sqlite:///"):
        return Path(url.removeprefix("sqlite:///"))
    plain = url.replace("postgresql+psycopg://", "postgresql://")
    line = (
        f"pg_dump --format=custom --file={file} '{plain}'"
        if verb == "backup"
        else f"pg_restore --clean --if-exists --single-transaction --dbname='{plain}' {file}"
    )
    raise NotPreparedError(f"{verb}-postgresql", f"PostgreSQL has its own tool for a {verb}", mend=line)

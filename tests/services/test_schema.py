"""The database as a whole: upgrade, check, backup, restore, health."""

from __future__ import annotations

import dataclasses
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotPreparedError, QuizsvcError
from quizsvc.services import practice, schema
from quizsvc.services.health import health
from quizsvc.settings import migrations_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer
from tests.migrations.test_migrations import contents, filled  # noqa: F401
from tests.services.drills import answer, begin, count, right, start


class TestUpgrade:
    """`db upgrade` and `db check`."""

    def test_from_nothing(self, settings):
        """Says what it did; a second time there is nothing to do."""
        head = migration.head(migrations_folder())
        assert schema.upgrade(settings) == f"the schema was brought from nothing to {head}"
        assert schema.upgrade(settings) == f"the schema is up to date ({head})"
        assert schema.check(settings) == f"the schema is up to date ({head})"

    def test_an_empty_database_is_not_prepared(self, settings):
        """Both commands are named, in the order they are typed."""
        with pytest.raises(NotPreparedError) as caught:
            schema.require_current(settings)

        assert caught.value.mend == "quizsvc db upgrade, then quizsvc bank load"

    def test_an_older_schema_names_the_command(self, settings, db):
        """Told by its migration."""
        _say(db, "20200101_older")
        with pytest.raises(NotPreparedError):
            schema.require_current(settings)

    def test_a_newer_schema_is_left_alone(self, settings, db):
        """Neither upgraded nor served."""
        _say(db, "20990101_newer")
        for refused in (schema.upgrade, schema.check, schema.require_current):
            with pytest.raises(NotPreparedError) as caught:
                refused(settings)
            assert caught.value.reference == "schema-newer"

    def test_a_schema_changed_by_hand(self, settings, db):
        """Right migration, other tables: says what differs."""
        with db.writing_rows() as connection:
            connection.exec_driver_sql("ALTER TABLE grade DROP COLUMN why")
        with pytest.raises(ConflictError, match="why"):
            schema.check(settings)

    def test_two_at_once(self, settings):
        """Both end well, and the schema is there once."""
        said = []
        threads = [threading.Thread(target=lambda: said.append(schema.upgrade(settings))) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert len(said) == 2
        assert schema.check(settings)


def _say(db, version):
    with db.writing_rows() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = :version"), {"version": version})


class TestBackup:
    """`db backup FILE` and `db restore FILE`."""

    def test_postgresql_names_its_own_tools(self, backend, settings, tmp_path):
        """The line to type, with the file; on SQLite the commands do it themselves."""
        if backend == "sqlite":
            return
        with pytest.raises(NotPreparedError) as caught:
            schema.backup(settings, tmp_path / "copy")
        assert caught.value.mend.startswith("pg_dump ")
        assert str(tmp_path / "copy") in caught.value.mend
        with pytest.raises(NotPreparedError) as caught:
            schema.restore(settings, tmp_path / "copy")
        assert caught.value.mend.startswith("pg_restore ")


class TestEmbedded:
    """Backup and restore of the file."""

    @pytest.fixture
    def backend(self):
        """The embedded database alone."""
        return "sqlite"

    def test_a_filled_database_comes_back(self, settings, filled, tmp_path, clock):  # noqa: F811
        """Backup while in use, more answers, restore: every row is as at the backup, and the other file is kept."""
        before = contents(filled)
        said = schema.backup(settings, tmp_path / "copy.db")
        assert "whole" in said
        person = begin(filled, clock).person
        assert contents(filled) != before
        filled.close()
        said = schema.restore(settings, tmp_path / "copy.db")

        database = schema.open_database(settings)
        assert contents(database) == before
        database.close()
        assert schema.check(settings)
        kept = next(tmp_path.glob("*.before-restore-*.db"))
        assert str(kept) in said
        with sqlite3.connect(kept) as connection:
            assert connection.execute("SELECT count(*) FROM person WHERE id = ?", (person.id,)).fetchone() == (1,)
        connection.close()

    def test_backup_during_writing(self, settings, bank_db, clock, rng, tmp_path):
        """Copies made while answers are written are each whole, and hold a state that really was."""
        person = begin(bank_db, clock).person
        drill = start(bank_db, clock, rng, person.id, minutes=60)
        done = threading.Event()

        def write():
            try:
                for question in drill.questions:
                    answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
            finally:
                done.set()

        writer = threading.Thread(target=write)
        writer.start()
        copies = []
        while not done.is_set():
            copies.append(tmp_path / f"copy-{len(copies)}.db")
            schema.backup(settings, copies[-1])
        writer.join()

        counts = []
        for copy in copies:
            database = Database.open(f"sqlite:///{copy}")
            counts.append(count(database, Answer))
            database.close()
        assert counts == sorted(counts)
        assert count(bank_db, Answer) == len(drill.questions)

    def test_a_copy_can_be_used(self, settings, filled, tmp_path, clock):  # noqa: F811
        """The service runs on a copy as on the original."""
        schema.backup(settings, tmp_path / "copy.db")
        copied = dataclasses.replace(settings, database_url=f"sqlite:///{tmp_path / 'copy.db'}")
        assert schema.check(copied)
        database = schema.open_database(copied)
        assert practice.open_set(database, begin(database, clock).person.id, now=clock()) is None
        database.close()

    def test_never_over_a_file(self, settings, db, tmp_path):
        """Whatever stands there stays."""
        (tmp_path / "copy.db").write_text("precious")
        with pytest.raises(InputError):
            schema.backup(settings, tmp_path / "copy.db")

        assert (tmp_path / "copy.db").read_text() == "precious"

    @pytest.mark.parametrize("place", ["missing/copy.db", "file/copy.db"])
    def test_where_there_is_no_folder(self, settings, db, tmp_path, place):
        """Says so, and leaves nothing."""
        (tmp_path / "file").write_text("")
        with pytest.raises(InputError):
            schema.backup(settings, tmp_path / place)

    def test_without_a_database(self, settings, tmp_path):
        """Names the command; makes no empty file."""
        with pytest.raises(NotPreparedError):
            schema.backup(settings, tmp_path / "copy.db")

        assert list(tmp_path.glob("*.db")) == []

    @pytest.mark.parametrize(
        ("made", "reference"),
        [
            ("text", "database-foreign"),
            ("another database", "database-foreign"),
            ("newer", "restore-newer"),
            ("cut off", None),
            ("nothing", "restore-missing"),
            ("itself", "restore-itself"),
        ],
    )
    def test_what_restore_refuses(self, settings, filled, tmp_path, made, reference):  # noqa: F811
        """And the database stays as it is."""
        file = tmp_path / "given.db"
        schema.backup(settings, file)
        if made == "text":
            file.write_text("no database at all" * 100)
        elif made == "another database":
            file.unlink()
            with sqlite3.connect(file) as connection:
                connection.execute("CREATE TABLE t (x)")
            connection.close()
        elif made == "newer":
            with sqlite3.connect(file) as connection:
                connection.execute("UPDATE alembic_version SET version_num = '20990101_newer'")
            connection.close()
        elif made == "cut off":
            file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
        elif made == "nothing":
            file.unlink()
        else:
            file = Path(settings.database_url.removeprefix("sqlite:///"))
        before = contents(filled)
        filled.close()
        with pytest.raises(QuizsvcError) as caught:
            schema.restore(settings, file)

        assert reference is None or caught.value.reference == reference
        database = schema.open_database(settings)
        assert contents(database) == before
        database.close()

    def test_restore_while_the_service_runs(self, settings, filled, tmp_path):  # noqa: F811
        """Refused while another connection is open; nothing is moved."""
        schema.backup(settings, tmp_path / "copy.db")
        with filled.reading_rows() as connection:
            connection.exec_driver_sql("SELECT count(*) FROM person").scalar()
            with pytest.raises(ConflictError) as caught:
                schema.restore(settings, tmp_path / "copy.db")

        assert caught.value.reference == "restore-in-use"
        assert list(tmp_path.glob("*before-restore*")) == []
        with filled.reading_rows() as connection:
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"

    def test_restore_over_a_damaged_database(self, settings, filled, tmp_path):  # noqa: F811
        """That is what a backup is for: the damaged file is kept aside."""
        before = contents(filled)
        schema.backup(settings, tmp_path / "copy.db")
        filled.close()
        Path(settings.database_url.removeprefix("sqlite:///")).write_bytes(b"\0" * 5000)
        schema.restore(settings, tmp_path / "copy.db")

        database = schema.open_database(settings)
        assert contents(database) == before
        database.close()

    def test_restore_into_nothing(self, settings, filled, tmp_path):  # noqa: F811
        """A new machine: the folder is made."""
        before = contents(filled)
        schema.backup(settings, tmp_path / "copy.db")
        elsewhere = dataclasses.replace(settings, database_url=f"sqlite:///{tmp_path / 'new' / 'machine.db'}")
        schema.restore(elsewhere, tmp_path / "copy.db")

        database = schema.open_database(elsewhere)
        assert contents(database) == before
        database.close()

    def test_a_backup_in_a_folder_that_cannot_be_written(self, settings, filled, tmp_path):  # noqa: F811
        """A read-only medium is read without leaving files beside the backup."""
        medium = tmp_path / "medium"
        medium.mkdir()
        schema.backup(settings, medium / "copy.db")
        shutil.copytree(medium, tmp_path / "as it was")
        filled.close()
        medium.chmod(0o555)
        try:
            schema.restore(settings, medium / "copy.db")
            assert [file.name for file in medium.iterdir()] == ["copy.db"]
        finally:
            medium.chmod(0o755)


class TestHealth:
    """What /health says."""

    def test_all_is_well(self, bank_db, backend):
        """Database, migration, bank; nothing about where they are."""
        state = health(bank_db)

        assert state.ok
        assert state.database == {"sqlite": "SQLite", "postgresql": "PostgreSQL"}[backend]
        assert state.migration == migration.head(migrations_folder())
        assert state.bank.startswith("17 live items")

    def test_no_bank(self, db):
        """Names the command."""
        state = health(db)

        assert not state.ok
        assert "quizsvc bank load" in state.bank

    def test_no_schema(self, database_url):
        """Names the command."""
        database = Database.open(database_url)
        state = health(database)
        database.close()

        assert not state.ok
        assert "quizsvc db upgrade" in state.migration

    def test_no_database(self):
        """Not reachable, and no address, user or driver's word in it. Port 9 of loopback has no PostgreSQL."""
        database = Database.open("postgresql+psycopg://nobody@127.0.0.1:9/nothing")
        state = health(database)
        database.close()

        assert not state.ok
        assert state.database == "PostgreSQL: not reachable"

"""The two kinds of unit of work, and what becomes of the driver's errors."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, datetime, timedelta, timezone

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotPreparedError, QuizsvcError, StoreUnavailableError
from quizsvc.store.session import Database
from quizsvc.store.tables import BankLoad, PersonRole, SignInFailure

AT = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def _failure(at=AT, name="somebody", address="192.0.2.1"):
    return SignInFailure(name_key=name, address=address, at=at)


def _count(database):
    with database.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(SignInFailure))


class TestUnitOfWork:
    """All of it or nothing."""

    def test_what_is_written_is_kept(self, db):
        """The end of the block stores it."""
        with db.writing() as session:
            session.add(_failure())

        assert _count(db) == 1

    def test_an_error_in_the_block_undoes_all_of_it(self, db):
        """Nothing of a unit stays where its block raises, and the error passes as it is."""
        with pytest.raises(KeyError, match="ours"), db.writing() as session:
            session.add(_failure())
            session.flush()
            raise KeyError("ours")

        assert _count(db) == 0

    def test_reading_and_writing_with_bare_connections(self, db):
        """The hot path's units behave alike."""
        with db.writing_rows() as connection:
            connection.execute(sa.insert(SignInFailure).values(name_key="a", address="b", at=AT))
        with pytest.raises(KeyError), db.writing_rows() as connection:
            connection.execute(sa.insert(SignInFailure).values(name_key="c", address="d", at=AT))
            raise KeyError

        with db.reading_rows() as connection:
            assert [row.name_key for row in connection.execute(sa.select(SignInFailure.name_key))] == ["a"]


class TestEmbedded:
    """How SQLite is set up."""

    @pytest.fixture
    def embedded(self, tmp_path):
        database = Database.open(f"sqlite:///{tmp_path / 'made' / 'here.db'}", busy_timeout_s=0.3)
        yield database
        database.close()

    @pytest.mark.parametrize(
        ("pragma", "value"),
        [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 300)],
    )
    def test_pragmas(self, embedded, pragma, value):
        """WAL, FULL (2 in SQLite's manual, PRAGMA synchronous), foreign keys and a busy timeout in every connection."""
        with embedded.reading_rows() as connection:
            assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value

    def test_a_writing_unit_holds_the_lock_from_its_first_statement(self, embedded):
        """BEGIN IMMEDIATE: a second writer waits at its beginning, and never fails in the middle."""
        with embedded.writing_rows() as connection:
            connection.exec_driver_sql("CREATE TABLE t (x)")
        with embedded.writing_rows() as connection:
            connection.exec_driver_sql("SELECT * FROM t").all()

            with pytest.raises(StoreUnavailableError) as caught, embedded.writing_rows():
                pass

        assert caught.value.reference == "store-unavailable"

    def test_a_reading_unit_does_not_wait_for_a_writer(self, embedded):
        """Readers see the state before the writer's and never queue."""
        with embedded.writing_rows() as connection:
            connection.exec_driver_sql("CREATE TABLE t (x)")
        with embedded.writing_rows() as writer:
            writer.exec_driver_sql("INSERT INTO t VALUES (1)")
            with embedded.reading_rows() as reader:
                assert reader.exec_driver_sql("SELECT count(*) FROM t").scalar() == 0

    def test_many_writers_in_turn(self, tmp_path):
        """Eight threads that read before they write lose no update: 8 times 25 make 200."""
        database = Database.open(f"sqlite:///{tmp_path / 'turns.db'}", busy_timeout_s=20)
        with database.writing_rows() as connection:
            connection.exec_driver_sql("CREATE TABLE t (x INTEGER)")
            connection.exec_driver_sql("INSERT INTO t VALUES (0)")
        faults = []

        def add():
            try:
                for _ in range(25):
                    with database.writing_rows() as connection:
                        x = connection.exec_driver_sql("SELECT x FROM t").scalar()
                        connection.exec_driver_sql("UPDATE t SET x = ?", (x + 1,))
            except QuizsvcError as fault:
                faults.append(fault)

        threads = [threading.Thread(target=add) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        with database.reading_rows() as connection:
            assert (connection.exec_driver_sql("SELECT x FROM t").scalar(), faults) == (200, [])
        database.close()

    def test_a_new_file_that_several_open_at_once(self, tmp_path):
        """Each switches it to the write-ahead log; SQLite turns some away at once, and they ask again."""
        turned_away = []

        def open_it(database, together):
            together.wait()
            try:
                with database.engine.connect():
                    pass
            except sa.exc.OperationalError as fault:
                turned_away.append(fault)

        for number in range(20):
            url = f"sqlite:///{tmp_path / f'new-{number}.db'}"
            databases, together = [Database.open(url) for _ in range(8)], threading.Barrier(8)
            threads = [threading.Thread(target=open_it, args=(one, together)) for one in databases]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            for one in databases:
                one.close()

        assert turned_away == []

    def test_a_folder_that_cannot_be_made(self, tmp_path):
        """The sentence names the place and not the driver's words."""
        (tmp_path / "file").write_text("")
        with pytest.raises(StoreUnavailableError) as caught:
            Database.open(f"sqlite:///{tmp_path / 'file' / 'x.db'}")

        assert caught.value.where == str(tmp_path / "file" / "x.db")

    def test_a_file_that_is_no_database(self, tmp_path):
        """Nothing of SQLite's error leaves the store."""
        (tmp_path / "x.db").write_bytes(b"something else entirely" * 100)
        database = Database.open(f"sqlite:///{tmp_path / 'x.db'}")
        with pytest.raises(StoreUnavailableError), database.reading_rows():
            pass
        database.close()


class TestErrors:
    """What a driver throws becomes ours, on both databases, without its words."""

    def test_a_missing_table_names_the_command(self, database_url):
        """An empty database was not prepared."""
        database = Database.open(database_url)
        with pytest.raises(NotPreparedError) as caught, database.reading() as session:
            session.scalars(sa.select(BankLoad)).all()
        database.close()

        assert caught.value.mend == "quizsvc db upgrade"

    def test_a_row_that_points_nowhere_is_a_conflict(self, db):
        """Foreign keys hold on both databases."""
        with pytest.raises(ConflictError) as caught, db.writing() as session:
            session.add(PersonRole(person_id=987654, role="pilot"))

        assert "person" not in str(caught.value)

    def test_a_value_that_postgresql_cannot_hold(self, db, backend):
        """NUL in a text, had it passed the edge: an input error on PostgreSQL; SQLite stores it (platform.md, 3)."""
        if backend == "sqlite":
            with db.writing() as session:
                session.add(_failure(name="a\0b"))
            assert _count(db) == 1
        else:
            with pytest.raises(QuizsvcError), db.writing() as session:
                session.add(_failure(name="a\0b"))
            assert _count(db) == 0

    def test_our_own_errors_pass_as_they_are(self, db):
        """Only the driver's are translated."""
        with pytest.raises(InputError, match="as it is"), db.writing():
            raise InputError("x", "as it is")

    def test_a_server_that_is_not_there(self):
        """A refused connection is an unavailable store. Port 9 (discard) of loopback has no PostgreSQL."""
        database = Database.open("postgresql+psycopg://nobody@127.0.0.1:9/nothing")
        with pytest.raises(StoreUnavailableError), database.reading_rows():
            pass
        database.close()


class TestTimes:
    """Times are aware and come back in UTC."""

    def test_the_instant_is_kept(self, db):
        """12:00+05:00 is 07:00 UTC on both databases; SQLAlchemy's own type gives 12:00 on SQLite (platform.md, 3)."""
        given = datetime(2026, 3, 2, 12, 0, 0, 123456, tzinfo=timezone(timedelta(hours=5)))
        with db.writing() as session:
            session.add(_failure(at=given))

        with db.reading() as session:
            kept = session.scalar(sa.select(SignInFailure.at))
        assert kept == given
        assert (kept.hour, kept.utcoffset()) == (7, timedelta())

    def test_a_time_without_a_zone_is_refused(self, db):
        """A naive time is a mistake of ours and never stored."""
        with pytest.raises(sa.exc.StatementError, match="without a zone"), db.writing() as session:
            session.add(_failure(at=datetime(2026, 3, 2)))

        assert _count(db) == 0

    def test_order_is_the_order_of_time(self, db):
        """Comparisons in the database agree with those of Python, across zones and with or without microseconds."""
        times = [AT + timedelta(microseconds=step) for step in (-1, 0, 1, 999_999, 1_000_000)]
        zones = [timezone(timedelta(hours=hours)) for hours in (-11, 0, 3, 14, -3)]
        with db.writing() as session:
            session.add_all(_failure(at=time.astimezone(zone)) for time, zone in zip(times, zones, strict=True))

        with db.reading() as session:
            later = session.scalars(
                sa.select(SignInFailure.at).where(SignInFailure.at > AT).order_by(SignInFailure.at)
            ).all()
        assert later == times[2:]


def test_sqlite_is_new_enough():
    """RETURNING and partial indexes as the store uses them need SQLite 3.35 (its release notes of 2021-03-12)."""
    assert sqlite3.sqlite_version_info >= (3, 35)

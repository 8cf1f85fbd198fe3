"""The database locked or gone in the middle of a request: nothing is stored, and sending again stores it once."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3

import psycopg
import pytest

from quizsvc.errors import StoreUnavailableError
from quizsvc.services import accounts, holds, practice
from quizsvc.services.health import health
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, Grade
from tests.conftest import POSTGRES_URL
from tests.factories import new_uuid
from tests.services.drills import answer, begin, count, right, start
from tests.services.test_answers import memory, same_as_replayed


@pytest.fixture
def impatient(bank_db, database_url):
    """The same database, by a service that waits 0.3 s for a lock."""
    database = Database.open(database_url, busy_timeout_s=0.3)
    yield database
    database.close()


@contextlib.contextmanager
def locked(backend, url, person_id):
    """A real lock, held by another connection: the whole file, or the learner's row."""
    if backend == "sqlite":
        connection = sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None)
        connection.execute("BEGIN IMMEDIATE")
    else:
        connection = psycopg.connect(url.replace("+psycopg", ""))
        connection.execute("SELECT * FROM learner WHERE person_id = %s FOR UPDATE", (person_id,))
    yield
    connection.rollback()
    connection.close()


def refused(work):
    """The error of something that cannot be stored now: its sentence says so and holds no word of a driver."""
    with pytest.raises(StoreUnavailableError) as caught:
        work()
    said = str(caught.value).lower()
    assert "not stored" in said
    assert not any(word in said for word in ("sql", "psycopg", "locked", "timeout", "connection", "select", "insert"))
    return caught.value


def test_locked(impatient, bank_db, backend, database_url, clock, rng):
    """While the lock is held the answer is refused; sent again afterwards it is stored once."""
    person = begin(bank_db, clock).person
    question = start(bank_db, clock, rng, person.id).questions[0].id
    raw = right(bank_db, question)
    uuid = new_uuid()
    with locked(backend, database_url, person.id):
        refused(lambda: answer(impatient, clock, person.id, question, raw, uuid=uuid))
        refused(lambda: start(impatient, clock, rng, person.id))
        # Reading goes on meanwhile.
        assert practice.question_view(impatient, person.id, question, now=clock()).feedback is None
        assert holds.thin_spots(impatient, person.id, now=clock()).rows == ()
    assert count(bank_db, Answer) == 0

    first = answer(impatient, clock, person.id, question, raw, uuid=uuid)
    again = answer(impatient, clock, person.id, question, raw, uuid=uuid)
    assert (first.already_stored, again.already_stored) == (False, True)
    assert [count(bank_db, table) for table in (Answer, Grade)] == [1, 1]


def test_a_visit_does_not_need_the_lock(impatient, bank_db, backend, database_url, clock):
    """Who is asking is known while somebody else writes; the note of the visit is made another time."""
    somebody = begin(bank_db, clock)
    clock.advance(hours=1)
    with locked(backend, database_url, somebody.person.id):
        assert accounts.person_of(impatient, somebody.token, now=clock()) == somebody.person


# The writes of recording an answer, in their order; the fault comes with one of them.
WRITES = ("UPDATE ON learner", "INSERT ON answer", "INSERT ON grade", "INSERT ON concept_state")


@pytest.mark.postgres
class TestServer:
    """What can happen to a server."""

    @pytest.fixture
    def backend(self):
        """PostgreSQL alone."""
        if not POSTGRES_URL:
            pytest.skip("needs QUIZSVC_TEST_POSTGRES_URL, which tests/run sets")
        return "postgresql"

    @pytest.mark.parametrize("write", [*WRITES, "COMMIT"])
    def test_the_server_ends_the_connection(self, bank_db, clock, rng, write):
        """pg_terminate_backend in the middle of recording: not stored, and the next sending stores it once."""
        person = begin(bank_db, clock).person
        drill = start(bank_db, clock, rng, person.id)
        answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True})
        before = memory(bank_db, person.id)
        question = drill.questions[1].id
        raw = right(bank_db, question)
        uuid = new_uuid()
        with bank_db.writing_rows() as connection:
            connection.exec_driver_sql(
                "CREATE FUNCTION end_it() RETURNS trigger LANGUAGE plpgsql AS "
                "'BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); RETURN NEW; END'"
            )
            connection.exec_driver_sql(
                "CREATE CONSTRAINT TRIGGER ends AFTER INSERT ON answer DEFERRABLE INITIALLY DEFERRED "
                "FOR EACH ROW EXECUTE FUNCTION end_it()"
                if write == "COMMIT"
                else f"CREATE TRIGGER ends BEFORE {write} FOR EACH ROW EXECUTE FUNCTION end_it()"
            )
        for _ in range(2):
            refused(lambda: answer(bank_db, clock, person.id, question, raw, uuid=uuid))
        assert count(bank_db, Answer) == 1
        assert memory(bank_db, person.id) == before
        with bank_db.writing_rows() as connection:
            connection.exec_driver_sql("DROP FUNCTION end_it CASCADE")

        first = answer(bank_db, clock, person.id, question, raw, uuid=uuid)
        again = answer(bank_db, clock, person.id, question, raw, uuid=uuid)
        assert (first.already_stored, again.already_stored, first.feedback.outcome) == (False, True, "full")
        assert [count(bank_db, table) for table in (Answer, Grade)] == [2, 2]
        assert same_as_replayed(bank_db, clock, person.id)

    def test_the_server_starts_again_between_requests(self, server, bank_db, database_url, clock, rng):
        """Connections that ended while idle are noticed when they are wanted: nobody is told anything."""
        person = begin(bank_db, clock).person
        drill = start(bank_db, clock, rng, person.id)
        for question in drill.questions[:3]:
            assert server.end_connections(database_url) >= 1
            assert not answer(bank_db, clock, person.id, question.id, {"pass": True}).already_stored

        assert count(bank_db, Answer) == 3


class TestEmbedded:
    """What can happen to a file."""

    @pytest.fixture
    def backend(self):
        """The embedded database alone."""
        return "sqlite"

    @pytest.mark.parametrize("write", WRITES)
    def test_the_disk_is_full(self, bank_db, clock, rng, write):
        """SQLite's own error, in the middle of recording: nothing of the answer stays; with room again it is stored."""
        person = begin(bank_db, clock).person
        drill = start(bank_db, clock, rng, person.id, minutes=60)
        for question in drill.questions[:5]:
            answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
        before = memory(bank_db, person.id)
        question = drill.questions[6].id
        raw = right(bank_db, question)
        uuid = new_uuid()
        with bank_db.writing_rows() as connection:
            connection.exec_driver_sql("CREATE TABLE filler (x)")
            connection.exec_driver_sql(
                f"CREATE TRIGGER fills BEFORE {write} BEGIN INSERT INTO filler VALUES (zeroblob(1000000)); END"
            )
            # No more pages than there are now; only this connection knows of the limit.
            connection.exec_driver_sql("PRAGMA max_page_count = 1")
        refused(lambda: answer(bank_db, clock, person.id, question, raw, uuid=uuid))
        assert count(bank_db, Answer) == 5
        assert memory(bank_db, person.id) == before
        with bank_db.writing_rows() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 1000000")

        assert not answer(bank_db, clock, person.id, question, raw, uuid=uuid).already_stored
        assert count(bank_db, Answer) == 6
        assert same_as_replayed(bank_db, clock, person.id)

    def test_the_file_is_gone(self, bank_db, database_url, clock, rng, tmp_path):
        """A folder that is not mounted: refused with a sentence; mounted again, the answer is stored."""
        person = begin(bank_db, clock).person
        question = start(bank_db, clock, rng, person.id).questions[0].id
        raw = right(bank_db, question)
        bank_db.close()
        elsewhere = tmp_path / "mounted"
        elsewhere.mkdir()
        shutil.copyfile(database_url.removeprefix("sqlite:///"), elsewhere / "quizsvc.db")
        database = Database.open(f"sqlite:///{elsewhere / 'quizsvc.db'}", busy_timeout_s=0.3)
        elsewhere.rename(tmp_path / "away")
        refused(lambda: answer(database, clock, person.id, question, raw))
        assert not health(database).ok
        (tmp_path / "away").rename(elsewhere)

        assert answer(database, clock, person.id, question, raw).feedback.outcome == "full"
        database.close()

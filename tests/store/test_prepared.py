"""Prepared statements give what SQLAlchemy's own execution gives, on both databases."""

from __future__ import annotations

import threading
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, StoreUnavailableError
from quizsvc.services import practice
from quizsvc.store import recording
from quizsvc.store.prepared import Prepared
from quizsvc.store.tables import Answer, Grade, Person, Question, SignInFailure
from tests.services.drills import answer, begin, right, start

AT = datetime(2026, 3, 2, 9, 0, 0, 123456, tzinfo=UTC)
COLUMNS = ("name_key", "address", "at")


@pytest.mark.parametrize("table", [Answer, Grade, Question, Person])
def test_every_type_comes_back_alike(bank_db, clock, rng, table):
    """Times, JSON, booleans, floats, dates and NULLs of rows that the service has written."""
    person = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, person.id, minutes=60)
    for question in drill.questions:
        answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
    statement = sa.select(table.__table__).order_by(*table.__table__.primary_key.columns)
    with bank_db.glance() as rows:
        prepared = Prepared(statement).all(rows, {})
    with bank_db.reading_rows() as connection:
        expected = connection.execute(statement).all()

    assert [row._asdict() for row in prepared] == [row._asdict() for row in expected]
    assert prepared


def test_written_values_are_the_same(db):
    """A row written by a prepared INSERT reads like one written by SQLAlchemy."""
    insert = sa.insert(SignInFailure)
    values = {"name_key": "a", "address": "192.0.2.1", "at": AT}
    with db.recording() as rows:
        Prepared(insert.inline(), COLUMNS).run(rows, values)
    with db.writing_rows() as connection:
        connection.execute(insert, values)

    with db.reading_rows() as connection:
        first, second = connection.execute(sa.select(SignInFailure).order_by(SignInFailure.id)).all()
    assert tuple(first)[1:] == tuple(second)[1:]


def test_it_runs_on_both_kinds_of_connection(db):
    """Inside a unit of SQLAlchemy's, too: the way of a rebuild."""
    count = Prepared(sa.select(sa.func.count().label("many")).select_from(SignInFailure))
    with db.writing_rows() as connection:
        Prepared(sa.insert(SignInFailure).inline(), COLUMNS).run(
            connection, {"name_key": "a", "address": "b", "at": AT}
        )
        assert count.first(connection, {}).many == 1
    with db.glance() as rows:
        assert count.first(rows, {}).many == 1


def test_an_error_undoes_the_unit(db):
    """Ours pass as they are, the driver's are translated; nothing stays; the connection can be used again."""
    insert = Prepared(sa.insert(SignInFailure).inline(), COLUMNS)
    values = {"name_key": "a", "address": "b", "at": AT}
    with pytest.raises(KeyError, match="ours"), db.recording() as rows:
        insert.run(rows, values)
        raise KeyError("ours")
    with pytest.raises(ConflictError), db.recording() as rows:
        insert.run(rows, values)
        insert.run(rows, values | {"name_key": None})
    with db.recording() as rows:
        insert.run(rows, values)

    with db.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(SignInFailure)) == 1


def test_a_unit_waits_for_the_lock_of_another(bank_db, backend):
    """On SQLite a second writer gives up after the busy timeout, at its beginning."""
    if backend == "postgresql":
        return
    from quizsvc.store.session import Database

    impatient = Database.open(bank_db.url, busy_timeout_s=0.2)
    with bank_db.recording(), pytest.raises(StoreUnavailableError), impatient.recording():
        pass
    impatient.close()


def test_many_threads_compile_it_at_once(bank_db, clock, rng):
    """Ten threads that run a fresh statement for the first time see converted rows, never raw ones."""
    person = begin(bank_db, clock).person
    start(bank_db, clock, rng, person.id)
    statement = Prepared(sa.select(Question.issued_at, Question.drawn).limit(1))
    found = []
    gate = threading.Barrier(10)

    def look():
        gate.wait()
        with bank_db.glance() as rows:
            found.append(statement.first(rows, {}))

    threads = [threading.Thread(target=look) for _ in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert {type(row.issued_at) for row in found} == {datetime}
    assert {type(row.drawn) for row in found} == {dict}
    assert len(found) == 10


def test_the_version_guards_the_log(bank_db, clock, rng):
    """A write that was prepared from an older state of the log touches nothing."""
    person = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, person.id)
    question = drill.questions[0].id
    with bank_db.glance() as rows:
        row = recording.fetch(rows, person.id, question, "0" * 36)
    answer(bank_db, clock, person.id, drill.questions[1].id, {"pass": True})
    with bank_db.recording() as rows:
        assert not recording.store_learner(rows, person.id, row.version, {}, clock())
    with bank_db.glance() as rows:
        after = recording.fetch(rows, person.id, question, "0" * 36)

    assert after.version == row.version + 1
    assert after.learner_state != {}
    assert practice.question_view(bank_db, person.id, question, now=clock()).feedback is None

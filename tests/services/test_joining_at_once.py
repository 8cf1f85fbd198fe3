"""A code that a whole classroom uses in the same second, and that ends meanwhile: real threads, both databases."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, Event

import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import joining
from quizsvc.store import groups
from quizsvc.store.tables import JoinCode, Membership
from tests.services import school

CLASS = 20


def _class(db, clock):
    """A group with a code; returns (instructor, group, code)."""
    by = school.instructor(db, now=clock())
    group = school.group(db, by, now=clock())
    return by, group, joining.make_code(db, by, group, rng=school.RNG, now=clock())


def _members(db, group):
    with db.reading() as session:
        return session.execute(
            sa.select(Membership.person_id, Membership.state).where(
                Membership.group_id == group, Membership.part == "student"
            )
        ).all()


def test_twenty_at_once(db, clock):
    """Each is in the list once, waiting for the yes."""
    _, group, code = _class(db, clock)
    people = [school.person(db, f"Student {number:02d}", now=clock()) for number in range(CLASS)]
    together = Barrier(CLASS)

    def join(person):
        together.wait(timeout=30)
        return joining.join(db, person, code, now=clock()).state

    with ThreadPoolExecutor(CLASS) as threads:
        states = list(threads.map(join, people))
    assert states == ["waiting"] * CLASS
    assert sorted(_members(db, group)) == [(person, "waiting") for person in sorted(people)]


def test_one_person_on_three_devices_at_once(db, clock):
    """One membership; all three are told the same."""
    _, group, code = _class(db, clock)
    person = school.person(db, "Student 01", now=clock())
    together = Barrier(3)

    def join(_):
        together.wait(timeout=30)
        return joining.join(db, person, code, now=clock()).state

    with ThreadPoolExecutor(3) as threads:
        assert list(threads.map(join, range(3))) == ["waiting"] * 3
    assert _members(db, group) == [(person, "waiting")]


def test_twenty_while_the_code_ends(db, clock):
    """Whoever was told that they wait is in the list, whoever was told that the code has ended is not."""
    by, group, code = _class(db, clock)
    people = [school.person(db, f"Student {number:02d}", now=clock()) for number in range(CLASS)]
    together = Barrier(CLASS + 1)

    def join(person):
        together.wait(timeout=30)
        try:
            return person, joining.join(db, person, code, now=clock()).state
        except NotFoundError as error:
            return person, error.reference

    def end():
        together.wait(timeout=30)
        joining.end_code(db, by, group, now=clock())

    with ThreadPoolExecutor(CLASS + 1) as threads:
        ended = threads.submit(end)
        told = dict(threads.map(join, people))
        ended.result()
    assert set(told.values()) <= {"waiting", "code-not-usable"}
    assert dict(tuple(row) for row in _members(db, group)) == {
        person: word for person, word in told.items() if word == "waiting"
    }


def test_who_waited_for_the_end_of_the_code_is_not_let_in(db, clock):
    """The code is good when the request begins and ended when its turn comes: it is the order of turns that counts."""
    _, group, code = _class(db, clock)
    person = school.person(db, "Student 01", now=clock())
    begun = Event()

    def join():
        begun.set()
        try:
            return joining.join(db, person, code, now=clock()).state
        except NotFoundError as error:
            return error.reference

    with ThreadPoolExecutor(1) as threads:
        with db.writing() as session:
            groups.lock(session, group)
            session.execute(sa.update(JoinCode).where(JoinCode.code == code).values(ended_at=clock()))
            joined = threads.submit(join)
            assert begun.wait(timeout=30)
            _wait_until_it_waits(db, joined)
        assert joined.result(timeout=30) == "code-not-usable"
    assert _members(db, group) == []


def _wait_until_it_waits(db, joined):
    """On PostgreSQL until its request stands at our lock; SQLite lets no second writer begin at all."""
    for _ in range(600):
        if db.engine.dialect.name == "sqlite" or joined.done():
            return
        with db.engine.connect() as connection:
            waiting = connection.scalar(
                sa.text(
                    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
                    " AND wait_event_type = 'Lock'"
                )
            )
        if waiting:
            return
        Event().wait(0.05)
    raise AssertionError("the second request never came to the lock")

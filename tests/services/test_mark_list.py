"""The mark list: everybody with their state, the last try handed in, what is late, excused, extended or void."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import homework, mark_list, mark_row
from quizsvc.store.tables import Allowance, Look, Membership
from tests.services import assigned, handed_in
from tests.services.drills import count

ITEMS = ("essential-bus-feeds", "controller-dead-what-holds")
# Right; one of two keys without a false pick, which is half of it.
HALF = ["right", {"options": ["heads"]}]


def rows_of(db, by, assignment, clock, **how):
    return {row.name: row for row in mark_list.mark_list(db, by, assignment, now=clock(), **how).rows}


def allow(db, clock, assignment, person, what, until=None):
    with db.writing() as session:
        session.add(
            Allowance(
                assignment_id=assignment, person_id=person, what=what, until_at=until, reason="Ill.",
                taken_back=False, given_at=clock(),
            )
        )  # fmt: skip


def test_states_marks_and_credits(bank_db, clock):
    """One in time, one late, one begun, one excused, one with an extension, one with nothing yet."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, late_until_at=clock() + timedelta(days=9))
    handed_in.do(bank_db, clock, ids[0], assignment, HALF)
    homework.begin(bank_db, ids[2], assignment, now=clock(), rng=random.Random(2))
    allow(bank_db, clock, assignment, ids[3], "excused")
    allow(bank_db, clock, assignment, ids[4], "extension", clock() + timedelta(days=8))
    clock.advance(days=7, hours=1)
    handed_in.do(bank_db, clock, ids[1], assignment, ["right", "right"])
    handed_in.do(bank_db, clock, ids[4], assignment, ["wrong", "pass"])

    rows = rows_of(bank_db, by, assignment, clock, credits=True)
    assert [(name, row.state, row.mark.shown if row.mark else None, row.credits) for name, row in rows.items()] == [
        ("Student 01", "handed in", "1.5 of 2", (1.0, 0.5)),
        ("Student 02", "handed in late", "2 of 2", (1.0, 1.0)),
        ("Student 03", "begun", None, (None, None)),
        ("Student 04", "excused", None, (None, None)),
        ("Student 05", "handed in", "0 of 2", (0.0, 0.0)),
        ("Student 06", "nothing yet", None, (None, None)),
    ]
    assert rows["Student 05"].extended_until == clock() - timedelta(hours=1) + timedelta(days=1)


def test_the_last_try_handed_in_counts(bank_db, clock):
    """A better first one does not; both are there to be opened."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, students=1, tries=2)
    handed_in.do(bank_db, clock, ids[0], assignment, ["right", "right"])
    clock.advance(minutes=5)
    handed_in.do(bank_db, clock, ids[0], assignment, ["wrong", "right"])
    row = rows_of(bank_db, by, assignment, clock)["Student 01"]
    assert (row.mark.shown, row.tries, row.handed_in_at) == ("1 of 2", 2, clock())
    opened = mark_row.opened(bank_db, by, assignment, ids[0], now=clock())
    assert [(one.number, one.counts, one.mark.shown) for one in opened.tries] == [
        (2, True, "1 of 2"),
        (1, False, "2 of 2"),
    ]


def test_who_left_stays_with_what_they_did(bank_db, clock):
    """One left after handing in, one before doing anything: the first stays, at the end of the list."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, students=3)
    handed_in.do(bank_db, clock, ids[0], assignment, HALF)
    with bank_db.writing() as session:
        session.execute(
            sa.update(Membership).where(Membership.person_id.in_(ids[:2])).values(state="left", left_at=clock())
        )
    found = mark_list.mark_list(bank_db, by, assignment, now=clock())
    assert [(row.name, row.left) for row in found.rows] == [("Student 03", False), ("Student 01", True)]
    assert found.handed_in == 1


def test_what_is_open_of_a_work_is_nobodys_to_see(bank_db, clock):
    """Begun and not handed in: there is no row to open."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, students=1)
    homework.begin(bank_db, ids[0], assignment, now=clock(), rng=random.Random(2))
    with pytest.raises(NotFoundError):
        mark_row.opened(bank_db, by, assignment, ids[0], now=clock())
    assert count(bank_db, Look) == 0


def test_a_look_is_noted_for_the_person(bank_db, clock):
    """Who looked, at what, when; the list alone is no look at anybody."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, students=1)
    handed_in.do(bank_db, clock, ids[0], assignment, HALF)
    mark_list.mark_list(bank_db, by, assignment, now=clock())
    assert count(bank_db, Look) == 0
    mark_row.opened(bank_db, by, assignment, ids[0], now=clock())
    with bank_db.reading() as session:
        look = session.scalars(sa.select(Look)).one()
    assert (look.person_id, look.looked_by, look.what, look.at) == (
        ids[0], by, "homework: Bleed air for Monday", clock(),
    )  # fmt: skip


def test_others_are_told_it_is_not_there(bank_db, clock):
    """A student of the group, and somebody with the part who has lost the role."""
    by, ids, assignment = handed_in.school(bank_db, clock, ITEMS, students=1)
    handed_in.do(bank_db, clock, ids[0], assignment, HALF)
    former = assigned.add_person(bank_db, clock, "Rufio Castellane", roles=("pilot",))
    with bank_db.writing() as session:
        group = session.scalar(sa.select(Membership.group_id).where(Membership.person_id == by))
        session.add(
            Membership(
                group_id=group, person_id=former, part="instructor", state="in", asked_at=clock(), joined_at=clock()
            )
        )
    for person in (ids[0], former):
        for ask in (
            lambda who=person: mark_list.mark_list(bank_db, who, assignment, now=clock()),
            lambda who=person: mark_list.as_csv(bank_db, who, assignment, now=clock()),
            lambda who=person: mark_row.opened(bank_db, who, assignment, ids[0], now=clock()),
        ):
            with pytest.raises(NotFoundError) as told:
                ask()
            assert told.value.reference == "assignment-not-found"

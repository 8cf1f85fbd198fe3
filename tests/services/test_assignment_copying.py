"""Copying an assignment: the same items and rules for the same group or the next, and what no longer can be asked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import assignment_copying, handbook_revisions
from quizsvc.store.tables import Assignment, AssignmentPlace, CommonDraw, Group, Item, Notice, Revision, Squawk, Work
from tests.services import doing
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.drills import count

ITEMS = ["gate-slow-leak", "essential-bus-feeds", "highest-level-mental"]


@pytest.fixture
def teacher(bank_db, clock):
    """An instructor."""
    return add_person(bank_db, clock, "Rosmund Achterby", ("instructor",))


@pytest.fixture
def student(bank_db, clock):
    """A student of the first intake."""
    return add_person(bank_db, clock, "Ada Quill")


@pytest.fixture
def first(bank_db, clock, teacher, student):
    """Released in Zurich, a Sitting of 40 minutes: closes Mon 9 March 2026 10:00 UTC, late until Tue 11:30 UTC."""
    group = add_group(bank_db, clock, instructors=[teacher], students=[student])
    return add_assignment(
        bank_db,
        clock,
        group,
        ITEMS,
        numbers="common",
        feedback="after closing",
        tries=3,
        sitting_minutes=40,
        closes_at=datetime(2026, 3, 9, 10, tzinfo=UTC),
        late_until_at=datetime(2026, 3, 10, 11, 30, tzinfo=UTC),
    )


@pytest.fixture
def next_intake(bank_db, clock, teacher):
    """Another group of theirs, in New York."""
    return add_group(bank_db, clock, name="Umber intake", instructors=[teacher], zone="America/New_York")


def copied(db, clock, teacher, assignment_id, group_id):
    """Copy it; what comes back, and the row."""
    made = assignment_copying.copy(db, teacher, assignment_id, group_id, now=clock())
    with db.reading() as session:
        return made, session.get(Assignment, made.id)


def places(db, assignment_id):
    """Items and revisions in order."""
    with db.reading() as session:
        return session.execute(
            sa.select(AssignmentPlace.item_id, AssignmentPlace.revision_id)
            .where(AssignmentPlace.assignment_id == assignment_id)
            .order_by(AssignmentPlace.position)
        ).all()


def test_to_the_next_intake_with_rules_and_days_to_come(bank_db, clock, rng, teacher, student, first, next_intake):
    """A draft without anything drawn or anybody told; the first one is as it was."""
    doing.begin(bank_db, clock, rng, student, first)
    clock.advance(days=200)  # 18 September 2026
    before = (places(bank_db, first), count(bank_db, Work), count(bank_db, CommonDraw), count(bank_db, Notice))
    made, row = copied(bank_db, clock, teacher, first, next_intake)

    assert (made.group_name, made.places, made.left_out) == ("Umber intake", 3, ())
    assert (row.group_id, row.state, row.version, row.made_by) == (next_intake, "draft", 1, teacher)
    assert (row.title, row.numbers, row.feedback, row.tries, row.sitting_minutes) == (
        "Bleed air for Monday",
        "common",
        "after closing",
        3,
        40,
    )
    assert places(bank_db, made.id) == before[0]
    assert (count(bank_db, Work), count(bank_db, CommonDraw), count(bank_db, Notice)) == before[1:]
    # Zurich is UTC+1 in March, so it closed 11:00 and took late work until 12:30 the next day. New York is UTC-4 in
    # September (Energy Policy Act of 2005: summer time to the first Sunday of November): 15:00 and 16:30 UTC.
    assert row.opens_at is None
    assert row.closes_at == datetime(2026, 9, 25, 15, tzinfo=UTC)
    assert row.late_until_at == datetime(2026, 9, 26, 16, 30, tzinfo=UTC)


def test_to_the_same_group_without_late_work(bank_db, clock, teacher, student, first):
    """Twice, as two drafts of the same name; a draft can be copied too."""
    with bank_db.writing() as session:
        row = session.get(Assignment, first)
        row.late_until_at, group = None, row.group_id
    made, copy = copied(bank_db, clock, teacher, first, group)
    again, _ = copied(bank_db, clock, teacher, made.id, group)

    assert copy.late_until_at is None
    assert copy.closes_at - clock() == timedelta(days=7, hours=1)  # from 09:00 to 10:00 UTC
    assert len({first, made.id, again.id}) == 3
    assert places(bank_db, again.id) == places(bank_db, first)


def test_the_newest_revision_is_taken(bank_db, clock, teacher, first, next_intake):
    """Where the item has a newer text than the first assignment asked."""
    with bank_db.writing() as session:
        old = session.get(Revision, session.scalar(sa.select(Item.revision_id).where(Item.id == ITEMS[0])))
        values = {column.key: getattr(old, column.key) for column in sa.inspect(Revision).columns}
        newer = Revision(**(values | {"id": None, "number": old.number + 1, "hash": "f" * 64}))
        session.add(newer)
        session.flush()
        session.execute(sa.update(Item).where(Item.id == ITEMS[0]).values(revision_id=newer.id))
        number = newer.id
    made, _ = copied(bank_db, clock, teacher, first, next_intake)

    assert [revision for _, revision in places(bank_db, made.id)] == [
        number,
        *(revision for _, revision in places(bank_db, first)[1:]),
    ]


def test_what_can_no_longer_be_asked_is_left_out_and_named(bank_db, clock, teacher, first, next_intake):
    """Withdrawn by a newer handbook (C3), unread (C8), disputed, of another aircraft: the others keep their order."""
    more = [*ITEMS, "controller-dead-what-holds", "matter-1"]
    with bank_db.writing() as session:
        group = session.get(Assignment, first).group_id
    larger = add_assignment(bank_db, clock, group, more)
    reviewer = add_person(bank_db, clock, "Dunstan Okeby", ("reviewer",))
    # Of these only gate-slow-leak cites section 21-30 (tests.factories).
    handbook_revisions.record(
        bank_db, reviewer, folder="tolquenny-19", name="Revision 7", sections=["21-30"], now=clock()
    )
    with bank_db.writing() as session:
        session.execute(sa.update(Item).where(Item.id == "essential-bus-feeds").values(status="read"))
        session.add(
            Squawk(
                item_id="controller-dead-what-holds",
                revision_id=session.scalar(sa.select(Item.revision_id).where(Item.id == "controller-dead-what-holds")),
                text="Two are right.",
                status="open",
                withdrew=False,
                raised_at=clock(),
            )
        )
    made, _ = copied(bank_db, clock, teacher, larger, next_intake)

    assert [item for item, _ in places(bank_db, made.id)] == ["highest-level-mental", "matter-1"]
    assert [(one.item, one.why.split(":")[0]) for one in made.left_out] == [
        ("gate-slow-leak", "withdrawn"),
        ("essential-bus-feeds", "not live"),
        ("controller-dead-what-holds", "disputed"),
    ]

    with bank_db.writing() as session:
        session.get(Group, next_intake).aircraft = []
    made, _ = copied(bank_db, clock, teacher, larger, next_intake)
    assert [item for item, _ in places(bank_db, made.id)] == ["matter-1"]
    assert [one.why for one in made.left_out if one.item == "highest-level-mental"] == [assignment_copying.ELSEWHERE]


def test_where_nothing_is_left_nothing_is_made(bank_db, clock, teacher, first, next_intake):
    """In words."""
    with bank_db.writing() as session:
        session.get(Group, next_intake).aircraft = []
    with pytest.raises(InputError, match=r"not one item of 'Bleed air for Monday' can be asked in Umber intake"):
        assignment_copying.copy(bank_db, teacher, first, next_intake, now=clock())

    assert count(bank_db, Assignment) == 1


def test_neither_from_nor_to_a_group_of_others(bank_db, clock, teacher, student, first, next_intake):
    """Not found, and nothing made: another's group, a group that is not there, by another, by a student."""
    other = add_person(bank_db, clock, "Perel Ostrand", ("instructor",))
    theirs = add_group(bank_db, clock, name="Sienna intake", instructors=[other])
    for who, group in (
        (teacher, theirs),
        (teacher, 999),
        (other, theirs),
        (other, next_intake),
        (student, next_intake),
    ):
        with pytest.raises(NotFoundError):
            assignment_copying.copy(bank_db, who, first, group, now=clock())

    assert count(bank_db, Assignment) == 1

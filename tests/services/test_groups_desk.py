"""The Desk: what an instructor sees first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.errors import NotFoundError
from quizsvc.services import desk, joining
from quizsvc.store.tables import Assignment, Work
from tests.services import school

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def assignment(db, group_id, title, *, opens=None, closes=None, late=None, state="released"):
    """An assignment with its times, hours from noon."""
    at = {
        name: NOON + timedelta(hours=hours) if hours is not None else None
        for name, hours in (("opens_at", opens), ("closes_at", closes), ("late_until_at", late))
    }
    with db.writing() as session:
        made = Assignment(
            group_id=group_id, title=title, state=state, version=1, numbers="own", feedback="with the mark", tries=2,
            made_at=NOON, changed_at=NOON, released_at=None if state == "draft" else NOON, **at,
        )  # fmt: skip
        session.add(made)
        session.flush()
        return made.id


def test_what_closes_first_stands_first(bank_db, clock):
    """Own groups only; drafts apart; closed ones latest first; by noon of the day."""
    teacher = school.instructor(bank_db, now=clock())
    other = school.instructor(bank_db, "Rosmund Achterby", now=clock())
    intake = school.group(bank_db, teacher, now=clock())
    pilots = school.group(bank_db, teacher, "Line pilots", now=clock())
    for title, group_id, opens, closes, late, state in (
        ("no end", intake, -1, None, None, "released"),
        ("in a week", intake, -1, 168, None, "released"),
        ("tomorrow", pilots, 2, 24, None, "released"),
        ("late is taken", intake, -9, -1, 3, "released"),
        ("closed first", intake, -30, -20, -19, "released"),
        ("closed last", pilots, -30, 0, None, "released"),
        ("a draft", pilots, None, 5, None, "draft"),
        ("taken back", intake, -1, 5, None, "taken back"),
    ):
        assignment(bank_db, group_id, title, opens=opens, closes=closes, late=late, state=state)
    assignment(bank_db, school.group(bank_db, other, "Elsewhere", now=clock()), "not yours", opens=-1, closes=1)
    seen = desk.desk(bank_db, teacher, now=NOON)

    assert [(one.title, one.when) for one in seen.ahead] == [
        ("late is taken", "late"), ("tomorrow", "not yet open"), ("in a week", "open"), ("no end", "open"),
    ]  # fmt: skip
    assert [one.title for one in seen.closed] == ["closed last", "closed first"]
    assert [one.title for one in seen.drafts] == ["a draft"]
    assert [one.name for one in seen.groups] == ["Line pilots", "Third intake"]
    assert [one.title for one in desk.of_group(bank_db, teacher, pilots, now=NOON)] == [
        "closed last", "a draft", "tomorrow",
    ]  # fmt: skip
    with pytest.raises(NotFoundError):
        desk.of_group(bank_db, other, pilots, now=NOON)


def test_people_and_work_are_counted(bank_db, clock):
    """Students, not instructors; persons who handed in, not tries; who waits; squawks that are open."""
    teacher = school.instructor(bank_db, now=clock())
    number = school.group(bank_db, teacher, now=clock())
    ids = [school.person(bank_db, f"Pilot {one}", now=clock()) for one in range(4)]
    for one in ids[:3]:
        school.joined(bank_db, one, number, by=teacher, now=clock())
    joining.join(bank_db, ids[3], joining.code_of(bank_db, teacher, number, now=clock()).code, now=clock())
    given = assignment(bank_db, number, "Bleed air", opens=-3, closes=3)
    with bank_db.writing() as session:
        for person_id, tries, handed_in in ((ids[0], 2, True), (ids[1], 1, True), (ids[2], 1, False)):
            for one in range(1, tries + 1):
                session.add(
                    Work(
                        id=f"{person_id:016x}{one:016x}", assignment_id=given, person_id=person_id, number=one,
                        drawn_at=NOON, begun_at=NOON, late=False, handed_in_at=NOON if handed_in else None,
                        content_hash="0" * 64 if handed_in else None,
                    )
                )  # fmt: skip
    seen = desk.desk(bank_db, teacher, now=NOON)

    assert [(one.students, one.waiting) for one in seen.groups] == [(3, 1)]
    assert [(one.handed_in, one.students) for one in seen.ahead] == [(2, 3)]
    assert seen.squawks == 0


@pytest.mark.parametrize("role", ["pilot", "keeper", "head of training", "reviewer"])
def test_it_is_for_instructors(bank_db, clock, role):
    """Nobody else has one; an instructor without a group has an empty one."""
    with pytest.raises(NotFoundError):
        desk.desk(bank_db, school.person(bank_db, "Anna", role, now=clock()), now=NOON)

    assert desk.desk(bank_db, school.instructor(bank_db, now=clock()), now=NOON).groups == ()

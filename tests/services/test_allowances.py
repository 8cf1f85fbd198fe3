"""Extensions and excuses: the newest counts, and nobody else's times move."""

from __future__ import annotations

from datetime import timedelta

import pytest

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import allowances, notices
from quizsvc.services.allowances import AllowanceForm
from quizsvc.services.local_times import LocalForm
from quizsvc.store import assignments as stored
from quizsvc.store.tables import Allowance
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.drills import count


@pytest.fixture
def school(bank_db, clock):
    """An instructor, two students, their assignment that closes in a week."""
    teacher = add_person(bank_db, clock, "Rosmund Achterby", ("instructor",))
    students = [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]
    group = add_group(bank_db, clock, instructors=[teacher], students=students, zone="UTC")
    return teacher, students, add_assignment(bank_db, clock, group, ["essential-bus-feeds"])


def give(db, clock, school, student, what="extension", until="2026-03-20T20:00", reason="Ill."):
    """Give one."""
    teacher, students, assignment = school
    form = AllowanceForm(students[student], what, reason, LocalForm(until))
    allowances.give(db, teacher, assignment, form, now=clock())


def standing(db, school):
    """What holds for each student: excused, extended until, closes."""
    _, students, assignment_id = school
    with db.reading() as session:
        assignment = stored.by_id(session, assignment_id)
        found = allowances.standings(session, assignment, students)
        assert [allowances.standing(session, assignment, student) for student in students] == list(found.values())
        return [(one.excused, one.extended_until, one.times.closes_at) for one in found.values()]


def test_the_newest_counts_for_that_person_alone(bank_db, clock, school):
    """Extension, a longer one, an excuse, taken back: then nothing stands, and every row is kept."""
    closes = clock() + timedelta(days=7)
    nothing = (False, None, closes)
    first, second = (clock().replace(day=day, hour=20) for day in (20, 25))

    give(bank_db, clock, school, 0)
    assert standing(bank_db, school) == [(False, first, first), nothing]
    give(bank_db, clock, school, 0, until="2026-03-25T20:00")
    assert standing(bank_db, school) == [(False, second, second), nothing]
    with bank_db.reading() as session:
        assert allowances.extensions(session, school[2]) == [second]
    give(bank_db, clock, school, 0, what="excused", until="")
    assert standing(bank_db, school) == [(True, None, closes), nothing]

    teacher, students, assignment = school
    for _ in range(2):
        allowances.take_back(bank_db, teacher, assignment, students[0], now=clock())
    assert standing(bank_db, school) == [nothing, nothing]
    assert count(bank_db, Allowance) == 4
    assert [line.stands for line in allowances.listed(bank_db, teacher, assignment)] == [False] * 4


def test_the_person_is_told_with_the_reason(bank_db, clock, school):
    """And nobody else is."""
    give(bank_db, clock, school, 1, reason="Simulator slot moved.")
    _, students, assignment = school

    told = [notices.listed(bank_db, student) for student in students]

    assert told[0] == []
    assert [(one.text, one.path) for one in told[1]] == [
        (
            "Extension until 20 Mar 2026, 20:00 (UTC): Bleed air for Monday. Simulator slot moved.",
            f"/homework/{assignment}",
        )
    ]


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"reason": " "}, "reason"),
        ({"reason": "x" * 501}, "reason"),
        ({"until": ""}, "until"),
        ({"until": "2026-03-09T09:00"}, "until"),
        ({"what": "holiday"}, "what"),
    ],
)
def test_what_cannot_be_is_refused(bank_db, clock, school, form, field):
    """No reason, no end, an end at the closing, an unknown word: nothing is stored."""
    with pytest.raises(InputError) as caught:
        give(bank_db, clock, school, 0, **form)

    assert caught.value.where == field
    assert count(bank_db, Allowance) == 0


def test_an_end_in_the_past_is_refused(bank_db, clock, school):
    """After the closing an extension must reach into the time to come."""
    clock.advance(days=20)
    with pytest.raises(InputError, match="past"):
        give(bank_db, clock, school, 0)


def test_only_for_students_of_the_group(bank_db, clock, school):
    """Not for its instructor, not for a stranger; and not by a student."""
    teacher, students, assignment = school
    for who, whom in ((teacher, teacher), (teacher, 999), (students[0], students[1])):
        with pytest.raises(NotFoundError):
            allowances.give(bank_db, who, assignment, AllowanceForm(whom, "excused", "Ill."), now=clock())
        with pytest.raises(NotFoundError):
            allowances.take_back(bank_db, who, assignment, whom, now=clock())
    with pytest.raises(NotFoundError):
        allowances.listed(bank_db, students[0], assignment)

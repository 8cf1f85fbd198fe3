"""How a person has practised, read from stored answers, in the sets they get and on the page of the plan."""

from __future__ import annotations

import random
from datetime import date, timedelta

import pytest

from quizsvc.services import debriefs, planned
from quizsvc.services.check_plan import plan_to_check
from quizsvc.store import practised
from tests.conftest import backend_asked_for
from tests.services.drills import answer, begin, right, start
from tests.web.pages import on_both


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both by `on_both`."""
    return backend_asked_for(request)


@pytest.fixture
def person(bank_db, clock):
    """Somebody on a phone, ten minutes a day said."""
    return begin(bank_db, clock).person


def practise(db, clock, person, *, answers, apart, rng, kinds=("one",)):
    """A set answered right, as many answers as wanted of some kinds, each so many seconds after the one before."""
    left = answers
    for question in start(db, clock, rng, person.id, minutes=60).questions:
        if left and question.kind in kinds:
            answer(db, clock, person.id, question.id, right(db, question.id), now=clock.advance(seconds=apart))
            left -= 1
    assert not left


def habit(db, clock, person):
    """The habit as a plan reads it."""
    with db.reading() as session:
        return planned.desk(session, person.id, now=clock()).habit


@on_both
def test_a_pace_and_days_are_read_from_the_answers(bank_db, clock, person):
    """Ten choices of 30 s on each of two days, each after two minutes: ratio 4, 4 ** (20/40) is 2; 20 minutes a day."""
    for _ in range(2):
        practise(bank_db, clock, person, answers=10, apart=120, rng=random.Random(1))
        clock.advance(days=3)
    found = habit(bank_db, clock, person)
    with bank_db.reading() as session:
        rows = practised.answers_since(session, person.id, clock() - timedelta(weeks=8))

    assert {row.seconds for row in rows} == {30.0}
    assert [row.effective_at for row in rows] == sorted(row.effective_at for row in rows)
    assert found.pace("one") == pytest.approx(2.0, rel=1e-9)
    # Two days of the six that are over: the set's day, two without, twice.
    assert (found.practised, found.observed) == (2, 6)
    assert found.minutes == pytest.approx(20.0, rel=1e-9)


def test_what_lies_further_back_is_forgotten(bank_db, clock, person):
    """After eight weeks and a day the habit is the usual one again."""
    practise(bank_db, clock, person, answers=10, apart=120, rng=random.Random(1))
    clock.advance(days=57)

    assert habit(bank_db, clock, person) == planned.NO_HABIT


def test_a_set_holds_as_much_as_the_person_does_in_its_minutes(bank_db, clock, person):
    """Six minutes of 30 s each are twelve choices, and six of who takes twice as long; other kinds keep their time."""
    for _ in range(2):
        practise(bank_db, clock, person, answers=10, apart=120, rng=random.Random(1))
        clock.advance(days=3)
    with bank_db.reading() as session:
        desk = planned.desk(session, person.id, now=clock())
        usual = planned.desk(session, person.id)
    seconds = {
        (item.kind, round(item.seconds, 6), round(plain.seconds, 6))
        for one, other in zip(desk.candidates, usual.candidates, strict=True)
        for item, plain in zip(one.items, other.items, strict=True)
    }

    assert ("one", 60.0, 30.0) in seconds
    assert all(learnt == plain for kind, learnt, plain in seconds if kind != "one")
    choices = tuple(
        one for one in desk.candidates if all(item.kind == "one" for item in one.items) and one.concept != "D-BUS"
    )
    plans = [
        planned.plan(found, asked, now=clock(), minutes=6.0, long=False, rng=random.Random(2))
        for found, asked in (
            (desk, choices),
            (usual, tuple(one for one in usual.candidates if one.concept in {c.concept for c in choices})),
        )
    ]
    assert [len(plan.places) for plan in plans] == [6, 12]


@on_both
def test_the_plan_says_how_one_has_practised_beside_what_one_said(bank_db, clock, person):
    """Five sets, one every fifth day: 5 of 25 days, 1.4 a week; ten choices of 30 s are five minutes on each.

    The planner leans: (5 + 10) / (25 + 14) of all days; (5 * 5 + 10 * 10) / 15 minutes, 25/3, on each of them. The
    pace stays 1, a choice takes 30 s.
    """
    assert plan_to_check(bank_db, person.id, now=clock()).practised is None
    for _ in range(5):
        practise(bank_db, clock, person, answers=10, apart=30, rng=random.Random(1))
        clock.advance(days=5)
    plan = plan_to_check(bank_db, person.id, now=clock())
    found = plan.practised

    assert (found.days, round(found.days_a_week, 6), round(found.minutes, 6)) == (25, 1.4, 5.0)
    # Of both the days left and the seconds of an answer are the same: what is left of the ratio is days and minutes.
    assert found.time.answers / plan.time.answers == pytest.approx((15 / 39) / (5 / 7) * (25 / 3) / 10, rel=1e-9)


def test_which_check_a_concept_was_asked_at_is_known(bank_db, clock, person):
    """Told of two checks half a year apart: each concept is marked with the newest it was asked at."""
    for day, told in ((date(2025, 9, 1), ["G-T1", "G-T2"]), (date(2026, 3, 1), ["G-T2", "G-T3"])):
        debriefs.keep_debrief(bank_db, person.id, day, told, now=clock())
    with bank_db.reading() as session:
        desk = planned.desk(session, person.id)
    marked = {one.concept: one for one in planned.marked(desk, desk.candidates, now=clock())}

    assert {name for name, one in marked.items() if one.asked_at_check} == {"G-T1", "G-T2", "G-T3"}
    assert {name for name, one in marked.items() if one.asked_at_check and one.asked_at_last} == {"G-T2", "G-T3"}

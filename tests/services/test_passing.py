"""Who passes on a question is told so, and not that it was missed; planned it is alike."""

from __future__ import annotations

import random

import pytest

from quizsvc.services import expectation, holds, practice
from tests.services.drills import answer, begin, right, start, wrong

PASS = {"pass": True}


@pytest.fixture
def drill(bank_db, clock):
    """A person, and a set of theirs of six concepts at least."""
    person = begin(bank_db, clock).person.id
    found = start(bank_db, clock, random.Random(7), person, minutes=10)
    assert len(found.questions) >= 6
    return person, found


def give(db, clock, person, questions, *raws):
    """Answer some questions, half a minute each."""
    for question, raw in zip(questions, raws, strict=False):
        answer(db, clock, person, question.id, raw if raw is PASS else raw(db, question.id))
        clock.advance(seconds=30)


def why_of(db, clock, person):
    """The reason of each concept on the page of thin spots."""
    return {row.concept: row.reason for row in holds.thin_spots(db, person, now=clock()).rows}


def test_every_reason_tells_a_pass_from_a_miss(bank_db, clock, drill):
    """On the repeats, on thin spots, on the next day's set, and where a minute would move most."""
    person, found = drill
    passed, missed, known = found.questions[:3]
    give(bank_db, clock, person, found.questions, PASS, wrong, right)

    reasons = why_of(bank_db, clock, person)
    assert reasons[passed.concept] == "You passed on it last time."
    assert reasons[missed.concept] == "Missed last time."
    assert reasons[known.concept] == "Right on one day only."

    again = practice.offer_repeats(bank_db, person, found.id, now=clock(), rng=random.Random(7))
    repeated = {one.concept: one.reason for one in again.questions if one.repeat}
    assert repeated == {
        passed.concept: "You passed on it in this set; here it is again.",
        missed.concept: "You missed it in this set; here it is again.",
    }

    clock.advance(days=1)
    next_day = start(bank_db, clock, random.Random(8), person, minutes=10)
    asked = {one.concept: one.reason for one in next_day.questions}
    assert asked[passed.concept] == "You passed on it last time, so it is brought forward."
    assert asked[missed.concept] == "You missed it last time, so it is brought forward."
    for concept, words in ((passed.concept, "You passed on it"), (missed.concept, "You missed it")):
        found_why = expectation._why(  # what stands beside a concept where a minute moves most
            next(one for one in _desk(bank_db, person, clock).candidates if one.concept == concept), True
        )
        assert found_why == f"{words} last time; asked again now it lasts longer."


def test_a_repeat_leaves_it_a_pass_and_a_later_miss_makes_it_a_miss(bank_db, clock, drill):
    """A right repeat within the half hour moves no hold; what is answered wrong the next day was missed."""
    person, found = drill
    passed = found.questions[0]
    give(bank_db, clock, person, found.questions, PASS)
    again = practice.offer_repeats(bank_db, person, found.id, now=clock(), rng=random.Random(7))
    repeat = next(one for one in again.questions if one.repeat)
    give(bank_db, clock, person, [repeat], right)
    assert why_of(bank_db, clock, person)[passed.concept] == "You passed on it last time."

    clock.advance(days=1)
    next_day = start(bank_db, clock, random.Random(8), person, minutes=10)
    give(bank_db, clock, person, [one for one in next_day.questions if one.concept == passed.concept], wrong)
    assert why_of(bank_db, clock, person)[passed.concept] == "Missed last time."


def test_a_concept_that_was_held_and_passed_on_has_slipped(bank_db, clock, drill):
    """Right on two days, then left: the state is the same as after a miss, the sentence is not."""
    person, found = drill
    concepts = [one.concept for one in found.questions[:2]]
    give(bank_db, clock, person, found.questions, right, right)
    for seed, raws in ((8, (right, right)), (9, (PASS, wrong))):
        clock.advance(days=1)
        drilled = practice.start_set(
            bank_db, person, minutes=10, long=True, concepts=concepts, now=clock(), rng=random.Random(seed)
        )
        by_concept = {one.concept: one for one in drilled.questions}
        give(bank_db, clock, person, [by_concept[concept] for concept in concepts], *raws)

    rows = {row.concept: row for row in holds.thin_spots(bank_db, person, now=clock()).rows}
    assert [rows[concept].state for concept in concepts] == ["slipped", "slipped"]
    assert rows[concepts[0]].reason == "It was held, then you passed on it."
    assert rows[concepts[1]].reason == "It was held, then missed."


def _desk(db, person, clock):
    with db.reading() as session:
        return expectation.planned.desk(session, person, now=clock())

"""End to end over days: one set a day, a miss comes back sooner, and the log replays to the same bits."""

from __future__ import annotations

import random

import pytest

from quizsvc.services import accounts, holds, memory_replay, practice
from quizsvc.services.views import SettingsForm
from tests.services.drills import answer, begin, right, start, wrong
from tests.services.test_answers import memory


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_missed_concept_comes_back_before_those_answered_right(bank_db, clock, seed):
    """One set a day: the missed one of the first set is asked again before any that was answered right in it."""
    rng = random.Random(seed)
    person = begin(bank_db, clock).person
    first = start(bank_db, clock, rng, person.id, minutes=4)
    missed = first.questions[1].concept
    for question in first.questions:
        raw = wrong(bank_db, question.id) if question.concept == missed else right(bank_db, question.id)
        answer(bank_db, clock, person.id, question.id, raw, now=clock.advance(seconds=30))
    known = {question.concept for question in first.questions} - {missed}
    met: dict[str, int] = {}
    for day in range(1, 31):
        clock.advance(days=1)
        drill = start(bank_db, clock, rng, person.id, minutes=4)
        for place, question in enumerate(drill.questions):
            met.setdefault(question.concept, day * 100 + place)
            answer(bank_db, clock, person.id, question.id, right(bank_db, question.id), now=clock.advance(seconds=30))
        if missed in met and known & set(met):
            break

    assert met[missed] < min(met[concept] for concept in known if concept in met)


def test_weeks_of_practice_replay_to_the_same_bits(bank_db, clock):
    """Twenty-five days, three people, misses, repeats, passes and late answers: replay gives identical rows."""
    rng = random.Random(8)
    people = [begin(bank_db, clock, time_zone=zone).person for zone in ("UTC", "Asia/Tokyo", "America/Denver")]
    for _day in range(25):
        clock.advance(days=1)
        for person in people:
            drill = start(bank_db, clock, rng, person.id, minutes=5)
            late = []
            for question in drill.questions:
                choice = rng.random()
                raw = (
                    {"pass": True}
                    if choice < 0.1
                    else wrong(bank_db, question.id)
                    if choice < 0.4
                    else right(bank_db, question.id)
                )
                given = clock.advance(seconds=30)
                if rng.random() < 0.15:
                    late.append((question.id, raw, given))
                else:
                    answer(bank_db, clock, person.id, question.id, raw)
            for question_id, raw, given in late:
                sent = clock.advance(minutes=3)
                answer(bank_db, clock, person.id, question_id, raw, given_at=given, sent_at=sent)
            if rng.random() < 0.5:
                view = practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng)
                for question in view.questions[len(drill.questions) :]:
                    answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
    before = [memory(bank_db, person.id) for person in people]
    report = memory_replay.replay_all(bank_db, now=clock())

    assert [memory(bank_db, person.id) for person in people] == before
    assert report.learners == 3
    assert report.answers > 300


def test_thin_spots_say_nothing_too_early(bank_db, clock, rng):
    """No expectation before 20 answers over 8 concepts on 2 days (design.md section 5); then weakest first."""
    person = begin(bank_db, clock).person
    for day in range(2):
        spots = holds.thin_spots(bank_db, person.id, now=clock())
        assert not spots.enough_to_say
        assert {row.expectation for row in (*spots.rows, *spots.untried)} <= {None}
        drill = start(bank_db, clock, rng, person.id, minutes=6)
        for place, question in enumerate(drill.questions):
            raw = right(bank_db, question.id) if place % 2 else wrong(bank_db, question.id)
            answer(bank_db, clock, person.id, question.id, raw, now=clock.advance(seconds=30))
        clock.advance(days=1)
        if day == 0:
            assert {row.state for row in holds.thin_spots(bank_db, person.id, now=clock()).rows} == {"unsettled"}
    spots = holds.thin_spots(bank_db, person.id, now=clock())

    assert spots.enough_to_say
    expectations = [row.expectation for row in spots.rows]
    assert expectations == sorted(expectations)
    assert len(spots.rows) + len(spots.untried) == 16 == sum(spots.counts.values())
    assert all(0 < value < 1 for value in expectations)


def test_saying_more_about_oneself_moves_the_start(bank_db, clock, rng):
    """Another experience changes where memory starts; the answers stay and are replayed from there."""
    person = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, person.id)
    for question in drill.questions:
        answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
    before = memory(bank_db, person.id)
    accounts.update_settings(bank_db, person.id, SettingsForm(person.aircraft, None, 10, "UTC", "rated"), now=clock())
    after = memory(bank_db, person.id)

    assert after[0] != before[0]
    assert after[1] == before[1] == clock()
    memory_replay.replay_all(bank_db, now=clock())
    assert memory(bank_db, person.id) == after


@pytest.mark.parametrize(("concept", "word"), [("C-FAIL", "holding"), ("P-DIFF", "steady")])
def test_steady_needs_something_not_seen_before(bank_db, clock, rng, concept, word):
    """Right 35 days apart: the same text again is only holding, new numbers are steady (vocabulary.md)."""
    person = begin(bank_db, clock).person
    for _ in range(2):
        drill = start(bank_db, clock, rng, person.id, minutes=200)
        question = next(found for found in drill.questions if found.concept == concept)
        answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
        clock.advance(days=35)
    spots = holds.thin_spots(bank_db, person.id, now=clock())

    assert {row.concept: row.state for row in spots.rows}[concept] == word
    before = memory(bank_db, person.id)
    memory_replay.replay_all(bank_db, now=clock())
    assert memory(bank_db, person.id) == before

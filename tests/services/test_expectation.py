"""The check-day expectation from a real log: when it is given, for which day, and that it moves with what happened."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, holds
from quizsvc.services.expectation import expectation_of
from quizsvc.services.views import SettingsForm
from tests.services.drills import answer, begin, right, start, wrong


def drill(db, clock, person, days, *, correctly, rng):
    """A set a day."""
    for _ in range(days):
        clock.advance(days=1)
        for question in start(db, clock, rng, person.id, minutes=5).questions:
            raw = right(db, question.id) if correctly else wrong(db, question.id)
            answer(db, clock, person.id, question.id, raw, now=clock.advance(seconds=30))


def check_on(db, clock, person, day):
    """Set the check date."""
    accounts.update_settings(
        db, person.id, SettingsForm(person.aircraft, day, 5, person.time_zone, "rated"), now=clock()
    )


def test_nothing_is_said_before_there_is_enough(bank_db, clock):
    """20 answers over 8 concepts on 2 days (the design's gate): until then no figure of any kind."""
    rng = random.Random(1)
    person = begin(bank_db, clock).person
    found = expectation_of(bank_db, person.id, now=clock())
    assert (found.enough, found.answers, found.trend, found.systems) == (False, 0, None, ())

    drill(bank_db, clock, person, 1, correctly=True, rng=rng)
    assert not expectation_of(bank_db, person.id, now=clock()).enough
    while not (found := expectation_of(bank_db, person.id, now=clock())).enough:
        assert found.trend is None and found.fading == ()
        drill(bank_db, clock, person, 1, correctly=True, rng=rng)
    assert found.answers >= 20 and found.days >= 2 and found.low <= found.expected <= found.high


def test_the_day_is_the_check_or_sixty_days_ahead(bank_db, clock):
    """Without a date, or once it has passed, it looks sixty days ahead."""
    rng = random.Random(2)
    person = begin(bank_db, clock).person
    drill(bank_db, clock, person, 6, correctly=True, rng=rng)
    today = clock().date()

    for given, wanted in ((None, 60), (today + timedelta(days=20), 20), (today - timedelta(days=3), 60), (today, 60)):
        check_on(bank_db, clock, person, given)
        found = expectation_of(bank_db, person.id, now=clock())
        assert found.day == today + timedelta(days=wanted)
        assert found.is_check == (wanted == 20)
        last = found.trend["points"][-1]
        assert last["ahead"] and last["label"] == f"{found.day.day} {found.day:%b}"


def test_it_falls_while_nothing_is_practised_and_rises_by_right_answers(bank_db, clock):
    """Right answers: the line over past weeks ends above where a person who missed stands; ahead it only falls."""
    rng = random.Random(3)
    good, bad = begin(bank_db, clock).person, begin(bank_db, clock).person
    for _ in range(4):
        drill(bank_db, clock, good, 3, correctly=True, rng=rng)
        drill(bank_db, clock, bad, 3, correctly=False, rng=rng)
    now = clock()
    better, worse = (expectation_of(bank_db, person.id, now=now) for person in (good, bad))

    assert better.expected > worse.expected
    assert len([one for one in better.trend["points"] if not one.get("ahead")]) >= 3
    line = [one["value"] for one in better.trend["points"] if one.get("ahead")]
    # The line's looks ahead are simulated with 300 checks: half an item is more than their error.
    assert all(later <= sooner + 0.5 for sooner, later in zip(line, line[1:], strict=False))
    assert line[-1] < better.trend["points"][-5]["value"]


def test_two_looks_on_one_day_say_the_same(bank_db, clock):
    """Nothing wobbles by chance; what changes changes by an answer or a day."""
    rng = random.Random(4)
    person = begin(bank_db, clock).person
    drill(bank_db, clock, person, 6, correctly=True, rng=rng)

    first = expectation_of(bank_db, person.id, now=clock())
    assert expectation_of(bank_db, person.id, now=clock()) == first


def test_what_a_minute_moves_most_and_what_was_never_asked(bank_db, clock):
    """Five concepts and three systems, best first; an answer to the first takes it off the top; titles by system."""
    rng = random.Random(8)
    person = begin(bank_db, clock).person
    drill(bank_db, clock, person, 6, correctly=True, rng=rng)
    found = expectation_of(bank_db, person.id, now=clock())
    spots = holds.thin_spots(bank_db, person.id, now=clock())

    assert len({one.concept for one in found.moves}) == 5 and 1 <= len(found.best_systems) <= 3
    gains = [one.items for one in found.best_systems]
    assert gains == sorted(gains, reverse=True) and all(0 < one < 20 for one in gains)
    # An answer takes twenty seconds or more: no system has more than fifteen in five minutes.
    assert all(1 <= one.questions <= 15 for one in found.best_systems)
    never = {row.concept for row in spots.untried}
    for one in found.moves:
        assert (one.concept in never) == one.reason.startswith("Not asked yet")
        assert "missed" not in one.reason  # nothing was
    told = sorted(title for part in found.never_asked for title in part.titles)
    assert told == sorted(row.title for row in spots.untried) and found.untried == len(told)


def test_a_day_long_after_the_last_answer_is_called_far(bank_db, clock):
    """Up to 30 days after it the range was tried (tests.benchmarks range); beyond, the screen says so."""
    rng = random.Random(9)
    person = begin(bank_db, clock).person
    drill(bank_db, clock, person, 6, correctly=True, rng=rng)
    for days, far in ((20, False), (45, True)):
        check_on(bank_db, clock, person, clock().date() + timedelta(days=days))
        assert expectation_of(bank_db, person.id, now=clock()).far is far


def test_what_fades_is_held_today_and_due_within_a_week(bank_db, clock):
    """The same concepts become due, one after the other, on the days that were told."""
    rng = random.Random(5)
    person = begin(bank_db, clock).person
    drill(bank_db, clock, person, 6, correctly=False, rng=rng)
    drill(bank_db, clock, person, 2, correctly=True, rng=rng)
    told = {}
    for _ in range(60):
        found = expectation_of(bank_db, person.id, now=clock())
        if found.fading:
            told = {one.concept: (one.day - clock().date()).days for one in found.fading}
            break
        clock.advance(days=1)
    assert told and all(1 <= days <= 7 for days in told.values())
    for days in range(8):
        # Thin spots say "due" by tomorrow's recall, a day ahead of the moment.
        rows = holds.thin_spots(bank_db, person.id, now=clock() + timedelta(days=days - 1)).rows
        due = {row.concept for row in rows if row.due}
        assert due & set(told) == {concept for concept, day in told.items() if day <= days}


def test_a_person_that_is_not_there_is_not_found(bank_db, clock):
    """As everywhere."""
    with pytest.raises(NotFoundError):
        expectation_of(bank_db, 99, now=clock())

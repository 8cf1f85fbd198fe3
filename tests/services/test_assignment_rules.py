"""What may still change: everything in a draft, after the opening only what cannot hurt those who have begun."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.errors import InputError
from quizsvc.services.assignment_rules import Rules, check_change

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
OLD = Rules("Bleed air", "own", "with the mark", 2, None, NOON, NOON + 48 * HOUR, NOON + 60 * HOUR)


def refused(new, *, old=OLD, now=NOON + HOUR, released=True, feedback_out=False):
    """The field that the refusal names, or None."""
    try:
        check_change(old, new, released=released, feedback_out=feedback_out, now=now)
    except InputError as error:
        return error.where
    return None


@pytest.mark.parametrize(
    "change",
    [
        {"title": "Bleed air again"},
        {"closes_at": OLD.closes_at + HOUR},
        {"late_until_at": OLD.late_until_at + HOUR},
        {"closes_at": OLD.late_until_at, "late_until_at": None},
        {"tries": 3},
        {"feedback": "after closing"},
        {},
    ],
)
def test_after_the_opening_what_hurts_nobody_may_change(change):
    """A later closing, a longer late time, more tries, later feedback, another title."""
    assert refused(replace(OLD, **change)) is None


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"closes_at": OLD.closes_at - HOUR}, "closes"),
        ({"late_until_at": None}, "late_until"),
        ({"late_until_at": OLD.late_until_at - HOUR}, "late_until"),
        ({"closes_at": OLD.closes_at + HOUR, "late_until_at": None}, "late_until"),
        ({"tries": 1}, "tries"),
        ({"feedback": "straight away"}, "feedback"),
        ({"numbers": "common"}, "numbers"),
        ({"sitting_minutes": 60}, "sitting_minutes"),
        ({"opens_at": NOON + 2 * HOUR}, "opens"),
        ({"opens_at": None}, "opens"),
    ],
)
def test_after_the_opening_what_could_hurt_is_refused(change, field):
    """The refusal names the field."""
    assert refused(replace(OLD, **change)) == field


@pytest.mark.parametrize("later", ["with the mark", "after closing"])
def test_feedback_that_comes_straight_away_stays(later):
    """Some have had theirs, and their answers stand."""
    old = replace(OLD, feedback="straight away")

    assert refused(replace(old, feedback=later), old=old) == "feedback"


@pytest.mark.parametrize(
    "change",
    [
        {"closes_at": OLD.closes_at - HOUR},
        {"late_until_at": None},
        {"tries": 1},
        {"feedback": "straight away"},
        {"sitting_minutes": 60},
        {"opens_at": NOON + 5 * HOUR},
    ],
)
def test_before_the_opening_all_but_the_numbers_may_change(change):
    """Released an hour before it opens."""
    assert refused(replace(OLD, **change), now=NOON - HOUR) is None
    assert refused(replace(OLD, numbers="common"), now=NOON - HOUR) == "numbers"


def test_a_draft_may_change_in_everything_but_not_close_in_the_past():
    """The second to the last."""
    assert refused(replace(OLD, numbers="common", tries=1, feedback="straight away"), released=False) is None
    assert refused(replace(OLD, closes_at=NOON, late_until_at=None), released=False, now=NOON) == "closes"
    assert refused(replace(OLD, closes_at=NOON + timedelta(seconds=1)), released=False, now=NOON) is None


def test_once_its_feedback_is_out_it_does_not_open_again():
    """The title may change all the same."""
    over = OLD.last_at + HOUR
    longer = replace(OLD, closes_at=over + HOUR, late_until_at=None)

    assert refused(longer, now=over) is None
    assert refused(longer, now=over, feedback_out=True) == "closes"
    assert refused(replace(OLD, title="Bleed air again"), now=over, feedback_out=True) is None

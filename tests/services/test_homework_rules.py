"""The rules of homework at their edges, by hand: a closing at 20:00:00 means the whole of that second."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.services import homework_rules as rules

OPENS = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
CLOSES = datetime(2026, 3, 9, 20, 0, tzinfo=UTC)
LATE_UNTIL = datetime(2026, 3, 10, 20, 0, tzinfo=UTC)
SECOND = timedelta(seconds=1)
INSTANT = timedelta(microseconds=1)


@pytest.mark.parametrize(
    ("now", "without_late_rule", "with_late_rule"),
    [
        (OPENS - INSTANT, "not yet", "not yet"),
        (OPENS, "open", "open"),
        (CLOSES, "open", "open"),
        (CLOSES + SECOND - INSTANT, "open", "open"),
        (CLOSES + SECOND, "over", "late"),
        (LATE_UNTIL + SECOND - INSTANT, "over", "late"),
        (LATE_UNTIL + SECOND, "over", "over"),
    ],
)
def test_what_is_open_when(now, without_late_rule, with_late_rule):
    """The last second is in, the next one is out."""
    assert rules.phase(rules.own_times(OPENS, CLOSES, None), now) == without_late_rule
    assert rules.phase(rules.own_times(OPENS, CLOSES, LATE_UNTIL), now) == with_late_rule


def test_what_never_closes_is_never_over_and_never_late():
    """Without a closing there is no last second."""
    times = rules.own_times(None, None, None)

    assert rules.phase(times, CLOSES + timedelta(days=4000)) == "open"
    assert not rules.is_late(times, CLOSES + timedelta(days=4000))
    assert rules.all_over_at(None, None) is None


def test_lateness_goes_by_the_second_of_arrival():
    """20:00:00.9 still reads 20:00:00 on the receipt, so it is in time; 20:00:01 is late."""
    times = rules.own_times(OPENS, CLOSES, LATE_UNTIL)

    assert not rules.is_late(times, CLOSES + timedelta(milliseconds=900))
    assert rules.is_late(times, CLOSES + SECOND)


def test_an_extension_moves_the_closing_and_never_back():
    """Two days more; an earlier time changes nothing; a late rule that ends before it no longer matters."""
    longer = rules.own_times(OPENS, CLOSES, LATE_UNTIL, CLOSES + timedelta(days=2))

    assert longer.closes_at == longer.last_at == CLOSES + timedelta(days=2)
    assert rules.phase(longer, LATE_UNTIL + SECOND) == "open"
    assert rules.own_times(OPENS, CLOSES, None, CLOSES - timedelta(days=2)).closes_at == CLOSES


class TestSitting:
    times = rules.own_times(OPENS, CLOSES, None)

    def test_it_ends_after_its_minutes_or_with_the_closing(self):
        """Forty minutes from 19:00; from 19:50 only ten are left."""
        assert rules.sitting_end(self.times, 40, CLOSES - timedelta(minutes=60)) == CLOSES - timedelta(minutes=20)
        assert rules.sitting_end(self.times, 40, CLOSES - timedelta(minutes=10)) == CLOSES

    def test_a_minute_after_the_end_still_counts(self):
        """Received by end + 60 s; the service hands in once that minute is over, as of the end."""
        end = CLOSES - timedelta(minutes=20)

        assert rules.takes(self.times, end, end + timedelta(seconds=60))
        assert not rules.takes(self.times, end, end + timedelta(seconds=60) + INSTANT)
        assert rules.handed_in_by_service_at(end, end + timedelta(seconds=60)) is None
        assert rules.handed_in_by_service_at(end, end + timedelta(seconds=60) + INSTANT) == end

    def test_the_minute_after_an_end_at_closing_is_not_late(self):
        """It counts as arrived at the end."""
        assert rules.takes(self.times, CLOSES, CLOSES + timedelta(seconds=59))
        assert not rules.is_late(self.times, CLOSES + timedelta(seconds=59), CLOSES)


class TestFeedback:
    def test_with_the_mark_comes_by_handing_in(self):
        """And so does what is left of straight away."""
        for rule in ("with the mark", "straight away"):
            assert rules.feedback_at(rule, sitting=False, handed_in_at=OPENS, all_over=None) == OPENS
            assert rules.feedback_at(rule, sitting=False, handed_in_at=None, all_over=OPENS) is None

    def test_after_closing_waits_for_the_last_extension_and_the_late_rule(self):
        """Whoever is still at it must not be told by who is not: over with the second after the last one."""
        over = rules.all_over_at(CLOSES, LATE_UNTIL, [CLOSES + timedelta(days=3), CLOSES + timedelta(days=2)])

        assert over == CLOSES + timedelta(days=3) + SECOND
        assert rules.all_over_at(CLOSES, LATE_UNTIL) == LATE_UNTIL + SECOND
        assert rules.all_over_at(CLOSES, None) == CLOSES + SECOND
        assert rules.feedback_at("after closing", sitting=False, handed_in_at=OPENS, all_over=over) == over
        assert rules.feedback_at("after closing", sitting=False, handed_in_at=OPENS, all_over=None) is None

    def test_a_sittings_last_minute_is_waited_for(self):
        """61 s after the closing nobody can be at it any more."""
        assert rules.all_over_at(CLOSES, None, sitting=True) == CLOSES + timedelta(seconds=61)

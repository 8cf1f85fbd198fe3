"""Words for what is stored: outcomes, expectations, times."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from quizsvc.web import words


@pytest.mark.parametrize(
    ("expectation", "said"),
    [
        (0.0, "less than 1 in 10"),
        (0.04, "less than 1 in 10"),
        (0.06, "about 1 in 10"),
        (0.64, "about 6 in 10"),
        (0.94, "about 9 in 10"),
        (0.96, "more than 9 in 10"),
        (1.0, "more than 9 in 10"),
    ],
)
def test_an_expectation_is_said_in_tenths(expectation, said):
    """Never as a percentage, never as certain."""
    assert words.tenths(expectation) == said


def test_a_time_is_written_in_the_zone_of_its_reader():
    """25 November 2026, 23:30 UTC is the next day in Auckland (UTC+13 in its summer; tz database, Rule NZ)."""
    when = datetime(2026, 11, 25, 23, 30, tzinfo=UTC)

    assert words.clock_time(when, "UTC") == "25 Nov 2026, 23:30"
    assert words.clock_time(when, "Pacific/Auckland") == "26 Nov 2026, 12:30"
    assert words.day(when, "Pacific/Auckland") == "26 Nov 2026"


class TestThinSpots:
    def test_little_is_said_after_little(self, visitor):
        """One answer: no expectation, and the page says why."""
        visitor.start()
        visitor.pass_on()
        page = visitor.get("/thin-spots")

        assert "Too little to say." in page.text
        assert "Expected right" not in page.text
        assert "there is 1 so far" in page.text

    def test_an_expectation_comes_with_enough(self, visitor, clock):
        """20 answers over 8 concepts on 2 days (design.md section 5)."""
        for _ in range(4):
            visitor.start(minutes=10)
            while "/questions/" in visitor.path:
                visitor.pass_on()
                visitor.next()
            clock.advance(days=1)
        page = visitor.get("/thin-spots")

        assert "Too little to say." not in page.text
        assert "Expected right" in page.text
        assert " in 10" in page.text
        assert "%" not in page.text

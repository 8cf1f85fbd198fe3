"""Times by the wall clock of a zone. Values from the published rules of the zone database (IANA tz)."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from quizsvc.errors import InputError
from quizsvc.services import local_times
from quizsvc.services.local_times import LocalForm, TimeDoubledError, TimeSkippedError


def utc(*parts):
    """An instant in UTC."""
    return datetime(*parts, tzinfo=UTC)


def read(text, zone, which=""):
    """Read a time."""
    return local_times.read(LocalForm(text, which), zone, where="closes")


@pytest.mark.parametrize(
    ("zone", "text", "at"),
    [
        # EU rule (tz file europe): clocks change at 01:00 UTC on the last Sundays of March and October.
        ("Europe/Zurich", "2026-12-04T20:00", utc(2026, 12, 4, 19, 0)),
        ("Europe/Zurich", "2027-03-28T01:59", utc(2027, 3, 28, 0, 59)),
        ("Europe/Zurich", "2027-03-28T03:00", utc(2027, 3, 28, 1, 0)),
        ("Europe/Zurich", "2026-10-25T01:59", utc(2026, 10, 24, 23, 59)),
        ("Europe/Zurich", "2026-10-25T03:00", utc(2026, 10, 25, 2, 0)),
        # US rule (tz file northamerica): 02:00 local, second Sunday of March, first Sunday of November.
        ("America/Denver", "2027-03-14T01:59", utc(2027, 3, 14, 8, 59)),
        ("America/Denver", "2027-03-14T03:00", utc(2027, 3, 14, 9, 0)),
        # Without daylight saving.
        ("Asia/Kolkata", "2026-07-01 06:30", utc(2026, 7, 1, 1, 0)),
        ("UTC", "2026-03-29T02:30", utc(2026, 3, 29, 2, 30)),
    ],
)
def test_a_time_that_is_on_the_clock_once(zone, text, at):
    """The instant, and back to what was typed."""
    assert read(text, zone) == at
    assert local_times.shown(at, zone) == LocalForm(text.replace(" ", "T"))


@pytest.mark.parametrize(
    ("zone", "text", "ways"),
    [
        ("Europe/Zurich", "2027-03-28T02:30", ("2027-03-28T01:30", "2027-03-28T03:30")),
        ("Europe/Zurich", "2027-03-28T02:00", ("2027-03-28T01:00", "2027-03-28T03:00")),
        ("America/Denver", "2027-03-14T02:15", ("2027-03-14T01:15", "2027-03-14T03:15")),
        # Lord Howe (tz file australasia) is put forward by half an hour: 02:00 to 02:30, first Sunday of October.
        ("Australia/Lord_Howe", "2026-10-04T02:10", ("2026-10-04T01:40", "2026-10-04T02:40")),
    ],
)
@pytest.mark.parametrize("which", ["", "earlier", "later"])
def test_a_skipped_time_is_refused_with_two_ways_out(zone, text, ways, which):
    """Whichever was said: there is no such time. Both ways out can be typed."""
    with pytest.raises(TimeSkippedError) as caught:
        read(text, zone, which)

    assert caught.value.ways == ways
    assert caught.value.where == "closes"
    assert all(read(way, zone) for way in ways)


@pytest.mark.parametrize(
    ("zone", "text", "earlier", "later", "offsets"),
    [
        ("Europe/Zurich", "2026-10-25T02:30", utc(2026, 10, 25, 0, 30), utc(2026, 10, 25, 1, 30), ("+02:00", "+01:00")),
        ("Europe/Zurich", "2026-10-25T02:00", utc(2026, 10, 25, 0, 0), utc(2026, 10, 25, 1, 0), ("+02:00", "+01:00")),
        ("America/Denver", "2026-11-01T01:45", utc(2026, 11, 1, 7, 45), utc(2026, 11, 1, 8, 45), ("-06:00", "-07:00")),
        # Lord Howe goes back by half an hour on the first Sunday of April: 01:30 to 02:00 comes twice.
        (
            "Australia/Lord_Howe",
            "2027-04-04T01:45",
            utc(2027, 4, 3, 14, 45),
            utc(2027, 4, 3, 15, 15),
            ("+11:00", "+10:30"),
        ),
    ],
)
def test_of_a_doubled_time_it_asks_which(zone, text, earlier, later, offsets):
    """Nothing is guessed; each word gives its instant, and the form asks with that word again."""
    for nothing in ("", "both"):
        with pytest.raises(TimeDoubledError) as caught:
            read(text, zone, nothing)
        assert caught.value.offsets == offsets

    for which, at in (("earlier", earlier), ("later", later)):
        assert read(text, zone, which) == at
        assert local_times.shown(at, zone) == LocalForm(text, which)


@pytest.mark.parametrize("text", ["tomorrow", "2026-13-01T10:00", "2026-02-30T10:00", "2026-03-01", "26-3-1T1:00"])
def test_what_is_no_time_is_refused(text):
    """In words, at the field."""
    with pytest.raises(InputError) as caught:
        read(text, "UTC")

    assert (caught.value.reference, caught.value.where) == ("time-unreadable", "closes")


@pytest.mark.parametrize("text", ["1999-01-01T10:00", "2200-01-01T10:00"])
def test_years_out_of_reach_are_refused(text):
    """From 2020 to 2199."""
    with pytest.raises(InputError):
        read(text, "UTC")


def test_nothing_typed_is_no_time():
    """An empty field."""
    assert read("  ", "UTC") is None


@pytest.mark.parametrize(
    ("now", "at"),
    [
        # Zurich: a week later at 20:00, across the change of 29 March 2026 and without one.
        (utc(2026, 3, 25, 9, 0), utc(2026, 4, 1, 18, 0)),
        (utc(2026, 3, 2, 9, 0), utc(2026, 3, 9, 19, 0)),
        # Late in the evening UTC it is the next day already there.
        (utc(2026, 3, 2, 23, 30), utc(2026, 3, 10, 19, 0)),
    ],
)
def test_so_many_days_later_at_an_hour(now, at):
    """By the wall clock, not by 168 hours."""
    assert local_times.days_later_at(now, "Europe/Zurich", days=7, hour=20) == at

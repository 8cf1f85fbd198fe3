"""Check dates by calendar months: every row of the reference table, and what holds for all days.

The table was derived from the wording of 14 CFR 61.58(i) and 135.301(a) as read; its head names the sources. How many
days a month has is the standard library's `calendar`, which the code under test does not use.
"""

from __future__ import annotations

import calendar
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.errors import InputError
from quizsvc.memory.check_dates import INTERVALS, CheckDue, due_after, month_of, months_later
from tests.reference.tables import rows_of

CASES = rows_of("regulations/currency_cases.csv")
THRESHOLDS = rows_of("regulations/thresholds.csv")
# The table's words for where a check was taken, and those of the code.
PLACES = {
    "early-or-in-window: base month kept": {"month before", "month due"},
    "grace month: base month kept": {"month after"},
    "before window: base month moves earlier": {"before"},
    "after grace: lapsed, new base month": {"after"},
}

days = st.dates(date(1950, 1, 1), date(2150, 12, 31))
intervals = st.sampled_from(INTERVALS)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['last_check_date']}+{case['interval_months']}")
def test_every_row_of_the_table(case):
    """Month due, the window's first day, its last days, and, where a check was taken, the month due after it."""
    due = due_after(date.fromisoformat(case["last_check_date"]), int(case["interval_months"]))

    assert f"{due.month:%Y-%m}" == case["due_month"]
    assert due.first.isoformat() == case["early_window_first_day"]
    assert due.end.isoformat() == case["last_day_of_due_month"]
    assert due.last.isoformat() == case["last_day_of_grace_month"]
    if case["next_check_taken"]:
        taken = date.fromisoformat(case["next_check_taken"])
        assert due.place(taken) in PLACES[case["result"]]
        assert f"{due.following(taken).month:%Y-%m}" == case["following_due_month"]


def test_the_table_holds_every_case():
    """So that the rows above compare something: each result, each interval, some rows without a check taken."""
    assert {case["result"] for case in CASES} == {*PLACES, ""}
    assert {int(case["interval_months"]) for case in CASES} == set(INTERVALS)


def test_the_intervals_are_those_of_the_rules():
    """Calendar months that a rule of the thresholds table asks for, grace apart."""
    named = {int(row["lower"] or row["upper"]) for row in THRESHOLDS if row["quantity"] == "calendar months"
             and row["requirement"] != "grace"}  # fmt: skip

    assert named == set(INTERVALS)


@given(days, intervals)
def test_the_window_is_three_whole_months(last, interval):
    """Its ends are the first day of a month and the last day of the second month after, whatever their lengths."""
    due = due_after(last, interval)

    assert due.first.day == 1 and due.month.day == 1
    for end in (due.end, due.last):
        assert end.day == calendar.monthrange(end.year, end.month)[1]
    lengths = [calendar.monthrange(day.year, day.month)[1] for day in (due.first, due.month, due.last)]
    assert (due.last - due.first).days + 1 == sum(lengths)
    assert (due.month.year - last.year) * 12 + due.month.month - last.month == interval


@given(days, intervals)
def test_only_the_month_of_the_last_check_counts(last, interval):
    """The 1st and the 31st of a month give the same dates."""
    last_of_month = last.replace(day=calendar.monthrange(last.year, last.month)[1])

    assert due_after(last.replace(day=1), interval) == due_after(last_of_month, interval)


@given(days, intervals, st.integers(-400, 400))
def test_a_check_in_the_window_keeps_the_month_and_another_moves_it(last, interval, away):
    """Inside the next is due one interval after the month due; outside one interval after the month it was taken in."""
    due = due_after(last, interval)
    taken = due.month + timedelta(days=away)
    following = due.following(taken)

    if due.first <= taken <= due.last:
        assert due.place(taken) in ("month before", "month due", "month after")
        assert following == due_after(due.month, interval)
    else:
        assert due.place(taken) == ("before" if taken < due.first else "after")
        assert following == due_after(taken, interval)
    assert due.place(due.month + timedelta(days=27)) == "month due"


@given(days, intervals, st.lists(st.integers(-1, 1), min_size=1, max_size=12))
def test_checks_in_the_window_never_make_the_months_wander(last, interval, shifts):
    """Taken early or late each time, year after year, the month due stays where it began."""
    due = due_after(last, interval)
    for shift in shifts:
        due = due.following(months_later(due.month, shift) + timedelta(days=27))

    assert due.month == months_later(last, interval * (len(shifts) + 1))


@given(days, st.integers(-240, 240))
def test_months_later_and_back(day, months):
    """There and back is the first of the month."""
    assert months_later(months_later(day, months), -months) == month_of(day)


@pytest.mark.parametrize(("last", "interval", "code"), [
    (date(2026, 1, 1), 7, "check-interval-unknown"),
    (date(2026, 1, 1), 0, "check-interval-unknown"),
    (date(1, 1, 1), 12, "check-year-unusable"),
    (date(9999, 12, 31), 24, "check-year-unusable"),
])  # fmt: skip
def test_what_cannot_be_reckoned_is_refused(last, interval, code):
    """With words for the person, not an overflow."""
    with pytest.raises(InputError) as refused:
        due_after(last, interval)
    assert refused.value.reference == code


def test_a_window_over_the_turn_of_a_year():
    """Counted by hand: due in January, from 1 December to the last of February, which a leap year makes the 29th."""
    due = CheckDue(date(2028, 1, 1), 12)

    assert (due.first, due.end, due.last) == (date(2027, 12, 1), date(2028, 1, 31), date(2028, 2, 29))

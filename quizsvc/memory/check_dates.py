"""When a recurrent check is due by calendar months, and which month a check counts in.

The month due is the month of the last check plus the interval; a check taken in the month before or after it counts as
taken in it for working out the next (14 CFR 61.58(i) and 135.301(a) as read). One taken earlier or later counts in its
own month. These are dates to verify with the authority: nothing here says what a person may do. Days in, days out; a
month is given by its first day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quizsvc.errors import InputError

__all__ = ["INTERVALS", "CheckDue", "Place", "due_after", "month_of", "months_later"]

INTERVALS = (6, 12, 24)
"""Calendar months between checks that rules name: 135.297(a), ORO.FC.230(b)(3); 61.58(a)(1), 135.293; 61.58(a)(2)."""

Place = Literal["before", "month before", "month due", "month after", "after"]

_FIRST_YEAR, _LAST_YEAR = 1900, 2200


@dataclass(frozen=True)
class CheckDue:
    """A check that is due in `month`, given by its first day, with the interval in calendar months."""

    month: date
    interval: int

    @property
    def first(self) -> date:
        """First day of the month before: from here on a check counts in the month due."""
        return months_later(self.month, -1)

    @property
    def end(self) -> date:
        """Last day of the month due."""
        return months_later(self.month, 1) - timedelta(days=1)

    @property
    def last(self) -> date:
        """Last day of the month after: up to here a check counts in the month due."""
        return months_later(self.month, 2) - timedelta(days=1)

    def place(self, taken: date) -> Place:
        """Where a day lies to the month due."""
        away = _index(taken) - _index(self.month)
        if abs(away) > 1:
            return "before" if away < 0 else "after"
        return ("month before", "month due", "month after")[away + 1]

    def counts_in(self, taken: date) -> date:
        """The month that a check taken on a day counts in: the month due, or its own outside the three months."""
        return month_of(taken) if self.place(taken) in ("before", "after") else self.month

    def following(self, taken: date) -> CheckDue:
        """The check that is due after one taken on a day."""
        return due_after(self.counts_in(taken), self.interval)


def due_after(counted: date, interval: int) -> CheckDue:
    """The check that is due after one that counts in the month of a day.

    Parameters
    ----------
    counted : date
        Any day of that month.
    interval : int
        Calendar months, one of `INTERVALS`.

    Raises
    ------
    InputError
        Another interval, or a year that no check is in.
    """
    if interval not in INTERVALS:
        raise InputError(
            "check-interval-unknown",
            f"'{interval}' is not an interval between checks that is known here",
            where="interval",
            mend=f"calendar months, one of: {', '.join(map(str, INTERVALS))}",
        )
    if not _FIRST_YEAR <= counted.year <= _LAST_YEAR:
        raise InputError(
            "check-year-unusable",
            f"no check is dated {counted.isoformat()}",
            where="last_check",
            mend=f"a year from {_FIRST_YEAR} to {_LAST_YEAR}",
        )
    return CheckDue(months_later(counted, interval), interval)


def month_of(day: date) -> date:
    """The first day of a day's month."""
    return day.replace(day=1)


def months_later(day: date, months: int) -> date:
    """The first day of the month that is so many calendar months after a day's own; earlier if negative."""
    year, month = divmod(_index(day) + months, 12)
    return date(year, month + 1, 1)


def _index(day: date) -> int:
    return 12 * day.year + day.month - 1

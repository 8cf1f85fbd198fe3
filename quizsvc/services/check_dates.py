"""A person's check date from their last check: the month due, the months in which a check counts, the day planned.

Dates to verify with the authority. Nothing here says that a person may serve, or is anything in law.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from quizsvc.errors import InputError
from quizsvc.memory.check_dates import INTERVALS, CheckDue, due_after, month_of, months_later
from quizsvc.services import edge
from quizsvc.services.clocks import local_day
from quizsvc.store import checks, people
from quizsvc.store.session import Database, Session

__all__ = ["COUNTED", "INTERVALS", "RULE_READ_ON", "LastCheckView", "of_person", "plan_check", "reckoned", "view_of"]

RULE_READ_ON = date(2026, 11, 25)
"""The day on which the words of 14 CFR 61.58(i) and 135.301(a) were read that the months follow."""

COUNTED = {"own": 0, "after": 1, "before": -1}
"""Which month a check counts in, by word: its own, the month after it, the month before it."""

_FIRST = date(1950, 1, 1)


@dataclass(frozen=True)
class LastCheckView:
    """A person's last check: `counts_in` is the first day of the month that it counts in."""

    taken_on: date
    interval: int
    counts_in: date

    @property
    def due(self) -> CheckDue:
        """The check that is due after it."""
        return due_after(self.counts_in, self.interval)

    @property
    def counted(self) -> str:
        """The word for the month that it counts in; `own` where that is none of the three."""
        return next(
            (word for word, away in COUNTED.items() if months_later(self.taken_on, away) == self.counts_in), "own"
        )


def reckoned(taken_on: date | None, interval: int, counted: str, *, today: date) -> LastCheckView:
    """A last check as typed.

    Raises
    ------
    InputError
        A day that no check was taken on, or a word or interval that is none; `where` is the field.
    """
    if taken_on is None or not _FIRST <= taken_on <= today:
        raise InputError(
            "last-check-unusable",
            "the date of the last check is missing"
            if taken_on is None
            else f"{taken_on.isoformat()} is {'in the future' if taken_on > today else 'too long ago'}",
            where="last_check",
            mend=f"the day on which it was taken, from {_FIRST.isoformat()} to today",
        )
    if counted not in COUNTED:
        raise InputError(
            "counted-unknown",
            f"'{counted[:40]}' is not one of the choices",
            where="counted",
            mend=f"one of: {', '.join(COUNTED)}",
        )
    found = LastCheckView(taken_on, interval, months_later(month_of(taken_on), COUNTED[counted]))
    due_after(found.counts_in, found.interval)  # refuses another interval
    return found


def of_person(db: Database, person_id: int) -> LastCheckView | None:
    """A person's last check; None where they gave none."""
    with db.reading() as session:
        return view_of(session, edge.row_id(person_id, "person"))


def view_of(session: Session, person_id: int) -> LastCheckView | None:
    """The same inside a unit of work."""
    row = checks.last_check(session, person_id)
    return LastCheckView(row.taken_on, row.interval_months, row.counts_in) if row else None


def plan_check(db: Database, person_id: int, last: LastCheckView, planned_on: date | None, *, now: datetime) -> None:
    """Keep a person's last check and the day for which they plan the next: practice is planned towards it.

    Raises
    ------
    InputError
        No day, or one that has passed or is further away than any check.
    NotFoundError
        No such person.
    """
    with db.writing() as session:
        learner = people.lock(session, edge.row_id(person_id, "person"))
        person = people.by_id(session, person_id)
        if person is None or learner is None:
            raise edge.not_found("person")
        today = date.fromordinal(local_day(now, person.time_zone))
        furthest = months_later(today, 2 * max(INTERVALS))
        if planned_on is None or not today <= planned_on < furthest:
            raise InputError(
                "check-date-unusable",
                "no day is given"
                if planned_on is None
                else f"{planned_on.isoformat()} {'has passed' if planned_on < today else 'is too far ahead'}",
                where="check_date",
                mend=f"the day for which the check is planned, from today and before {furthest.isoformat()}",
            )
        person.check_date = planned_on
        checks.set_last_check(
            session, person_id, taken_on=last.taken_on, interval=last.interval, counts_in=last.counts_in
        )

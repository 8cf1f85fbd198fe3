"""One row in each table of people's checks."""

from __future__ import annotations

from datetime import date

from quizsvc.store import checks

TABLES = {"last_check", "check_debrief"}  # what goes when the older code comes back


def write(db, person_id, now):
    """A last check, and what was asked at it."""
    with db.writing() as session:
        checks.set_last_check(session, person_id, taken_on=date(2025, 4, 30), interval=12, counts_in=date(2025, 3, 1))
        checks.keep_debrief(session, person_id, taken_on=date(2025, 4, 30), concepts=["P-DIFF"], at=now)

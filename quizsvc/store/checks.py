"""People's checks: the last one, from which the next is reckoned, and what was asked at those they told of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store.session import touched
from quizsvc.store.tables_people import CheckDebrief, LastCheck


def last_check(session: Session, person_id: int) -> LastCheck | None:
    """A person's last check; None where they gave none."""
    return session.get(LastCheck, person_id, populate_existing=True)


def set_last_check(session: Session, person_id: int, *, taken_on: date, interval: int, counts_in: date) -> None:
    """Keep a person's last check in the place of the one before. The learner's row must be locked."""
    found = last_check(session, person_id)
    if found is None:
        session.add(LastCheck(person_id=person_id, taken_on=taken_on, interval_months=interval, counts_in=counts_in))
    else:
        found.taken_on, found.interval_months, found.counts_in = taken_on, interval, counts_in
    session.flush()


def debriefs(session: Session, person_id: int) -> list[CheckDebrief]:
    """What a person was asked at their checks, the newest check first."""
    return list(
        session.scalars(
            sa.select(CheckDebrief)
            .where(CheckDebrief.person_id == person_id)
            .order_by(CheckDebrief.taken_on.desc(), CheckDebrief.id.desc())
        )
    )


def keep_debrief(session: Session, person_id: int, *, taken_on: date, concepts: Sequence[str], at: datetime) -> None:
    """Keep what was asked at a check, in the place of what was told of that day before.

    The learner's row must be locked.
    """
    forget_debrief(session, person_id, taken_on)
    session.add(CheckDebrief(person_id=person_id, taken_on=taken_on, concepts=list(concepts), told_at=at))
    session.flush()


def forget_debrief(session: Session, person_id: int, taken_on: date) -> bool:
    """Forget what was told of a check; False where nothing was."""
    told = sa.delete(CheckDebrief).where(CheckDebrief.person_id == person_id, CheckDebrief.taken_on == taken_on)
    return touched(session, told) == 1


def reown(session: Session, old_id: int, new_id: int) -> None:
    """Give a person's checks to another, but for those whose day the other told of already, and their last check."""
    told = sa.select(CheckDebrief.taken_on).where(CheckDebrief.person_id == new_id)
    session.execute(
        sa.update(CheckDebrief)
        .where(CheckDebrief.person_id == old_id, CheckDebrief.taken_on.not_in(told))
        .values(person_id=new_id)
        .execution_options(synchronize_session=False)
    )

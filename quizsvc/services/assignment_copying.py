"""Copying an assignment, to the same group or to another of one's own: what worked with one intake for the next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.errors import InputError
from quizsvc.services import assignments as verbs
from quizsvc.services import local_times, school_access
from quizsvc.services.assignment_items import offered, trouble_of
from quizsvc.store import assignments, picking
from quizsvc.store.session import Database
from quizsvc.store.tables import Assignment, Group

__all__ = ["Copied", "LeftOut", "copy"]

ELSEWHERE = "not asked of this group: another aircraft, or its concept is no longer in use"


@dataclass(frozen=True)
class LeftOut:
    """An item that the copy has not, and why."""

    item: str
    why: str


@dataclass(frozen=True)
class Copied:
    """A copy: its id, its group, how many items it has, and what was left out, in the order of the first."""

    id: int
    group_name: str
    places: int
    left_out: tuple[LeftOut, ...]


def copy(db: Database, person_id: int, assignment_id: int, group_id: int, *, now: datetime) -> Copied:
    """Copy an assignment into a group as a new draft: its items as they are in use now, in their order, and its rules.

    It opens when it is released and closes in a week, at the hour of the day at which the first one closed; late work
    is taken as many days after that as it was. Nothing is drawn yet. Left out are items that are withdrawn, unread or
    disputed by now, or that the group is not asked.

    Raises
    ------
    NotFoundError
        No such assignment or group, or not theirs.
    InputError
        Not one of its items can be asked any more.
    """
    with db.writing() as session:
        first, old = school_access.assignment_for_instructor(session, person_id, assignment_id)
        group = school_access.group_for_instructor(session, person_id, group_id)
        in_use = {one.id: one.revision_id for one in offered(session, group)}
        rows = picking.placed(session, first.id)
        left_out = tuple(LeftOut(row.id, trouble_of(row) or ELSEWHERE) for row in rows if row.id not in in_use)
        if len(left_out) == len(rows):
            raise InputError(
                "copy-empty",
                f"not one item of '{first.title}' can be asked in {group.name} now",
                where="group",
                mend="choose another group, or make a new assignment",
            )
        made = verbs.make_in(session, group, person_id, first.title, now)
        _rules(first, made, old, group, now)
        kept = [(row.id, in_use[row.id]) for row in rows if row.id in in_use]
        assignments.set_places(session, made.id, kept)
        return Copied(made.id, group.name, len(kept), left_out)


def _rules(first: Assignment, made: Assignment, old: Group, group: Group, now: datetime) -> None:
    """The rules as they were, on days to come by the clock of the group."""
    made.numbers, made.feedback, made.tries = first.numbers, first.feedback, first.tries
    made.sitting_minutes = first.sitting_minutes
    if first.closes_at is None:
        return
    days = verbs.CLOSES_IN_DAYS
    made.closes_at = local_times.days_later_like(now, group.time_zone, first.closes_at, old.time_zone, days=days)
    if first.late_until_at is not None:
        days += local_times.days_between(first.closes_at, first.late_until_at, old.time_zone)
        late = local_times.days_later_like(now, group.time_zone, first.late_until_at, old.time_zone, days=days)
        # On a day when the clock is put back or forward, the later of two hours may be the earlier moment.
        made.late_until_at = max(late, made.closes_at)

"""The groups of the invented school, come about as groups do: made by an instructor, joined by a code, let in."""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import datetime, timedelta

from quizsvc.services import groups, joining, members, notices
from quizsvc.services.demo_school import School, SchoolGroup
from quizsvc.services.school_access import INSTRUCTOR
from quizsvc.store.session import Database

_WAITED = timedelta(hours=2)


def make_groups(
    db: Database, school: School, ids: Mapping[str, int], *, begun: datetime, now: datetime, rng: random.Random
) -> None:
    """Make the groups of a school whose people have accounts, by name in `ids`; `begun` is the day they were made."""
    for group in school.groups:
        _make(db, school, group, ids, begun, now, rng)


def _make(
    db: Database,
    school: School,
    group: SchoolGroup,
    ids: Mapping[str, int],
    begun: datetime,
    now: datetime,
    rng: random.Random,
) -> None:
    first, *others = (ids[name] for name in group.instructors)
    days: tuple[timedelta, ...] = tuple(timedelta(days=one) for one in group.days or ())
    form = groups.GroupForm(
        name=group.name,
        time_zone=school.time_zone,
        starts_on=(now - days[0]).date() if days else None,
        ends_on=(now + days[1]).date() if days else None,
        aircraft=(school.aircraft,),
    )
    group_id = groups.make(db, first, form, now=begun)
    code = joining.make_code(db, first, group_id, rng=rng, now=begun)
    people = others + [ids[name] for name in group.students]
    for person_id in people:
        joining.join(db, person_id, code, now=begun)
    for one in groups.view(db, first, group_id).waiting:
        members.answer(db, first, group_id, one.number, accept=True, now=begun)
        if one.person_id in others:
            members.give_part(db, first, group_id, one.number, INSTRUCTOR, now=begun)
        for notice in notices.listed(db, one.person_id)[:1]:
            notices.mark_seen(db, one.person_id, notice.number, now=begun)
    if group.waiting:
        code = joining.make_code(db, first, group_id, rng=rng, now=now - _WAITED)
        for name in group.waiting:
            joining.join(db, ids[name], code, now=now - _WAITED)

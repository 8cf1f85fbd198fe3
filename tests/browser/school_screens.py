"""What an instructor's screens show: groups with people in every state, assignments, a squawk; and their addresses."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa

from quizsvc.services import groups, joining, members, roll, roll_text, squawks
from quizsvc.store.tables import Assignment, Group, Membership
from tests.services import school
from tests.services.assigned import add_assignment


def school_addresses(
    db: Any, instructor: int, pilot: int, homework: dict[str, str], question: str, now: datetime
) -> dict[str, str]:
    """A group with a code, a roll, somebody who waits and one who left; one without; the pilot's homework's group."""
    group = school.group(db, instructor, "Third intake", now=now)
    roll.import_roll(db, instructor, group, roll_text.read_names("", "Lioba Fennimark\nOsric Tamblane"), now=now)
    gone, second = (
        school.person(db, "Sunniva Ockwell", now=now),
        school.person(db, "Rosmund Achterby", "instructor", now=now),
    )
    for person_id in (pilot, gone, second):
        number = school.joined(db, person_id, group, by=instructor, now=now)
    members.give_part(db, instructor, group, number, "instructor", now=now)
    members.leave(db, gone, group, now=now)
    code = joining.make_code(db, instructor, group, rng=school.RNG, now=now)
    joining.join(db, school.person(db, "Pim Holloquist of the ramp", now=now), code, now=now)
    empty = school.group(db, instructor, "A group of nobody", now=now)
    # What the pilot has done belongs to a group that this instructor instructs too.
    with db.writing() as session:
        given = session.scalars(sa.select(Group.id).where(Group.name == "Ochre intake")).one()
        told = session.scalars(sa.select(Assignment.id).where(Assignment.title == "All about it, told")).one()
        session.add(
            Membership(group_id=given, person_id=instructor, part="instructor", state="in", asked_at=now, joined_at=now)
        )
    draft = add_assignment(db, lambda: now, given, ["asked-as-number", "asked-as-one"], title="A draft", released=False)
    squawk = squawks.raise_squawk(db, pilot, question, "The picture shows another valve.", now=now)
    assert [one.name for one in groups.view(db, instructor, group).waiting] == ["Pim Holloquist of the ramp"]
    return {
        "group": f"/groups/{group}",
        "empty": f"/groups/{empty}",
        "given": f"/groups/{given}",
        "code": f"/join/{code}",
        "draft": f"/assignments/{draft}",
        "assignment": homework["begun"].replace("/homework/", "/assignments/"),
        "told": f"/assignments/{told}",
        "person": str(pilot),
        "squawk": f"/squawks/{squawk.id}",
    }

"""An assignment as tests need one: a group with its people, places on items of the test bank, rules and times."""

from __future__ import annotations

from datetime import timedelta

import sqlalchemy as sa

from quizsvc.services import passwords
from quizsvc.services.sessions import new_person
from quizsvc.store import people
from quizsvc.store.tables import Assignment, AssignmentPlace, Group, Item, Membership

ZONE = "Europe/Zurich"


def add_person(db, clock, name, roles=("pilot",), time_zone="UTC"):
    """An account without a password; returns its id."""
    with db.writing() as session:
        person = new_person(
            session, time_zone=time_zone, now=clock(), name=name, name_key=passwords.name_key(name), password_hash=None
        )
        people.set_roles(session, person.id, roles)
        return person.id


def add_group(db, clock, *, name="Ochre intake", instructors=(), students=(), zone=ZONE):
    """A group with these people in it; returns its id."""
    with db.writing() as session:
        group = Group(
            name=name,
            name_key=passwords.name_key(name),
            time_zone=zone,
            aircraft=["tolquenny-19"],
            made_by=instructors[0] if instructors else None,
            made_at=clock(),
        )
        session.add(group)
        session.flush()
        session.add_all(
            Membership(
                group_id=group.id, person_id=person_id, part=part, state="in", asked_at=clock(), joined_at=clock()
            )
            for part, ids in (("instructor", instructors), ("student", students))
            for person_id in ids
        )
        return group.id


def add_assignment(db, clock, group_id, items, *, released=True, **changes):
    """An assignment on these items, released and open now unless told otherwise; returns its id."""
    usual = {
        "title": "Bleed air for Monday",
        "state": "released" if released else "draft",
        "version": 1,
        "numbers": "own",
        "feedback": "with the mark",
        "tries": 1,
        "opens_at": clock(),
        "closes_at": clock() + timedelta(days=7),
        "made_at": clock(),
        "changed_at": clock(),
        "released_at": clock() if released else None,
    }
    with db.writing() as session:
        assignment = Assignment(group_id=group_id, **(usual | changes))
        session.add(assignment)
        session.flush()
        revisions = {row.id: row.revision_id for row in session.execute(sa.select(Item.id, Item.revision_id))}
        session.add_all(
            AssignmentPlace(assignment_id=assignment.id, position=position, item_id=item, revision_id=revisions[item])
            for position, item in enumerate(items, 1)
        )
        return assignment.id

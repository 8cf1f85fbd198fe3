"""People and groups for tests of the school, made with as few steps as there are."""

from __future__ import annotations

import random

from quizsvc.services import accounts, groups, joining, members
from quizsvc.store.tables import Person

RNG = random.Random(19)


def person(db, name, *roles, now, signed_in=True):
    """An account; one that has signed in has a password that nobody knows. Returns its id."""
    person_id = accounts.add_account(db, name, roles or ("pilot",), now=now)
    if signed_in:
        with db.writing() as session:
            session.get_one(Person, person_id).password_hash = "scrypt:not-a-hash"
    return person_id


def instructor(db, name="Tobiah Quenley", *, now):
    """An account with the role of an instructor."""
    return person(db, name, "instructor", "pilot", now=now)


def group(db, by, name="Third intake", *, now, **form):
    """A group that `by` instructs. Returns its number."""
    return groups.make(db, by, groups.GroupForm(**({"name": name, "time_zone": "Europe/Lisbon"} | form)), now=now)


def joined(db, person_id, group_id, *, by, now):
    """Somebody joins and is let in. Returns the number of the membership."""
    joining.join(db, person_id, joining.make_code(db, by, group_id, rng=RNG, now=now), now=now)
    waiting = next(one for one in groups.view(db, by, group_id).waiting if one.person_id == person_id)
    members.answer(db, by, group_id, waiting.number, accept=True, now=now)
    return waiting.number

"""What stands in the place of a name that has gone: who left the service keeps their homework, under a number.

The number comes from the random id of a piece of their work, so it is neither the row's nor tells the order in which
people came, and it is the same on every page, in every file and on paper. Addresses name them by `keys`, made alike: by
the row's number an address that was kept from before, with the name beside it, would tell who it was.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from quizsvc.store import works
from quizsvc.store.session import Session
from quizsvc.store.tables import Person

__all__ = ["GONE", "keys", "names"]

GONE = "somebody who left the service"


def names(session: Session, persons: Iterable[Person]) -> dict[int, str]:
    """Names by person; of who has left `somebody who left the service (4821 0937)`.

    Who left without homework begun has no number: nothing of theirs is shown but that they were there.
    """
    found = {person.id: person.name or "" for person in persons}
    gone = [person_id for person_id, name in found.items() if not name]
    first = works.first_begun(session, gone) if gone else {}
    return found | {one: f"{GONE} ({_number(first[one])})" if one in first else GONE for one in gone}


def keys(session: Session, persons: Iterable[Person]) -> dict[int, str]:
    """By person who has left and had begun homework: 32 hexadecimal digits that stand for them in an address."""
    first = works.first_begun(session, [person.id for person in persons if not person.name])
    return {one: _digest(work_id).hex()[:32] for one, work_id in first.items()}


def _digest(work_id: str) -> bytes:
    return hashlib.sha256(work_id.encode()).digest()


def _number(work_id: str) -> str:
    """Eight digits: of 100 who left two read alike in one installation of 20,000 (100 * 99 / 2 / 10**8)."""
    digits = f"{int.from_bytes(_digest(work_id)) % 10**8:08d}"
    return f"{digits[:4]} {digits[4:]}"

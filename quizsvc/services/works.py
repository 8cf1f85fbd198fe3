"""Writing a person's work: the questions of one try at an assignment, with own or with common numbers.

The same try is drawn once. Preview and the first opening both come here, so that what an instructor saw is what the
person gets.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import datetime
from typing import Any

from quizsvc.services.issuing import Draft, drafts
from quizsvc.store import assignments, people, questions, works
from quizsvc.store.session import Session
from quizsvc.store.tables import Assignment, Work

__all__ = ["REASON", "Prepared", "draw", "prepare", "taken_at"]

REASON = "homework"

# Drafts by place: a scenario's parts share one.
Prepared = Mapping[int, tuple[Draft, ...]]


def prepare(
    session: Session, assignment: Assignment, person_id: int, rng: Any, *, taken: set[str] | None = None
) -> Prepared:
    """Draw own numbers for a person's next try without writing; `draw` takes them, so that no writer waits meanwhile.

    Nobody gets what somebody else has at this assignment, nor what they had before, while the item has other numbers.
    Whoever prepares for several people hands in one set of `taken` draw keys, which grows by each person's.

    Raises
    ------
    DrawError
        No draw of an item passes its own refusals.
    """
    placed = assignments.places(session, assignment.id)
    if taken is None:
        taken = taken_at(session, assignment.id)
    found = {
        place.position: drafts(session, person_id, place.revision_id, rng, without=taken if place.generated else ())
        for place in placed
    }
    taken |= {draft.draw_key for ones in found.values() for draft in ones}
    return found


def taken_at(session: Session, assignment_id: int) -> set[str]:
    """The draw keys that somebody has at an assignment, of items that draw numbers."""
    placed = assignments.places(session, assignment_id)
    return works.draws_at(session, assignment_id, {place.item_id for place in placed if place.generated})


def draw(
    session: Session,
    assignment: Assignment,
    person_id: int,
    number: int,
    now: datetime,
    rng: Any,
    *,
    prepared: Prepared | None = None,
) -> Work:
    """A person's try at an assignment; its work and questions are written where there are none yet.

    Locks the person's learner row, and for common numbers that nobody has drawn yet the assignment after it.

    Parameters
    ----------
    session : Session
        A unit of work that writes.
    number : int
        Which try, counted from 1.
    rng : random.Random
        Draws the numbers.
    prepared : mapping, optional
        What `prepare` drew for this person; not used with common numbers.

    Raises
    ------
    DrawError
        No draw of an item passes its own refusals.
    """
    people.lock(session, person_id)
    found = works.of_try(session, assignment.id, person_id, number)
    if found is not None:
        return found
    if assignment.numbers == "common":
        prepared = _common(session, assignment, number, rng)
    elif prepared is None:
        prepared = prepare(session, assignment, person_id, rng)
    work = Work(
        id=secrets.token_hex(16),
        assignment_id=assignment.id,
        person_id=person_id,
        number=number,
        drawn_at=now,
        late=False,
    )
    session.add(work)
    rows = [(place, draft) for place in sorted(prepared) for draft in prepared[place]]
    questions.add_questions(
        session,
        [
            draft.row(person_id=person_id, work_id=work.id, place=place, position=position, reason=REASON, now=now)
            for position, (place, draft) in enumerate(rows, 1)
        ],
    )
    return work


def _common(session: Session, assignment: Assignment, number: int, rng: Any) -> Prepared:
    """What all get in this try: drawn by whoever comes first, kept, and apart from the numbers of earlier tries."""
    kept = assignments.common(session, assignment.id, number)
    if not kept:
        assignments.lock(session, assignment.id)
        kept = assignments.common(session, assignment.id, number)
    if not kept:
        taken = assignments.common_keys(session, assignment.id)
        kept = {
            place.position: [
                asdict(draft)
                for draft in drafts(session, None, place.revision_id, rng, without=taken if place.generated else ())
            ]
            for place in assignments.places(session, assignment.id)
        }
        assignments.add_common(session, assignment.id, number, kept)
    return {place: _own_chain(tuple(Draft(**one) for one in ones)) for place, ones in kept.items()}


def _own_chain(parts: tuple[Draft, ...]) -> tuple[Draft, ...]:
    """The parts of a scenario under a chain of this work alone: a chain is one person's."""
    if parts[0].chain is None:
        return parts
    chain = secrets.token_hex(16)
    return tuple(replace(part, chain=chain) for part in parts)

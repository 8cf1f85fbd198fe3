"""From the log of answers to the memory model's events, and rebuilding one learner from them."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from quizsvc.memory.replay import replay
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState
from quizsvc.memory.weights import Weights
from quizsvc.services import weights
from quizsvc.services.clocks import days_since_epoch
from quizsvc.store import answers, learners, people
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Learner, Person


def rebuild(session: Session, person: Person, learner: Learner, used: Weights | None = None) -> int:
    """Rebuild a learner, whose row is locked, from their whole log; returns how many answers memory took in.

    `used` are the weights to replay into; those the learner has now if left out.
    """
    session.flush()
    if used is None:
        used = weights.of_version(session, learner.weights_version)
    taken, newest_at = _events(session, person.id)
    state, held = replay(taken, person.experience, used)
    learners.replace(session, learner, state, held, newest_at=newest_at, weights_version=used.version)
    session.flush()
    return len(taken)


def from_log(session: Session, person: Person, learner: Learner) -> tuple[LearnerState, dict[str, ConceptState]]:
    """What the log gives for a learner by the weights that they have now; nothing is stored."""
    return replay(
        events_of(session, person.id), person.experience, weights.of_version(session, learner.weights_version)
    )


def _events(session: Session, person_id: int) -> tuple[list[AnswerEvent], datetime | None]:
    """The events of a person's log, and the time of the last of them."""
    taken = []
    newest_at = None
    seen: set[str] = set()
    for row in answers.events(session, person_id):
        fresh = row.draw_key not in seen
        seen.add(row.draw_key)
        if row.outcome == "void":
            continue
        newest_at = row.effective_at
        taken.append(event_of(row, fresh=fresh))
    return taken, newest_at


def event_of(row: Any, *, fresh: bool) -> AnswerEvent:
    """A row of the log that is not void, as memory takes it in; `fresh` if its numbers had not been seen by then."""
    return AnswerEvent(
        at=days_since_epoch(row.effective_at),
        local_day=row.local_day,
        outcome=row.outcome,
        credit=row.credit,
        kind=row.kind,
        item=row.item_id,
        fresh=fresh,
        sureness=row.sureness,
        concept=row.concept_id,
        answer_id=row.id,
        withdrawn=row.withdrawn_at is not None,
    )


def events_of(session: Session, person_id: int) -> list[AnswerEvent]:
    """Every answer of a person's log that memory takes in."""
    return _events(session, person_id)[0]


def rebuild_who_answered(db: Database, items: Iterable[str]) -> int:
    """Rebuild everyone with an answer to one of the items, each in a unit of work of their own; returns how many.

    After an item was withdrawn or came back: what was learned on a withdrawn revision is suspect.
    """
    items = list(items)
    if not items:
        return 0
    with db.reading() as session:
        ids = answers.people_who_answered(session, items)
    return sum(rebuild_one(db, person_id) is not None for person_id in ids)


def rebuild_one(db: Database, person_id: int, used: Weights | None = None) -> int | None:
    """Rebuild one person in a unit of work of their own; None where they have gone meanwhile."""
    with db.writing() as session:
        return rebuild_in(session, person_id, used)


def rebuild_in(session: Session, person_id: int, used: Weights | None = None) -> int | None:
    """Lock a person's learner and rebuild it inside the caller's unit of work; None where they are not there."""
    learner = people.lock(session, person_id)
    person = people.by_id(session, person_id)
    return None if learner is None or person is None else rebuild(session, person, learner, used)

"""Rebuilding a learner after answers that arrive late, one after the other, as a device sends them.

Each of them is a unit of work of its own and leaves the learner as a replay of the whole log would. What lies before it
in the log is the same for the next one, so that it is read and replayed once for a batch: a `Batch` remembers it, and
for which version of the learner it is true. Whatever else changes a log counts that version up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from quizsvc.memory.recall import update
from quizsvc.memory.states import ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import Weights
from quizsvc.services import weights
from quizsvc.services.memory_log import event_of
from quizsvc.store import answers, learners, people
from quizsvc.store.session import Session

__all__ = ["Batch", "rebuild_late"]


@dataclass
class _Memory:
    """A learner as of a place in the log, while rows are taken in."""

    learner: LearnerState
    held: dict[str, ConceptState] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)
    newest_at: datetime | None = None
    place: tuple[datetime, int] | None = None

    def take(self, row: Any, used: Weights) -> None:
        """Take in the row that comes next."""
        fresh = row.draw_key not in self.seen
        self.seen.add(row.draw_key)
        self.place = (row.effective_at, row.id)
        if row.outcome == "void":
            return
        self.newest_at = row.effective_at
        before = self.held.get(row.concept_id) or fresh_concept(used, row.concept_id)
        self.learner, self.held[row.concept_id], _note = update(self.learner, before, event_of(row, fresh=fresh), used)

    def copy(self) -> _Memory:
        """One of its own, to go on from here."""
        return _Memory(self.learner, dict(self.held), set(self.seen), self.newest_at, self.place)


@dataclass(frozen=True)
class _Before:
    """What lies before a late answer in a person's log; true while the learner has this version."""

    person_id: int
    version: int
    memory: _Memory


@dataclass
class Batch:
    """What late answers of one batch have in common. Set only by what has been committed."""

    before: _Before | None = None


def rebuild_late(session: Session, person_id: int, answer_id: int, before: _Before | None) -> _Before | None:
    """Rebuild a learner after a late answer, in the unit of work that has just added it and locked the learner.

    `before` is what the answer before it in the batch returned. Returns what the next one may use, once this unit of
    work is committed; None where the person has gone.
    """
    learner = people.lock(session, person_id)
    person = people.by_id(session, person_id)
    if learner is None or person is None:
        return None
    used = weights.of_version(session, learner.weights_version)
    # Adding the answer counted the version up by one; anything else between means another log.
    known = before is not None and before.person_id == person_id and before.version + 1 == learner.version
    memory = before.memory.copy() if known and before is not None else _Memory(fresh_learner(person.experience, used))
    rows = answers.events(session, person_id, memory.place)
    at = next((number for number, row in enumerate(rows) if row.id == answer_id), None)
    if at is None and memory.place is not None:
        # It belongs before what the last one left behind it.
        memory = _Memory(fresh_learner(person.experience, used))
        known = False
        rows = answers.events(session, person_id)
        at = next((number for number, row in enumerate(rows) if row.id == answer_id), None)
    for row in rows[:at]:
        memory.take(row, used)
    whole = memory.copy()
    behind = rows[at:] if at is not None else []
    for row in behind:
        whole.take(row, used)
    if known:
        # Only concepts that were answered from here on can have moved.
        moved = {row.concept_id for row in behind} & set(whole.held)
        held = {concept: whole.held[concept] for concept in moved}
        learners.replace_some(session, learner, whole.learner, held, newest_at=whole.newest_at)
    else:
        learners.replace(
            session, learner, whole.learner, whole.held, newest_at=whole.newest_at, weights_version=used.version
        )
    session.flush()
    return _Before(person_id, learner.version, memory)

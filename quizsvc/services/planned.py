"""What planning needs of a person: their active concepts with the ways of asking them, and their memory."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from quizsvc.errors import NotPreparedError
from quizsvc.memory.planning import Askable, Candidate, Plan, plan_set
from quizsvc.memory.states import ConceptState, LearnerState, fresh_concept
from quizsvc.memory.weights import Weights
from quizsvc.services import edge, weights
from quizsvc.services.clocks import days_since_epoch, start_of_day
from quizsvc.store import bank, learners, people
from quizsvc.store.session import Session
from quizsvc.store.tables import Concept, Person

GENERAL = "general"


def apart_from(candidates: Iterable[Candidate], items: Collection[str]) -> tuple[Candidate, ...]:
    """The candidates without these items, except where a concept has no other way of being asked."""
    return tuple(
        replace(one, items=tuple(item for item in one.items if item.item not in items) or one.items)
        for one in candidates
    )


def without(candidates: Iterable[Candidate], items: Collection[str]) -> tuple[Candidate, ...]:
    """The candidates without these items, and without those concepts that have no other way of being asked."""
    left = (replace(one, items=tuple(item for item in one.items if item.item not in items)) for one in candidates)
    return tuple(one for one in left if one.items)


@dataclass(frozen=True)
class Desk:
    """A person with everything that a plan, or a list of their holds, is made from."""

    person: Person
    learner: LearnerState
    weights: Weights
    concepts: tuple[Concept, ...]
    states: tuple[ConceptState, ...]
    candidates: tuple[Candidate, ...]
    revisions: dict[str, int]


def folders_of(person: Person) -> list[str]:
    """The bank's folders that a person is asked from: what is general, and the aircraft on their list."""
    return [GENERAL, *person.aircraft]


def desk(session: Session, person_id: int) -> Desk:
    """Read a person's desk.

    Raises
    ------
    NotFoundError
        No such person.
    """
    person = people.by_id(session, edge.row_id(person_id, "person"))
    learner = learners.get(session, person_id) if person else None
    if person is None or learner is None:
        raise edge.not_found("person")
    used = weights.of_version(session, learner.weights_version)
    folders = folders_of(person)
    concepts = tuple(bank.active_concepts(session, folders))
    held = learners.states(session, person.id)
    states = tuple(
        ConceptState.from_json(held[concept.id]) if concept.id in held else fresh_concept(used) for concept in concepts
    )
    items, revisions = _askable(session, person.id, folders)
    candidates = tuple(
        Candidate(
            concept=concept.id,
            system=concept.system,
            consequence=concept.consequence,
            state=state,
            items=tuple(items[concept.id]),
        )
        for concept, state in zip(concepts, states, strict=True)
    )
    return Desk(person, LearnerState.from_json(learner.state), used, concepts, states, candidates, revisions)


def ready_desk(session: Session, person_id: int) -> Desk:
    """The desk of a person who is to be asked something.

    Raises
    ------
    NotFoundError
        No such person.
    NotPreparedError
        No bank is loaded.
    """
    found = desk(session, person_id)
    if not found.candidates and bank.newest_load(session) is None:
        raise NotPreparedError("bank-not-loaded", "no question bank is loaded", mend="quizsvc bank load")
    return found


def plan(found: Desk, candidates: Sequence[Candidate], *, now: datetime, minutes: int, long: bool, rng: Any) -> Plan:
    """Plan a set of a person's, from some of their candidates, towards their check date."""
    person = found.person
    return plan_set(
        candidates,
        found.learner,
        found.weights,
        now=days_since_epoch(now),
        minutes=minutes,
        minutes_a_day=person.minutes_a_day,
        check_day=start_of_day(person.check_date, person.time_zone) if person.check_date else None,
        long=long,
        rng=rng,
    )


def _askable(session: Session, person_id: int, folders: list[str]) -> tuple[dict[str, list[Askable]], dict[str, int]]:
    """Ways of asking by concept, and the revision in use by item."""
    asked = bank.asked(session, person_id)
    items: dict[str, list[Askable]] = defaultdict(list)
    revisions = {}
    for row in bank.askable(session, folders):
        last, asks = asked.get(row.id, (None, 0))
        revisions[row.id] = row.revision_id
        items[row.concept_id].append(
            Askable(
                item=row.id,
                kind=row.kind,
                seconds=row.seconds,
                ramp=row.ramp,
                last_asked=_days(last),
                generated=row.generated,
                asks=asks,
            )
        )
    return items, revisions


def _days(at: datetime | Any | None) -> float | None:
    return None if at is None else days_since_epoch(at)

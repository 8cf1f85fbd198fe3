"""What planning needs of a person: their active concepts with the ways of asking them, and their memory."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from quizsvc.errors import NotPreparedError
from quizsvc.memory.check_dates import months_later
from quizsvc.memory.habit import NO_HABIT, WEEKS, Given, Habit, habit_of
from quizsvc.memory.planning import Askable, Candidate, Plan, plan_set
from quizsvc.memory.states import ConceptState, LearnerState, fresh_concept
from quizsvc.memory.until_check import to_cover
from quizsvc.memory.weights import Weights
from quizsvc.services import edge, weights
from quizsvc.services.clocks import days_since_epoch, local_day, start_of_day, time_at
from quizsvc.services.compiled import MANY, compiled_in
from quizsvc.services.system_names import system_names
from quizsvc.store import answers, bank, checks, learners, people, practised, questions
from quizsvc.store.session import Session
from quizsvc.store.tables import Concept, Person

GENERAL = "general"
# What is asked at a check comes oftener until this many whole calendar months after that of the check have passed.
ASKED_MONTHS = 12


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
    """A person with everything that a plan, or a list of their holds, is made from.

    `systems` says of each concept what its system is called on this person's screens (`system_names`).
    """

    person: Person
    learner: LearnerState
    weights: Weights
    concepts: tuple[Concept, ...]
    states: tuple[ConceptState, ...]
    candidates: tuple[Candidate, ...]
    revisions: dict[str, int]
    systems: tuple[str, ...]
    asked_at_checks: tuple[tuple[date, frozenset[str]], ...] = ()
    habit: Habit = NO_HABIT
    minutes_factor: float = 1.0

    @property
    def check_day(self) -> float | None:
        """The start of the day of the check in the person's zone, days since the epoch; None without a date."""
        return start_of_day(self.person.check_date, self.person.time_zone) if self.person.check_date else None

    @property
    def minutes_a_day(self) -> float:
        """Minutes of a study day, as said and as practised; by a factor where the seconds are not this person's own."""
        return self.habit.minutes_a_day(self.person.minutes_a_day) * self.minutes_factor

    @property
    def cold(self) -> frozenset[str]:
        """Limits and drills: what the bank asks to be recalled."""
        return frozenset(concept.id for concept in self.concepts if "recall" in concept.what)


def folders_of(person: Person) -> list[str]:
    """The bank's folders that a person is asked from: what is general, and the aircraft on their list."""
    return [GENERAL, *person.aircraft]


def desk(session: Session, person_id: int, *, now: datetime | None = None) -> Desk:
    """Read a person's desk.

    Parameters
    ----------
    now : datetime or None
        Until when the person's habit is read: items then have the seconds that they take this person. Without it they
        have those of the bank, and nobody has a habit.

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
        ConceptState.from_json(held[concept.id]) if concept.id in held else fresh_concept(used, concept.id)
        for concept in concepts
    )
    habit = NO_HABIT if now is None else _habit(session, person, now)
    items, revisions = _askable(session, person.id, folders, habit)
    passed = _passed(session, person_id, concepts, states)
    candidates = tuple(
        Candidate(
            concept=concept.id,
            system=concept.system,
            consequence=concept.consequence,
            state=state,
            items=tuple(items[concept.id]),
            first=tuple(concept.first),
            folder=concept.folder,
            passed=concept.id in passed,
        )
        for concept, state in zip(concepts, states, strict=True)
    )
    called = system_names(session, ((concept.folder, concept.system) for concept in concepts))
    systems = tuple(called[concept.folder, concept.system] for concept in concepts)
    told = tuple((one.taken_on, frozenset(one.concepts)) for one in checks.debriefs(session, person_id))
    return Desk(
        person,
        LearnerState.from_json(learner.state),
        used,
        concepts,
        states,
        candidates,
        revisions,
        systems,
        told,
        habit,
    )


def ready_desk(session: Session, person_id: int, *, now: datetime | None = None) -> Desk:
    """The desk of a person who is to be asked something.

    Raises
    ------
    NotFoundError
        No such person.
    NotPreparedError
        No bank is loaded.
    """
    found = desk(session, person_id, now=now)
    if not found.candidates and bank.newest_load(session) is None:
        raise NotPreparedError("bank-not-loaded", "no question bank is loaded", mend="quizsvc bank load")
    return found


def marked(found: Desk, candidates: Iterable[Candidate], *, now: datetime) -> tuple[Candidate, ...]:
    """Some of a person's candidates, with what the last week before their check goes over and what checks asked."""
    today = date.fromordinal(local_day(now, found.person.time_zone))
    asked = frozenset[str]().union(
        *(concepts for day, concepts in found.asked_at_checks if today < months_later(day, ASKED_MONTHS + 1))
    )
    last = found.asked_at_checks[0][1] if found.asked_at_checks else frozenset()
    cover = {
        one.concept: one.cover
        for one in to_cover(found.candidates, found.cold, now=days_since_epoch(now), check_day=found.check_day)
    }
    return tuple(
        replace(
            one,
            cover=cover.get(one.concept, ()),
            asked_at_check=one.concept in asked,
            asked_at_last=one.concept in last,
        )
        if cover.get(one.concept) or one.concept in asked
        else one
        for one in candidates
    )


def plan(found: Desk, candidates: Sequence[Candidate], *, now: datetime, minutes: float, long: bool, rng: Any) -> Plan:
    """Plan a set of a person's, from some of their candidates, towards their check date."""
    return plan_set(
        marked(found, candidates, now=now),
        found.learner,
        found.weights,
        now=days_since_epoch(now),
        minutes=minutes,
        minutes_a_day=found.minutes_a_day,
        check_day=found.check_day,
        long=long,
        rng=rng,
        study_share=found.habit.study_share,
    )


def _habit(session: Session, person: Person, now: datetime) -> Habit:
    """How the person practised in the weeks before."""
    rows = practised.answers_since(session, person.id, now - timedelta(weeks=WEEKS))
    return habit_of(
        [
            Given(set_id, kind, seconds, issued_at.timestamp(), at.timestamp(), day, part is None and repeat_of is None)
            for set_id, kind, seconds, part, repeat_of, issued_at, at, day in rows
        ],
        today=local_day(now, person.time_zone),
    )


def _passed(
    session: Session, person_id: int, concepts: Sequence[Concept], states: Sequence[ConceptState]
) -> frozenset[str]:
    """The concepts whose last answer was a pass; memory takes a pass as a miss and does not keep which it was."""
    at = {
        concept.id: time_at(state.offset_at)
        for concept, state in zip(concepts, states, strict=True)
        if state.last_missed and state.offset_at is not None
    }
    passes = answers.passes(session, person_id, at.values()) if at else ()
    return frozenset(concept for concept, when in passes if at.get(concept) == when)


def _askable(
    session: Session, person_id: int, folders: list[str], habit: Habit
) -> tuple[dict[str, list[Askable]], dict[str, int]]:
    """Ways of asking by concept, and the revision in use by item."""
    asked = bank.asked(session, person_id)
    draws: dict[str, dict[str, datetime]] = defaultdict(dict)
    for item, key, at in questions.answered_draws(session, person_id):
        # The parts of a scenario name one draw alike after the blank.
        draws[item][key.rsplit(" ", 1)[1]] = at
    items: dict[str, list[Askable]] = defaultdict(list)
    revisions = {}
    for row in bank.askable(session, folders):
        last, asks = asked.get(row.id, (None, 0))
        revisions[row.id] = row.revision_id
        items[row.concept_id].append(
            Askable(
                item=row.id,
                kind=row.kind,
                seconds=row.seconds * habit.pace(row.kind),
                ramp=row.ramp,
                last_asked=_days(last),
                generated=row.generated,
                asks=asks,
                numbers_met=_numbers_met(session, row, draws[row.id]) if row.id in draws else None,
            )
        )
    return items, revisions


def _numbers_met(session: Session, row: Any, draws: Mapping[str, datetime]) -> float | None:
    """When the numbers met longest ago were met, days since the epoch; None where the item has others left."""
    if len(draws) >= MANY or len(draws) < compiled_in(session, row.hash, row.revision_id).variants:
        return None
    return days_since_epoch(min(draws.values()))


def _days(at: datetime | Any | None) -> float | None:
    return None if at is None else days_since_epoch(at)

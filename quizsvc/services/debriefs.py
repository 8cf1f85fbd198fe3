"""The debrief after a check: what was asked comes oftener for a year, and practice returns to its long spacing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from quizsvc.errors import InputError
from quizsvc.services import check_dates, edge, planned
from quizsvc.services.clocks import local_day
from quizsvc.services.system_names import system_names
from quizsvc.store import bank, checks, people
from quizsvc.store.session import Database

__all__ = ["DebriefForm", "debrief_form", "forget_debrief", "keep_debrief"]

_FIRST = date(1950, 1, 1)


@dataclass(frozen=True)
class DebriefForm:
    """What a debrief starts from: `systems` are the concepts that could have been asked, as (id, title), by system.

    `told` says that this check was told of before; then `asked` are the concepts ticked, and the day stands.
    """

    taken_on: date | None
    told: bool
    asked: frozenset[str]
    systems: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


def debrief_form(db: Database, person_id: int, check: date | None, *, now: datetime) -> DebriefForm:
    """The form for a check that was told of, or for a new one: on the check date if that day has come.

    Raises
    ------
    NotFoundError
        No such person, or no check of theirs was told of that day.
    """
    with db.reading() as session:
        person = people.by_id(session, edge.row_id(person_id, "person"))
        if person is None:
            raise edge.not_found("person")
        systems: dict[str, list[tuple[str, str]]] = {}
        concepts = bank.active_concepts(session, planned.folders_of(person))
        called = system_names(session, ((concept.folder, concept.system) for concept in concepts))
        for concept in concepts:
            system = called[concept.folder, concept.system]
            systems.setdefault(system, []).append((concept.id, concept.title))
        ordered = tuple((system, tuple(theirs)) for system, theirs in systems.items())
        if check is not None:
            told = next((one for one in checks.debriefs(session, person_id) if one.taken_on == check), None)
            if told is None:
                raise edge.not_found("check")
            return DebriefForm(told.taken_on, True, frozenset(told.concepts), ordered)
        today = date.fromordinal(local_day(now, person.time_zone))
        come = person.check_date is not None and person.check_date <= today
        return DebriefForm(person.check_date if come else None, False, frozenset(), ordered)


def keep_debrief(
    db: Database, person_id: int, taken_on: date | None, concepts: Sequence[str], *, now: datetime
) -> None:
    """Keep what was asked at a check that was taken on a day, in the place of what was told of that day before.

    A check date that has come is done with: without another one practice is planned for the days ahead again. The last
    check becomes this one, and counts in the month due where it was taken in the month before or after it.

    Raises
    ------
    InputError
        No day, or one to come, or a concept that is none of the person's.
    NotFoundError
        No such person.
    """
    with db.writing() as session:
        learner = people.lock(session, edge.row_id(person_id, "person"))
        person = people.by_id(session, person_id)
        if person is None or learner is None:
            raise edge.not_found("person")
        today = date.fromordinal(local_day(now, person.time_zone))
        if taken_on is None or not _FIRST <= taken_on <= today:
            raise InputError(
                "check-taken-unusable",
                "the day of the check is missing"
                if taken_on is None
                else f"{taken_on.isoformat()} is {'in the future' if taken_on > today else 'too long ago'}",
                where="taken_on",
                mend=f"the day on which it was taken, from {_FIRST.isoformat()} to today",
            )
        there = {concept.id for concept in bank.active_concepts(session, planned.folders_of(person))}
        for concept in concepts:
            if concept not in there:
                raise InputError(
                    "concept-unknown",
                    f"'{str(concept)[:80]}' is not a concept on your list",
                    where="concept",
                    mend="tick those that are listed",
                )
        checks.keep_debrief(session, person_id, taken_on=taken_on, concepts=list(dict.fromkeys(concepts)), at=now)
        if person.check_date is not None and person.check_date <= today:
            person.check_date = None
        last = check_dates.view_of(session, person_id)
        if last is not None and taken_on > last.taken_on:
            checks.set_last_check(
                session,
                person_id,
                taken_on=taken_on,
                interval=last.interval,
                counts_in=last.due.counts_in(taken_on),
            )


def forget_debrief(db: Database, person_id: int, taken_on: date | None) -> None:
    """Forget what was told of a check; its concepts weigh as before.

    Raises
    ------
    NotFoundError
        Nothing was told of that day.
    """
    with db.writing() as session:
        if people.lock(session, edge.row_id(person_id, "person")) is None:
            raise edge.not_found("person")
        if taken_on is None or not checks.forget_debrief(session, person_id, taken_on):
            raise edge.not_found("check")

"""The plan to the check of one person: what the time left covers, what comes up this week, what fades by the day."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from quizsvc.memory.planning import ROLLING_DAYS, Outlook, due
from quizsvc.memory.pool import Candidate, Pool, pool
from quizsvc.memory.readiness import fades
from quizsvc.memory.recall import stack
from quizsvc.memory.scoring import STUDY_SHARE
from quizsvc.memory.states import enough_to_say
from quizsvc.memory.until_check import LAST_WEEK_DAYS, coming_sets, outlook
from quizsvc.services import check_dates, homework_release, planned
from quizsvc.services.check_dates import LastCheckView
from quizsvc.services.clocks import days_since_epoch, start_of_day
from quizsvc.services.planned import Desk
from quizsvc.store import bank
from quizsvc.store.session import Database

__all__ = [
    "MORE_MINUTES",
    "Covered",
    "CoveredSystem",
    "FadingConcept",
    "PlanView",
    "Practised",
    "ThisWeek",
    "TimeLeft",
    "plan_to_check",
    "stage_of",
]

MORE_MINUTES = 5
SETS_AHEAD = 5
EVENING_HOUR = 18
_WEEK_DAYS = 7.0
# A concept that is held for longer than this is not said to fade by a day that is further away.
_FADES_DAYS = 366


@dataclass(frozen=True)
class TimeLeft:
    """What some minutes a day cover: answers, how often each concept comes up, how many stay unasked."""

    minutes: int
    answers: float
    rounds: float
    beyond_reach: int


@dataclass(frozen=True)
class Practised:
    """How a person has practised in the last `days`, and what the time left covers as sets are planned by it.

    `days_a_week` and `minutes` on such a day are counted, not smoothed; `time` is that of the planner, which leans from
    them to what the person says while they tell little.
    """

    days: int
    days_a_week: float
    minutes: float
    time: TimeLeft


@dataclass(frozen=True)
class ThisWeek:
    """Why some concepts come up in the coming sets, in one sentence, with their titles and systems."""

    reason: str
    concepts: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class FadingConcept:
    """A concept that is held today and due by `day` if it is not asked."""

    title: str
    system: str
    day: date


@dataclass(frozen=True)
class CoveredSystem:
    """How many concepts of a system came up in the last week."""

    system: str
    came_up: int
    concepts: int


@dataclass(frozen=True)
class Covered:
    """What the last week has gone over: systems, how many limits and drills, and those that have not come up, as
    (title, folder, handbook section) with None for a section that cannot be read."""

    systems: tuple[CoveredSystem, ...]
    limits_came_up: int
    limits: int
    limits_left: tuple[tuple[str, str, str | None], ...]


@dataclass(frozen=True)
class PlanView:
    """The plan to the check.

    `stage` is `undated`, `ahead`, `last week`, `evening` (the one before), `day` or `past`; `day` is what is planned
    for: the check where one is ahead, else sixty days from now. `due` counts the concepts that are due already; like
    `fading` only where there is enough to say; so is `practised`. `told` are the checks told of, newest first.
    """

    stage: str
    check: date | None
    day: date
    days: int
    study_days: int
    concepts: int
    untried: int
    long_only: int
    time: TimeLeft
    more: TimeLeft
    practised: Practised | None
    week: tuple[ThisWeek, ...]
    sets_ahead: int
    enough: bool
    due: int
    fading: tuple[FadingConcept, ...]
    covered: Covered | None
    last: LastCheckView | None
    told: tuple[date, ...]


def plan_to_check(db: Database, person_id: int, *, now: datetime) -> PlanView:
    """Everything that the screen of the plan says.

    Raises
    ------
    NotFoundError
        No such person.
    """
    with db.reading() as session:
        desk = planned.desk(session, person_id, now=now)
        kept_out = homework_release.kept_out(session, person_id, now=now)
        last = check_dates.view_of(session, person_id)
        readable = {
            (folder, section)
            for folder in planned.folders_of(desk.person)
            for section, _title in bank.sections(session, folder)
        }
    zone, check = desk.person.time_zone, desk.person.check_date
    here = now.astimezone(ZoneInfo(zone))
    today = here.date()
    stage = stage_of(check, here)
    day = check if check is not None and check > today else today + timedelta(days=int(ROLLING_DAYS))
    at, then = days_since_epoch(now), start_of_day(day, zone)
    candidates = planned.without(planned.marked(desk, desk.candidates, now=now), kept_out)
    choice = pool(desk.candidates)
    usual, more = (
        _time_left(choice, minutes, at, then)
        for minutes in (desk.person.minutes_a_day, desk.person.minutes_a_day + MORE_MINUTES)
    )
    moments = () if stage in ("evening", "day") else _moments(at, _evening_before(then, stage), desk.habit.study_share)
    enough = enough_to_say(desk.learner) and bool(desk.concepts)
    return PlanView(
        stage=stage,
        check=check,
        day=day,
        days=(day - today).days,
        study_days=round((day - today).days * STUDY_SHARE),
        concepts=len(desk.concepts),
        untried=sum(state.last_at is None for state in desk.states),
        long_only=sum(bool(one.items) and not any(item.ramp for item in one.items) for one in desk.candidates),
        time=usual,
        more=more,
        practised=_practised(desk, choice, at, then),
        week=_this_week(desk, candidates, moments, today),
        sets_ahead=len(moments),
        enough=enough,
        due=int(due(stack(desk.states), desk.learner, at, desk.weights).sum()) if enough else 0,
        fading=_fading(desk, at, today, min((day - today).days, _FADES_DAYS)) if enough else (),
        covered=_covered(desk, readable) if stage in ("last week", "evening", "day") else None,
        last=last,
        told=tuple(told for told, _ in desk.asked_at_checks),
    )


def stage_of(check: date | None, here: datetime) -> str:
    """Where somebody stands before a check, at a time in their zone.

    `undated`, `ahead`, `last week`, `evening` (from 18 o'clock on the day before), `day` or `past`.
    """
    if check is None:
        return "undated"
    away = (check - here.date()).days
    if away <= 0:
        return "past" if away else "day"
    if away == 1 and here.hour >= EVENING_HOUR:
        return "evening"
    return "last week" if away <= LAST_WEEK_DAYS else "ahead"


def _evening_before(then: float, stage: str) -> float:
    """Until when sets are planned: the evening before the check."""
    return then if stage in ("undated", "past") else then - (24 - EVENING_HOUR) / 24


def _moments(at: float, until: float, study_share: float) -> tuple[float, ...]:
    """When the sets of the coming week begin: now, and on as many days as a person is taken to study."""
    apart = 1.0 / study_share
    until = min(until, at + _WEEK_DAYS)
    return tuple(at + number * apart for number in range(SETS_AHEAD) if at + number * apart < until)


def _time_left(choice: Pool, minutes: int, at: float, then: float) -> TimeLeft:
    found: Outlook = outlook(choice, now=at, horizon=then, minutes_a_day=minutes)
    return TimeLeft(minutes, found.answers_left, found.rounds, found.beyond_reach)


def _practised(desk: Desk, choice: Pool, at: float, then: float) -> Practised | None:
    habit, minutes = desk.habit, desk.minutes_a_day
    if not habit.enough or habit.minutes is None:
        return None
    found = outlook(choice, now=at, horizon=then, minutes_a_day=minutes, study_share=habit.study_share)
    return Practised(
        days=habit.observed,
        days_a_week=7 * habit.practised / habit.observed,
        minutes=habit.minutes,
        time=TimeLeft(round(minutes), found.answers_left, found.rounds, found.beyond_reach),
    )


def _this_week(
    desk: Desk, candidates: Sequence[Candidate], moments: Sequence[float], today: date
) -> tuple[ThisWeek, ...]:
    found = coming_sets(
        candidates,
        desk.cold,
        desk.learner,
        desk.weights,
        moments=moments,
        minutes=desk.person.minutes_a_day,
        check_day=desk.check_day,
        minutes_a_day=desk.minutes_a_day,
        study_share=desk.habit.study_share,
        # Seeded by person and day: two looks on one day show the same sets.
        rng=random.Random(f"{desk.person.id} {today}"),
    )
    named = {concept.id: (concept.title, system) for concept, system in zip(desk.concepts, desk.systems, strict=True)}
    by_reason: dict[str, list[tuple[str, str]]] = {}
    for one in found:
        by_reason.setdefault(one.reason, []).append(named[one.concept])
    return tuple(ThisWeek(reason, tuple(concepts)) for reason, concepts in by_reason.items())


def _fading(desk: Desk, at: float, today: date, days: int) -> tuple[FadingConcept, ...]:
    falls = fades(stack(desk.states), desk.learner, desk.weights, at=at, days=days)
    found = [
        (fell, -concept.consequence, number)
        for number, (fell, concept) in enumerate(zip(falls, desk.concepts, strict=True))
        if fell is not None
    ]
    return tuple(
        FadingConcept(desk.concepts[number].title, desk.systems[number], today + timedelta(days=fell))
        for fell, _, number in sorted(found)
    )


def _covered(desk: Desk, readable: set[tuple[str, str]]) -> Covered:
    """What came up in the last week before the check."""
    assert desk.check_day is not None
    since = desk.check_day - LAST_WEEK_DAYS
    came_up = {
        concept.id
        for concept, state in zip(desk.concepts, desk.states, strict=True)
        if state.last_at is not None and state.last_at >= since
    }
    systems: dict[str, list[str]] = {}
    for concept, system in zip(desk.concepts, desk.systems, strict=True):
        systems.setdefault(system, []).append(concept.id)
    return Covered(
        systems=tuple(
            CoveredSystem(system, sum(one in came_up for one in concepts), len(concepts))
            for system, concepts in systems.items()
        ),
        limits_came_up=len(desk.cold & came_up),
        limits=len(desk.cold),
        limits_left=tuple(
            (
                concept.title,
                concept.folder,
                concept.handbook if (concept.folder, concept.handbook) in readable else None,
            )
            for concept in desk.concepts
            if concept.id in desk.cold and concept.id not in came_up
        ),
    )

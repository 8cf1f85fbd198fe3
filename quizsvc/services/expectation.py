"""The check-day expectation of a person: as it was, as it is, and as it comes if nothing is practised."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.planning import DUE_BELOW
from quizsvc.memory.pool import Candidate, pool
from quizsvc.memory.readiness import BLUEPRINT_ITEMS, Expectation, expectation, fades, worth_of_a_minute
from quizsvc.memory.recall import Stack, recall, stack
from quizsvc.memory.replay import snapshots
from quizsvc.memory.scoring import Budget
from quizsvc.memory.states import ConceptState, LearnerState, enough_to_say, fresh_concept
from quizsvc.services import memory_log, planned
from quizsvc.services.clocks import days_since_epoch, local_day, start_of_day
from quizsvc.services.planned import Desk
from quizsvc.services.views import (
    ExpectationView,
    FadingView,
    MinutesOfSystem,
    MinuteView,
    NeverAsked,
    SystemView,
)
from quizsvc.store import bank
from quizsvc.store.session import Database

__all__ = ["expectation_of"]

WEEKS_BACK = 12
AHEAD_DAYS = 60
FADES_DAYS = 7
# Up to 30 days after much practice the range held 75 of 100 checks or more in each of the study's worlds; 60 days after
# it 70, half a year after it 38 (`python -m tests.benchmarks range`).
FAR_DAYS = 30
MOVES = 5
BEST_SYSTEMS = 3
MINUTES = 5
# The line over time needs no sharper ends than its pixels; the figures of the day itself get more checks.
_CHECKS_ON_THE_LINE = 300


def expectation_of(db: Database, person_id: int, *, now: datetime) -> ExpectationView:
    """What a check would be expected to give, with what it rests on.

    Raises
    ------
    NotFoundError
        No such person.
    """
    with db.reading() as session:
        desk = planned.desk(session, person_id, now=now)
        events = memory_log.events_of(session, person_id)
        readable = {
            (folder, section)
            for folder in planned.folders_of(desk.person)
            for section, _title in bank.sections(session, folder)
        }
    zone, learner = desk.person.time_zone, desk.learner
    today = date.fromordinal(local_day(now, zone))
    check = desk.person.check_date
    ahead = check if check is not None and check > today else today + timedelta(days=AHEAD_DAYS)
    view = ExpectationView(
        enough=enough_to_say(learner) and bool(desk.concepts),
        answers=learner.answers,
        concepts=learner.concepts,
        days=learner.days,
        items=BLUEPRINT_ITEMS,
        day=ahead,
        is_check=ahead == check,
        untried=sum(state.answers == 0 for state in desk.states),
    )
    if not view.enough:
        return view
    held, at = stack(desk.states), days_since_epoch(now)
    then = max(at, start_of_day(ahead, zone))
    of_day = _expected(desk, held, learner, then, f"{person_id} {today}")
    points = [
        _point(moment, day, _expected(desk, _stacked(desk, states), was, moment, f"{person_id} {day}", line=True))
        for moment, day, was, states in _weeks(desk, events, at, today)
    ]
    points.append(_point(at, today, _expected(desk, held, learner, at, f"{person_id} {today} now", line=True)))
    # Four looks ahead show how it falls; the last is the day itself, with the same figures as its sentence.
    for quarter in (1, 2, 3):
        moment = at + (then - at) * quarter / 4
        day = today + (ahead - today) * quarter / 4
        one = _expected(desk, held, learner, moment, f"{person_id} {day} ahead", line=True)
        points.append(_point(moment, day, one) | {"ahead": True})
    points.append(_point(then, ahead, of_day) | {"ahead": True})
    return view.with_figures(
        expected=round(of_day.expected),
        low=min(of_day.low, round(of_day.expected)),
        high=max(of_day.high, round(of_day.expected)),
        systems=tuple(
            SystemView(one.system, one.share, one.low, one.high, one.concepts, one.untried) for one in of_day.systems
        ),
        fading=tuple(
            FadingView(
                concept=concept.id,
                title=concept.title,
                system=system,
                day=today + timedelta(days=days),
                handbook_aircraft=concept.folder if (concept.folder, concept.handbook) in readable else None,
                handbook_section=concept.handbook if (concept.folder, concept.handbook) in readable else None,
            )
            for days, concept, system in sorted(
                (
                    (days, concept, system)
                    for days, concept, system in zip(
                        fades(held, learner, desk.weights, at=at, days=FADES_DAYS),
                        desk.concepts,
                        desk.systems,
                        strict=True,
                    )
                    if days is not None
                ),
                key=lambda one: (one[0], -one[1].consequence),
            )
        ),
        far=learner.at is not None and then - learner.at > FAR_DAYS,
        **_minutes(desk, held, learner, at, then),
        never_asked=tuple(
            NeverAsked(system, desk.systems.count(system), titles) for system, titles in _untried(desk).items()
        ),
        trend={
            "type": "trend",
            "title": f"Expected right of {BLUEPRINT_ITEMS}",
            "unit": f"of {BLUEPRINT_ITEMS}",
            "high": BLUEPRINT_ITEMS,
            "points": points,
        },
    )


def _untried(desk: Desk) -> dict[str, tuple[str, ...]]:
    """Titles of the concepts never asked, by system; those that can hurt more first."""
    found: dict[str, tuple[str, ...]] = {}
    for concept, system, _ in sorted(
        (one for one in zip(desk.concepts, desk.systems, desk.states, strict=True) if one[2].answers == 0),
        key=lambda one: -one[0].consequence,
    ):
        found[system] = (*found.get(system, ()), concept.title)
    return {system: found[system] for system in sorted(found)}


def _minutes(desk: Desk, held: Stack, learner: LearnerState, at: float, then: float) -> dict[str, Any]:
    """What a minute now would move most: single concepts, and what five minutes in one system add."""
    choice = pool(desk.candidates)
    seconds = [
        sum(item.seconds for item in one.items) / len(one.items) if one.items else math.inf for one in desk.candidates
    ]
    answers_a_day = 60.0 * desk.minutes_a_day / choice.mean_seconds(False)
    worth = worth_of_a_minute(
        held,
        learner,
        desk.weights,
        Budget(len(desk.concepts), answers_a_day, at, then, desk.habit.study_share),
        consequences=[concept.consequence for concept in desk.concepts],
        seconds=seconds,
    )
    best = [index for index in np.argsort(-worth, kind="stable").tolist() if worth[index] > 0]
    by_then = recall(held, learner, then, desk.weights)
    systems = [_five_minutes(system, desk, best, worth, seconds) for system in set(desk.systems)]
    return {
        "moves": tuple(
            MinuteView(
                desk.concepts[index].id,
                desk.concepts[index].title,
                desk.systems[index],
                seconds[index],
                _why(desk.candidates[index], bool(by_then[index] < DUE_BELOW)),
            )
            for index in best[:MOVES]
        ),
        "best_systems": tuple(
            sorted((one for one in systems if one.items > 0), key=lambda one: (-one.items, one.system))[:BEST_SYSTEMS]
        ),
    }


def _five_minutes(
    system: str, desk: Desk, best: Sequence[int], worth: NDArray[np.float64], seconds: Sequence[float]
) -> MinutesOfSystem:
    """The best concepts of a system, each once, until five minutes are full."""
    left, questions, items = 60.0 * MINUTES, 0, 0.0
    for index in best:
        if desk.systems[index] == system and seconds[index] <= left:
            left -= seconds[index]
            questions += 1
            items += float(worth[index]) * seconds[index] / 60.0
    return MinutesOfSystem(system, MINUTES, questions, items)


def _why(candidate: Candidate, fallen: bool) -> str:
    state = candidate.state
    if state.answers == 0:
        return "Not asked yet: a first answer adds more than one more elsewhere."
    if state.last_missed:
        return f"You {'passed on' if candidate.passed else 'missed'} it last time; asked again now it lasts longer."
    if fallen:
        return "Left alone it will have faded by then; asked now it lasts longer."
    return "It would still be held then, and asking it now makes that surer."


def _expected(
    desk: Desk, held: Stack, learner: LearnerState, at: float, seed: str, *, line: bool = False
) -> Expectation:
    # Seeded by person and day: two looks on one day show the same figures.
    seeded = int.from_bytes(hashlib.sha256(seed.encode()).digest()[:8], "big")
    more = {"checks": _CHECKS_ON_THE_LINE} if line else {}
    return expectation(
        held,
        learner,
        desk.weights,
        at=at,
        systems=desk.systems,
        consequences=[concept.consequence for concept in desk.concepts],
        rng=np.random.default_rng(seeded),
        **more,
    )


def _stacked(desk: Desk, states: Mapping[str, ConceptState]) -> Stack:
    return stack([states.get(concept.id) or fresh_concept(desk.weights, concept.id) for concept in desk.concepts])


def _weeks(
    desk: Desk, events: Sequence[Any], at: float, today: date
) -> list[tuple[float, date, LearnerState, Mapping[str, ConceptState]]]:
    """Past weeks, as far as there was enough to say; oldest first."""
    weeks = range(WEEKS_BACK, 0, -1)
    moments = [at - 7.0 * week for week in weeks]
    found = snapshots(events, desk.person.experience, desk.weights, moments)
    return [
        (moment, today - timedelta(weeks=week), learner, states)
        for week, moment, (learner, states) in zip(weeks, moments, found, strict=True)
        if enough_to_say(learner)
    ]


def _point(at: float, day: date, one: Expectation) -> dict[str, Any]:
    return {
        "at": round(at, 3),
        "label": f"{day.day} {day:%b}",
        "value": round(one.expected, 1),
        "low": min(one.low, round(one.expected, 1)),
        "high": max(one.high, round(one.expected, 1)),
    }

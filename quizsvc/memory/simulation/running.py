"""One schedule with some people in one cell, answer by answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.memory.simulation.bank_shape import free_days, speeds, stays
from quizsvc.memory.simulation.people import MOST_LUCK, Array, Crowd, Index, Learners
from quizsvc.memory.simulation.policies import Schedule
from quizsvc.memory.simulation.scenario import SECONDS, SITTING_AT, Cell

__all__ = ["Answers", "Run", "run"]

_DAY_S = 86_400.0
_EVERY_DAYS = 2
_AFTER_DAYS = 30


@dataclass(frozen=True)
class Answers:
    """A log: one entry an answer, in the order given; `at` in days."""

    person: Index
    item: Index
    at: Array
    right: NDArray[np.bool_]


@dataclass(frozen=True)
class Run:
    """What became of the people. One number each, but for the log.

    Parameters
    ----------
    at_check, after, average : ndarray of float64, shape (people,)
        True recall over all items on the day of the check, 30 days later, and as mean over the time to the check.
    reached : ndarray of float64, shape (people,)
        Share of the items that were asked.
    given, most_a_day : ndarray of int, shape (people,)
        Answers in all, and on the fullest day.
    log : Answers
        Every answer.
    """

    at_check: Array
    after: Array
    average: Array
    reached: Array
    given: Index
    most_a_day: Index
    log: Answers


def run(cell: Cell, learners: Learners, drawn: Crowd, schedule: Schedule) -> Run:
    """Let everybody answer to the day of the check.

    Parameters
    ----------
    cell : Cell
        The setting.
    learners : Learners
        The people on day 0; they are moved.
    drawn : Crowd
        Their free days and their luck.
    schedule : Schedule
        What they are asked.
    """
    people = len(drawn)
    if cell.bank:
        table, speed = _habits(cell, drawn, schedule), speeds(drawn)
    else:
        table, speed = schedule.timetable(drawn.free[:, : cell.days] < cell.study_share), np.ones(people)
    times = np.zeros((people, cell.items), dtype=np.intp)
    means: list[Array] = []
    log: list[tuple[Index, Index, Array, NDArray[np.bool_]]] = []
    for day in range(cell.days):
        if day % _EVERY_DAYS == 0:
            means.append(learners.recall(float(day)).mean(axis=1))
        sitting = day + SITTING_AT
        chosen = {
            int(person): schedule.choose(int(person), sitting, int(table[person, day]))
            for person in np.flatnonzero(table[:, day])
        }
        for place in range(max((items.size for items in chosen.values()), default=0)):
            who = np.array([person for person, items in chosen.items() if items.size > place])
            what = np.array([chosen[person][place] for person in who.tolist()])
            at = sitting + place * SECONDS * speed[who] / _DAY_S
            # People are asked side by side, each at their own pace.
            luck = drawn.luck[who, what, times[who, what] % MOST_LUCK]
            right = luck < learners.chance_of(who, what, at)
            learners.answer(who, what, at, right, SECONDS * speed[who])
            times[who, what] += 1
            log.append((who, what, at, right))
            for person, item, time, outcome in zip(
                who.tolist(), what.tolist(), at.tolist(), right.tolist(), strict=True
            ):
                schedule.heard(person, item, time, outcome)
    answers = Answers(
        np.concatenate([entry[0] for entry in log]),
        np.concatenate([entry[1] for entry in log]),
        np.concatenate([entry[2] for entry in log]),
        np.concatenate([entry[3] for entry in log]),
    )
    by_day = np.zeros((people, cell.days), dtype=np.intp)
    np.add.at(by_day, (answers.person, np.floor(answers.at).astype(np.intp)), 1)
    return Run(
        at_check=learners.recall(float(cell.days)).mean(axis=1),
        after=learners.recall(float(cell.days + _AFTER_DAYS)).mean(axis=1),
        average=np.mean(means, axis=0),
        reached=(times > 0).mean(axis=1),
        given=by_day.sum(axis=1),
        most_a_day=by_day.max(axis=1),
        log=answers,
    )


def _habits(cell: Cell, drawn: Crowd, schedule: Schedule) -> Index:
    """Answers by person and day: the same minutes for everybody, so more for the fast; some sittings are cut off."""
    table = schedule.timetable(free_days(drawn, cell.days)) / speeds(drawn)[:, None]
    answers: Index = np.floor(table * stays(drawn, cell.days)).astype(np.intp)
    return answers

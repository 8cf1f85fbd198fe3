"""The study of schedules: its schedules over ninety days, against the model's own update of as many answers.

`quizsvc memory study` prints the wall time of a whole run. The goals are half as much again as was measured when they
were set, so that a step which grows shows.
"""

from __future__ import annotations

import time

from quizsvc.memory.recall import update
from quizsvc.memory.simulation.believing import EXPERIENCE, event_of
from quizsvc.memory.simulation.scenario import Cell
from quizsvc.memory.simulation.study import PLANNER, SCHEDULES
from quizsvc.memory.states import fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from quizsvc.services import memory_study
from tests.benchmarks import Row

PEOPLE = 10
CELL = Cell("B", "sparse", 90)
GOALS = {"rotation": "at most 1", "below .85": "at most 4", PLANNER: "at most 8"}


def run() -> list[Row]:
    """Processor time of each kind of schedule; ratio to the updates that its answers need."""
    answers = round(PEOPLE * CELL.answers * CELL.days * CELL.study_share)
    floor = _updates(answers)
    rows = [Row(f"study: {answers:,} updates of the model", floor, "s")]
    for name, goal in GOALS.items():
        seconds = min(_schedule(name) for _ in range(3))
        rows.append(Row(f"study: {name}, {PEOPLE} people, {CELL.days} days", seconds, "s", seconds / floor, goal))
    return rows


def _updates(answers: int) -> float:
    began = time.process_time()
    learner, states = fresh_learner(EXPERIENCE, STARTING), [fresh_concept(STARTING)] * CELL.items
    for number in range(answers):
        item = number % CELL.items
        event = event_of(item, number / CELL.answers, number % 2 == 0)
        learner, states[item], _ = update(learner, states[item], event, STARTING)
    return time.process_time() - began


def _schedule(name: str) -> float:
    drawn = memory_study.streams(1, CELL.world, CELL.start, PEOPLE, 0, list(SCHEDULES).index(name))
    began = time.process_time()
    memory_study.simulate(CELL, name, drawn, STARTING, STARTING)
    return time.process_time() - began

"""People drawn from the memory model itself: their answers, what the filter makes of these, and a check they sit.

Ability and offsets are drawn from the weights' priors. `still` people keep them. Those of `moving` people wander as an
Ornstein-Uhlenbeck process of unchanging variance does: after dt days a share exp(-dt / 2 creep_days) of the value is
left and fresh normal noise fills the variance up. What is known at some time then has a variance that grows as the
model's U and V grow (Gardiner, Handbook of Stochastic Methods, section 3.8.4: variance of the process given its value).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from quizsvc.memory.readiness import BLUEPRINT_ITEMS, blueprint, expectation
from quizsvc.memory.recall import recall, recall_of, stack, update
from quizsvc.memory.states import AnswerEvent, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING

START = 20_000.0
_SITTING, _EVERY_DAYS, _EXAMINED = 8, 2.0, 200


@dataclass(frozen=True)
class Held:
    """How many in a hundred checks fall inside the range, with its standard error; the mean error of the expected."""

    percent: float
    error: float
    bias: float
    lowest: float
    """Percent among the third of the people with the least ability."""


class Person:
    """One of these people, with the filter's belief about them."""

    def __init__(self, rng: Generator, concepts: int, experience: str, moving: bool) -> None:
        self.rng, self.moving = rng, moving
        self.mean = STARTING.ability_mean[experience]
        self.ability = self.mean + math.sqrt(STARTING.ability_variance) * rng.standard_normal()
        self.offsets = math.sqrt(STARTING.offset_variance) * rng.standard_normal(concepts)
        self.believed = fresh_learner(experience, STARTING)
        self.states = [fresh_concept(STARTING)] * concepts
        self.now = START

    def wait(self, days: float) -> None:
        """Let time pass."""
        self.now += days
        if self.moving:
            left = math.exp(-days / (2.0 * STARTING.creep_days))
            noise = math.sqrt(1.0 - left * left) * self.rng.standard_normal(1 + len(self.offsets))
            fresh = math.sqrt(STARTING.ability_variance) * float(noise[0])
            self.ability = self.mean + (self.ability - self.mean) * left + fresh
            self.offsets = self.offsets * left + math.sqrt(STARTING.offset_variance) * noise[1:]

    def practise(self, answers: int) -> None:
        """Sittings of eight answers, a day to three apart, the concepts in shuffled order again and again."""
        waiting: list[int] = []
        for number in range(answers):
            if number and number % _SITTING == 0:
                self.wait(_EVERY_DAYS * (0.5 + self.rng.random()))
            waiting = waiting or self.rng.permutation(len(self.states)).tolist()
            concept = waiting.pop()
            state = self.states[concept]
            true = replace(state, offset=float(self.offsets[concept]))
            right = self.rng.random() < recall_of(
                replace(self.believed, ability=self.ability), true, self.now, STARTING
            )
            event = AnswerEvent(
                self.now, int(self.now), "full" if right else "miss", float(right), "number", "i", True, None,
                str(concept), answer_id=number,
            )  # fmt: skip
            self.believed, self.states[concept], _ = update(self.believed, state, event, STARTING)
            self.now += 30 / 86_400


def held_share(
    seed: int, people: int, *, concepts: int, answers: int, ahead: float, moving: bool, experience: str, checks: int
) -> Held:
    """Let people practise and then wait; see how their checks fall. `ahead` in days."""
    rng = np.random.default_rng(seed)
    consequences = [1 + number % 3 for number in range(concepts)]
    weight = np.log(blueprint(consequences))
    inside, errors, abilities = [], [], []
    for _ in range(people):
        person = Person(rng, concepts, experience, moving)
        person.practise(answers)
        person.wait(ahead)
        held = stack(person.states)
        found = expectation(
            held, person.believed, STARTING, at=person.now, systems=["a"] * concepts, consequences=consequences,
            rng=rng, checks=checks,
        )  # fmt: skip
        chance = recall(
            replace(held, offset=person.offsets), replace(person.believed, ability=person.ability), person.now, STARTING
        )
        # The examiner takes the twenty largest of weighted exponential clocks: without replacement, by weight.
        asked = np.argpartition(weight + rng.gumbel(size=(_EXAMINED, concepts)), -BLUEPRINT_ITEMS)[:, -BLUEPRINT_ITEMS:]
        right = (rng.random(asked.shape) < chance[asked]).sum(axis=1)
        inside.append(float(((right >= found.low) & (right <= found.high)).mean()))
        errors.append(found.expected - float(right.mean()))
        abilities.append(person.ability)
    lowest = np.argsort(abilities)[: people // 3]
    return Held(
        100.0 * float(np.mean(inside)),
        100.0 * float(np.std(inside)) / math.sqrt(people),
        float(np.mean(errors)),
        100.0 * float(np.mean(np.array(inside)[lowest])),
    )

"""Variants of the memory model, and weights for each from simulated logs with one world left out.

Every variant is log odds of recall that are linear in its features, with the Gaussian ability and offset of
`memory.recall` on top: `fit_rows.believed` filters them, `fitting.fit_bounded` fits the rest, in turns. The priors of
all variants are equally wide, and rho is that of the weights that ship.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from quizsvc.memory.fit_rows import LearnerRows, believed, doubt_factor, rows_of, shown
from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.recall import REPEAT_DAYS
from quizsvc.memory.simulation.bank_shape import BankShape, columns, kind_of
from quizsvc.memory.simulation.believing import EXPERIENCE, KIND, event_of
from quizsvc.memory.simulation.people import crowd
from quizsvc.memory.simulation.policies import Blocked, Expanding, Generic, Random, Rotation
from quizsvc.memory.simulation.running import run
from quizsvc.memory.simulation.scenario import Cell
from quizsvc.memory.simulation.worlds import begun
from quizsvc.memory.states import AnswerEvent
from quizsvc.memory.weights import STARTING, Weights
from quizsvc.services.memory_study import streams
from tests.benchmarks import trace_bank

LOGGED = (Random, Rotation, Expanding, Generic, Blocked)
"""The plain schedules whose answers the study fits to."""

_A_LOG = 1  # what `streams` calls the purpose of a log: other people than those the planner is tried with
_TURNS, _SETTLED = 12, 1e-3
_TAUGHT_TURNS = 6
_DIFFICULTY_SD = 0.5
NEVER = 1e12


@dataclass(frozen=True)
class Answered:
    """One simulated learner's answers without repeats.

    `rows` as the product makes them; `bank` the traces of `trace_bank`, shape (n, 12); `item` the number of the concept
    in the simulated bank; `same`, `seen` whether the item (fixed text) is the one asked last of its concept, and was
    ever asked before, 0 or 1; `trained` 1 for a person of the rich start, and `trained_untried` where besides the
    concept was never asked.
    """

    rows: LearnerRows
    bank: np.ndarray
    item: np.ndarray
    same: np.ndarray
    seen: np.ndarray
    trained: float
    trained_untried: np.ndarray


@dataclass(frozen=True)
class Variant:
    """A model: its traces and what is added to them.

    `traces` is `credit` (those that ship), `bank` (the trace bank, all answers alike) or `bank+` (right ones apart);
    `extra` names columns of `Answered`; `difficulty` adds a number for each concept; `words` takes the prior ability
    that ships for `rated` people in the rich start; `creep` is in days.
    """

    name: str
    traces: str = "credit"
    extra: tuple[str, ...] = ()
    difficulty: bool = False
    words: bool = False
    creep: float = STARTING.creep_days

    def design(self, person: Answered) -> np.ndarray:
        """Features, the constant first, shape (n, p)."""
        count = len(person.rows)
        traces = {"credit": person.rows.logs, "bank": person.bank[:, :6], "bank+": person.bank}[self.traces]
        extra = [np.broadcast_to(getattr(person, name), count) for name in self.extra]
        return np.column_stack([np.ones(count), traces, *extra])

    def prior(self) -> Prior:
        """Knows nothing of any world: all answers alike, nothing extra."""
        every = 5 if self.traces == "credit" else 6
        right = 0 if self.traces == "bank" else every
        mean = np.array([-2.0] + [1.0] * every + [0.0] * (right + len(self.extra)))
        return Prior(mean, np.ones(mean.size), np.array([-np.inf] + [0.0] * (mean.size - 1)))

    @property
    def flat(self) -> Weights:
        """The constants of the filter, without any weight of a trace."""
        return replace(STARTING, version=0, b0=0.0, v=(0.0,) * 5, w=(0.0,) * 5, creep_days=self.creep)


@dataclass(frozen=True)
class Fitted:
    """Weights of a variant: `theta` of the features, `difficulty` what each concept is easier by."""

    variant: Variant
    theta: np.ndarray
    difficulty: np.ndarray

    @property
    def weights(self) -> Weights:
        """As the product takes them; only for the traces that ship."""
        numbers = self.theta.tolist()
        return replace(
            self.variant.flat, source="simulated answers", b0=numbers[0], v=tuple(numbers[1:6]), w=tuple(numbers[6:11])
        )

    @property
    def read(self) -> trace_bank.ReadOut:
        """As the trace bank takes them."""
        right = self.theta[7:13] if self.variant.traces == "bank+" else np.zeros(6)
        return trace_bank.ReadOut(float(self.theta[0]), self.theta[1:7], right)

    def predicted(self, person: Answered) -> np.ndarray:
        """What would have been shown before each answer."""
        fixed = self.variant.design(person) @ self.theta + self.difficulty[person.item]
        return shown([_without_traces(self.variant, person, fixed)], self.variant.flat)


def _without_traces(variant: Variant, person: Answered, fixed: np.ndarray) -> LearnerRows:
    """The rows with all that is not ability or offset in the place of the shift of the kind."""
    rows = person.rows
    ability = person.trained * STARTING.ability_mean["rated"] if variant.words else 0.0
    return replace(rows, logs=np.zeros((len(rows), 10)), shift=rows.shift + fixed, ability=ability)


def fitted(variant: Variant, people: Sequence[Answered]) -> Fitted:
    """Weights fitted to some people."""
    prior, flat = variant.prior(), variant.flat
    designs = [variant.design(person) for person in people]
    design = np.concatenate(designs)
    outcome = np.concatenate([person.rows.credit for person in people])
    shift = np.concatenate([person.rows.shift for person in people])
    item = np.concatenate([person.item for person in people])
    difficulty = np.zeros(int(item.max()) + 1)
    theta = prior.mean
    for _ in range(_TURNS):
        given = [
            _without_traces(variant, person, own @ theta + difficulty[person.item])
            for person, own in zip(people, designs, strict=True)
        ]
        beliefs = [believed(rows, flat) for rows in given]
        middle = np.concatenate([means for means, _ in beliefs])
        factor = doubt_factor(np.concatenate([variances for _, variances in beliefs]))
        centred = (
            shift
            + middle
            - np.mean([means.mean() - rows.ability for (means, _), rows in zip(beliefs, given, strict=True)])
        )
        fit = fit_bounded(design * factor[:, None], outcome, prior, factor * (centred + difficulty[item]))
        moved = float(np.abs(fit.theta - theta).max())
        theta = fit.theta
        if variant.difficulty:
            difficulty = difficulties(difficulty, item, factor, centred + design @ theta, outcome)
        if moved <= _SETTLED:
            break
    return Fitted(variant, theta, difficulty)


def taught(fit: Fitted, people: Sequence[Answered]) -> Fitted:
    """The same weights with the difficulty of each concept taken from the answers of some people."""
    designs = [fit.variant.design(person) for person in people]
    outcome = np.concatenate([person.rows.credit for person in people])
    shift = np.concatenate([person.rows.shift for person in people])
    item = np.concatenate([person.item for person in people])
    difficulty = np.zeros(fit.difficulty.size)
    for _ in range(_TAUGHT_TURNS):
        beliefs = [
            believed(_without_traces(fit.variant, person, own @ fit.theta + difficulty[person.item]), fit.variant.flat)
            for person, own in zip(people, designs, strict=True)
        ]
        factor = doubt_factor(np.concatenate([variances for _, variances in beliefs]))
        middle = np.concatenate([means for means, _ in beliefs]) - np.mean([means.mean() for means, _ in beliefs])
        difficulty = difficulties(
            difficulty, item, factor, shift + middle + np.concatenate(designs) @ fit.theta, outcome
        )
    return replace(fit, difficulty=difficulty)


def difficulties(start: np.ndarray, item: np.ndarray, factor: np.ndarray, rest: np.ndarray, outcome) -> np.ndarray:
    """One number for each concept, the rest given: Newton's method with a Gaussian prior."""
    found = start
    for _ in range(4):
        p = expit(factor * (rest + found[item]))
        slope = np.bincount(item, factor * (p - outcome), found.size) + found / _DIFFICULTY_SD**2
        curvature = np.bincount(item, factor**2 * p * (1.0 - p), found.size) + _DIFFICULTY_SD**-2
        found = found - slope / curvature
    return found - found.mean()


# --- simulated learners ---------------------------------------------------------------------------------------------


class _AnyItem(BankShape):
    """A bank where any item of a concept may come next, and what came is written down: familiarity can be told."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.rng = np.random.default_rng(11)
        self.asked: list[np.ndarray] = []

    def answer(self, who, what, at, right, seconds):
        """The next item is drawn."""
        self.asked.append(self.turn[who, what] % 3)
        super().answer(who, what, at, right, seconds)
        self.turn[who, what] = self.rng.integers(0, 3, who.size)


def logs(world: str, learners: int, seed: int, *, bank: bool) -> Iterator[Answered]:
    """Simulated learners of a world, so many for each plain schedule and starting state; 90 days.

    In the study's own cells, or in a bank of the shape of ours (one starting state).
    """
    for start in ("sparse",) if bank else ("sparse", "rich"):
        cell = Cell(world, start, 90, items=117, answers=12, bank=True) if bank else Cell(world, start, 90)
        for place, schedule in enumerate(LOGGED):
            drawn = streams(seed, world, start, learners * len(LOGGED), _A_LOG, place)
            own = drawn.people[place * learners : (place + 1) * learners]
            people = crowd(own, drawn.bank, columns(cell.items) if bank else cell.items)
            base = begun(world, start, people)
            asking = _AnyItem(base, cell.items, learners) if bank else base
            log = run(cell, asking, people, schedule(cell, learners, drawn.schedule)).log
            which = np.concatenate(asking.asked) if bank else np.zeros(log.item.size, dtype=int)
            for person in range(learners):
                mine = log.person == person
                answers = zip(log.item[mine], log.at[mine], log.right[mine], which[mine], strict=True)
                yield answered([_event(*answer, bank) for answer in answers], start == "rich")


def _event(concept, at, right, item, bank) -> AnswerEvent:
    event = event_of(int(concept), float(at), bool(right), kind_of(int(concept)) if bank else KIND)
    return replace(event, item=f"{concept}.{item}")


def answered(events: Sequence[AnswerEvent], trained: bool) -> Answered:
    """One learner, from all answers in the order of the log."""
    rows = rows_of(events, EXPERIENCE, STARTING)
    bank = trace_bank.features(events)
    last: dict[str, AnswerEvent] = {}
    before: set[str] = set()
    kept, same, seen = [], [], []
    for event in events:
        previous = last.get(event.concept)
        fixed_text = event.kind != KIND
        kept.append(previous is None or event.at - previous.at >= REPEAT_DAYS - 1e-9)
        same.append(fixed_text and previous is not None and previous.item == event.item)
        seen.append(fixed_text and event.item in before)
        last[event.concept] = event
        before.add(event.item)
    keep = np.array(kept)
    item = np.array([int(event.concept) for event in events])[keep]
    if item.size != len(rows):
        raise AssertionError("the rows of the product are other answers than those kept here")
    bank = bank[keep]
    return Answered(
        rows, bank, item, np.array(same, float)[keep], np.array(seen, float)[keep], float(trained),
        float(trained) * (bank == 0.0).all(axis=1),
    )  # fmt: skip

"""A rival of the traces that ship: a gated trace bank, and the planner with it. It lost; `bench_models` shows by what.

Trace k fades with tau_k = .02 * 8 ** k days, k = 0 to 5: 29 minutes to 655 days, the span of the published models. An
answer raises each trace by what the traces up to it still lack:

    s_k = sum_{j <= k} .9^j x_j / sum_{j <= k} .9^j,      x_k += .8 * max(0, 1 - s_k)

after Mozer, Pashler, Cepeda, Lindsey and Vul (2009), as world C of the study. A twin of each trace takes the same step
after a right answer only. Log odds of recall are b0 + a + b_c + k_kind and the traces, each with a weight of 0 or more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from quizsvc.memory.filling import Turn
from quizsvc.memory.picking import mixed
from quizsvc.memory.scoring import BOOST, Budget, held_back
from quizsvc.memory.simulation.believing import Shipped
from quizsvc.memory.simulation.scenario import SECONDS
from quizsvc.memory.states import AnswerEvent
from quizsvc.memory.weights import Weights

SCALES = 0.02 * 8.0 ** np.arange(6)
"""Time constants, days."""

STEP, RATIO = 0.8, 0.9
_SHARES = RATIO ** np.arange(SCALES.size)
_SHARES_UP_TO = np.cumsum(_SHARES)
PAUSE = 0.5 / 1440


def faded(traces: np.ndarray, days) -> np.ndarray:
    """Traces some days later; traces along the last axis."""
    return traces * np.exp(-np.maximum(np.asarray(days, dtype=float), 0.0)[..., None] / SCALES)


def raised(traces: np.ndarray) -> np.ndarray:
    """What an answer adds to the traces of all answers."""
    return STEP * np.maximum(0.0, 1.0 - np.cumsum(_SHARES * traces, axis=-1) / _SHARES_UP_TO)


@dataclass(frozen=True)
class ReadOut:
    """Weights: `b0`, of the traces of all answers `v`, of those of right ones `w`; 0 or more but for b0."""

    b0: float
    v: np.ndarray
    w: np.ndarray

    def odds(self, every: np.ndarray, right: np.ndarray) -> np.ndarray:
        """Log odds without ability, offset and kind."""
        return self.b0 + every @ self.v + right @ self.w


def features(events: Sequence[AnswerEvent]) -> np.ndarray:
    """Traces just before each answer, all answers then right ones, shape (n, 12); events in the order of the log."""
    held: dict[str, tuple[float, np.ndarray, np.ndarray]] = {}
    nothing = np.zeros(SCALES.size)
    found = np.zeros((len(events), 2 * SCALES.size))
    for place, event in enumerate(events):
        at, every, right = held.get(event.concept, (event.at, nothing, nothing))
        every, right = faded(every, event.at - at), faded(right, event.at - at)
        found[place, : SCALES.size], found[place, SCALES.size :] = every, right
        step = raised(every)
        held[event.concept] = (event.at, every + step, right + event.credit * step)
    return found


def after_sessions(read: ReadOut, gap: np.ndarray, retention: np.ndarray, ability: float = 0.0) -> np.ndarray:
    """Traces, all then right ones, at the test of Cepeda et al. (2008): three practices, two more a gap later.

    Practices are half a minute apart and count with their expected success, as in `memory.gap`; a gap of NaN stands for
    no second session. Shape (n, 12).
    """
    every = np.zeros((gap.size, SCALES.size))
    right = np.zeros_like(every)
    twice = ~np.isnan(gap)
    once = np.ones(gap.size)
    practices = [(0.0 * once, once), (PAUSE * once, once), (PAUSE * once, once)]
    practices += [(np.where(twice, gap, 0.0), twice), (np.where(twice, PAUSE, 0.0), twice)]
    for lag, asked in practices:
        every, right = faded(every, lag), faded(right, lag)
        step = raised(every) * asked[:, None]
        right = right + expit(ability + read.odds(every, right))[:, None] * step
        every = every + step
    return np.hstack([faded(every, retention), faded(right, retention)])


def gain(
    read: ReadOut, base: np.ndarray, every: np.ndarray, right: np.ndarray, *, now: float, horizon: float, visits: int
) -> np.ndarray:
    """Delta of `memory.scoring` with this model: `base` is ability and offset by concept, the traces are those of now.

    A later visit raises the right-answer traces by its expected success.
    """
    span = max(0.0, horizon - now)
    between = span / visits if visits else 0.0
    lags = [between / 2, *[between] * (visits - 1), between / 2] if visits else [span]
    step, success = raised(every), expit(base + read.odds(every, right))
    reached = []
    for all_now, right_now in ((every + step, right + step), (every + step, right), (every, right)):
        for lag in lags[:-1]:
            all_now, right_now = faded(all_now, lag), faded(right_now, lag)
            later = raised(all_now)
            right_now = right_now + expit(base + read.odds(all_now, right_now))[:, None] * later
            all_now = all_now + later
        reached.append(expit(base + read.odds(faded(all_now, lags[-1]), faded(right_now, lags[-1]))))
    return success * reached[0] + (1.0 - success) * reached[1] - reached[2]


class BankPlanner(Shipped):
    """The planner that ships, its rules of filling and all, with the gain of a trace bank.

    Ability and offsets move by `recall.update` itself, which is told what the bank predicts as its b0.
    """

    def __init__(self, cell, people, rng, read: ReadOut, flat: Weights):
        super().__init__(cell, people, rng, flat)
        self.read, self.flat = read, flat
        self.bank = np.zeros((people, cell.items, 2, SCALES.size))
        self.bank_at = np.zeros((people, cell.items))

    def choose(self, person, at, places):
        """The set that the planner would ask."""
        cell, held = self.cell, self.held(person)
        budget = Budget(cell.items, float(places), at, float(cell.days))
        traces = faded(self.bank[person], (at - self.bank_at[person])[:, None])
        delta = gain(
            self.read, self.learner[person].ability + held.offset, traces[:, 0], traces[:, 1],
            now=at, horizon=budget.horizon, visits=budget.visits,
        )  # fmt: skip
        delta = held_back(delta, held, budget.visits)
        wait = np.where(held.untried, 1.0, np.minimum(np.maximum(at - held.last_at, 0.0) / budget.pass_days, 2.0))
        scores = np.maximum(delta, 1e-6) * wait**budget.exponent * np.where(held.missed, BOOST, 1.0)
        choice = replace(self.pool, candidates=tuple(self.candidates[person]), held=held)
        turn = Turn(
            choice, scores, budget, places * SECONDS, float(places), False, self.rng, np.zeros(cell.items, bool)
        )
        filled, _ = turn.fill()
        chosen = turn.in_order(mixed(filled, self.rng))
        return np.array([index for index, _ in chosen], dtype=np.intp)

    def heard(self, person, item, at, right):
        """The update of the product with what the bank predicts; then the bank."""
        bank = faded(self.bank[person, item], at - self.bank_at[person, item])
        self.weights = replace(self.flat, b0=float(self.read.odds(bank[0], bank[1])))
        super().heard(person, item, at, right)
        step = raised(bank[0])
        self.bank[person, item] = bank + np.stack([step, step * right])
        self.bank_at[person, item] = at

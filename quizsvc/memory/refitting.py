"""New weights from the log of answers, and the gates before a person may accept them.

What is fitted is b0, v and w (v, w >= 0), each pulled towards its present value. Ability, offset and their doubt stand
beside each answer as the model believed them just before it, and shrink its log odds as they do where recall is shown;
the prediction that is fitted is therefore the one that people see. Given them the fit is convex. As they depend on the
weights, filter and fit take turns until no weight moves by a thousandth, far less than any standard error. What is
believed is centred on the prior before each fit: b0 and the mean ability are one freedom, and the turns would move it
from one to the other for ever.

Beside them a difficulty is fitted for each concept that enough people have answered, pulled towards 0: where the offset
of that concept starts for everybody (`fit_concepts`). It takes part in filter and fit like a weight.

Every fifth learner is held out. The gates are: log loss on the held-out learners falls; the best gap between sessions
still rises with the retention interval; recall in the reference worlds falls nowhere by more than .005.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from quizsvc.errors import InputError
from quizsvc.memory import fit_concepts
from quizsvc.memory.fit_concepts import Answered, ConceptFit
from quizsvc.memory.fit_rows import LearnerRows, believed_from, doubt_factor, shown
from quizsvc.memory.fitting import Fit, Groups, Prior, fit_bounded
from quizsvc.memory.gap import RETENTION_DAYS, best_gaps
from quizsvc.memory.metrics import Scores, log_losses, scores
from quizsvc.memory.recall import Array
from quizsvc.memory.weights import MOST_CONCEPT_SHIFT, Weights

__all__ = ["LEAST_ANSWERS", "LEAST_LEARNERS", "Gate", "Parameter", "Refit", "Worlds", "refit"]

LEAST_ANSWERS = 10_000
"""Below this a refit predicted worse than the weights it started from (scheduling study, section 3)."""

LEAST_LEARNERS = 10
HOLD_OUT_EVERY = 5
PRIOR_SD = 0.5
WORST_DROP = 0.005
_MOST_TURNS = 60
_SETTLED = 1e-3

Worlds = Callable[[Weights], Mapping[str, float]]
"""Recall at the check date in each reference world when the planner uses the weights, by the world's name."""


@dataclass(frozen=True)
class Parameter:
    """A fitted number: `before`, `after`, standard error (None where it is held at its bound).

    The standard error is that of the curvature, beliefs about ability and offset given; b0 has the spread of abilities
    over the learners added.
    """

    name: str
    before: float
    after: float
    se: float | None

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`."""
        return {"name": self.name, "before": self.before, "after": self.after, "se": self.se}


@dataclass(frozen=True)
class Gate:
    """A condition for acceptance: whether it `passed` (None: not tried), and the numbers in words."""

    name: str
    passed: bool | None
    said: str

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`."""
        return {"name": self.name, "passed": self.passed, "said": self.said}


@dataclass(frozen=True)
class Refit:
    """New weights and what speaks for and against them.

    Parameters
    ----------
    weights : Weights
        Under the version number of those they were fitted from, until somebody accepts them.
    answers, learners : int
        Fitted to.
    held_out : int
        Learners held out.
    parameters : tuple of Parameter
        b0, v and w.
    concepts : tuple of ConceptFit
        Every concept with a difficulty, by id; the weights name them all, and no other.
    concepts_answered : int
        How many concepts were answered at all by those that were fitted to.
    turns : int
        Turns of filter and fit.
    settled : bool
        Whether they had settled then; if not, the weights are those of the last turn.
    before, after : Scores
        On the held-out learners, with the weights they were fitted from and with the new ones.
    change, change_se : float
        Log loss after minus before, and its standard error over the held-out learners.
    gates : tuple of Gate
        In the order above.
    """

    weights: Weights
    answers: int
    learners: int
    held_out: int
    parameters: tuple[Parameter, ...]
    concepts: tuple[ConceptFit, ...]
    concepts_answered: int
    turns: int
    settled: bool
    before: Scores
    after: Scores
    change: float
    change_se: float
    gates: tuple[Gate, ...]

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`."""
        return {
            "weights": self.weights.to_json(),
            "answers": self.answers,
            "learners": self.learners,
            "held_out": self.held_out,
            "parameters": [parameter.to_json() for parameter in self.parameters],
            "concepts": [concept.to_json() for concept in self.concepts],
            "concepts_answered": self.concepts_answered,
            "turns": self.turns,
            "settled": self.settled,
            "before": self.before.to_json(),
            "after": self.after.to_json(),
            "change": self.change,
            "change_se": self.change_se,
            "gates": [gate.to_json() for gate in self.gates],
        }


def refit(
    learners: Sequence[LearnerRows],
    weights: Weights,
    worlds: Worlds | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Refit:
    """Fit new weights.

    Parameters
    ----------
    learners : sequence of LearnerRows
        In an order of their own that does not change, such as by id: every fifth with an answer is held out.
    weights : Weights
        In use now; the start, the middle of the prior, and what the new ones are compared with.
    worlds : Worlds, optional
        Recall in the reference worlds; without it the third gate is not tried.
    progress : callable, optional
        Called with the turns taken and the most that may be taken.

    Returns
    -------
    Refit
        The same bits for the same answers.

    Raises
    ------
    InputError
        Fewer than 10,000 answers, or fewer than ten learners.
    """
    learners = [rows for rows in learners if len(rows)]
    _check_enough(learners)
    fitted = [rows for place, rows in enumerate(learners, 1) if place % HOLD_OUT_EVERY]
    held_out = [rows for place, rows in enumerate(learners, 1) if place % HOLD_OUT_EVERY == 0]
    answered = fit_concepts.answered(fitted)
    concepts = [one for one in answered if one.enough]
    new, fit, turns, settled = _taken_in_turns(fitted, weights, concepts, progress)
    answers = sum(map(len, fitted))
    source = f"fitted to {answers} answers of {len(fitted)} learners, from version {weights.version}"
    new = replace(new, source=source + (f"; difficulties of concepts: {len(concepts)}" if concepts else ""))
    outcome = np.concatenate([rows.credit for rows in held_out])
    before, after = shown(held_out, weights), shown(held_out, new)
    change, change_se = _paired(log_losses(outcome, after) - log_losses(outcome, before), [len(r) for r in held_out])
    return Refit(
        weights=new,
        answers=answers,
        learners=len(fitted),
        held_out=len(held_out),
        parameters=_parameters(weights, fit, len(fitted)),
        concepts=fit_concepts.found_of(concepts, weights, _kept_within(fit.groups), fit.groups_se),
        concepts_answered=len(answered),
        turns=turns,
        settled=settled,
        before=scores(outcome, before),
        after=scores(outcome, after),
        change=change,
        change_se=change_se,
        gates=(_loss_gate(change, change_se), _gap_gate(new), _worlds_gate(worlds, weights, new)),
    )


def _check_enough(learners: Sequence[LearnerRows]) -> None:
    answers = sum(map(len, learners))
    if answers < LEAST_ANSWERS:
        raise InputError(
            "fit-too-few-answers",
            f"{answers:,} answers (repeats apart) are too few to fit the memory weights to",
            mend=f"keep the present weights until there are {LEAST_ANSWERS:,}: fitted to fewer, they predict worse",
        )
    if len(learners) < LEAST_LEARNERS:
        raise InputError(
            "fit-too-few-learners",
            f"{answers:,} answers of {len(learners)} learners cannot show whether new weights suit anybody else",
            mend=f"keep the present weights until {LEAST_LEARNERS} people have answered",
        )


def _taken_in_turns(
    learners: Sequence[LearnerRows],
    weights: Weights,
    concepts: Sequence[Answered],
    progress: Callable[[int, int], None] | None,
) -> tuple[Weights, Fit, int, bool]:
    """Filter and fit in turns; the weights, the last fit, the turns and whether they settled."""
    logs = np.concatenate([rows.logs for rows in learners])
    design = np.hstack([np.ones((len(logs), 1)), logs])
    shift = np.concatenate([rows.shift for rows in learners])
    outcome = np.concatenate([rows.credit for rows in learners])
    number = fit_concepts.numbered(learners, concepts)
    first = np.concatenate(([0], np.cumsum([len(rows) for rows in learners])[:-1]))
    lengths, abilities = np.array([len(rows) for rows in learners]), np.array([rows.ability for rows in learners])
    mean = np.array((weights.b0, *weights.v, *weights.w))
    prior = Prior(mean, np.full(11, PRIOR_SD), np.array([-np.inf] + [0.0] * 10))
    theta, starts = mean, np.array([weights.concept_shift.get(one.concept, 0.0) for one in concepts])
    used = _with(weights, theta, concepts, starts)
    for turn in range(1, _MOST_TURNS + 1):
        beliefs = [believed_from(rows, used) for rows in learners]
        middle, variance, left = (np.concatenate(columns) for columns in zip(*beliefs, strict=True))
        factor = doubt_factor(variance)
        # What is believed apart from the share of the start that is left: that is fitted.
        middle -= left * np.append(starts, 0.0)[number]
        above = np.mean(np.add.reduceat(middle, first) / lengths - abilities)
        groups = Groups(number, factor * left, len(concepts), fit_concepts.CONCEPT_SD)
        fit = fit_bounded(design * factor[:, None], outcome, prior, factor * (shift + middle - above), groups)
        found = _kept_within(fit.groups)
        moved = max(float(np.max(np.abs(fit.theta - theta))), float(np.max(np.abs(found - starts), initial=0.0)))
        theta, starts, used = fit.theta, found, _with(weights, fit.theta, concepts, found)
        if progress is not None:
            progress(turn, _MOST_TURNS)
        if moved <= _SETTLED:
            break
    return used, fit, turn, moved <= _SETTLED


def _with(weights: Weights, theta: Array, concepts: Sequence[Answered], starts: Array) -> Weights:
    numbers = theta.tolist()
    shifts = {one.concept: start for one, start in zip(concepts, starts.tolist(), strict=True)}
    return replace(weights, b0=numbers[0], v=tuple(numbers[1:6]), w=tuple(numbers[6:]), concept_shift=shifts)


def _kept_within(shifts: Array) -> Array:
    """A concept that is nearly always missed says more of its items than of memory: it starts no further away."""
    return np.clip(shifts, -MOST_CONCEPT_SHIFT, MOST_CONCEPT_SHIFT)


def _parameters(weights: Weights, fit: Fit, learners: int) -> tuple[Parameter, ...]:
    # The curvature takes the abilities as given. b0 cannot be told from their mean, which so many learners leave open.
    errors = fit.se.copy()
    errors[0] = np.hypot(errors[0], np.sqrt(weights.ability_variance / learners))
    names = ("b0", *(f"v{k}" for k in range(1, 6)), *(f"w{k}" for k in range(1, 6)))
    before = (weights.b0, *weights.v, *weights.w)
    found = zip(names, before, fit.theta.tolist(), errors.tolist(), fit.at_bound.tolist(), strict=True)
    return tuple(Parameter(name, old, new, None if held else se) for name, old, new, se, held in found)


def _paired(differences: Array, lengths: Sequence[int]) -> tuple[float, float]:
    """Mean difference over all answers, and its standard error where learners, not answers, are independent."""
    mean = float(np.mean(differences))
    sums = np.add.reduceat(differences - mean, np.concatenate(([0], np.cumsum(lengths)[:-1])))
    count = len(lengths)
    return mean, float(np.sqrt(np.sum(sums**2) * count / (count - 1)) / differences.size)


def _loss_gate(change: float, se: float) -> Gate:
    return Gate(
        "log loss on held-out learners falls", change < 0, f"changes by {change:+.4f} (standard error {se:.4f}) nats"
    )


def _gap_gate(new: Weights) -> Gate:
    gaps = best_gaps(new)
    rises = all(earlier < later for earlier, later in zip(gaps, gaps[1:], strict=False))
    said = ", ".join(f"{gap:.3g} d" for gap in gaps)
    retention = ", ".join(f"{days:g}" for days in RETENTION_DAYS)
    return Gate("best gap rises with the retention interval", rises, f"{said} at {retention} d")


def _worlds_gate(worlds: Worlds | None, weights: Weights, new: Weights) -> Gate:
    name = f"recall in the reference worlds falls by no more than {WORST_DROP:.3f}"
    if worlds is None:
        return Gate(name, None, "not tried")
    before, after = worlds(weights), worlds(new)
    said = ", ".join(f"{world} {before[world]:.3f} to {after[world]:.3f}" for world in before)
    return Gate(name, all(after[world] >= before[world] - WORST_DROP for world in before), said)

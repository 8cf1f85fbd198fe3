"""Weights for a world from logs of the other worlds only.

The logs give b0, v and w. They hardly see rho, how soon an answer earns credit again: from .03 to .07 the log loss of
people not fitted to moves by a thousandth (scheduling study, section 3, found the same). But it decides the best gap
between sessions, so rho is taken from people: of a few values the one whose best gaps lie nearest to the published
ones. That the gaps then lie near is partly of its making, and no test of the model.

The weights w of right answers are pulled to 0, with a standard deviation of 12 / sqrt(rows), so that more rows do not
free them. Who is right again mostly knew it before, and a free fit gives part of that to w. The planner acts on w as on
a cause: it then spends its time on what was just missed, where nothing is gained by being right (world A). The price is
paid where success does strengthen memory (world B), whose answers free weights predict better. The 12 is no finding
either: when it was taken, of 8, 12, 14 and 16 none left fewer of the study's goals unmet, by the same simulated people.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from quizsvc.memory.fit_rows import LearnerRows, believed, doubt_factor
from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.gap import PEOPLE_GAPS, best_gaps
from quizsvc.memory.weights import Weights

__all__ = ["RHOS", "neutral", "spaced", "without"]

RHOS = (0.03, 0.05, 0.07)
"""The values of rho that are tried; that of the weights that ship is among them."""

_PRIOR_SD = 1.0
_PULL = 12.0
_TURNS = 12
_SETTLED = 1e-3


def neutral(shipped: Weights) -> Weights:
    """The time constants and spacing credit of the weights that ship, with weights that know nothing of any world.

    The weights that ship were fitted to all worlds of the study, so a fit may not be pulled towards them.
    """
    source = "all answers alike, right or wrong; fitted to nothing"
    return replace(shipped, version=0, source=source, b0=-2.0, v=(1.0,) * 5, w=(0.0,) * 5)


def without(world: str, logs: Mapping[str, Sequence[LearnerRows]], shipped: Weights) -> Weights:
    """Weights fitted to every world but one.

    Filter and fit take turns. What the filter believes of ability and offsets is centred over all learners before each
    fit: b0 and the mean ability are one freedom, and without that the turns move it from one to the other for ever.

    Parameters
    ----------
    world : str
        The world left out.
    logs : mapping of str to sequence of LearnerRows
        Answers by world.
    shipped : Weights
        For the constants that are not fitted.

    Returns
    -------
    Weights
        Under version 0: they are used by the study and never stored.
    """
    rows = [one for name in sorted(logs) if name != world for one in logs[name]]
    start = neutral(shipped)
    design = np.concatenate([one.logs for one in rows])
    design = np.hstack([np.ones((len(design), 1)), design])
    outcome = np.concatenate([one.credit for one in rows])
    shift = np.concatenate([one.shift for one in rows])
    mean = np.array((start.b0, *start.v, *start.w))
    spread = np.array([_PRIOR_SD] * 6 + [_PULL / math.sqrt(len(design))] * 5)
    prior = Prior(mean, spread, np.array([-np.inf] + [0.0] * 10))
    theta, fitted = mean, start
    for _ in range(_TURNS):
        beliefs = [believed(one, fitted) for one in rows]
        middle = np.concatenate([means for means, _ in beliefs])
        factor = doubt_factor(np.concatenate([variances for _, variances in beliefs]))
        centred = shift + middle - np.mean([means.mean() for means, _ in beliefs])
        fit = fit_bounded(design * factor[:, None], outcome, prior, factor * centred)
        moved = float(np.abs(fit.theta - theta).max())
        theta = fit.theta
        numbers = theta.tolist()
        fitted = replace(start, b0=numbers[0], v=tuple(numbers[1:6]), w=tuple(numbers[6:]))
        if moved <= _SETTLED:
            break
    return replace(fitted, source=f"simulated answers of every world but {world}")


def spaced(world: str, logs: Mapping[float, Mapping[str, Sequence[LearnerRows]]], shipped: Weights) -> Weights:
    """Weights fitted to every world but one, with the rho whose best gaps are nearest to those of people.

    Parameters
    ----------
    world : str
        The world left out.
    logs : mapping of float to mapping of str to sequence of LearnerRows
        By rho, the traces made with it; then by world. The rho of `shipped` is among them.
    shipped : Weights
        For the constants that are not fitted.

    Returns
    -------
    Weights
        As from `without`. Nearest: least sum of the squared log ratios; v and w move so little with rho that those
        fitted with the rho of `shipped` choose it.
    """
    first = without(world, logs[shipped.rho], shipped)
    rho = min(logs, key=lambda one: _distance(replace(first, rho=one)))
    return first if rho == shipped.rho else without(world, logs[rho], replace(shipped, rho=rho))


def _distance(weights: Weights) -> float:
    return sum(math.log(gap / people) ** 2 for gap, people in zip(best_gaps(weights), PEOPLE_GAPS, strict=True))

"""Bounded logistic regression with a Gaussian prior: what the weights of the model are fitted by.

    minimise  sum_i [ log(1 + exp(x_i)) - y_i x_i ] + sum_j (theta_j - mean_j)^2 / (2 sd_j^2),    x = offset + Z theta,
    theta_j >= lowest_j

is strictly convex, so it has one minimum, whatever the start. It is found by Newton's method on the variables that are
not held at their bound (Bertsekas 1982, SIAM J. Control Optim. 20(2), 221-246), in blocks of rows that stay in the
cache. Sums run in one fixed order: the same numbers give the same bits.

Rows may fall into groups, each with a parameter of its own: x_i += scale_i delta_g, and delta_g^2 / (2 sd^2) is added
to the sum. Among themselves these have a diagonal curvature, so a step takes them out (the Schur complement) and costs
no more for thousands of groups than for one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quizsvc.errors import InputError

__all__ = ["Fit", "Groups", "Prior", "fit_bounded"]

Array = NDArray[np.float64]

_BLOCK = 4096
_MOST_STEPS = 100
_MOST_HALVINGS = 40
_SMALL_STEP = 1e-10
_SUFFICIENT = 1e-4


@dataclass(frozen=True)
class Prior:
    """What is believed of the parameters before the data, and where they may lie.

    Parameters
    ----------
    mean, sd : ndarray of float64, shape (p,)
        Mean and standard deviation of each parameter's Gaussian prior.
    lowest : ndarray of float64, shape (p,)
        Lower bound of each; -inf for none.
    """

    mean: Array
    sd: Array
    lowest: Array

    def __post_init__(self) -> None:
        if not (self.mean.ndim == 1 and self.mean.shape == self.sd.shape == self.lowest.shape):
            raise _refused("mean, sd and lowest differ in length", "give one of each for each parameter")
        if not (np.isfinite(self.mean).all() and np.isfinite(self.sd).all() and (self.sd > 0).all()):
            raise _refused("a prior mean is not finite or a prior sd not above 0", "give finite numbers, sd above 0")
        if not (self.lowest < np.inf).all():  # false for NaN too
            raise _refused("a bound cannot be met", "give numbers, or -inf for no bound")


@dataclass(frozen=True)
class Groups:
    """Groups of rows with one more parameter each, whose prior is N(0, sd^2).

    Parameters
    ----------
    number : ndarray of int64, shape (n,)
        Group of each row, from 0; -1 for a row in none.
    scale : ndarray of float64, shape (n,)
        What the parameter counts by in the row.
    count : int
        How many groups there are.
    sd : float
        Standard deviation of the prior, above 0.
    """

    number: NDArray[np.int64]
    scale: Array
    count: int
    sd: float

    def __post_init__(self) -> None:
        if not (self.number.ndim == 1 and self.number.shape == self.scale.shape):
            raise _refused("number and scale of the groups differ in length", "give one of each for each row")
        if not ((self.number >= -1) & (self.number < self.count)).all():
            raise _refused("a row is in a group that there is not", "number the groups from 0; -1 for none")
        if not (np.isfinite(self.scale).all() and 0 < self.sd < np.inf):
            raise _refused(
                "a scale is not finite or the sd of the groups not above 0", "give finite numbers, sd above 0"
            )


@dataclass(frozen=True)
class Fit:
    """The minimum.

    Parameters
    ----------
    theta : ndarray of float64, shape (p,)
        Parameters.
    se : ndarray of float64, shape (p,)
        Standard errors: roots of the diagonal of the inverse curvature (data and prior) among the free parameters;
        NaN for a parameter that is held at its bound.
    at_bound : ndarray of bool, shape (p,)
        Which are held at their bound.
    loss : float
        Value of what is minimised.
    steps : int
        Newton steps taken.
    groups, groups_se : ndarray of float64, shape (groups,)
        Parameter of each group and its standard error, all others left open; empty without groups.
    """

    theta: Array
    se: Array
    at_bound: NDArray[np.bool_]
    loss: float
    steps: int
    groups: Array
    groups_se: Array


@dataclass(frozen=True)
class _Data:
    """What stays the same from step to step; `number` has the count of groups in place of -1."""

    design: Array
    outcome: Array
    offset: Array
    prior: Prior
    number: NDArray[np.int64]
    scale: Array
    count: int
    sd: float


@dataclass(frozen=True)
class _Curvature:
    """Second derivatives: among the parameters (p, p), between them and the groups (p, groups), of each group."""

    own: Array
    cross: Array
    groups: Array

    def without_groups(self) -> Array:
        """The curvature that is left to the parameters where the groups follow them."""
        left: Array = self.own - (self.cross / self.groups) @ self.cross.T
        return left


def fit_bounded(
    design: Array, outcome: Array, prior: Prior, offset: Array | None = None, groups: Groups | None = None
) -> Fit:
    """Fit.

    Parameters
    ----------
    design : ndarray of float64, shape (n, p)
        Rows of features, each with a weight.
    outcome : ndarray of float64, shape (n,)
        From 0 to 1; a value between is taken as that share of a success.
    prior : Prior
        Of the p parameters.
    offset : ndarray of float64, shape (n,), optional
        What is added to the log odds of each row as it is.
    groups : Groups, optional
        Of the n rows.

    Returns
    -------
    Fit
        The one minimum.

    Raises
    ------
    InputError
        Shapes that do not go together, a number that is not finite, an outcome outside 0 to 1.
    """
    design, outcome = np.ascontiguousarray(design, np.float64), np.ascontiguousarray(outcome, np.float64)
    offset = np.zeros(outcome.shape) if offset is None else np.ascontiguousarray(offset, np.float64)
    _check(design, outcome, offset, prior, groups)
    data = _data(design, outcome, offset, prior, groups)
    lowest = np.concatenate([prior.lowest, np.full(data.count, -np.inf)])
    theta = np.concatenate([np.maximum(prior.mean, prior.lowest), np.zeros(data.count)])
    loss, slope, curvature = _pass(theta, data)
    for taken in range(_MOST_STEPS):
        held = (theta <= lowest) & (slope > 0)
        step = _newton_step(slope, curvature, ~held)
        moved, share = theta, 1.0
        for _ in range(_MOST_HALVINGS):
            moved = np.maximum(theta + share * step, lowest)
            found = _pass(moved, data)
            # Close to the minimum the loss no longer resolves the step; the slope still does.
            promised = _SUFFICIENT * min(0.0, float(slope @ (moved - theta)))
            if found[0] <= loss + promised + 1e-13 * abs(loss):
                break
            share /= 2
        length = float(np.max(np.abs(moved - theta), initial=0.0))
        theta, (loss, slope, curvature) = moved, found
        if length <= _SMALL_STEP:
            held, own = (theta <= lowest) & (slope > 0), prior.mean.size
            errors, of_groups = _standard_errors(curvature, ~held[:own])
            return Fit(theta[:own], errors, held[:own], loss, taken + 1, theta[own:], of_groups)
    raise _refused(f"no minimum after {_MOST_STEPS} steps", "report the log that was fitted; a convex fit has one")


def _check(design: Array, outcome: Array, offset: Array, prior: Prior, groups: Groups | None) -> None:
    if outcome.ndim != 1 or design.shape != (outcome.size, prior.mean.size) or offset.shape != outcome.shape:
        raise _refused(
            f"design {design.shape}, outcome {outcome.shape}, offset {offset.shape} and {prior.mean.size} parameters "
            "do not go together",
            "give n rows of p features, n outcomes and n offsets",
        )
    if groups is not None and groups.number.shape != outcome.shape:
        raise _refused(f"{groups.number.size} rows are in groups, and {outcome.size} have an outcome", "group each row")
    if not (np.isfinite(design).all() and np.isfinite(offset).all()):
        raise _refused("a feature or an offset is not finite", "leave such rows out")
    if not ((outcome >= 0) & (outcome <= 1)).all():
        raise _refused("an outcome is not a number from 0 to 1", "leave such rows out")


def _data(design: Array, outcome: Array, offset: Array, prior: Prior, groups: Groups | None) -> _Data:
    if groups is None:
        return _Data(design, outcome, offset, prior, np.zeros(0, np.int64), np.zeros(0), 0, 1.0)
    number = np.where(groups.number < 0, groups.count, groups.number)
    return _Data(design, outcome, offset, prior, number, groups.scale, groups.count, groups.sd)


def _pass(theta: Array, data: _Data) -> tuple[float, Array, _Curvature]:
    """Loss, slope and curvature, in one pass over the rows; parameters first, then groups."""
    prior, own = data.prior, data.prior.mean.size
    weight, group = theta[:own], theta[own:]
    pull = (weight - prior.mean) / prior.sd**2
    loss = 0.5 * float(pull @ (weight - prior.mean)) + 0.5 * float(group @ group) / data.sd**2
    slope, curvature = pull, np.diag(1.0 / prior.sd**2)
    group_slope, cross = group / data.sd**2, np.zeros((own, data.count))
    group_curvature = np.full(data.count, data.sd**-2)
    of_row = np.append(group, 0.0)
    for start in range(0, data.outcome.size, _BLOCK):
        block = slice(start, start + _BLOCK)
        rows, y, number, scale = data.design[block], data.outcome[block], data.number[block], data.scale[block]
        x = rows @ weight
        x += data.offset[block]
        if data.count:
            x += scale * of_row[number]
        # One exponential serves all: with e = exp(-|x|), log(1 + exp(x)) = max(x, 0) + log(1 + e).
        e = np.exp(-np.abs(x))
        loss += float(np.sum(np.maximum(x, 0.0)) + np.sum(np.log1p(e)) - y @ x)
        p = np.where(x >= 0, 1.0, e) / (1.0 + e)
        slope = slope + (p - y) @ rows
        if data.count:
            group_slope = group_slope + _by_group(number, (p - y) * scale, data.count)
        p *= 1.0 - p
        weighed = rows * p[:, None]
        curvature += rows.T @ weighed
        if data.count:
            group_curvature += _by_group(number, p * scale**2, data.count)
            weighed *= scale[:, None]
            for place, column in enumerate(weighed.T):
                cross[place] += _by_group(number, column, data.count)
    return loss, np.concatenate([slope, group_slope]), _Curvature(curvature, cross, group_curvature)


def _by_group(number: NDArray[np.int64], values: Array, count: int) -> Array:
    """Sums of the rows of each group; rows in none have `count`."""
    sums: Array = np.bincount(number, values, count + 1)[:count].astype(np.float64, copy=False)
    return sums


def _newton_step(slope: Array, curvature: _Curvature, free: NDArray[np.bool_]) -> Array:
    own = len(curvature.own)
    step, of_groups = np.zeros(own), slope[own:] / curvature.groups
    free = free[:own]
    if free.any():
        left = curvature.without_groups()[np.ix_(free, free)]
        step[free] = -np.linalg.solve(left, (slope[:own] - curvature.cross @ of_groups)[free])
    return np.concatenate([step, -of_groups - (step @ curvature.cross) / curvature.groups])


def _standard_errors(curvature: _Curvature, free: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Of the parameters and of the groups."""
    found, of_groups = np.full(free.size, np.nan), 1.0 / curvature.groups
    if free.any():
        inverse = np.linalg.inv(curvature.without_groups()[np.ix_(free, free)])
        found[free] = np.sqrt(np.diagonal(inverse))
        follows = curvature.cross[free] / curvature.groups
        of_groups = of_groups + np.sum(follows * (inverse @ follows), axis=0)
    return found, np.sqrt(of_groups)


def _refused(what: str, mend: str) -> InputError:
    return InputError("fit-refused", f"cannot fit: {what}", mend=mend)

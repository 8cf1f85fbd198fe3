"""How good predicted probabilities are: log loss, Brier score, calibration error with its counts, and AUC."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quizsvc.errors import InputError

__all__ = ["Calibration", "Scores", "auc", "brier", "calibration", "log_loss", "log_losses", "scores"]

Array = NDArray[np.float64]

BINS = 10


@dataclass(frozen=True)
class Calibration:
    """Predictions in bins of equal width, against what happened.

    Parameters
    ----------
    edges : ndarray of float64, shape (bins + 1,)
        Limits of the bins, from 0 to 1; a bin has its lower limit, the last one both.
    counts : ndarray of int64, shape (bins,)
        Predictions in each bin.
    predicted, happened : ndarray of float64, shape (bins,)
        Mean prediction and mean outcome of each bin, from 0 to 1; NaN where it is empty.
    """

    edges: Array
    counts: NDArray[np.int64]
    predicted: Array
    happened: Array

    @property
    def error(self) -> float:
        """Expected calibration error: the gaps between the two means, each weighed by its count; NaN without any."""
        full = self.counts > 0
        if not full.any():
            return float("nan")
        gaps = np.abs(self.predicted[full] - self.happened[full])
        return float(np.sum(gaps * self.counts[full]) / np.sum(self.counts))


@dataclass(frozen=True)
class Scores:
    """Log loss (nats), Brier score, calibration error and AUC over `answers` predictions; `bins` counts them by bin.

    `auc` is NaN where all went alike, which JSON has as null.
    """

    answers: int
    log_loss: float
    brier: float
    ece: float
    auc: float
    bins: tuple[int, ...]

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`."""
        return {
            "answers": self.answers,
            "log_loss": self.log_loss,
            "brier": self.brier,
            "ece": self.ece,
            "auc": None if math.isnan(self.auc) else self.auc,
            "bins": list(self.bins),
        }


def log_losses(outcome: ArrayLike, predicted: ArrayLike) -> Array:
    """Log loss of each prediction, nats.

    Parameters
    ----------
    outcome : array_like, shape (n,)
        What happened, from 0 to 1; a credit between is taken as that share of a success.
    predicted : array_like, shape (n,)
        Probability of a success, from 0 to 1.

    Returns
    -------
    ndarray of float64, shape (n,)
        -y log p - (1 - y) log(1 - p) of all answers, nats; infinite where what was called impossible happened.

    Raises
    ------
    InputError
        The two differ in shape, or a number is not in 0 to 1.
    """
    y, p = _checked(outcome, predicted)
    with np.errstate(divide="ignore"):
        # 0 log 0 is 0: a certain prediction that holds costs nothing.
        of_success = np.where(y > 0, -np.log(p), 0.0)
        of_failure = np.where(y < 1, -np.log1p(-p), 0.0)
    with np.errstate(invalid="ignore"):
        losses: Array = np.where(y > 0, y * of_success, 0.0) + np.where(y < 1, (1 - y) * of_failure, 0.0)
    return losses


def log_loss(outcome: ArrayLike, predicted: ArrayLike) -> float:
    """Mean of `log_losses`; NaN without predictions."""
    losses = log_losses(outcome, predicted)
    return float(np.mean(losses)) if losses.size else float("nan")


def brier(outcome: ArrayLike, predicted: ArrayLike) -> float:
    """Mean squared difference of outcome and prediction, 0 to 1; NaN without predictions. Arguments as `log_losses`."""
    y, p = _checked(outcome, predicted)
    return float(np.mean((y - p) ** 2)) if y.size else float("nan")


def calibration(outcome: ArrayLike, predicted: ArrayLike, bins: int = BINS) -> Calibration:
    """Predictions in `bins` bins of equal width, against what happened. Arguments and errors as `log_losses`."""
    y, p = _checked(outcome, predicted)
    if bins < 1:
        raise InputError("bins-too-few", f"{bins} bins hold no prediction", mend="give 1 or more")
    edges = np.linspace(0.0, 1.0, bins + 1)
    place = np.clip(np.searchsorted(edges, p, side="right") - 1, 0, bins - 1)
    counts = np.bincount(place, minlength=bins)
    with np.errstate(invalid="ignore"):
        return Calibration(
            edges=edges,
            counts=counts.astype(np.int64),
            predicted=np.bincount(place, weights=p, minlength=bins) / counts,
            happened=np.bincount(place, weights=y, minlength=bins) / counts,
        )


def auc(outcome: ArrayLike, predicted: ArrayLike) -> float:
    """Chance that a success had the higher prediction than a failure, one of each drawn at random; a tie counts half.

    Arguments and errors as `log_losses`: a credit between counts as that share of a success, the rest of a failure.

    Returns
    -------
    float
        Area under the receiver operating characteristic (Hanley and McNeil 1982), probability from 0 to 1; one half
        where nothing is told apart, NaN without a success or without a failure.
    """
    y, p = _checked(outcome, predicted)
    _, place = np.unique(p, return_inverse=True)
    right, wrong = np.bincount(place, weights=y), np.bincount(place, weights=1.0 - y)
    pairs = right.sum() * wrong.sum()
    below = np.cumsum(wrong) - wrong
    return float(np.sum(right * (below + 0.5 * wrong)) / pairs) if pairs > 0 else float("nan")


def scores(outcome: ArrayLike, predicted: ArrayLike) -> Scores:
    """All of them at once, calibration in ten bins. Arguments and errors as `log_losses`."""
    found = calibration(outcome, predicted)
    return Scores(
        answers=int(found.counts.sum()),
        log_loss=log_loss(outcome, predicted),
        brier=brier(outcome, predicted),
        ece=found.error,
        auc=auc(outcome, predicted),
        bins=tuple(int(count) for count in found.counts),
    )


def _checked(outcome: ArrayLike, predicted: ArrayLike) -> tuple[Array, Array]:
    y, p = np.asarray(outcome, dtype=np.float64), np.asarray(predicted, dtype=np.float64)
    if y.ndim != 1 or y.shape != p.shape:
        raise InputError(
            "predictions-shape",
            f"outcomes of shape {y.shape} and predictions of shape {p.shape} do not go together",
            mend="give two rows of the same length",
        )
    for name, values in (("an outcome", y), ("a prediction", p)):
        if not ((values >= 0) & (values <= 1)).all():
            raise InputError("predictions-range", f"{name} is not a number from 0 to 1", mend="give numbers in 0 to 1")
    return y, p

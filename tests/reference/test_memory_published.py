"""The memory model and its solver against published experiments.

`published_recall` prints how well the model fits them; asserted is only what the design promises: the best gap between
sessions rises with the retention interval and lies within a factor of two of the interpolated optimum of Cepeda et al.
(2008).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit, log_expit, xlogy

from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.gap import RETENTION_DAYS, best_gaps, recall_after_gap
from quizsvc.memory.weights import STARTING
from tests.reference.published_recall import MUCH, predicted, published, refitted
from tests.reference.tables import half_last_digit, rows_of

EBBINGHAUS = rows_of("memory/ebbinghaus_1885.csv")
MINUTES = np.array([float(row["t_minutes"]) for row in EBBINGHAUS])
SAVED = np.array([float(row["saving_pct_observed"]) for row in EBBINGHAUS]) / 100


def ebbinghaus(k, c):
    """b = k / ((log10 t)^c + k), t in minutes; a share (1885, section 29)."""
    return k / (np.log10(MINUTES) ** c + k)


# --- the best gap between two sessions ------------------------------------------------------------------------------


def test_best_gap_rises_with_the_retention_interval_and_lies_near_the_published_one():
    """Within a factor of two of 3, 8, 12 and 27 days at 7, 35, 70 and 350."""
    table = [
        (float(row["retention_interval_days"]), float(row["interpolated_optimal_gap_days"]))
        for row in rows_of("memory/cepeda_2008_optimal_gaps.csv")
    ]
    found = best_gaps(STARTING)

    assert list(RETENTION_DAYS) == [retention for retention, _ in table]
    assert sorted(set(found)) == found
    for (_, optimum), gap in zip(table, found, strict=True):
        assert optimum / 2 <= gap <= optimum * 2


def test_without_the_spacing_credit_the_best_gap_would_be_none():
    """The check above can fail: with full credit for each answer, no gap at all is best, as the study found."""
    assert best_gaps(replace(STARTING, rho=1e-9), [70.0]) == [3 / 1440]


@pytest.mark.parametrize("gap", [3 / 1440, 1.0, 21.0, 105.0])
def test_recall_after_a_gap_is_what_the_formula_gives(gap):
    """Five practices with expected success, summed over the whole history with numpy."""
    pause = 0.5 / 1440
    times = np.array([0, pause, 2 * pause, 2 * pause + gap, 3 * pause + gap])
    tau = np.array([1 / 24, 1, 7, 30, np.inf])
    spacing = 0.05 * np.array([1 / 24, 1, 7, 30, 105])
    v, w = np.array([3.24, 0.10, 1.55, 0.74, 1.12]), np.array([0.05, 0, 0, 0.49, 0.14])
    earned = np.vstack([np.ones(5), 1 - np.exp(-np.diff(times)[:, None] / spacing)])
    success = np.zeros(5)

    def at(moment, practices):
        faded = earned[:practices] * np.exp(-(moment - times[:practices])[:, None] / tau)
        right = faded * success[:practices, None]
        return expit(-2.49 + v @ np.log(1 + faded.sum(axis=0)) + w @ np.log(1 + right.sum(axis=0)))

    for practice in range(5):
        success[practice] = at(times[practice], practice)

    expected = [at(times[-1] + days, 5) for days in RETENTION_DAYS]
    np.testing.assert_allclose(recall_after_gap(gap, RETENTION_DAYS, STARTING), expected, rtol=0, atol=1e-12)


# --- Ebbinghaus -----------------------------------------------------------------------------------------------------


def test_the_table_of_1885_is_the_one_that_its_formula_gives():
    """Column for column to the printed digit; 46.77 at 64 minutes is printed 46.7, cut and not rounded."""
    found = 100 * ebbinghaus(1.84, 1.25)
    cut = [row["t_minutes"] == "64" for row in EBBINGHAUS]

    assert sum(cut) == 1
    for row, value, only_cut in zip(EBBINGHAUS, found, cut, strict=True):
        printed = row["saving_pct_calculated_printed"]
        if only_cut:
            assert float(printed) <= value < float(printed) + 0.1
        else:
            assert value == pytest.approx(float(printed), abs=half_last_digit(printed))
        assert value == pytest.approx(float(row["formula_recomputed"]), abs=half_last_digit(row["formula_recomputed"]))


def test_the_replication_prints_the_savings_of_1885():
    """Murre and Dros (2015), table 3: the same seven savings, to their digit."""
    for row, saved in zip(rows_of("memory/murre_dros_2015.csv"), SAVED, strict=True):
        assert float(row["ebbinghaus"]) == pytest.approx(saved, abs=half_last_digit(row["ebbinghaus"]))


def test_the_solver_fits_the_formula_to_the_savings_better_than_its_author():
    """The formula is logistic: log odds ln k - c ln log10 t. Ours (k 1.83, c 1.22) is the minimum of the deviance, so
    no other constants come below it, his 1.84 and 1.25 among them, which he calls only roughly determined."""
    design = np.column_stack([np.ones(7), -np.log(np.log10(MINUTES))])
    free = Prior(np.zeros(2), np.full(2, 1e6), np.full(2, -np.inf))
    fit = fit_bounded(design, SAVED, free)
    k, c = np.exp(fit.theta[0]), fit.theta[1]

    def deviance(b):
        return -np.sum(xlogy(SAVED, b) + xlogy(1 - SAVED, 1 - b))

    ours, his = deviance(ebbinghaus(k, c)), deviance(ebbinghaus(1.84, 1.25))
    assert fit.loss == pytest.approx(ours, abs=1e-9)
    assert ours < his
    for beside in ((k * 1.01, c), (k * 0.99, c), (k, c * 1.01), (k, c * 0.99)):
        assert ours < deviance(ebbinghaus(*beside))


# --- the other experiments ------------------------------------------------------------------------------------------


def test_all_points_are_there():
    """37 of 2008 (26 on spacing, 11 on forgetting), 36 of 2009, 4 savings curves of 7."""
    counts = {name: len(points) for name, points in published().items()}

    assert counts["Cepeda 2008, spacing"] + counts["Cepeda 2008, forgetting"] == 37
    assert sum(count for name, count in counts.items() if "2009" in name) == 36
    assert sum(count for name, count in counts.items() if "savings" in name) == 28


def test_trace_weights_fitted_to_the_37_points_are_those_of_scipy():
    """The solver on published recall: L-BFGS-B of scipy with the same bounds and penalty, within 1e-6."""
    everything = published()
    points = everything["Cepeda 2008, spacing"] + everything["Cepeda 2008, forgetting"]
    found, theta = refitted(points)
    recalled = np.array([point.recalled for point in points])
    rows = _counts(points)

    def loss(parameters):
        x = rows @ parameters
        value = -MUCH * np.sum(recalled * log_expit(x) + (1 - recalled) * log_expit(-x)) + parameters @ parameters / (
            2 * MUCH
        )
        return value, MUCH * (expit(x) - recalled) @ rows + parameters / MUCH

    bounds = [(None, None)] + [(0, None)] * 5
    options = {"ftol": 1e-16, "gtol": 1e-9, "maxiter": 10_000, "maxfun": 20_000}
    peer = minimize(loss, np.zeros(6), jac=True, bounds=bounds, method="L-BFGS-B", options=options).x
    np.testing.assert_allclose(theta, peer, rtol=0, atol=1e-6)
    np.testing.assert_allclose(found, expit(rows @ theta), rtol=0, atol=1e-12)


def _counts(points):
    """A one and log(1 + n_k) at each test, summed over the practices with numpy."""
    tau = np.array([1 / 24, 1, 7, 30, np.inf])
    spacing = 0.05 * np.array([1 / 24, 1, 7, 30, 105])
    rows = []
    for point in points:
        times = [0, 0.5 / 1440, 1 / 1440]
        if point.gap is not None:
            times += [times[-1] + point.gap, times[-1] + point.gap + 0.5 / 1440]
        times = np.array(times)
        earned = np.vstack([np.ones(5), 1 - np.exp(-np.diff(times)[:, None] / spacing)])
        faded = earned * np.exp(-(times[-1] + point.retention - times)[:, None] / tau)
        rows.append([1, *np.log(1 + faded.sum(axis=0))])
    return np.array(rows)


def test_predictions_are_recall():
    """Every published point gets a probability, and more ability means more recall."""
    for points in published().values():
        lower, higher = predicted(points, -1.0), predicted(points, 1.0)
        assert ((lower > 0) & (lower < higher) & (higher < 1)).all()

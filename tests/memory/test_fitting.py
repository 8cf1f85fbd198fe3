"""The bounded fit against independent solvers on the same design matrix, to 1e-6."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.differentiate import hessian
from scipy.optimize import minimize
from scipy.special import expit
from sklearn.linear_model import LogisticRegression

from quizsvc.errors import InputError
from quizsvc.memory.fitting import Prior, fit_bounded

FREE = np.array([-np.inf] * 5)
BOUNDED = np.array([-np.inf, 0, 0, 0, 0])


def drawn(seed, rows, parts=False):
    """A design like the memory's (a constant, then logs of traces) and outcomes from known weights, two of them 0."""
    rng = np.random.default_rng(seed)
    design = np.hstack([np.ones((rows, 1)), np.log1p(rng.exponential(1.0, (rows, 4)))])
    right = rng.random(rows) < expit(design @ [-1.0, 1.2, 0.0, 0.4, 0.0])
    outcome = right.astype(float)
    if parts:
        outcome[rng.random(rows) < 0.1] = 0.5
    return design, outcome, rng.normal(0, 0.7, rows)


def loss(theta, design, outcome, offset, prior):
    """What is to be minimised, written down again."""
    x = offset + design @ theta
    return np.sum(np.logaddexp(0, x) - outcome * x) + 0.5 * np.sum(((theta - prior.mean) / prior.sd) ** 2)


def by_scipy(design, outcome, offset, prior):
    """L-BFGS-B with the same bounds and penalty."""

    def with_slope(theta):
        residual = expit(offset + design @ theta) - outcome
        return loss(theta, design, outcome, offset, prior), residual @ design + (theta - prior.mean) / prior.sd**2

    bounds = [(None if np.isinf(low) else low, None) for low in prior.lowest]
    found = minimize(
        with_slope,
        np.maximum(prior.mean, prior.lowest),
        jac=True,
        bounds=bounds,
        method="L-BFGS-B",
        options={"ftol": 1e-16, "gtol": 1e-10, "maxiter": 2000, "maxfun": 5000},
    )
    return found.x


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("lowest", [FREE, BOUNDED], ids=["free", "bounded"])
def test_fit_is_that_of_scipy(seed, lowest):
    """scipy.optimize L-BFGS-B: same bounds, prior means away from 0, offsets, half credits. Within 1e-6."""
    design, outcome, offset = drawn(seed, 3000, parts=True)
    prior = Prior(np.array([-2.0, 0.5, 0.1, 0.8, 0.0]), np.array([1.0, 0.5, 0.5, 0.3, 0.5]), lowest)

    found = fit_bounded(design, outcome, prior, offset)

    np.testing.assert_allclose(found.theta, by_scipy(design, outcome, offset, prior), rtol=0, atol=1e-6)
    assert (found.theta >= lowest).all()
    assert found.loss == pytest.approx(loss(found.theta, design, outcome, offset, prior), rel=1e-12)


def test_bounds_are_met_and_matter_in_the_checks_above():
    """Some of the fits above hold a weight at 0, and would lie below it without the bound."""
    prior = Prior(np.array([-2.0, 0.5, 0.1, 0.8, 0.0]), np.array([1.0, 0.5, 0.5, 0.3, 0.5]), BOUNDED)
    logs = [drawn(seed, 3000, parts=True) for seed in range(5)]
    fits = [fit_bounded(design, outcome, prior, offset) for design, outcome, offset in logs]
    unheld = Prior(prior.mean, prior.sd, FREE)
    free = [fit_bounded(design, outcome, unheld, offset) for design, outcome, offset in logs]

    assert any(fit.at_bound.any() for fit in fits)
    for bounded, unbounded in zip(fits, free, strict=True):
        assert (bounded.theta[bounded.at_bound] == 0).all()
        assert not unbounded.at_bound.any()
        assert bounded.loss >= unbounded.loss - 1e-9


@pytest.mark.parametrize("strength", [0.1, 1.0, 30.0])
def test_fit_is_that_of_scikit_learn_where_no_bound_is_met(strength):
    """sklearn LogisticRegression, L2 with C = sd squared towards 0, the constant a column like the others."""
    design, outcome, _ = drawn(7, 4000)
    prior = Prior(np.zeros(5), np.full(5, np.sqrt(strength)), FREE)
    peer = LogisticRegression(C=strength, fit_intercept=False, solver="newton-cholesky", tol=1e-12).fit(design, outcome)

    np.testing.assert_allclose(fit_bounded(design, outcome, prior).theta, peer.coef_[0], rtol=0, atol=1e-6)


def test_standard_errors_are_those_of_the_curvature():
    """Roots of the diagonal of the inverse of scipy's numerical second derivatives at the minimum; NaN at a bound."""
    design, outcome, offset = drawn(3, 800)
    prior = Prior(np.array([-1.0, 1.0, 0.2, 0.4, 0.2]), np.full(5, 0.5), FREE)
    found = fit_bounded(design, outcome, prior, offset)

    def losses(theta):
        return np.apply_along_axis(loss, 0, theta, design, outcome, offset, prior)

    spread = np.linalg.inv(hessian(losses, found.theta).ddf)
    np.testing.assert_allclose(found.se, np.sqrt(spread.diagonal()), rtol=1e-5)

    held = fit_bounded(design, outcome, Prior(prior.mean, prior.sd, np.array([-np.inf, 0, 3.0, 0, 0])), offset)
    assert held.at_bound[2]
    assert not held.at_bound[:2].any()
    assert np.isnan(held.se).tolist() == held.at_bound.tolist()
    assert held.theta[2] == 3.0


def test_standard_errors_cover_the_truth():
    """Of 300 drawn logs, the 90 % range (1.645 s.e.) holds a true weight about 270 times: binomial 99.9 % limits."""
    prior = Prior(np.zeros(5), np.full(5, 100.0), FREE)
    truth = np.array([-1.0, 1.2, 0.0, 0.4, 0.0])
    inside = np.zeros(5)
    for seed in range(300):
        found = fit_bounded(*drawn(1000 + seed, 400)[:2], prior)
        inside += np.abs(found.theta - truth) <= 1.645 * found.se

    assert ((inside >= 252) & (inside <= 286)).all()  # scipy.stats.binom(300, .9).ppf([.0005, .9995]) = 252, 286


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 60), st.floats(0.05, 20))
def test_small_and_separable_logs_have_a_minimum_too(seed, rows, sd):
    """No rows, few rows, all right: the prior keeps the fit finite, and no neighbour within the bounds is lower."""
    rng = np.random.default_rng(seed)
    design, outcome, offset = drawn(seed, rows)
    outcome[:] = outcome if rng.random() < 0.7 else 1.0
    prior = Prior(rng.normal(0, 1, 5), np.full(5, sd), BOUNDED)
    found = fit_bounded(design, outcome, prior, offset)

    assert np.isfinite(found.theta).all()
    for _ in range(10):
        beside = np.maximum(found.theta + rng.normal(0, 1e-3, 5), BOUNDED)
        assert loss(beside, design, outcome, offset, prior) >= found.loss - 1e-9 * (1 + abs(found.loss))


def test_same_numbers_same_bits():
    """Whatever the layout in memory."""
    design, outcome, offset = drawn(9, 9000)
    prior = Prior(np.zeros(5), np.ones(5), BOUNDED)
    once = fit_bounded(design, outcome, prior, offset)
    again = fit_bounded(np.asfortranarray(design), outcome.copy(), prior, offset)

    assert [x.hex() for x in once.theta.tolist()] == [x.hex() for x in again.theta.tolist()]
    assert once.loss.hex() == again.loss.hex()


def test_without_rows_the_prior_stays_or_its_nearest_allowed_point():
    """Nothing seen, nothing moved; a prior mean below the bound comes out at the bound."""
    prior = Prior(np.array([-2.0, 0.5, -0.1, 0.8, 0.0]), np.full(5, 0.5), BOUNDED)
    found = fit_bounded(np.zeros((0, 5)), np.zeros(0), prior)

    assert found.theta.tolist() == [-2.0, 0.5, 0.0, 0.8, 0.0]
    assert found.at_bound.tolist() == [False, False, True, False, False]
    np.testing.assert_allclose(found.se[[0, 1, 3, 4]], 0.5, rtol=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"outcome": np.array([0.0, 1.5])}, "an outcome is not a number from 0 to 1"),
        ({"outcome": np.array([0.0, np.nan])}, "an outcome is not a number from 0 to 1"),
        ({"design": np.array([[1.0], [np.inf]])}, "a feature or an offset is not finite"),
        ({"offset": np.array([0.0, np.nan])}, "a feature or an offset is not finite"),
        ({"offset": np.zeros(3)}, "do not go together"),
        ({"design": np.ones((2, 3))}, "do not go together"),
    ],
)
def test_what_cannot_be_fitted_is_refused(change, words):
    """By name, before any sum."""
    usual = {"design": np.ones((2, 1)), "outcome": np.array([0.0, 1.0]), "offset": np.zeros(2)} | change
    prior = Prior(np.zeros(1), np.ones(1), np.array([-np.inf]))
    with pytest.raises(InputError, match=words):
        fit_bounded(usual["design"], usual["outcome"], prior, usual["offset"])


@pytest.mark.parametrize(
    "numbers",
    [([0.0], [0.0], [0.0]), ([np.nan], [1.0], [0.0]), ([0.0], [1.0], [np.nan]), ([0.0, 1.0], [1.0], [0.0])],
)
def test_a_prior_that_is_none_is_refused(numbers):
    """No width, no number, no bound that could be met, another length."""
    with pytest.raises(InputError, match="cannot fit"):
        Prior(*map(np.array, numbers))

"""The fit with a parameter for each group of rows, against independent solvers on the dense design, to 1e-6."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit
from sklearn.linear_model import LogisticRegression

from quizsvc.errors import InputError
from quizsvc.memory.fitting import Groups, Prior, fit_bounded
from tests.memory.test_fitting import BOUNDED, FREE, by_scipy, drawn

GROUPS = 30
SD = 0.5


def grouped(seed, rows, none=0.1):
    """A drawn design, the group of each row (some in none, sizes uneven), a scale below 1, and outcomes by both."""
    rng = np.random.default_rng(seed)
    design, _, offset = drawn(seed, rows)
    number = np.minimum(rng.geometric(0.08, rows) - 1, GROUPS - 1)
    number[rng.random(rows) < none] = -1
    scale = rng.uniform(0.3, 1.0, rows)
    true = np.append(rng.normal(0, 0.7, GROUPS), 0.0)
    outcome = (rng.random(rows) < expit(offset + design @ [-1.0, 1.2, 0.0, 0.4, 0.0] + scale * true[number])).astype(
        float
    )
    outcome[rng.random(rows) < 0.1] = 0.5
    return design, outcome, offset, number, scale


def dense(design, number, scale, prior):
    """The same as one design: a column for each group, which holds the scale."""
    columns = np.zeros((len(design), GROUPS + 1))
    columns[np.arange(len(design)), number] = scale
    wide = Prior(
        np.append(prior.mean, np.zeros(GROUPS)),
        np.append(prior.sd, np.full(GROUPS, SD)),
        np.append(prior.lowest, np.full(GROUPS, -np.inf)),
    )
    return np.hstack([design, columns[:, :GROUPS]]), wide


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("lowest", [FREE, BOUNDED], ids=["free", "bounded"])
def test_fit_is_that_of_scipy_on_the_dense_design(seed, lowest):
    """scipy.optimize L-BFGS-B: parameters and groups within 1e-6. More rows than fit one block, half credits."""
    design, outcome, offset, number, scale = grouped(seed, 6000)
    prior = Prior(np.array([-2.0, 0.5, 0.1, 0.8, 0.0]), np.array([1.0, 0.5, 0.5, 0.3, 0.5]), lowest)
    found = fit_bounded(design, outcome, prior, offset, Groups(number, scale, GROUPS, SD))
    columns, wide = dense(design, number, scale, prior)
    peer = by_scipy(columns, outcome, offset, wide)

    np.testing.assert_allclose(np.concatenate([found.theta, found.groups]), peer, rtol=0, atol=1e-6)
    # The same function without groups, on the dense design, which has tests of its own: loss and standard errors.
    whole = fit_bounded(columns, outcome, wide, offset)
    np.testing.assert_allclose(np.concatenate([found.se, found.groups_se]), whole.se, rtol=1e-9)
    assert found.loss == pytest.approx(whole.loss, rel=1e-12)
    assert found.at_bound.tolist() == whole.at_bound[:5].tolist()


def test_fit_is_that_of_scikit_learn_on_the_dense_design():
    """sklearn LogisticRegression, L2 with C = sd squared for all parameters, right or wrong, no offset: within 1e-6."""
    design, outcome, _, number, scale = grouped(7, 5000)
    outcome = np.round(outcome)
    prior = Prior(np.zeros(5), np.full(5, SD), FREE)
    found = fit_bounded(design, outcome, prior, groups=Groups(number, scale, GROUPS, SD))
    peer = LogisticRegression(C=SD**2, fit_intercept=False, solver="newton-cholesky", tol=1e-12)
    peer.fit(dense(design, number, scale, prior)[0], outcome)

    np.testing.assert_allclose(np.concatenate([found.theta, found.groups]), peer.coef_[0], rtol=0, atol=1e-6)


def test_standard_errors_are_those_of_the_curvature_of_the_dense_design():
    """numpy's inverse of Z' diag(p (1 - p)) Z + 1/sd^2, written down again."""
    design, outcome, offset, number, scale = grouped(3, 2000)
    prior = Prior(np.zeros(5), np.ones(5), FREE)
    found = fit_bounded(design, outcome, prior, offset, Groups(number, scale, GROUPS, SD))
    columns, wide = dense(design, number, scale, prior)
    p = expit(offset + columns @ np.concatenate([found.theta, found.groups]))
    curvature = columns.T @ (columns * (p * (1 - p))[:, None]) + np.diag(wide.sd**-2.0)

    errors = np.sqrt(np.linalg.inv(curvature).diagonal())
    np.testing.assert_allclose(np.concatenate([found.se, found.groups_se]), errors, rtol=1e-7)


def test_a_group_without_rows_stays_at_its_prior_and_rows_in_none_are_as_without_groups():
    """0 with the prior's own error; the parameters, if no row is in a group, are those of the plain fit."""
    design, outcome, offset, number, scale = grouped(5, 3000)
    prior = Prior(np.zeros(5), np.ones(5), BOUNDED)
    plain = fit_bounded(design, outcome, prior, offset)
    found = fit_bounded(design, outcome, prior, offset, Groups(np.full_like(number, -1), scale, GROUPS, SD))

    assert found.groups.tolist() == [0.0] * GROUPS
    assert found.groups_se.tolist() == [SD] * GROUPS
    np.testing.assert_allclose(found.theta, plain.theta, rtol=0, atol=1e-9)
    assert (plain.groups.size, plain.groups_se.size) == (0, 0)


def test_same_numbers_same_bits():
    """Twice the same groups."""
    design, outcome, offset, number, scale = grouped(9, 9000)
    prior = Prior(np.zeros(5), np.ones(5), BOUNDED)
    once, again = (
        fit_bounded(design, outcome, prior, offset, Groups(number.copy(), scale.copy(), GROUPS, SD)) for _ in range(2)
    )

    assert once.groups.tobytes() == again.groups.tobytes()
    assert once.theta.tobytes() == again.theta.tobytes()


@pytest.mark.parametrize(
    ("number", "scale", "sd", "words"),
    [
        ([0, 2], [1.0, 1.0], 1.0, "a row is in a group that there is not"),
        ([0, -2], [1.0, 1.0], 1.0, "a row is in a group that there is not"),
        ([0, 1], [1.0], 1.0, "number and scale of the groups differ in length"),
        ([0, 1], [1.0, np.nan], 1.0, "a scale is not finite"),
        ([0, 1], [1.0, 1.0], 0.0, "the sd of the groups not above 0"),
        ([0, 1], [1.0, 1.0], np.nan, "the sd of the groups not above 0"),
        ([0, 1, 1], [1.0, 1.0, 1.0], 1.0, "3 rows are in groups, and 2 have an outcome"),
    ],
)
def test_groups_that_cannot_be_are_refused(number, scale, sd, words):
    """By name, before any sum."""
    prior = Prior(np.zeros(1), np.ones(1), np.array([-np.inf]))
    with pytest.raises(InputError, match=words):
        groups = Groups(np.array(number), np.array(scale), 2, sd)
        fit_bounded(np.ones((2, 1)), np.array([0.0, 1.0]), prior, groups=groups)

"""Log loss, Brier score, calibration error and AUC against golden values, scikit-learn and counting by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn import metrics as peer
from sklearn.calibration import calibration_curve

from quizsvc.errors import InputError
from quizsvc.memory.metrics import auc, brier, calibration, log_loss, log_losses, scores
from tests.reference.tables import half_last_digit, rows_of

OUTCOME, PREDICTED = [0, 0, 1, 1], [0.1, 0.4, 0.35, 0.8]  # of the golden table, as its head says

GOLDEN = {row["metric"]: row["value"] for row in rows_of("memory/metrics_golden.csv")}


def drawn(seed, size=2000):
    """Outcomes that follow rough predictions."""
    rng = np.random.default_rng(seed)
    predicted = rng.beta(1.2, 0.8, size)
    return (rng.random(size) < predicted**1.3).astype(float), predicted


@pytest.mark.parametrize(("metric", "ours"), [("log_loss", log_loss), ("brier", brier), ("auc", auc)])
def test_golden_values(metric, ours):
    """To the printed digit."""
    assert ours(OUTCOME, PREDICTED) == pytest.approx(float(GOLDEN[metric]), abs=half_last_digit(GOLDEN[metric]))


def test_calibration_error_counted_by_hand():
    """In ten bins .1, .4, .35 and .8 stand alone: (.1 + .4 + .65 + .2) / 4. In two, (.1 .4 .35 | .8) against (1/3 | 1):
    3/4 |.85/3 - 1/3| + 1/4 |.8 - 1| = .0875."""
    ten, two = calibration(OUTCOME, PREDICTED), calibration(OUTCOME, PREDICTED, bins=2)

    assert ten.error == pytest.approx(0.3375, abs=1e-15)
    assert ten.counts.tolist() == [0, 1, 0, 1, 1, 0, 0, 0, 1, 0]
    assert two.error == pytest.approx(0.0875, abs=1e-15)
    assert two.counts.tolist() == [3, 1]


def test_auc_counted_by_hand():
    """Of (.5 .7 | .2 .5 .9), rights before the bar: .5 beats .2 and ties .5, .7 beats .2 and .5: 3.5 of 6 pairs."""
    assert auc([1, 1, 0, 0, 0], [0.5, 0.7, 0.2, 0.5, 0.9]) == pytest.approx(3.5 / 6, abs=1e-15)
    assert auc([0, 1, 0, 1], [0.4] * 4) == 0.5
    assert math.isnan(auc([1, 1], [0.2, 0.3]))
    assert math.isnan(auc([], []))
    assert scores([1.0, 1.0], [0.2, 0.3]).to_json()["auc"] is None


@pytest.mark.parametrize("seed", range(4))
def test_auc_of_scikit_learn_with_ties_and_credits(seed):
    """roc_auc_score within 1e-12, on predictions of two decimals, most of which tie; a credit of .25 is a quarter of a
    right answer and three quarters of a wrong one, which scikit-learn takes as weights."""
    outcome, predicted = drawn(seed)
    predicted = np.round(predicted, 2)
    assert len(np.unique(predicted)) < len(predicted) / 10
    assert auc(outcome, predicted) == pytest.approx(peer.roc_auc_score(outcome, predicted), abs=1e-12)

    credit = np.where(np.arange(outcome.size) % 5 == 0, 0.25, outcome)
    both = np.concatenate([np.ones_like(outcome), np.zeros_like(outcome)])
    expected = peer.roc_auc_score(both, np.tile(predicted, 2), sample_weight=np.concatenate([credit, 1 - credit]))
    assert auc(credit, predicted) == pytest.approx(expected, abs=1e-12)


def test_limits_of_bins():
    """A bin has its lower limit; the last one has both."""
    assert calibration([1, 1, 1, 1], [0.0, 0.5, 0.75, 1.0], bins=2).counts.tolist() == [1, 3]


@pytest.mark.parametrize("seed", range(4))
def test_scikit_learn_says_the_same(seed):
    """log_loss, brier_score_loss and calibration_curve (uniform) of scikit-learn, within 1e-12."""
    outcome, predicted = drawn(seed)
    happened, mean = calibration_curve(outcome, predicted, n_bins=10, strategy="uniform")
    ours = calibration(outcome, predicted)
    full = ours.counts > 0

    assert log_loss(outcome, predicted) == pytest.approx(peer.log_loss(outcome, predicted), abs=1e-12)
    assert brier(outcome, predicted) == pytest.approx(peer.brier_score_loss(outcome, predicted), abs=1e-12)
    np.testing.assert_allclose(ours.happened[full], happened, rtol=0, atol=1e-12)
    np.testing.assert_allclose(ours.predicted[full], mean, rtol=0, atol=1e-12)
    assert ours.counts.tolist() == np.histogram(predicted, bins=10, range=(0, 1))[0].tolist()


def test_all_at_once():
    """`scores` are the five of them."""
    outcome, predicted = drawn(5)
    found = scores(outcome, predicted)

    assert (found.answers, found.log_loss, found.brier) == (
        2000, log_loss(outcome, predicted), brier(outcome, predicted)
    )  # fmt: skip
    assert found.auc == auc(outcome, predicted)
    assert found.ece == calibration(outcome, predicted).error
    assert list(found.bins) == calibration(outcome, predicted).counts.tolist()
    assert found.to_json()["bins"] == list(found.bins)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=40))
def test_nothing_beats_the_truth_and_every_answer_is_counted(pairs):
    """Of all predictions for one outcome, the outcome itself has the lowest loss; counts add up; errors lie in 0..1."""
    outcome, predicted = map(np.array, zip(*pairs, strict=True))

    assert (log_losses(outcome, predicted) >= log_losses(outcome, outcome) - 1e-12).all()
    assert calibration(outcome, predicted).counts.sum() == len(pairs)
    assert 0 <= calibration(outcome, predicted).error <= 1
    assert 0 <= brier(outcome, predicted) <= 1


def test_certain_predictions():
    """Certain and right costs nothing; certain and wrong costs without limit; a half of either is half of that."""
    assert log_losses([1, 0], [1, 0]).tolist() == [0, 0]
    assert log_losses([1, 0, 0.5], [0, 1, 1]).tolist() == [math.inf, math.inf, math.inf]


def test_no_predictions_have_no_score():
    """NaN, and no warning."""
    found = scores([], [])

    assert (found.answers, sum(found.bins)) == (0, 0)
    assert all(map(math.isnan, (found.log_loss, found.brier, found.ece)))


@pytest.mark.parametrize(
    ("outcome", "predicted", "words"),
    [
        ([0, 1], [0.5], "do not go together"),
        ([[0]], [[0.5]], "do not go together"),
        ([2], [0.5], "an outcome is not a number from 0 to 1"),
        ([1], [math.nan], "a prediction is not a number from 0 to 1"),
    ],
)
def test_what_is_no_prediction_is_refused(outcome, predicted, words):
    """By name."""
    with pytest.raises(InputError, match=words):
        scores(outcome, predicted)
    with pytest.raises(InputError, match="0 bins"):
        calibration([1], [1], bins=0)

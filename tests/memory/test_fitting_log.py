"""From a log to new weights: rows, filter, gates. The learners are invented and answer as the model says."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.errors import InputError
from quizsvc.memory import refitting
from quizsvc.memory.fit_rows import believed, rows_of, shown
from quizsvc.memory.gap import best_gaps
from quizsvc.memory.metrics import scores
from quizsvc.memory.recall import recall_of, shown_recall, stack, update
from quizsvc.memory.refitting import refit
from quizsvc.memory.states import AnswerEvent, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING, Weights
from tests.memory.logs import TRUE, model_log

LEARNERS, ANSWERS = 50, 230


@pytest.fixture(scope="module")
def logs():
    """Some 11,000 answers of fifty invented learners."""
    return [model_log(seed, ANSWERS) for seed in range(LEARNERS)]


@pytest.fixture(scope="module")
def learners(logs):
    """Their rows."""
    return [rows_of(log, "never trained", STARTING) for log in logs]


@pytest.fixture(scope="module")
def found(learners):
    """Weights fitted to them, with a world that likes whatever it is given."""
    return refit(learners, STARTING, lambda weights: {"invented": 0.6})


answers = st.builds(
    AnswerEvent,
    at=st.one_of(st.floats(19_000, 28_000), st.floats(20_000, 20_001), st.sampled_from([20_000.0, 20_000.25])),
    local_day=st.integers(19_000, 28_000),
    outcome=st.sampled_from(["full", "part", "miss", "pass"]),
    credit=st.floats(0, 1),
    kind=st.sampled_from(["one", "some", "number", "say"]),
    item=st.just("a"),
    fresh=st.booleans(),
    sureness=st.none(),
    concept=st.sampled_from(["P-DIFF", "H-GATE", "E-TIE"]),
)


@settings(max_examples=50, deadline=None)
@given(st.lists(answers, max_size=30), st.sampled_from(["never trained", "in training", "rated"]))
def test_filter_believes_what_the_updates_believe(events, experience):
    """Means, variances and predictions of the fast filter are those of one `update` after the other, within 1e-12."""
    log = sorted(
        (replace(event, answer_id=number) for number, event in enumerate(events)), key=lambda e: (e.at, e.answer_id)
    )
    shifts = {"P-DIFF": 0.8, "E-TIE": -1.1, "GONE-LONG-AGO": 2.0}
    other = replace(TRUE, ability_variance=0.7, offset_variance=1.3, creep_days=90.0, concept_shift=shifts)
    learner, states, expected = fresh_learner(experience, other), {}, []
    for event in log:
        before = states.get(event.concept, fresh_concept(other, event.concept))
        plain = recall_of(learner, before, event.at, other, event.kind)
        drawn = shown_recall(stack([before]), learner, event.at, other, event.kind)[0]
        after, states[event.concept], note = update(learner, before, event, other)
        if not note.repeat:
            expected.append((learner.ability + before.offset, plain, drawn))
        learner = after
    rows = rows_of(reversed(log), experience, other)
    mean, variance = believed(rows, other)
    x = other.b0 + rows.shift + rows.logs @ np.array(other.v + other.w) + mean

    assert len(rows) == len(expected)
    for got, place in ((mean, 0), (1 / (1 + np.exp(-x)), 1), (shown([rows], other), 2)):
        np.testing.assert_allclose(got, [one[place] for one in expected], rtol=0, atol=1e-12)
    assert (variance > 0).all()


def test_rows_do_not_depend_on_the_weights_that_are_fitted(logs):
    """The same rows whatever b0, v and w are."""
    once, again = (rows_of(logs[0], "rated", weights) for weights in (STARTING, replace(TRUE, source="other")))

    for name in ("logs", "at", "credit", "shift", "concept"):
        np.testing.assert_array_equal(getattr(once, name), getattr(again, name))


def test_a_fit_finds_weights_that_predict_as_well_as_the_true_ones(found, learners):
    """On held-out learners: better than the starting weights by more than two s.e., within .002 nats of the truth."""
    held_out = learners[4::5]
    outcome = np.concatenate([rows.credit for rows in held_out])
    truth = scores(outcome, shown(held_out, TRUE))

    assert found.change < -2 * found.change_se < 0
    assert found.after.log_loss < truth.log_loss + 0.002
    assert found.before == scores(outcome, shown(held_out, STARTING))
    assert found.after == scores(outcome, shown(held_out, found.weights))
    assert found.change == pytest.approx(found.after.log_loss - found.before.log_loss, abs=1e-12)
    assert (found.learners, found.held_out) == (40, 10)
    assert found.answers == sum(map(len, learners)) - found.after.answers
    assert sum(found.after.bins) == found.after.answers
    assert found.settled


def test_a_fit_comes_near_the_true_weights(found):
    """Each within three standard errors of what the learners were made with, or held at 0 near a small one.

    The filter keeps means and variances only, so the standard errors are what one may expect and no theorem.
    """
    for parameter, true in zip(found.parameters, (TRUE.b0, *TRUE.v, *TRUE.w), strict=True):
        if parameter.se is None:
            assert true <= 0.5
        else:
            assert abs(parameter.after - true) < 3 * parameter.se


def test_fitted_weights_keep_their_bounds_and_say_where_they_come_from(found):
    """v and w at 0 or above; the rest of the weights untouched; JSON goes there and back."""
    numbers = [found.weights.b0, *found.weights.v, *found.weights.w]

    assert min(numbers[1:]) >= 0
    assert [parameter.after for parameter in found.parameters] == numbers
    assert [parameter.before for parameter in found.parameters] == [STARTING.b0, *STARTING.v, *STARTING.w]
    for parameter in found.parameters:
        assert (parameter.after == 0) if parameter.se is None else (0 < parameter.se < refitting.PRIOR_SD)
    source = f"fitted to {found.answers} answers of 40 learners, from version 1; difficulties of concepts: 40"
    assert found.weights.source == source
    known = replace(STARTING, b0=found.weights.b0, v=found.weights.v, w=found.weights.w, source=source)
    assert replace(found.weights, concept_shift={}) == known
    assert Weights.from_json(json.loads(json.dumps(found.to_json()))["weights"]) == found.weights


def test_the_same_answers_give_the_same_bits(found, learners):
    """Exactly."""
    again = refit(learners, STARTING, lambda weights: {"invented": 0.6})

    assert json.dumps(again.to_json()) == json.dumps(found.to_json())


def test_a_fit_to_what_the_weights_already_say_stays_near():
    """Learners who answer as the starting weights say: no weight moves by more than three standard errors."""
    own = [rows_of(model_log(500 + seed, ANSWERS, STARTING), "never trained", STARTING) for seed in range(LEARNERS)]
    found = refit(own, STARTING)

    for parameter in found.parameters:
        if parameter.se is not None:
            assert abs(parameter.after - parameter.before) < 3 * parameter.se
    assert abs(found.change) < 0.005


def test_too_few_answers_or_learners_are_refused_politely(learners):
    """It says how many there are and how many it takes."""
    few = sum(map(len, learners[:20]))
    with pytest.raises(InputError, match=rf"^{few:,} answers \(repeats apart\) are too few .* until there are 10,000"):
        refit(learners[:20], STARTING)
    with pytest.raises(InputError, match=r"^0 answers"):
        refit([], STARTING)
    one = learners[0]
    long = replace(one, **{name: np.concatenate([getattr(one, name)] * 50)
                           for name in ("logs", "at", "credit", "shift", "concept")})  # fmt: skip
    with pytest.raises(InputError, match="answers of 9 learners cannot show .* until 10 people"):
        refit([long] * 9, STARTING)


# --- gates ----------------------------------------------------------------------------------------------------------


def test_all_gates_pass_where_they_should(found):
    """In the order of the design, with numbers."""
    assert [True, True, True] == [gate.passed for gate in found.gates]
    assert "invented 0.600 to 0.600" == found.gates[2].said


@pytest.mark.parametrize(("drop", "passed"), [(0.0049, True), (0.0051, False), (-0.1, True)])
def test_a_drop_in_a_reference_world_stops_at_five_thousandths(drop, passed):
    """One world that falls is enough."""

    def worlds(weights):
        return {"steady": 0.7, "falling": 0.6 if weights is STARTING else 0.6 - drop}

    assert refitting._worlds_gate(worlds, STARTING, TRUE).passed is passed


def test_without_worlds_the_third_gate_is_not_tried():
    """Neither passed nor missed."""
    gate = refitting._worlds_gate(None, STARTING, TRUE)

    assert (gate.passed, gate.said) == (None, "not tried")


def test_the_gap_gate_can_be_missed():
    """Weights that know only the trace of an hour have one best gap for every interval that is longer."""
    hour_only = replace(STARTING, v=(3.0, 0.0, 0.0, 0.0, 0.0), w=(0.0,) * 5)
    gaps = best_gaps(hour_only)

    assert refitting._gap_gate(hour_only).passed is False
    assert refitting._gap_gate(STARTING).passed is True
    assert len(set(gaps)) < 4


def test_the_loss_gate_can_be_missed():
    """No change is no improvement."""
    assert [refitting._loss_gate(change, 0.001).passed for change in (-0.0001, 0.0, 0.1)] == [True, False, False]


def test_error_of_the_change_counts_learners_not_answers():
    """Three learners with sums 2, -1, -1 around a mean of 0 over six answers: sqrt((4 + 1 + 1) 3 / 2) / 6 = 1/2."""
    mean, error = refitting._paired(np.array([1.0, 1.0, -0.5, -0.5, -0.5, -0.5]), [2, 2, 2])

    assert (mean, error) == (0.0, pytest.approx(0.5, abs=1e-15))

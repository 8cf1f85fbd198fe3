"""Recall, its update, and what holds for any history."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.differentiate import hessian, jacobian
from scipy.special import expit, log_expit

from quizsvc.memory.recall import recall, recall_of, shown_recall, stack, update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING, Weights

START = 20_000.0
MINUTE = 1 / 1440
YEAR = 365.25
KINDS = ("one", "some", "number", "say", "kind-not-in-the-weights")


def answer(at, outcome="full", kind="number", concept="P-DIFF", credit=None, number=0):
    """An answer at a time, with the usual credit of its outcome."""
    usual = {"full": 1.0, "part": 0.5, "miss": 0.0, "pass": 0.0}[outcome]
    return AnswerEvent(
        at, math.floor(at), outcome, usual if credit is None else credit, kind, "item", True, None, concept, number
    )


def given_answers(*events, experience="in training", weights=STARTING):
    """Learner and states after answers in the order given."""
    learner, states = fresh_learner(experience, weights), {}
    for event in events:
        before = states.get(event.concept, fresh_concept(weights))
        learner, states[event.concept], _ = update(learner, before, event, weights)
    return learner, states


gaps = st.one_of(
    st.floats(0.0, 20 * YEAR),
    st.floats(0.0, 3.0),
    st.floats(0.0, 40 * MINUTE),
    st.sampled_from([0.0, 0.01 / 86_400, 30 * MINUTE, 1.0, 20 * YEAR]),
)


@st.composite
def histories(draw, backwards=False, concepts=("P-DIFF", "H-GATE", "E-TIE")):
    """Answers of one person: milliseconds or decades apart, of every outcome, to a few concepts."""
    steps = draw(
        st.lists(
            st.tuples(
                st.one_of(gaps, gaps.map(lambda gap: -gap)) if backwards else gaps,
                st.sampled_from(["full", "part", "miss", "pass"]),
                st.sampled_from(KINDS),
                st.sampled_from(concepts),
            ),
            max_size=25,
        )
    )
    at, events = START, []
    for number, (gap, outcome, kind, concept) in enumerate(steps):
        at += gap
        events.append(answer(at, outcome, kind, concept, number=number))
    return events


# --- the formula ----------------------------------------------------------------------------------------------------


def test_recall_before_any_answer_is_the_logistic_of_intercept_and_ability():
    """With no trace, the log odds are b0 + a + k_kind; the logistic is scipy's."""
    learner = LearnerState(0.7, 1.0)

    assert recall_of(learner, fresh_concept(), START, STARTING) == pytest.approx(expit(-2.49 + 0.7), abs=1e-15)
    assert recall_of(learner, fresh_concept(), START, STARTING, "one") == pytest.approx(
        expit(-2.49 + 0.7 + STARTING.kind_shift["one"]), abs=1e-15
    )


def test_traces_are_sums_of_decayed_spacing_credits():
    """Kept traces equal the sum over the whole history, written out from the published-style formula with numpy."""
    times = START + np.array([0.0, 0.5, 3.0, 3.02, 17.0, 90.0])
    credits = np.array([1.0, 0.0, 0.5, 1.0, 1.0, 0.0])
    outcomes = ["full", "miss", "part", "full", "full", "pass"]
    tau = np.array([1 / 24, 1.0, 7.0, 30.0, np.inf])
    spacing = 0.05 * np.array([1 / 24, 1.0, 7.0, 30.0, 105.0])

    earned = 1 - np.exp(-np.diff(times)[:, None] / spacing)
    earned = np.vstack([np.ones(5), earned])
    faded = np.exp(-(times[-1] - times)[:, None] / tau)
    _, states = given_answers(*(answer(at, outcome) for at, outcome in zip(times, outcomes, strict=True)))

    np.testing.assert_allclose(states["P-DIFF"].n, (earned * faded).sum(axis=0), rtol=1e-13)
    np.testing.assert_allclose(states["P-DIFF"].c, (credits[:, None] * earned * faded).sum(axis=0), rtol=1e-13)


def test_log_odds_weigh_the_traces():
    """Recall a week later is scipy's logistic of the weighted logs of the decayed traces."""
    learner, states = given_answers(answer(START), answer(START + 2, "miss"), answer(START + 9))
    state = states["P-DIFF"]
    fade = np.exp(-7.0 / np.array([1 / 24, 1.0, 7.0, 30.0, np.inf]))
    v, w = np.array([3.24, 0.10, 1.55, 0.74, 1.12]), np.array([0.05, 0, 0, 0.49, 0.14])
    x = -2.49 + learner.ability + state.offset
    x += v @ np.log(1 + np.array(state.n) * fade) + w @ np.log(1 + np.array(state.c) * fade)

    assert recall_of(learner, state, START + 16, STARTING) == pytest.approx(expit(x), abs=1e-14)


@pytest.mark.parametrize("credit", [0.0, 0.5, 1.0])
@pytest.mark.parametrize(("mean", "u", "v"), [(0.3, 1.0, 1.0), (-1.2, 0.2, 0.9), (4.0, 0.05, 0.4)])
def test_update_takes_the_moments_that_the_chance_of_the_answer_gives(credit, mean, u, v):
    """Mean and variance of the posterior from the slope and curvature of log P(answer), differentiated by scipy.

    For a Gaussian prior of mean x and variance s these are x + s d log P / dx and s + s^2 d^2 log P / dx^2, whatever P
    is (Stein's identity); of its part a with variance u, the same with u for s. P of a right answer is MacKay's form of
    the logistic averaged over the doubt.
    """
    learner, state = LearnerState(mean, u), replace(fresh_concept(), offset_variance=v)

    def log_chance(x):
        drawn = x / np.sqrt(1 + np.pi * (u + v) / 8)
        return credit * log_expit(drawn) + (1 - credit) * log_expit(-drawn)

    at_prior = np.array([-2.49 + mean])
    slope = float(jacobian(log_chance, at_prior).df.item())
    curvature = float(hessian(lambda x: log_chance(x[0]), at_prior).ddf.item())
    after, moved, note = update(learner, state, answer(START, "part", credit=credit), STARTING)

    assert note.predicted == pytest.approx(expit(-2.49 + mean), abs=1e-15)
    np.testing.assert_allclose([after.ability - mean, moved.offset], [u * slope, v * slope], rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(
        [after.variance, moved.offset_variance],
        [max(0.01, u + u * u * curvature), v + v * v * curvature], rtol=1e-6,
    )  # fmt: skip


@pytest.mark.parametrize("u", [0.05, 0.2, 1.0])
@pytest.mark.parametrize("v", [0.1, 0.4, 1.0])
@pytest.mark.parametrize("x", [-6.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 6.0])
def test_update_is_near_the_exact_posterior(u, v, x):
    """Against Gauss-Hermite quadrature of prior times likelihood, over what people drawn from the belief would answer.

    - Nobody's ability and offset drift: the mean step is 0 within .011 of log odds. (The Newton step at the mean of x
      drifts by up to .107, towards the middle: it makes the less able look able.)
    - The step is within .06 of the exact one, as root mean square over the two answers.
    - The mean of the variance left is the exact one within .02 of the variance before.
    """
    nodes, shares = np.polynomial.hermite_e.hermegauss(120)
    where, shares = x + math.sqrt(u + v) * nodes, shares / shares.sum()
    learner, state = LearnerState(x + 2.49, u), replace(fresh_concept(), offset_variance=v)
    drift = square = left = exact_left = 0.0
    for outcome, likelihood in (("full", expit(where)), ("miss", expit(-where))):
        chance = shares @ likelihood
        exact = shares @ (likelihood * where) / chance
        spread = shares @ (likelihood * (where - exact) ** 2) / chance
        after, moved, _ = update(learner, state, answer(START, outcome), STARTING)
        step = after.ability - learner.ability + moved.offset
        # U - U'' is U^2 r, so r, and with it what is left of U + V, follows from either; V has no floor.
        r = (v - moved.offset_variance) / v**2
        drift += chance * step
        square += chance * (step - (exact - x)) ** 2
        left += chance * (u + v - (u + v) ** 2 * r)
        exact_left += chance * spread

    assert abs(drift) <= 0.011
    assert math.sqrt(square) <= 0.06
    assert abs(left - exact_left) <= 0.02 * (u + v)


def test_variance_of_ability_keeps_a_floor():
    """An answer that would leave less than .01 leaves .01: .01001 - .01001^2 / 4 / (1 + 1.01001 pi / 8) = .00999."""
    after, _, _ = update(LearnerState(2.49, 0.01001), fresh_concept(), answer(START), STARTING)

    assert 0.01 == after.variance


def test_variances_creep_back_to_their_priors():
    """A year (one creep constant) closes all but 1/e of the way; twenty years close it."""
    quiet = replace(STARTING, v=(0.0,) * 5, w=(0.0,) * 5, b0=-700.0)  # recall 0: an answer tells nothing
    for years, left in ((1, math.exp(-1)), (20, math.exp(-20))):
        learner = LearnerState(0.0, 0.2, at=START)
        state = ConceptState(last_at=START, offset_variance=0.3, offset_at=START, answers=1)
        after, moved, _ = update(learner, state, answer(START + 365 * years, "miss"), quiet)

        assert after.variance == pytest.approx(1 - 0.8 * left, abs=1e-12)
        assert moved.offset_variance == pytest.approx(1 - 0.7 * left, abs=1e-12)


# --- repeats --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("minutes", "repeat"), [(0, True), (10, True), (29.99, True), (30, False), (31, False)])
def test_an_answer_within_half_an_hour_is_a_repeat(minutes, repeat):
    """Exactly thirty minutes later is no repeat."""
    learner, states = given_answers(answer(START + 0.6, "miss"))
    _, _, note = update(learner, states["P-DIFF"], answer(START + 0.6 + minutes * MINUTE), STARTING)

    assert repeat is note.repeat


def test_a_repeat_moves_only_the_traces_and_what_was_asked_last():
    """Ability, offset, variances, counts, hold and last-missed stay; the long traces gain the tiny credit."""
    learner, states = given_answers(answer(START, "miss"))
    before = states["P-DIFF"]
    again = replace(answer(START + 10 * MINUTE), item="other", kind="one")
    after, moved, note = update(learner, before, again, STARTING)

    assert note.repeat
    assert learner == after
    assert before == replace(
        moved, n=before.n, c=before.c, last_at=before.last_at, last_item="item", last_kind="number"
    )
    # 10 min of 5.25 d: 1 - exp(-0.006944 / 5.25)
    assert moved.n[4] - 1.0 == pytest.approx(0.0013219, abs=5e-8)
    assert moved.c[4] == pytest.approx(0.0013219, abs=5e-8)


def test_a_clock_that_goes_back_counts_as_no_time():
    """An answer dated before the last one is a repeat at the moment of that one, and the time kept does not go back."""
    learner, states = given_answers(answer(START))
    after, moved, note = update(learner, states["P-DIFF"], answer(START - 400.0, "miss"), STARTING)

    assert note.repeat
    assert (states["P-DIFF"].n, states["P-DIFF"].c, START) == (moved.n, moved.c, moved.last_at)


# --- all concepts at once -------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(histories(backwards=True), gaps, st.sampled_from([None, *KINDS]))
def test_array_prediction_agrees_with_the_scalar_one(events, lag, kind):
    """Recall of all concepts in one call equals the scalar recall of each within 1e-12."""
    learner, states = given_answers(*events)
    concepts = [*states.values(), fresh_concept()]
    at = START + lag
    expected = [recall_of(learner, state, at, STARTING, kind) for state in concepts]

    np.testing.assert_allclose(recall(stack(concepts), learner, at, STARTING, kind), expected, rtol=0, atol=1e-12)


def test_recall_of_no_concepts_is_empty():
    """An empty stack is answered by an empty array."""
    nothing = stack([])

    assert (0,) == recall(nothing, fresh_learner("rated"), START, STARTING).shape
    assert 0 == len(nothing)


def test_shown_recall_is_drawn_towards_one_half_by_doubt():
    """logistic(x / sqrt(1 + pi (U + V) / 8)): close to the mean of scipy's logistic over the Gaussian doubt.

    The square-root form is an approximation; over this range numerical integration shows it good to 0.02.
    """
    nodes, shares = np.polynomial.hermite_e.hermegauss(60)
    for ability in (-2.0, 0.0, 3.0, 6.0):
        learner = LearnerState(ability, 0.5, at=START)
        state = ConceptState(last_at=START, offset_variance=0.8, offset_at=START, answers=1)
        shown = shown_recall(stack([state]), learner, START, STARTING)[0]
        exact = (shares * expit(-2.49 + ability + math.sqrt(1.3) * nodes)).sum() / shares.sum()

        assert shown == pytest.approx(expit((-2.49 + ability) / math.sqrt(1 + math.pi * 1.3 / 8)), abs=1e-12)
        assert shown == pytest.approx(exact, abs=0.02)


def test_doubt_grows_while_nothing_is_asked():
    """Shown recall a year later rests on variances that have crept: 1 - (1 - V) / e each."""
    learner = LearnerState(5.0, 0.2, at=START)
    state = ConceptState(last_at=START, offset_variance=0.3, offset_at=START, answers=1)
    doubt = (1 - 0.8 / math.e) + (1 - 0.7 / math.e)

    assert shown_recall(stack([state]), learner, START + 365, STARTING)[0] == pytest.approx(
        expit((-2.49 + 5) / math.sqrt(1 + math.pi * doubt / 8)), abs=1e-12
    )


# --- what holds for any history -------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(histories(), st.lists(gaps, min_size=2, max_size=8))
def test_recall_never_rises_while_nothing_is_asked(events, lags):
    """From the last answer on, recall of each concept only falls."""
    learner, states = given_answers(*events)
    end = max([event.at for event in events], default=START)
    held = stack([*states.values(), fresh_concept()])
    moments = [end, *(end + lag for lag in sorted(lags))]
    rows = np.array([recall(held, learner, at, STARTING) for at in moments])

    assert (np.diff(rows, axis=0) <= 1e-15).all()


@settings(max_examples=100, deadline=None)
@given(histories(), gaps, st.lists(gaps, min_size=1, max_size=6), st.sampled_from(KINDS))
def test_a_right_answer_never_lowers_recall_at_any_later_moment(events, lag, later, kind):
    """Compared with leaving it out and asking nothing more, of the concept asked and of every other one."""
    learner, states = given_answers(*events)
    now = max([event.at for event in events], default=START) + lag
    concepts = sorted({*states, "P-DIFF"})
    before = [states.get(concept, fresh_concept()) for concept in concepts]
    after, moved, _ = update(learner, before[concepts.index("P-DIFF")], answer(now, "full", kind), STARTING)
    with_it = [moved if concept == "P-DIFF" else state for concept, state in zip(concepts, before, strict=True)]

    for gap in later:
        without = recall(stack(before), learner, now + gap, STARTING)
        assert (recall(stack(with_it), after, now + gap, STARTING) >= without - 1e-12).all()


@settings(max_examples=60, deadline=None)
@given(histories(backwards=True))
def test_everything_stays_finite_for_any_history(events):
    """Answers 10 ms or 20 years apart, or dated backwards: finite, variances in their bounds, recall in [0, 1]."""
    learner, states = given_answers(*events)
    numbers = [learner.ability, learner.variance]
    for state in states.values():
        numbers += [*state.n, *state.c, state.offset, state.offset_variance]
        assert 0 < state.offset_variance <= 1.0
        assert all(0 <= c <= n for c, n in zip(state.c, state.n, strict=True))
    shown = shown_recall(stack(list(states.values())), learner, START + 30 * YEAR, STARTING)

    assert np.isfinite(numbers).all()
    assert 0.01 <= learner.variance <= 1.0
    assert ((shown >= 0) & (shown <= 1)).all()


def test_ten_thousand_answers_ten_milliseconds_apart_stay_finite():
    """A flood of right answers leaves traces and recall finite."""
    learner, states = given_answers(*(answer(START + i * 0.01 / 86_400) for i in range(10_000)))

    assert np.isfinite(states["P-DIFF"].n).all()
    assert 0 < recall_of(learner, states["P-DIFF"], START + 1, STARTING) < 1
    assert 1 == learner.answers


# --- weights --------------------------------------------------------------------------------------------------------


def test_starting_weights_say_that_they_come_from_simulated_learners():
    """What is not yet fitted to people says so wherever it is stored."""
    assert "simulated learners" in STARTING.source


@pytest.mark.parametrize(("experience", "first_day"), [("in training", 0.103), ("rated", 0.293)])
def test_prior_ability_gives_the_first_day_recall_of_the_study(experience, first_day):
    """Mean first-day recall of the study's sparse (.09 .16 .06) and rich (.24 .38 .26) starting states."""
    assert recall_of(fresh_learner(experience), fresh_concept(), START, STARTING) == pytest.approx(first_day, abs=0.001)


def test_guess_shift_turns_an_honest_half_into_chance_plus_half():
    """Four options: 1/4 + 3/4 * 1/2 = 5/8 right where half would be known."""
    assert expit(STARTING.kind_shift["one"]) == pytest.approx(0.625, abs=1e-12)
    assert 0.0 == STARTING.kind_shift["number"]


def test_weights_survive_json():
    """A stored row of weights reads back equal, the infinite time constant too."""
    assert STARTING == Weights.from_json(STARTING.to_json())
    assert 2 == STARTING.with_version(2).version


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"v": [1, 1, 1, 1, -0.1]}, "a trace weight is negative or not finite"),
        ({"w": [1, 1]}, "need five numbers each"),
        ({"rho": 0}, "a time constant is not above 0"),
        ({"ability_floor": 0}, "a prior variance is not above 0"),
        ({"b0": math.nan}, "b0, a kind shift or an ability is not finite"),
        ({"b0": "low"}, "cannot read them: ValueError"),
        ({"kind_shift": None}, "cannot read them"),
    ],
)
def test_unusable_weights_are_refused(change, words):
    """Weights that could raise recall with time, or make it infinite, are no weights."""
    with pytest.raises(ValueError, match=words):
        Weights.from_json({**STARTING.to_json(), **change})

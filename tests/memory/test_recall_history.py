"""What an answer can and cannot do to recall later on, for any history, and where the promise ends."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.errors import InputError
from quizsvc.memory.recall import REPEAT_DAYS, recall, recall_of, shown_recall, stack, trace_logs, update
from quizsvc.memory.replay import log_order, replay
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING, Weights

START = 20_000.0
HEAVY = replace(STARTING, b0=6.0, v=(0.0, 30.0, 0.0, 0.0, 9.0), w=(20.0, 0.0, 0.0, 0.0, 0.0), rho=1.0, creep_days=0.5,
                spacing_days=(1 / 24, 1.0, 7.0, 30.0, 9000.0), ability_variance=9.0, offset_variance=0.01)  # fmt: skip
NOTHING_KEPT = replace(STARTING, v=(0.0,) * 5, w=(0.0,) * 5, b0=-40.0)
ALL_WEIGHTS = st.sampled_from([STARTING, HEAVY, NOTHING_KEPT])

# Days from the first to the last moment that a datetime can hold; a hundredth of a second; the limit of a repeat.
WHOLE_CALENDAR = 3_652_058.0
moments = st.one_of(
    st.floats(0.0, 1.0),
    st.floats(0.0, 0.05),
    st.floats(0.0, 20 * 365.25),
    st.sampled_from([0.0, 0.01 / 86_400, REPEAT_DAYS, 1.0, WHOLE_CALENDAR]),
)
answers = st.builds(
    lambda at, outcome, kind, concept: answer(START + at, outcome, kind, concept),
    moments,
    st.sampled_from(["full", "part", "miss", "pass"]),
    st.sampled_from(["one", "number", "say"]),
    st.sampled_from(["A", "B"]),
)
logs = st.lists(answers, max_size=12).map(
    lambda events: [replace(event, answer_id=2 * number) for number, event in enumerate(sorted(events, key=log_order))]
)


def answer(at, outcome="full", kind="number", concept="A", number=0):
    """An answer with the credit of its outcome."""
    credit = {"full": 1.0, "part": 0.5, "miss": 0.0, "pass": 0.0}[outcome]
    return AnswerEvent(at, math.floor(at), outcome, credit, kind, "item", True, None, concept, number)


def after(events, weights=STARTING):
    """Learner and states of both concepts after answers."""
    learner, states = replay(events, "in training", weights)
    return learner, [states.get(concept, fresh_concept(weights)) for concept in "AB"]


# --- what holds -----------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(logs, answers, st.booleans(), ALL_WEIGHTS, st.lists(moments, min_size=1, max_size=5))
def test_no_later_trace_is_lower_for_an_answer_more(log, added, right, weights, later):
    """An answer put anywhere into a log: no n of its concept is lower at any moment after the log; if it is right, no
    c, and so nothing that the weights multiply. Later answers earn less for it, but never by more than it gave."""
    added = replace(added, answer_id=1, **({"outcome": "full", "credit": 1.0} if right else {}))
    end = max(event.at for event in [*log, added])
    place = "AB".index(added.concept)
    with_it, without = after([*log, added], weights)[1][place], after(log, weights)[1][place]

    for lag in later:
        more, less = (np.array(trace_logs(state, end + lag, weights)) for state in (with_it, without))
        kept = more >= less - 1e-12 * (1 + less)
        assert kept[:5].all()
        assert kept[5:].all() or not right


@settings(max_examples=60, deadline=None)
@given(logs, moments, st.sampled_from(["one", "number", "say"]), ALL_WEIGHTS, st.lists(moments, min_size=1, max_size=5))
def test_a_right_answer_lowers_no_recall_until_the_next_answer(log, lag, kind, weights, later):
    """Of the concept asked and of the other one, with weights of any size, repeat or not."""
    now = max([event.at for event in log], default=START) + lag
    learner, states = after(log, weights)
    moved, first, _ = update(learner, states[0], answer(now, "full", kind), weights)

    for gap in later:
        without = recall(stack(states), learner, now + gap, weights)
        assert (recall(stack([first, states[1]]), moved, now + gap, weights) >= without - 1e-12).all()


@settings(max_examples=60, deadline=None)
@given(logs, st.floats(0.0, REPEAT_DAYS * 0.999), st.sampled_from(["full", "part", "miss", "pass"]), ALL_WEIGHTS)
def test_a_repeat_moves_traces_and_nothing_else_and_lowers_no_recall(log, lag, outcome, weights):
    """Right or wrong: learner, offset, variances, counts and hold stay to the bit; recall never falls by it."""
    log = [*log, answer(START, number=-1)]
    learner, (state, _) = after(log, weights)
    now = state.last_at + lag
    kept, moved, note = update(learner, state, replace(answer(now, outcome), item="other", kind="one"), weights)

    assert note.repeat
    assert kept == learner
    traces = {name: getattr(state, name) for name in ("n", "c", "last_at", "last_item", "last_kind")}
    assert replace(moved, **traces) == state
    for later in (0.0, 1.0, 400.0):
        without = recall_of(learner, state, now + later, weights)
        assert recall_of(learner, moved, now + later, weights) >= without - 1e-12


@settings(max_examples=60, deadline=None)
@given(logs, ALL_WEIGHTS, st.lists(moments, min_size=2, max_size=8))
def test_recall_never_rises_while_nothing_is_asked_with_any_weights(log, weights, later):
    """Scalar and array alike, up to the end of the calendar."""
    learner, states = after(log, weights)
    end = max([event.at for event in log], default=START)
    times = [end + lag for lag in sorted(later)]
    arrays = np.array([recall(stack(states), learner, at, weights) for at in times])
    scalars = np.array([[recall_of(learner, state, at, weights) for state in states] for at in times])

    assert (np.diff(arrays, axis=0) <= 1e-15).all()
    assert (np.diff(scalars, axis=0) <= 1e-15).all()


@settings(max_examples=60, deadline=None)
@given(st.lists(answers, max_size=12), ALL_WEIGHTS, st.randoms())
def test_everything_is_finite_in_any_order_of_time_and_with_any_weights(events, weights, order):
    """Not sorted: as a clock that jumps back by anything up to the whole calendar would give them."""
    order.shuffle(events)
    learner, states = fresh_learner("rated", weights), {}
    for event in events:
        before = states.get(event.concept, fresh_concept(weights))
        learner, states[event.concept], _ = update(learner, before, event, weights)
    numbers = [learner.ability, learner.variance]
    for state in states.values():
        numbers += [*state.n, *state.c, state.offset, state.offset_variance]

    assert np.isfinite(numbers).all()
    assert weights.ability_floor <= learner.variance <= weights.ability_variance
    for at in (START - WHOLE_CALENDAR, START, START + 2 * WHOLE_CALENDAR):
        found = recall(stack(list(states.values())), learner, at, weights)
        assert ((found >= 0) & (found <= 1)).all()


# --- where it ends --------------------------------------------------------------------------------------------------


def test_a_miss_after_a_right_answer_can_leave_other_concepts_lower_than_the_miss_alone():
    """Right, and missed half an hour later, by somebody whose ability is known well: another concept stands lower.

    By hand with U = .05, V = 1, x = 1. Right: k = .84146, m = .69875, a rises by U k (1 - m) = .01268; r = .14904
    leaves U = .04963 and V = .85096. Then x = 1 + .0127 + .2535 + 4.4256 (traces) = 5.692, k = .85949, m = .99256, U
    has crept to .04968: a falls by .04238, to -.0297 in all. The miss alone: U = .05005, a falls by U k m = .0294.
    """
    learner, state, other = LearnerState(3.49, 0.05, at=START), fresh_concept(), fresh_concept()
    first, held, _ = update(learner, state, answer(START), STARTING)
    miss = answer(START + 1 / 48, "miss", number=1)
    both, alone = update(first, held, miss, STARTING)[0], update(learner, state, miss, STARTING)[0]

    assert both.ability - 3.49 == pytest.approx(-0.0297, abs=5e-5)
    assert alone.ability - 3.49 == pytest.approx(-0.0294, abs=5e-5)
    assert recall_of(both, other, START + 1, STARTING) < recall_of(alone, other, START + 1, STARTING)


def test_a_right_answer_can_turn_a_better_one_into_a_repeat():
    """Four options at noon, then a number within half an hour: the number, which proves more, tells nothing any more.

    Design: an answer under 30 minutes after the last one to its concept changes neither ability nor offset."""
    number = answer(START + 0.01, number=1)
    (both, (held, _)), (alone, (held_alone, _)) = after([answer(START, kind="one"), number]), after([number])

    assert recall_of(both, held, START + 30, STARTING) < recall_of(alone, held_alone, START + 30, STARTING)


def test_full_with_less_credit_than_predicted_lowers_recall():
    """Right is a matter of credit: no kind of item gives `full` less than 1."""
    learner, state = LearnerState(6.0, 1.0, at=START), fresh_concept()
    after_it, moved, note = update(learner, state, replace(answer(START), credit=0.25), STARTING)

    assert note.predicted > 0.9
    assert after_it.ability < learner.ability
    assert recall_of(after_it, moved, START + 4000, STARTING) < recall_of(learner, state, START + 4000, STARTING)


def test_shown_recall_of_a_hopeless_concept_can_fall_by_another_right_answer():
    """The doubt about ability shrinks, and with it what drew log odds of -14 towards 0."""
    learner = LearnerState(0.0, 1.0, at=START)
    easy = ConceptState(n=(1.0,) * 5, offset=12.0, last_at=START, offset_at=START, answers=1)
    hopeless = stack([ConceptState(offset=-12.0, last_at=START, offset_at=START, answers=1)])
    moved, _, _ = update(learner, easy, answer(START + 1), STARTING)

    assert shown_recall(hopeless, moved, START + 1, STARTING) < shown_recall(hopeless, learner, START + 1, STARTING)
    assert recall(hopeless, moved, START + 1, STARTING) > recall(hopeless, learner, START + 1, STARTING)


def test_weights_that_would_let_an_answer_wipe_out_later_credit_are_refused():
    """With credit that comes back more slowly than its trace fades, an answer more left less: such weights are none.

    Two answers a day apart on a trace of 30 d whose credit takes 300 d: 1 exp(-1/30) + 1 - exp(-1/300) = .9705 of
    credit in place of the 1 that the second alone would earn.
    """
    assert math.exp(-1 / 30) + 1 - math.exp(-1 / 300) == pytest.approx(0.9705, abs=5e-5)
    with pytest.raises(InputError, match="comes back more slowly than the trace fades.* lower rho"):
        replace(STARTING, rho=10.0)
    with pytest.raises(InputError, match="comes back more slowly"):
        Weights.from_json(STARTING.to_json() | {"spacing_days": [1 / 24, 1.0, 7.0, 700.0, 105.0]})
    assert replace(STARTING, rho=1.0).rho == 1.0


def test_weights_already_stored_still_replay():
    """The bound leaves the weights that ship as they are."""
    assert Weights.from_json(STARTING.to_json()) == STARTING

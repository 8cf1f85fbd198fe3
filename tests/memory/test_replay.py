"""A learner rebuilt from the log equals the one updated answer by answer, bit for bit."""

from __future__ import annotations

import json
import random
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.memory.recall import update
from quizsvc.memory.replay import replay
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING

answers = st.builds(
    AnswerEvent,
    at=st.one_of(st.floats(19_000, 28_000), st.floats(20_000, 20_001), st.sampled_from([20_000.0, 20_000.25])),
    local_day=st.integers(19_000, 28_000),
    outcome=st.sampled_from(["full", "part", "miss", "pass"]),
    credit=st.floats(0, 1),
    kind=st.sampled_from(["one", "some", "number", "say"]),
    item=st.sampled_from(["a", "b"]),
    fresh=st.booleans(),
    sureness=st.sampled_from([None, "sure", "guess"]),
    concept=st.sampled_from(["P-DIFF", "H-GATE", "E-TIE"]),
    withdrawn=st.booleans(),
)


def stored(value):
    """A state as it comes back from the database."""
    return type(value).from_json(json.loads(json.dumps(value.to_json())))


def bits(learner, states):
    """Every float of the states in hexadecimal, so that no two different numbers look alike."""

    def exact(value):
        if isinstance(value, float):
            return value.hex()
        return [exact(x) for x in value] if isinstance(value, list) else value

    return [
        {name: exact(value) for name, value in state.to_json().items()}
        for state in (learner, *(states[concept] for concept in sorted(states)))
    ]


@settings(max_examples=80, deadline=None)
@given(st.lists(answers, max_size=30), st.sampled_from(["never trained", "in training", "rated"]), st.randoms())
def test_replay_reaches_the_bits_of_the_incremental_updates(events, experience, order):
    """One update after another through stored JSON, against a replay of the shuffled log."""
    log = [replace(event, answer_id=number) for number, event in enumerate(events)]
    learner, states = fresh_learner(experience), {}
    for event in sorted(log, key=lambda event: (event.at, event.answer_id)):
        before = states.get(event.concept, fresh_concept())
        learner, states[event.concept], _ = update(learner, before, event, STARTING)
        learner, states[event.concept] = stored(learner), stored(states[event.concept])
    order.shuffle(log)

    assert bits(learner, states) == bits(*replay(log, experience, STARTING))


def test_answers_of_one_moment_replay_in_the_order_of_their_ids():
    """The miss with the lower id comes first, whatever order the log is read in."""
    miss = AnswerEvent(20_000.0, 20_000, "miss", 0.0, "one", "a", True, None, "H-GATE", answer_id=8)
    right = replace(miss, outcome="full", credit=1.0, answer_id=9)

    for log in ([miss, right], [right, miss]):
        learner, states = replay(log, "rated", STARTING)
        assert states["H-GATE"].last_missed
        assert 1 == learner.answers


def test_replaying_no_answers_gives_the_fresh_learner():
    """An empty log leaves the prior."""
    assert (fresh_learner("rated"), {}) == replay([], "rated", STARTING)


def test_other_weights_give_another_learner_from_the_same_log():
    """The log replays into any version of the weights."""
    rng = random.Random(3)
    log = [
        AnswerEvent(20_000.0 + i, 20_000 + i, "full", float(rng.random() < 0.5), "one", "a", True, None, "E-TIE")
        for i in range(5)
    ]
    other = replace(STARTING, version=2, b0=0.0)

    assert isinstance(replay(log, "rated", other)[0], LearnerState)
    assert isinstance(replay(log, "rated", other)[1]["E-TIE"], ConceptState)
    assert replay(log, "rated", STARTING)[0] != replay(log, "rated", other)[0]

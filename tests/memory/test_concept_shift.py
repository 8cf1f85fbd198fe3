"""Difficulties of concepts: where the offset of an untried concept starts, and that nothing else moves."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit

from quizsvc.errors import InputError
from quizsvc.memory.recall import recall_of, shown_recall, stack, update
from quizsvc.memory.replay import log_order, replay, snapshots
from quizsvc.memory.states import fresh_concept, fresh_learner
from quizsvc.memory.weights import MOST_CONCEPT_SHIFT, STARTING, Weights
from tests.memory.logs import CONCEPTS, model_log

SHIFTS = {"C0": 0.8, "C1": -1.1, "C7": 1 / 3, "GONE-LONG-AGO": 2.0}
KNOWN = replace(STARTING, concept_shift=SHIFTS)


def test_an_untried_concept_starts_at_its_difficulty():
    """Log odds of a fresh concept for the middle learner: b0 -2.49 and the difficulty; the doubt stays as it was."""
    learner = fresh_learner("never trained", KNOWN)

    assert expit(-2.49 + 0.8) == pytest.approx(recall_of(learner, fresh_concept(KNOWN, "C0"), 0.0, KNOWN), abs=1e-15)
    assert expit(-2.49 - 1.1) == pytest.approx(recall_of(learner, fresh_concept(KNOWN, "C1"), 0.0, KNOWN), abs=1e-15)
    for concept in ("C2", None):
        assert fresh_concept(KNOWN, concept) == fresh_concept()
    assert fresh_concept(KNOWN, "C1").offset_variance == STARTING.offset_variance
    # U + V = 2: what is shown is drawn towards one half by sqrt(1 + 2 pi / 8).
    drawn = shown_recall(stack([fresh_concept(KNOWN, "C0")]), learner, 0.0, KNOWN)[0]
    assert drawn == pytest.approx(expit((-2.49 + 0.8) / np.sqrt(1 + np.pi / 4)), abs=1e-15)


def test_a_difficulty_moves_the_log_odds_by_itself_and_the_doubt_about_it_still_learns():
    """A first answer, right: the log odds of the concept are higher by more than 0, and both start and end in order."""
    event = model_log(1, 12)[0]
    learner = fresh_learner("never trained", KNOWN)
    ends = []
    for shift in (-1.1, 0.0, 0.8):
        used = replace(STARTING, concept_shift={event.concept: shift})
        before = fresh_concept(used, event.concept)
        _, after, note = update(learner, before, replace(event, outcome="full", credit=1.0, kind="number"), used)
        assert logit(note.predicted) == pytest.approx(-2.49 + shift, abs=1e-12)
        assert shift < after.offset
        ends.append(after.offset)
    assert sorted(ends) == ends


@pytest.mark.parametrize("seed", range(4))
def test_replay_and_one_answer_after_the_other_reach_the_same_bits(seed):
    """Shuffled logs, JSON between the answers as the store has it, and the moments of the past on the way."""
    log = model_log(seed, 200)
    learner, states = fresh_learner("rated", KNOWN), {}
    for event in sorted(log, key=log_order):
        before = states.get(event.concept, fresh_concept(KNOWN, event.concept))
        learner, state, _ = update(
            learner, type(before).from_json(json.loads(json.dumps(before.to_json()))), event, KNOWN
        )
        states[event.concept] = state
    mixed = [log[place] for place in np.random.default_rng(seed).permutation(len(log))]

    assert replay(mixed, "rated", KNOWN) == (learner, states)
    assert snapshots(mixed, "rated", KNOWN, [0.0, 1e9]) == [(fresh_learner("rated", KNOWN), {}), (learner, states)]
    assert replay(mixed, "rated", STARTING) != (learner, states)


def test_without_difficulties_every_bit_is_as_it_was():
    """None, or only of concepts that never come: the states of the weights that ship, exactly."""
    assert STARTING.concept_shift == {}
    for seed in range(4):
        log = model_log(seed, 200)
        plain = replay(log, "in training", STARTING)
        for shifts in ({}, {"GONE-LONG-AGO": 2.0}, dict.fromkeys(CONCEPTS, 0.0)):
            assert replay(log, "in training", replace(STARTING, concept_shift=shifts)) == plain


def test_difficulties_survive_json_and_rows_without_them_have_none():
    """Every bit comes back, and so do concepts that nobody knows any more; an older row reads as none."""
    assert KNOWN == Weights.from_json(json.loads(json.dumps(KNOWN.to_json())))
    older = {word: value for word, value in STARTING.to_json().items() if word != "concept_shift"}

    assert Weights.from_json(older) == STARTING


@pytest.mark.parametrize(
    ("shifts", "words"),
    [
        ({"P-DIFF": 3.01}, r"the difficulty of concept 'P-DIFF' is 3.01.*log odds from -3 to 3"),
        ({"P-DIFF": -3.01}, "the difficulty of concept 'P-DIFF' is -3.01"),
        ({"H-GATE": 0.1, "P-DIFF": float("nan")}, "the difficulty of concept 'P-DIFF' is nan"),
        ({"P-DIFF": float("-inf")}, "the difficulty of concept 'P-DIFF' is -inf"),
        ({"P-DIFF": "hard"}, "cannot read them: ValueError"),
        ({"P-DIFF": None}, "cannot read them: TypeError"),
        (["P-DIFF"], "cannot read them: AttributeError"),
        (None, "cannot read them: AttributeError"),
    ],
)
def test_difficulties_that_cannot_be_used_are_refused(shifts, words):
    """By the concept and how to mend it, or as what cannot be read."""
    with pytest.raises(InputError, match=words):
        Weights.from_json(STARTING.to_json() | {"concept_shift": shifts})

    assert MOST_CONCEPT_SHIFT == 3.0 == replace(STARTING, concept_shift={"P-DIFF": 3.0}).concept_shift["P-DIFF"]

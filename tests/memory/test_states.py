"""The words for the hold on a concept, as the vocabulary table defines them."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from quizsvc.errors import InputError
from quizsvc.memory.recall import update
from quizsvc.memory.states import (
    AnswerEvent,
    ConceptState,
    LearnerState,
    enough_to_say,
    fresh_concept,
    fresh_learner,
    state_word,
)
from quizsvc.memory.weights import STARTING

FIRST_DAY = 20_000


def answered(*answers):
    """State after answers, each (day, outcome) or (day, outcome, changes of the event), given at noon."""
    learner, state = fresh_learner("in training"), fresh_concept()
    for number, (day, outcome, *changes) in enumerate(answers):
        event = AnswerEvent(
            at=FIRST_DAY + day + 0.5,
            local_day=FIRST_DAY + int(day),
            outcome=outcome,
            credit={"full": 1.0, "part": 0.5, "miss": 0.0, "pass": 0.0}[outcome],
            kind="number",
            item="gate",
            fresh=True,
            sureness=None,
            concept="H-GATE",
            answer_id=number,
        )
        learner, state, _ = update(learner, state, replace(event, **(changes[0] if changes else {})), STARTING)
    return state


STORIES = [
    ("untried", []),
    ("unsettled", [(0, "miss")]),
    ("unsettled", [(0, "pass")]),
    ("unsettled", [(0, "part")]),
    ("unsettled", [(0, "full")]),
    ("unsettled", [(0, "full"), (0.1, "full"), (0.2, "full")]),
    ("holding", [(0, "full"), (1, "full")]),
    ("unsettled", [(0, "full"), (1, "miss"), (2, "full")]),
    ("unsettled", [(0, "full"), (1, "part")]),
    ("holding", [(0, "full"), (1, "part"), (2, "full")]),
    ("holding", [(0, "full"), (1, "full"), (2, "part")]),
    ("slipped", [(0, "full"), (1, "full"), (2, "miss")]),
    ("slipped", [(0, "full"), (1, "full"), (2, "pass"), (3, "miss")]),
    ("unsettled", [(0, "full"), (1, "full"), (2, "miss"), (3, "full")]),
    ("holding", [(0, "full"), (1, "full"), (2, "miss"), (3, "full"), (4, "full")]),
    ("holding", [(0, "full"), (29, "full")]),
    ("steady", [(0, "full"), (30, "full")]),
    ("holding", [(0, "full"), (30, "full", {"kind": "one"})]),
    ("holding", [(0, "full"), (30, "full", {"fresh": False})]),
    ("unsettled", [(0, "full"), (30, "full", {"kind": "say"})]),
    ("steady", [(0, "full"), (30, "full"), (31, "full", {"kind": "one", "fresh": False})]),
    ("slipped", [(0, "full"), (30, "full"), (31, "miss")]),
    ("suspect", [(0, "full"), (1, "full", {"withdrawn": True})]),
    ("holding", [(0, "full"), (1, "full", {"withdrawn": True}), (2, "full")]),
]


@pytest.mark.parametrize(("word", "answers"), STORIES)
def test_hold_has_the_word_of_the_vocabulary(word, answers):
    """Untried, unsettled, holding, steady, slipped and suspect follow from days, kinds and misses."""
    assert word == state_word(answered(*answers))


def test_a_day_is_a_day_where_the_person_is():
    """Two right answers an hour apart on two local dates hold; eleven hours apart on one date they do not."""
    across_midnight = answered((0, "full"), (0.04, "full", {"local_day": FIRST_DAY + 1}))
    within_one_date = answered((0, "full"), (0.46, "full", {"local_day": FIRST_DAY}))

    assert ("holding", "unsettled") == (state_word(across_midnight), state_word(within_one_date))


def test_flying_west_makes_no_new_day():
    """A local date before the last right one adds no day."""
    assert "unsettled" == state_word(answered((0, "full"), (0.1, "full", {"local_day": FIRST_DAY - 1})))


def test_a_repeat_moves_no_word():
    """An answer within half an hour of a miss leaves the hold where the miss put it."""
    held = answered((0, "full"), (1, "full"), (2, "miss"))
    repeated = answered((0, "full"), (1, "full"), (2, "miss"), (2.01, "full"))

    assert ("slipped", "slipped") == (state_word(held), state_word(repeated))
    assert repeated.last_missed


def test_void_never_enters_memory():
    """An outcome that is none of the four is refused by name."""
    with pytest.raises(InputError) as caught:
        answered((0, "full", {"outcome": "void", "answer_id": 7}))

    assert (
        "outcome 'void' never enters memory (answer 7 to item 'gate') - accepted: full, part, miss, pass; leave void "
        "answers out" == str(caught.value)
    )


@pytest.mark.parametrize(
    ("answers", "concepts", "days", "enough"),
    [(20, 8, 2, True), (19, 8, 2, False), (20, 7, 2, False), (20, 8, 1, False), (200, 90, 1, False)],
)
def test_expectation_needs_answers_concepts_and_days(answers, concepts, days, enough):
    """Nothing is shown before 20 answers over 8 concepts on 2 days."""
    learner = LearnerState(0.0, 1.0, at=1.0, answers=answers, concepts=concepts, days=days)

    assert enough is enough_to_say(learner)


def test_answers_concepts_and_days_are_counted_without_repeats():
    """Three concepts, each answered and repeated on one day, and one of them the next day: 4 answers, 3, 2 days."""
    learner, states = fresh_learner("rated"), {}
    notes = []
    for number, (at, concept) in enumerate([(0.001 * i, f"C{i % 3}") for i in range(6)] + [(1.0, "C0")]):
        event = AnswerEvent(
            FIRST_DAY + at, FIRST_DAY + int(at), "full", 1.0, "one", "i", True, None, concept, answer_id=number
        )
        learner, states[concept], note = update(learner, states.get(concept, fresh_concept()), event, STARTING)
        notes.append(note.repeat)

    assert [False] * 3 + [True] * 3 + [False] == notes
    assert (4, 3, 2) == (learner.answers, learner.concepts, learner.days)


def test_states_survive_json_with_every_bit():
    """What the store writes comes back equal, thirds and all."""
    state = answered((0, "full"), (1 / 3, "part"), (17.7, "miss"), (48.1, "full"))
    learner = LearnerState(1 / 3, 2 / 7, at=20_000.1, answers=3, concepts=1, days=2, last_day=20_001)

    assert state == ConceptState.from_json(json.loads(json.dumps(state.to_json())))
    assert fresh_concept() == ConceptState.from_json(json.loads(json.dumps(fresh_concept().to_json())))
    assert learner == LearnerState.from_json(json.loads(json.dumps(learner.to_json())))


@pytest.mark.parametrize("broken", [{}, {"n": [1, 2]}, {"n": ["x"] * 5}, {"n": None}])
def test_a_broken_stored_state_says_how_to_rebuild_it(broken):
    """A state that cannot be read names the command that rebuilds it."""
    with pytest.raises(InputError, match="rebuild it from the log: quizsvc memory replay"):
        ConceptState.from_json({**fresh_concept().to_json(), **broken} if broken else {})


def test_unknown_experience_names_the_three_words():
    """The prior of ability comes from one of three answers."""
    with pytest.raises(InputError, match="accepted: never trained, in training, rated"):
        fresh_learner("expert")

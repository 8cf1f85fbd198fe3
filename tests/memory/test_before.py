"""What comes before a concept that was missed: what it builds on, where that is not held. And true words of checks."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quizsvc.memory.recall import recall_of
from quizsvc.memory.states import ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from tests.memory.test_planning import NOW, concepts_of, one_item_each, planned

BUILDS = "What builds on this was not answered right, so this comes before it."
MISSED = "You missed it last time, so it is brought forward."

# Faded: answered once forty days ago, hard for this person, recall near 0. Firm: many answers, recall near 1.
# The miss of twenty days ago is the first to be offered a place: in these small banks that is more than three passes.
FADED = ConceptState(n=(1.0,) * 5, offset=-3.0, last_at=NOW - 40, last_day=1, answers=1)
FIRM = ConceptState(n=(60.0,) * 5, c=(60.0,) * 5, offset=9.0, last_at=NOW - 15, last_day=1, answers=60)
MISS = ConceptState(n=(1.0,) * 5, last_at=NOW - 20, last_day=2, answers=1, last_missed=True)


def chain_of(*states):
    """Concepts with an item each, every one building on the one before: C0 before C1 before C2."""
    return [
        replace(one, first=(f"C{number - 1}",) if number else ()) for number, one in enumerate(one_item_each(states))
    ]


def test_the_states_are_what_they_are_called():
    """Due means recall below .70."""
    learner = fresh_learner("in training")

    assert recall_of(learner, FADED, NOW + 1, STARTING) < 0.10
    assert recall_of(learner, FIRM, NOW + 1, STARTING) > 0.95


@pytest.mark.parametrize("before", [fresh_concept(), FADED], ids=["untried", "faded"])
@pytest.mark.parametrize("seed", range(6))
def test_what_is_not_held_comes_before_the_miss(before, seed):
    """Both in one set, in that order, with the reason; though there are thirty others."""
    others = [replace(FADED, last_at=NOW - 3, offset=0.0)] * 30
    candidates = [*chain_of(before, MISS), *one_item_each([FIRM, FIRM, *others])[2:]]
    plan = planned(candidates, minutes=4.0, seed=seed)
    order = concepts_of(plan)

    assert order.index("C0") < order.index("C1")
    assert BUILDS == plan.places[order.index("C0")].reason
    assert MISSED == plan.places[order.index("C1")].reason
    assert 8 == len(order)


def test_what_is_held_is_not_asked_for_it():
    """The only place goes to the missed one."""
    assert ["C1"] == concepts_of(planned(chain_of(FIRM, MISS), minutes=0.5))


@pytest.mark.parametrize("answered", [fresh_concept(), FADED], ids=["untried", "faded"])
def test_what_was_not_missed_asks_for_nothing_before_it(answered):
    """Neither an untried concept nor a faded one brings what it builds on; the reason is its own."""
    plan = planned(chain_of(FADED, answered))

    assert BUILDS not in {place.reason for place in plan.places}


def test_the_only_place_goes_to_what_comes_before():
    """One place: what it builds on today; once that was asked, the miss, though recall of the other is still low."""
    before, missed = chain_of(fresh_concept(), MISS)
    plan = planned([before, missed], minutes=0.5)
    asked_since = replace(before, state=replace(FADED, last_at=NOW - 0.2))

    assert [("C0", BUILDS)] == [(place.concept, place.reason) for place in plan.places]
    assert ["C1"] == concepts_of(planned([asked_since, missed], minutes=0.5))


def test_right_in_the_sitting_of_the_miss_it_was_not_what_was_lacking():
    """An hour before the miss, right, and faded since: the miss goes first, as it does before all that was right."""
    right = replace(FADED, last_at=NOW - 20 - 1 / 24)

    assert ["C1", "C0"] == concepts_of(planned(chain_of(right, MISS)))


def test_a_chain_is_asked_from_its_beginning():
    """Two missed in a row and the first untried: first, second, third; the second for its own miss."""
    missed_too = replace(MISS, offset=-3.0)
    plan = planned(chain_of(fresh_concept(), missed_too, MISS))

    assert [("C0", BUILDS), ("C1", MISSED), ("C2", MISSED)] == [(one.concept, one.reason) for one in plan.places]


def test_a_circle_ends():
    """The check of a bank refuses it; a plan neither hangs nor asks anything twice."""
    hard = replace(MISS, offset=-3.0)
    circle = [replace(one, first=(f"C{(number + 1) % 3}",)) for number, one in enumerate(one_item_each([hard] * 3))]
    itself = [replace(one, first=("C0",)) for one in one_item_each([hard])]

    assert ["C0", "C1", "C2"] == sorted(concepts_of(planned(circle)))
    assert ["C0"] == concepts_of(planned(itself))


def test_what_cannot_be_asked_holds_nothing_back():
    """Without an item, or not among the concepts at all: the miss is asked."""
    before, missed = chain_of(fresh_concept(), MISS)

    assert ["C1"] == concepts_of(planned([replace(before, items=()), missed]))
    assert ["C1"] == concepts_of(planned([missed]))


def test_the_bounds_of_a_set_stay():
    """Seven missed of one system, each on its own untried one of the same system: four places, none twice."""
    states = [state for _ in range(7) for state in (fresh_concept(), MISS)]
    candidates = [
        replace(one, system="S", first=(f"C{number - 1}",) if number % 2 else ())
        for number, one in enumerate(one_item_each(states))
    ]
    order = [int(concept[1:]) for concept in concepts_of(planned(candidates))]

    assert 4 == len(order) == len(set(order))
    for missed in (number for number in order if number % 2):
        assert order.index(missed - 1) < order.index(missed)


def test_which_check_it_was_asked_at_is_said_truly():
    """Asked at the one before the last only: the last is not named."""
    held = ConceptState(n=(8.0,) * 5, c=(8.0,) * 5, offset=3.0, last_at=NOW - 10, last_day=1, answers=4)
    candidates = [replace(one, asked_at_check=True, asked_at_last=False) for one in one_item_each([held] * 40)]

    assert {"It was asked at a check before your last, so it comes oftener."} == {
        place.reason for place in planned(candidates, minutes=5.0).places
    }

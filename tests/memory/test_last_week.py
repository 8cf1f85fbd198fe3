"""The last week before a check and the time after: what has to be gone over comes up, what was asked comes oftener."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np

from quizsvc.memory.pool import Askable, Candidate, pool
from quizsvc.memory.scoring import BOOST
from quizsvc.memory.states import ConceptState
from quizsvc.memory.until_check import to_cover
from tests.memory.learners import some_candidates
from tests.memory.test_planning import NOW, concepts_of, one_item_each, planned

# Held so well that asking again gains next to nothing: never chosen by its score while another can be.
DULL = replace(ConceptState(), n=(60.0,) * 5, c=(60.0,) * 5, offset=9.0, last_at=NOW - 2.0, last_day=1, answers=60)
THIN = replace(DULL, n=(1.0,) * 5, c=(0.0,) * 5, offset=0.0, answers=1)
COVERS = "Before a check every system, limit and drill comes up once; this one has not yet."


def with_cover(candidates, cover):
    """The same with what each goes over, by place."""
    return [replace(one, cover=cover.get(place, ())) for place, one in enumerate(candidates)]


def test_what_has_to_be_gone_over_comes_before_what_gains_more():
    """Two dull ones that are to be gone over are in a set for ten of forty, and say why; without it they are not."""
    candidates = one_item_each([*[THIN] * 38, DULL, DULL])
    plain = planned(candidates, minutes=5.0, check=5.0)
    plan = planned(with_cover(candidates, {38: ("limit a",), 39: ("limit b",)}), minutes=5.0, check=5.0)

    assert not {"C38", "C39"} & set(concepts_of(plain))
    assert {"C38", "C39"} <= set(concepts_of(plan)) and len(plan.places) == len(plain.places) == 10
    assert {COVERS} == {place.reason for place in plan.places if place.concept in ("C38", "C39")}
    assert COVERS not in {place.reason for place in plan.places if place.concept not in ("C38", "C39")}


def test_a_system_is_gone_over_by_one_concept_of_it():
    """Of six that go over one system one takes the place kept for it, and another thing still gets its own."""
    candidates = one_item_each([*[THIN] * 33, *[DULL] * 7])
    cover = {place: ("system",) for place in range(33, 39)} | {39: ("limit",)}
    chosen = set(concepts_of(planned(with_cover(candidates, cover), minutes=5.0, check=5.0)))

    assert len(chosen & {f"C{place}" for place in range(33, 39)}) == 1
    assert "C39" in chosen


def test_what_goes_over_most_at_once_comes_first():
    """A dull limit in a system takes the place before a concept of that system that gains more, and stands for both."""
    candidates = one_item_each([*[THIN] * 38, replace(DULL, offset=-2.0), DULL])
    cover = {38: ("system",), 39: ("system", "limit")}
    chosen = set(concepts_of(planned(with_cover(candidates, cover), minutes=5.0, check=5.0)))

    assert {"C38", "C39"} & chosen == {"C39"}


def test_each_system_is_gone_over_before_second_limits_of_one():
    """Eight systems with three limits each, twenty places: each system has come up."""
    candidates = one_item_each([*[THIN] * 40, *[DULL] * 24])
    cover = {40 + place: (f"system {place % 8}", f"limit {place}") for place in range(24)}
    chosen = {int(concept[1:]) for concept in concepts_of(planned(with_cover(candidates, cover), minutes=10, check=5))}

    assert len(chosen & set(cover)) == 10
    assert {cover[place][0] for place in chosen & set(cover)} == {f"system {number}" for number in range(8)}


def test_half_of_a_set_is_left_for_what_gains_most():
    """Thirty dull limits to go over: five of the ten places, not more."""
    candidates = one_item_each([*[THIN] * 30, *[DULL] * 30])
    cover = {place: (f"limit {place}",) for place in range(30, 60)}
    chosen = [int(concept[1:]) for concept in concepts_of(planned(with_cover(candidates, cover), minutes=5.0, check=5))]

    assert len(chosen) == 10
    assert sum(place >= 30 for place in chosen) == 5


def test_a_set_keeps_its_bounds_while_it_goes_over_things():
    """Never more than the minutes, a concept twice or five of a system, whatever has to be gone over."""
    for seed in range(40):
        rng = random.Random(seed)
        candidates = some_candidates(rng, 50, now=NOW, systems=rng.randint(1, 9), ramp=0.6)
        keys = [*(f"limit {n}" for n in range(20)), "bleed", "oxygen"]
        candidates = [replace(one, cover=tuple(rng.sample(keys, rng.randint(0, 2)))) for one in candidates]
        system = {one.concept: one.system for one in candidates}
        plan = planned(candidates, seed=seed, minutes=rng.uniform(1, 15), check=rng.uniform(0.5, 7))
        chosen = concepts_of(plan)

        assert len(set(chosen)) == len(chosen)
        assert max((list(map(system.get, chosen)).count(one) for one in system.values()), default=0) <= 4
        assert all(
            place.seconds in {item.seconds for one in candidates if one.concept == place.concept for item in one.items}
            for place in plan.places
        )


def test_what_was_asked_at_a_check_weighs_as_much_more_as_a_miss():
    """The weight is the consequence's (1, 1.25, 1.5 by design.md) times the factor of a miss."""
    ways = (Askable("i", "one", 30.0, True),)
    told = [
        Candidate("C", "S", level, THIN, ways, asked_at_check=asked) for level in (1, 2, 3) for asked in (False, True)
    ]

    assert np.allclose(pool(told).consequence, [1.0, BOOST, 1.25, 1.25 * BOOST, 1.5, 1.5 * BOOST], rtol=0, atol=1e-12)


def test_what_was_asked_at_a_check_is_asked_more_often_than_its_like():
    """Of forty alike, ten a set, five asked at the check are in every set; it says so. The others share the rest."""
    held = replace(THIN, n=(8.0,) * 5, c=(8.0,) * 5, offset=3.0)  # not due, so that the reason shows
    candidates = [replace(one, asked_at_check=place < 5) for place, one in enumerate(one_item_each([held] * 40))]
    plans = [planned(candidates, seed=seed, minutes=5.0) for seed in range(10)]

    for plan in plans:
        assert {f"C{place}" for place in range(5)} <= set(concepts_of(plan))
    assert {"It was asked at your last check, so it comes oftener."} == {
        place.reason for plan in plans for place in plan.places if int(place.concept[1:]) < 5
    }


def test_what_was_missed_in_the_last_week_comes_again_before_the_check():
    """Missed yesterday and worked through, so that its score is lowest of all: in the next set.

    Not in the same sitting, not eight days before the check, and no more once it is right.
    """
    missed = replace(DULL, last_missed=True)
    again = "You missed it last time, so it is brought forward."

    def next_set(state, *, check=5.0):
        marked = to_cover(one_item_each([*[THIN] * 39, state]), (), now=NOW, check_day=NOW + check)
        plan = planned(list(marked), minutes=5.0, check=check)
        return {place.concept: place.reason for place in plan.places}

    yesterday, within_the_hour = replace(missed, last_at=NOW - 1.0), replace(missed, last_at=NOW - 1 / 24)
    assert next_set(yesterday)["C39"] == again
    assert "C39" not in next_set(within_the_hour)
    assert "C39" not in next_set(yesterday, check=8.0)
    assert "C39" not in next_set(replace(yesterday, last_missed=False))

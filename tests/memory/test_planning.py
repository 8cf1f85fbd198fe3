"""What a planned set never does, and what it does day after day."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.errors import InputError
from quizsvc.memory.planning import due, plan_set
from quizsvc.memory.pool import Askable, Candidate, pool
from quizsvc.memory.recall import recall_of, stack
from quizsvc.memory.states import ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from tests.memory.learners import FIRST_DAY, Drill, some_candidates, some_history

NOW = FIRST_DAY + 0.5


def planned(candidates, *, seed=0, minutes=10.0, minutes_a_day=None, check=None, long=False, now=NOW):
    """A plan with what the test does not care about filled in."""
    return plan_set(
        candidates,
        fresh_learner("in training"),
        STARTING,
        now=now,
        minutes=minutes,
        minutes_a_day=minutes if minutes_a_day is None else minutes_a_day,
        check_day=None if check is None else now + check,
        long=long,
        rng=random.Random(seed),
    )


def one_item_each(states, *, seconds=30.0, systems=None):
    """Concepts with one item each, each in a system of its own unless said otherwise."""
    return [
        Candidate(
            f"C{number}",
            f"S{number % (systems or len(states))}",
            1,
            state,
            (Askable(f"i{number}", "one", seconds, True),),
        )
        for number, state in enumerate(states)
    ]


def concepts_of(plan):
    """Concept ids in the order of the set."""
    return [place.concept for place in plan.places]


# --- what never happens ---------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32),
    st.integers(0, 60),
    st.integers(1, 9),
    st.floats(0.2, 45.0),
    st.floats(1.0, 60.0),
    st.one_of(st.none(), st.floats(-5.0, 200.0)),
    st.booleans(),
)
def test_a_set_keeps_its_bounds(seed, count, systems, minutes, minutes_a_day, check, long):
    """Never more than the minutes, a concept twice, five of a system, a long item in a short set, a stranger's item."""
    candidates = some_candidates(random.Random(seed), count, now=NOW, systems=systems, ramp=0.6)
    by_concept = {candidate.concept: candidate for candidate in candidates}
    plan = planned(candidates, seed=seed, minutes=minutes, minutes_a_day=minutes_a_day, check=check, long=long)
    systems_of_set = Counter(by_concept[concept].system for concept in concepts_of(plan))

    assert sum(place.seconds for place in plan.places) <= 60 * minutes
    assert len(set(concepts_of(plan))) == len(plan.places)
    assert max(systems_of_set.values(), default=0) <= 4
    for place in plan.places:
        item = next(item for item in by_concept[place.concept].items if item.item == place.item)
        assert long or item.ramp
        assert item.seconds == place.seconds


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32), st.floats(1.0, 20.0))
def test_the_minutes_are_filled(seed, minutes):
    """What is left of the minutes fits no concept that could still be asked."""
    candidates = some_candidates(random.Random(seed), 40, now=NOW, systems=40)
    candidates = [replace(candidate, state=replace(candidate.state, last_missed=False)) for candidate in candidates]
    plan = planned(candidates, seed=seed, minutes=minutes)
    left = 60 * minutes - plan.seconds
    of_system = Counter(c.system for c in candidates if c.concept in concepts_of(plan))
    others = [
        candidate
        for candidate in candidates
        if candidate.concept not in concepts_of(plan) and of_system[candidate.system] < 4
    ]

    assert others
    assert all(item.seconds > left for candidate in others for item in candidate.items)


def test_nothing_to_ask_gives_an_empty_set():
    """No concepts, no items, only long items in a short set, or too few seconds: no places, and no error."""
    none_askable = [Candidate("C", "S", 1, fresh_concept(), ())]
    long_only = [Candidate("C", "S", 1, fresh_concept(), (Askable("i", "number", 90.0, False),))]

    assert () == planned([]).places
    assert () == planned(none_askable).places
    assert () == planned(long_only).places
    assert () == planned(long_only, long=True, minutes=1.0).places
    assert ["C"] == concepts_of(planned(long_only, long=True))


def test_same_generator_same_set_and_another_one_another_order():
    """All chance comes from the generator that is handed in."""
    candidates = some_candidates(random.Random(3), 60, now=NOW)
    first, again, other = (planned(candidates, seed=seed).places for seed in (1, 1, 2))

    assert first == again
    assert first != other


def test_a_pool_plans_as_its_candidates_do():
    """Arrays built beforehand change nothing."""
    candidates = some_candidates(random.Random(4), 60, now=NOW)

    assert planned(candidates) == planned(pool(candidates))


@pytest.mark.parametrize("minutes", [0, -1, 1441, float("nan"), float("inf")])
def test_minutes_that_are_none_are_refused(minutes):
    """The message quotes them."""
    with pytest.raises(InputError, match=f"a set of {minutes} minutes"):
        planned([], minutes=minutes)


def test_times_consequences_and_seconds_are_checked():
    """What cannot be planned is refused where it is made."""
    with pytest.raises(InputError, match="give finite days since the epoch"):
        planned([], check=float("inf"))
    with pytest.raises(InputError, match="consequence 4 is not one of the three .*concept 'C'.* accepted: 1, 2, 3"):
        Candidate("C", "S", 4, fresh_concept(), ())
    with pytest.raises(InputError, match="expected time of 0.0 s .*item 'i'"):
        Askable("i", "one", 0.0, True)


# --- who comes first ------------------------------------------------------------------------------------------------


def test_concepts_unseen_for_three_passes_go_first_up_to_a_quarter():
    """After an absence a quarter of the set goes to those unseen longest, however little they gain."""
    rng = random.Random(8)
    recent = [replace(ConceptState(), n=(1.0,) * 5, last_at=NOW - 3.0, last_day=1, answers=1) for _ in range(40)]
    hopeless = replace(fresh_concept(), n=(60.0,) * 5, c=(60.0,) * 5, offset=9.0, answers=60)
    old = [replace(hopeless, last_at=NOW - 16.0 - 0.1 * i, last_day=2) for i in range(20)]
    # 60 concepts, 16 answers a set: one pass takes 5.25 days, three take 15.75.
    plan = planned(one_item_each([*recent, *old]), minutes=8.0, seed=rng.randrange(99))
    chosen = {concept for concept in concepts_of(plan) if int(concept[1:]) >= 40}

    assert {"C56", "C57", "C58", "C59"} == chosen
    assert {"You have not seen it for a long time."} == {
        place.reason for place in plan.places if place.concept in chosen
    }


def test_untried_concepts_keep_reserved_places():
    """Untried concepts of little gain still get their share: 30 over the 12 days before the last pass, 3 a set."""
    dull = replace(fresh_concept(), offset=9.0)
    tried = [some_history(random.Random(i), end=NOW - 4.0, most=5) for i in range(200)]
    tried = [replace(s, last_at=NOW - 9.0, last_day=1, last_missed=False, answers=1) for s in tried][:90]
    candidates = one_item_each([*tried, *[dull] * 30])
    # 120 concepts, 20 answers a day: one pass takes 8.4 days; the check is 25.2 days ahead, 16.8 days later: 12 sets.
    plan = planned(candidates, minutes=10.0, check=25.2)

    assert 3 == sum(int(concept[1:]) >= 90 for concept in concepts_of(plan))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("concepts", "minutes", "check"), [(60, 5, 16), (60, 10, 9), (80, 10, 30), (40, 3, 21)])
def test_every_untried_concept_is_reached_before_the_check(seed, concepts, minutes, check):
    """Five sets a week that have room for each concept at least once leave none untried."""
    absent = frozenset(day for day in range(check) if day % 7 in (5, 6))
    drill = Drill(seed, concepts, minutes, check=check).run(check, absent)

    assert sum(map(len, drill.days)) >= concepts
    assert concepts == len(drill.states)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("concepts", "minutes", "check"), [(90, 8, None), (90, 8, 60), (30, 8, 45)])
def test_a_missed_concept_comes_back_before_those_right_in_its_set(seed, concepts, minutes, check):
    """Forty days, one set a day: what was missed is asked again earlier than each that was right in that set.

    Those of one later set stand in it in that order too. A miss not asked again within the forty days must leave all
    that were right in its set unasked as well.
    """
    days = Drill(seed, concepts, minutes, check=check).run(40).days
    pairs = 0
    for day, answers in enumerate(days):
        next_at = {
            concept: min(
                (
                    (later, place)
                    for later in range(day + 1, len(days))
                    for place, (other, _) in enumerate(days[later])
                    if other == concept
                ),
                default=(len(days), 0),
            )
            for concept, _ in answers
        }
        for missed in (concept for concept, right in answers if not right):
            for held in (concept for concept, right in answers if right):
                if next_at[held][0] < len(days):
                    pairs += 1
                    assert next_at[missed] < next_at[held]

    assert pairs > 100


def test_the_missed_one_goes_before_the_right_one_even_where_it_gains_less():
    """A concept missed yesterday that is nearly hopeless is offered its place before one that was right yesterday."""
    base = some_history(random.Random(1), end=NOW - 5, most=3)
    right = replace(base, last_at=NOW - 1, last_missed=False, offset=0.0, n=(1.0,) * 5, answers=1)
    missed = replace(right, last_missed=True, offset=-7.0)
    plan = planned(one_item_each([right, missed]), minutes=0.5)

    assert ["C1"] == concepts_of(plan)
    assert "You missed it last time, so it is brought forward." == plan.places[0].reason


def test_a_sitting_is_told_by_time_and_not_by_date():
    """Missed at ten to midnight and right at ten past are one sitting; right five hours earlier is another."""
    base = replace(some_history(random.Random(1), end=NOW - 5, most=3), n=(1.0,) * 5, answers=1)
    night = FIRST_DAY - 1.0
    missed = replace(base, last_at=night - 0.007, last_missed=True, offset=-7.0)
    after = replace(base, last_at=night + 0.007, last_missed=False, offset=0.0)
    earlier = replace(after, last_at=night - 0.22)

    assert ["C1"] == concepts_of(planned(one_item_each([after, missed]), minutes=0.5))
    assert ["C0"] == concepts_of(planned(one_item_each([earlier, missed]), minutes=0.5))


def test_a_missed_concept_without_a_ramp_item_holds_no_other_back():
    """In a short set the missed one cannot be asked; the right one of its day may."""
    right = ConceptState(n=(1.0,) * 5, last_at=NOW - 1, answers=1)
    candidates = one_item_each([right, replace(right, last_missed=True)])
    candidates[1] = replace(candidates[1], items=(Askable("long", "number", 90.0, False),))

    assert ["C0"] == concepts_of(planned(candidates))


def test_ties_are_broken_by_chance():
    """Of forty equal untried concepts, ten a set, each is asked of someone, and none of nearly everyone."""
    candidates = one_item_each([fresh_concept()] * 40)
    sets = [set(concepts_of(planned(candidates, seed=seed, minutes=5.0))) for seed in range(40)]
    times = Counter(concept for chosen in sets for concept in chosen)

    assert {10} == set(map(len, sets))
    assert 40 == len(times)
    assert max(times.values()) < 30


def test_sets_are_mixed():
    """Two of one system stand side by side only where more than half of a set is of it."""
    for seed in range(30):
        candidates = some_candidates(random.Random(seed), 80, now=NOW, systems=6, untried=1.0)
        system = {candidate.concept: candidate.system for candidate in candidates}
        order = [system[concept] for concept in concepts_of(planned(candidates, seed=seed))]

        assert len(order) > 8
        assert all(one != next_one for one, next_one in zip(order, order[1:], strict=False))


# --- which item -----------------------------------------------------------------------------------------------------


def item_for(state, *items):
    """The item that a set picks for a single concept."""
    plan = planned([Candidate("C", "S", 1, state, items)])
    return plan.places[0].item


def test_an_item_not_asked_lately_is_picked():
    """A fixed text of three days ago waits; one of last month is asked."""
    state = ConceptState(last_at=NOW - 3, last_day=1, answers=2, last_kind="one", last_item="new")
    new = Askable("new", "one", 30.0, True, last_asked=NOW - 3, asks=1)
    old = Askable("old", "one", 30.0, True, last_asked=NOW - 30, asks=4)

    assert "old" == item_for(state, new, old)


def test_another_kind_than_last_time_is_picked():
    """Asked as a choice last time, it is asked as a number now, though the number was seen more recently."""
    state = ConceptState(last_at=NOW - 10, last_day=1, answers=2, last_kind="one", last_item="a")
    choice = Askable("choice", "one", 30.0, True, last_asked=NOW - 60)
    number = Askable("number", "number", 45.0, True, last_asked=NOW - 40)

    assert "number" == item_for(state, choice, number)


def test_new_numbers_make_an_item_fresh():
    """An item that draws new numbers may come again the next day; a fixed text may not."""
    state = ConceptState(last_at=NOW - 1, last_day=1, answers=2, last_kind="some", last_item="x")
    drawn = Askable("drawn", "number", 45.0, True, last_asked=NOW - 1, generated=True)
    fixed = Askable("fixed", "one", 30.0, True, last_asked=NOW - 2)

    assert "drawn" == item_for(state, drawn, fixed)


def test_an_only_item_is_asked_again():
    """A concept with one item does not fall out of practice."""
    state = ConceptState(last_at=NOW - 1, last_day=1, answers=2, last_kind="one", last_item="only")

    assert "only" == item_for(state, Askable("only", "one", 30.0, True, last_asked=NOW - 1))


# --- what is said ---------------------------------------------------------------------------------------------------


def test_due_means_below_seventy_in_a_hundred_on_the_next_day():
    """A tried concept is due when its recall then is below .70; an untried one holds nothing that could fade."""
    learner = fresh_learner("in training")
    states = [some_history(random.Random(i), end=NOW) for i in range(60)]
    expected = [s.last_at is not None and recall_of(learner, s, NOW + 2, STARTING) < 0.70 for s in states]

    assert expected == due(stack(states), learner, NOW + 2, STARTING).tolist()
    assert {True, False} == {found for found, s in zip(expected, states, strict=True) if s.last_at is not None}


def test_the_plan_names_the_due_concepts():
    """By default the next day is a day ahead."""
    candidates = some_candidates(random.Random(12), 50, now=NOW)
    flags = due(pool(candidates).held, fresh_learner("in training"), NOW + 1, STARTING)

    assert {candidates[i].concept for i in np.flatnonzero(flags)} == planned(candidates).due


def test_every_place_carries_one_sentence_without_a_number():
    """A reason is one plain sentence; expectations stay out of it."""
    drilled = {
        place.reason
        for seed in range(8)
        for place in planned(
            some_candidates(random.Random(seed), 60, now=NOW), seed=seed, check=None if seed % 2 else 30.0
        ).places
    }

    assert len(drilled) >= 3
    for reason in drilled:
        assert reason.endswith(".") and reason.count(".") == 1
        assert not any(character.isdigit() for character in reason)


def test_open_homework_is_named_and_closed_homework_is_not():
    """The reason speaks of homework only until it closes."""
    for closing, words in (
        (NOW + 3, "It is in homework that is still open."),
        (NOW - 3, "You have not been asked this"),
    ):
        candidates = [replace(c, horizon=closing) for c in one_item_each([fresh_concept()])]

        assert planned(candidates).places[0].reason.startswith(words)


def test_closed_homework_adds_nothing_to_a_score():
    """The plan is that of a person who never had it, whichever concept it was about."""
    tried = [replace(some_history(random.Random(i), end=NOW - 4, most=5), last_missed=False) for i in range(60)]
    candidates = one_item_each([state for state in tried if state.last_at is not None])
    closed = [replace(candidate, horizon=NOW - 2) if i % 3 else candidate for i, candidate in enumerate(candidates)]

    assert planned(candidates, minutes=5).places == planned(closed, minutes=5).places


def test_the_outlook_says_what_the_time_left_cannot_cover():
    """Sixty untried concepts, ten answers a day, five study days before the check: ten cannot be reached."""
    outlook = planned(one_item_each([fresh_concept()] * 60), minutes=5.0, check=7.0).outlook

    assert (60, 10) == (outlook.untried, outlook.beyond_reach)
    assert outlook.answers_left == pytest.approx(50.0)
    assert outlook.rounds == pytest.approx(50 / 60)
    assert NOW + 7 == outlook.horizon


@pytest.mark.parametrize("check", [None, 0.0, -3.0])
def test_without_a_check_ahead_the_horizon_rolls_sixty_days(check):
    """No check day, or one that has passed."""
    assert NOW + 60 == planned([], check=check).outlook.horizon


def test_absurd_times_are_planned_without_a_fault():
    """A check in a microsecond, a whole day or next to nothing a day, a clock behind the last answer: bounded sets."""
    candidates = some_candidates(random.Random(6), 30, now=NOW)
    for how in ({"check": 1e-11}, {"minutes_a_day": 1440}, {"minutes_a_day": 1e-300}, {"now": NOW - 50}):
        plan = planned(candidates, **how)

        assert 0 < plan.seconds <= 600


def test_after_an_absence_the_set_is_no_longer_than_before():
    """There is no backlog: sixty days away change what is asked, not how much."""
    drill = Drill(2, 60, 6).run(90, absent=frozenset(range(20, 80)))

    assert max(len(day) for day in drill.days[:20]) >= len(drill.days[80]) > 0

"""Back after sixty days, by the words of the scheduling study: no backlog exists; waits are capped at two passes; the
planned later visits m = min(6, floor(R/I)) shrink by themselves. And two sources of concepts in one plan.

Its bank: I = 300 concepts, B = 20 answers on five days of seven, a check on day 180, away from day 45 to day 105.
R = B * 5/7 * days left: 1,928.6 on day 45, that is 6.4 a concept; 1,071.4 on day 105, that is 3.6.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from quizsvc.memory.planning import plan_set
from quizsvc.memory.pool import Askable, Candidate
from quizsvc.memory.recall import stack, update
from quizsvc.memory.scoring import Budget, gain, score
from quizsvc.memory.states import AnswerEvent, ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from tests.memory.learners import FIRST_DAY, some_history
from tests.memory.test_planning import NOW, one_item_each, planned

WORDS_OF_A_BACKLOG = ("overdue", "behind", "backlog", "late", "catch up")


def budget(day):
    """The study's budget on a day of its 180."""
    return Budget(concepts=300, answers_a_day=20.0, now=float(day), horizon=180.0)


def test_the_later_visits_shrink_with_the_days_that_are_gone():
    """m: 6 before, 3 after; C = 300/20 * 7/5 = 21 days either way."""
    before, after = budget(45), budget(105)

    assert before.answers_left == pytest.approx(1928.57, abs=0.005)
    assert after.answers_left == pytest.approx(1071.43, abs=0.005)
    assert (before.visits, after.visits) == (6, 3)
    assert before.pass_days == after.pass_days == pytest.approx(21.0, rel=1e-12)


def test_waits_count_up_to_two_passes_and_no_more():
    """Score over gain: the root of 1 after a pass, of 2 after two, and still of 2 after sixty days and after ninety."""
    waits = np.array([21.0, 42.0, 60.0, 90.0])
    held = stack([ConceptState(n=(1.0,) * 5, last_at=105.0 - wait, last_day=1, answers=1) for wait in waits])
    after = budget(105)
    delta = gain(held, 0.0, STARTING, now=105.0, horizon=180.0, visits=3)
    scores = score(held, 0.0, STARTING, np.ones(4), after)

    assert (delta > 1e-6).all()
    assert scores / delta == pytest.approx([1.0, 2**0.5, 2**0.5, 2**0.5], rel=1e-9)


def test_nothing_overdue_is_counted_or_said():
    """Sixty days away: the set has the minutes it always has, and no word of what is behind."""
    tried = [some_history(random.Random(number), end=NOW, most=6) for number in range(120)]
    tried = [state for state in tried if state.last_at is not None]
    sets = [planned(one_item_each(tried), minutes=5.0, check=90.0 - away, now=NOW + away) for away in (0.0, 60.0)]

    assert [len(plan.places) for plan in sets] == [10, 10]
    for reason in {place.reason for plan in sets for place in plan.places}:
        assert not any(word in reason for word in WORDS_OF_A_BACKLOG)
    # What is said of the time left follows from the days left, 90 and 30: ten answers on five of seven of them.
    assert [plan.outlook.answers_left for plan in sets] == pytest.approx([642.857, 214.286], abs=0.0005)


@pytest.mark.parametrize("seed", range(3))
def test_a_small_folder_beside_a_large_one_is_not_starved_and_does_not_starve_it(seed):
    """Twelve concepts of one aircraft and 48 of another for thirty days, ten answers a day, all right.

    300 answers are five passes of the sixty; so each concept can come five times. Every one of both comes at least
    twice, and in no six sets running, the length of a pass, is either folder left out.
    """
    rng = random.Random(seed)
    learner = fresh_learner("in training")
    states = {}
    folders = {f"{folder}{number}": folder for folder, count in (("A", 12), ("B", 48)) for number in range(count)}
    asked = Counter()
    by_day = []
    for day in range(30):
        at = FIRST_DAY + day + 0.5
        candidates = [
            Candidate(
                name,
                f"{folder} {number % 6}",
                1,
                states.get(name, fresh_concept()),
                (Askable(f"i{name}", "one", 30.0, True, generated=True),),
                folder=folder,
            )
            for number, (name, folder) in enumerate(folders.items())
        ]
        plan = plan_set(
            candidates, learner, STARTING, now=at, minutes=5, minutes_a_day=5, check_day=None, long=False, rng=rng
        )
        by_day.append({folders[place.concept] for place in plan.places})
        for place in plan.places:
            at += 30 / 86_400
            event = AnswerEvent(
                at, FIRST_DAY + day, "full", 1.0, "one", place.item, True, None, place.concept, answer_id=day
            )
            learner, states[place.concept], _ = update(
                learner, states.get(place.concept, fresh_concept()), event, STARTING
            )
            asked[place.concept] += 1

    assert sum(asked.values()) == 300
    assert min(asked[name] for name in folders) >= 2
    assert all({"A", "B"} == set.union(*by_day[first : first + 6]) for first in range(25))


def test_fewer_study_days_leave_fewer_answers():
    """Sixty untried, ten answers a day, fourteen days: 100 answers on five days of seven, 60 on three, 20 on one."""
    candidates = one_item_each([fresh_concept()] * 60)

    for days, answers, unreached in ((5, 100, 0), (3, 60, 0), (1, 20, 40)):
        plan = plan_set(
            candidates,
            fresh_learner("in training"),
            STARTING,
            now=NOW,
            minutes=5.0,
            minutes_a_day=5.0,
            check_day=NOW + 14,
            long=False,
            rng=random.Random(1),
            study_share=days / 7,
        )
        assert plan.outlook.answers_left == pytest.approx(answers, rel=1e-9)
        assert plan.outlook.beyond_reach == unreached


def test_items_that_take_longer_fill_the_minutes_with_fewer():
    """Five minutes: ten items of 30 s, five of a person who takes double."""
    slow = [
        replace(one, items=tuple(replace(item, seconds=60.0) for item in one.items))
        for one in one_item_each([fresh_concept()] * 30)
    ]

    assert len(planned(one_item_each([fresh_concept()] * 30), minutes=5.0).places) == 10
    assert len(planned(slow, minutes=5.0).places) == 5

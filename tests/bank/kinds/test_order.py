"""Kind `order`: graded by the longest common subsequence (item design), with tie groups and a step that must lead."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.kinds.order import longest_in_order
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.errors import InputError
from tests.bank.bank_texts import check

# Worked item S03: the ladder of cabin altitudes; its common wrong answer puts the masks before the limiters.
LADDER = """\
- item: ladder
  kind: order
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: FL390, both bleeds lost, crew does nothing. Order the cabin events.
  steps:
    - {id: warn, text: CABIN ALT sounds}
    - {id: limiter, text: altitude limiters close}
    - {id: masks, text: passenger masks drop}
    - {id: fifteen, text: "cabin passes 15,000 ft"}
  tie: []
  must-first: warn
  beliefs:
    - {before: [masks, limiter], belief: the limiter stops any climb}
  why: The bands do not touch.
  author: first author
  status: draft
"""
TIED = LADDER.replace("tie: []", "tie: [[limiter, masks]]").replace(
    "before: [masks, limiter]", "before: [fifteen, warn]"
)


def record_of(text):
    """The grading record of one question of the item, and the question as shown."""
    bank = check(text)
    assert bank.faults == [], bank.faults
    item = compile_item(bank.items[0].body, None)
    issued = issue(item, random.Random(3))
    return issued.record, present(item, issued.drawn, issued.order)


RECORD = record_of(LADDER)[0]


def graded(record, *order):
    """The grade of an order."""
    return grade(record, read_response(record, {"order": list(order)}))


class TestGrade:
    """Credit, outcome, belief."""

    def test_the_right_order_is_full(self):
        """S03's key."""
        record, _ = record_of(LADDER)

        assert graded(record, "warn", "limiter", "masks", "fifteen").outcome == "full"

    def test_the_common_wrong_order_keeps_three_of_four_and_names_its_belief(self):
        """S03: 3 before 2; three steps are in order."""
        record, _ = record_of(LADDER)
        found = graded(record, "warn", "masks", "limiter", "fifteen")

        assert (found.outcome, found.credit) == ("part", 0.75)
        assert found.trap == "masks-before-limiter"
        assert found.belief == "the limiter stops any climb"

    def test_the_first_divergence_carries_the_belief_and_both_orders_stand_side_by_side(self):
        """Rows by place."""
        record, _ = record_of(LADDER)
        rows = graded(record, "warn", "masks", "limiter", "fifteen").rows

        assert [row.right for row in rows] == [True, False, False, True]
        assert [row.belief for row in rows] == [None, "the limiter stops any climb", None, None]
        assert [(row.given, row.key) for row in rows][1] == ("passenger masks drop", "altitude limiters close")

    def test_losing_the_step_that_must_lead_caps_the_credit(self):
        """items.md: capped at 0.3, though three of four are in order."""
        record, _ = record_of(LADDER)
        found = graded(record, "limiter", "masks", "fifteen", "warn")

        assert (found.outcome, found.credit) == ("part", 0.3)
        assert "0.3" in found.remark

    def test_a_tied_step_in_front_does_not_hide_what_came_too_early(self):
        """warn and limiter are free; masks still come before warn, which must lead: 0.3, not 3/4."""
        record, _ = record_of(
            LADDER.replace("tie: []", "tie: [[warn, limiter]]").replace("[masks, limiter]", "[masks, warn]")
        )

        assert graded(record, "limiter", "masks", "warn", "fifteen").credit == 0.3
        assert graded(record, "limiter", "warn", "masks", "fifteen").outcome == "full"

    def test_of_two_beliefs_the_one_of_the_first_divergence_is_told(self):
        """The first in the file explains a later place."""
        record, _ = record_of(
            LADDER.replace(
                "  beliefs:\n", "  beliefs:\n    - {before: [fifteen, masks], belief: masks wait for 15}\n"
            ).replace("[masks, limiter]", "[limiter, warn]")
        )
        found = graded(record, "limiter", "warn", "fifteen", "masks")

        assert (found.trap, found.belief) == ("limiter-before-warn", "the limiter stops any climb")
        assert [row.belief for row in found.rows] == ["the limiter stops any climb", None, None, None]

    def test_a_belief_about_a_later_place_stands_there(self):
        """warn and masks are right; limiter and fifteen changed places, and only masks before limiter is named."""
        record, _ = record_of(LADDER)
        found = graded(record, "warn", "fifteen", "masks", "limiter")

        assert found.belief == "the limiter stops any climb"
        assert [(row.right, row.belief) for row in found.rows] == [
            (True, None),
            (False, None),
            (True, None),
            (False, "the limiter stops any climb"),
        ]

    def test_everything_backwards_is_a_miss(self):
        """One step of four is in order by itself."""
        record, _ = record_of(LADDER)
        found = graded(record, "fifteen", "masks", "limiter", "warn")

        assert (found.outcome, found.credit) == ("miss", 0.25)

    def test_a_step_of_its_tie_group_may_stand_before_the_one_that_must_lead(self):
        """Both are free: three of four in order, and no cap."""
        record, _ = record_of(LADDER.replace("tie: []", "tie: [[warn, limiter]]"))
        found = graded(record, "limiter", "warn", "fifteen", "masks")

        assert (found.outcome, found.credit, found.remark) == ("part", 0.75, None)

    def test_steps_of_a_tie_group_are_free_among_themselves(self):
        """Both ways are full, and the rows follow the person's way."""
        record, _ = record_of(TIED)
        found = graded(record, "warn", "masks", "limiter", "fifteen")

        assert found.outcome == "full"
        assert all(row.right for row in found.rows)
        assert "free among themselves" in worked(record).accepted_shown

    def test_a_pass_shows_the_right_order(self):
        """No credit."""
        record, _ = record_of(LADDER)
        found = grade(record, read_response(record, {"pass": True}))

        assert (found.outcome, found.credit) == ("pass", 0.0)
        assert [row.key for row in found.rows][0] == "CABIN ALT sounds"


@given(st.permutations(range(6)), st.lists(st.booleans(), min_size=5, max_size=5))
def test_the_longest_run_agrees_with_trying_every_subsequence(given_order, joins):
    """Brute force over all 64 subsequences; neighbours joined at random into tie groups."""
    place, groups = 0, {0: 0}
    for step, join in enumerate(joins, 1):
        place = place if join else step
        groups[step] = place
    longest = max(
        len(part)
        for size in range(1, 7)
        for part in itertools.combinations(given_order, size)
        if all(groups[left] <= groups[right] for left, right in itertools.pairwise(part))
    )

    assert longest_in_order(given_order, groups) == longest


@given(st.permutations(["warn", "limiter", "masks", "fifteen"]))
def test_only_the_right_order_is_full_and_what_was_read_is_read_the_same_again(order):
    """All orders of four steps."""
    record = RECORD
    response = read_response(record, {"order": order})
    found = grade(record, response)

    assert read_response(record, response) == response
    assert 0 <= found.credit <= 1
    assert (found.outcome == "full") == (found.credit == 1) == (order == ["warn", "limiter", "masks", "fifteen"])
    assert sum(row.belief is not None for row in found.rows) == (found.belief is not None)
    assert not any(row.right and row.belief for row in found.rows)


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        ({}, "No order"),
        ({"order": "warn"}, "No order"),
        ({"order": ["warn", "limiter", "masks"]}, "no place yet"),
        ({"order": ["warn", "warn", "limiter", "masks"]}, "two places"),
        ({"order": ["warn", "limiter", "masks", "else"]}, "none of this"),
        ({"order": [1, 2, 3, 4]}, "none of this"),
    ],
)
def test_what_is_no_order_is_refused_with_a_sentence(raw, sentence):
    """Nothing is graded."""
    record, _ = record_of(LADDER)
    with pytest.raises(InputError, match=sentence) as caught:
        read_response(record, raw)
    assert caught.value.reference == "response-unreadable"


def test_the_steps_are_never_shown_in_the_right_order():
    """Two hundred draws."""
    item = compile_item(check(LADDER).items[0].body, None)
    right = [step["id"] for step in check(LADDER).items[0].body["steps"]]
    rng = random.Random(5)

    assert all(issue(item, rng).order != right for _ in range(200))


def test_the_question_shows_nothing_of_the_order():
    """Shuffled texts only."""
    record, shown = record_of(LADDER)

    assert [option.id for option in shown.options] == record["order"]


def test_a_drill_owes_the_checklist_caution():
    """C5 (vocabulary.md) where the concept is of the drills."""
    drills = check(LADDER).items[0].body["cautions"]
    concepts = (
        "- concept: P-DIFF\n  title: A drill\n  system: drills\n  handbook: 21-10\n  what: recall\n  consequence: 3\n"
    )
    owed = check(LADDER, concepts=concepts).items[0].body["cautions"]

    assert "C5" not in drills
    assert "C5" in owed


FAULTS = [
    ("{id: limiter, text", "{id: warn, text", "bank-step-twice", 9),
    ("must-first: warn", "must-first: wran", "bank-step-unknown", 13),
    ("must-first: warn", "must-first: masks", "bank-must-first", 13),
    ("tie: []", "tie: [[warn]]", "bank-tie", 12),
    ("tie: []", "tie: [[warn, masks]]", "bank-tie", 12),
    ("tie: []", "tie: [[warn, nobody]]", "bank-step-unknown", 12),
    ("before: [masks, limiter]", "before: [limiter, masks]", "bank-belief-before", 15),
    ("before: [masks, limiter]", "before: [masks]", "bank-belief-before", 15),
    ("text: altitude limiters close", "text: CABIN ALT sounds", "bank-step-twice", 9),
    ("stem: FL390", "sten: FL390", "bank-word-missing", 1),
    ("before: [masks, limiter]", "before: [masks, masks]", "bank-belief-before", 15),
    ("tie: []", "tie: [[limiter, masks]]", "bank-belief-before", 15),
    ("tie: []", "tie: [[warn, limiter, masks, fifteen]]", "bank-tie", 12),
    ("tie: []", "tie: [limiter, masks]", "bank-tie", 12),
    ("  why:", "    - {before: [masks, limiter], belief: again}\n  why:", "bank-belief-twice", 16),
]


@pytest.mark.parametrize(("old", "new", "reference", "line"), FAULTS)
def test_an_authors_slip_is_found_at_its_line(old, new, reference, line):
    """Lines counted by hand in the text above."""
    found = [(finding.reference, finding.line) for finding in check(LADDER.replace(old, new)).faults]

    assert (reference, line) in found


def test_steps_that_read_the_same_in_a_draw_are_found():
    """Two levels drawn from the same list."""
    text = LADDER.replace(
        "  steps:\n", "  draw: {low: {one-of: [9000 ft, 10000 ft]}, high: {one-of: [10000 ft, 11000 ft]}}\n  steps:\n"
    ).replace("CABIN ALT sounds", '"passing {low}"')
    text = text.replace("altitude limiters close", '"passing {high}"').replace(
        "stem: FL390", "stem: FL390 to {low} {high}"
    )
    (found,) = check(text).faults

    assert (found.reference, found.line) == ("bank-step-twice", 9)
    assert "low 10,000 ft, high 10,000 ft" in found.what


@pytest.mark.parametrize(
    ("change", "ramp"),
    [
        (("stem: FL390", "stem: FL390"), True),
        (("text: altitude limiters close", "text: altitude limiters close " + "by themselves " * 5), False),
        (("  tie: []", "    - {id: e, text: fifth}\n  tie: []"), True),
        (("  tie: []", "    - {id: e, text: fifth}\n    - {id: f, text: sixth}\n  tie: []"), False),
    ],
)
def test_up_to_five_short_steps_are_fit_for_a_short_set(change, ramp):
    """items.md: on the ramp up to 5; a text of more than 12 words makes it a Long-set item."""
    assert check(LADDER.replace(*change)).items[0].ramp is ramp

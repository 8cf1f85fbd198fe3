"""Kind `match`: corrected for guessing, max(0, (r/n - 1/k)/(1 - 1/k)) (domain/items.md; testing literature)."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.kinds.match import corrected
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.errors import InputError
from tests.bank.bank_texts import check

# Worked item S04: four failures, five outcomes; its common wrong pair opens the valves of a dead controller.
WHAT_NEXT = """\
- item: what-the-cabin-does
  kind: match
  concept: P-DIFF
  demand: application
  handbook: 21-10
  stem: Descending through FL300, AUTO, cabin at 5,000 ft. Match failure to what the cabin does next.
  left:
    - {id: adc, text: ADC 1 (selector 1)}
    - {id: cpc, text: CPC}
    - {id: bleeds, text: both bleeds}
    - {id: gen, text: "left generator, tie normal"}
  right:
    - {id: down, text: goes on down as before}
    - {id: relief, text: drops faster until the relief heads hold}
    - {id: hold, text: holds its present altitude}
    - {id: climb, text: "climbs at first about 1,900 fpm"}
    - {id: out, text: climbs to aircraft altitude}
  pairs: {adc: hold, cpc: relief, bleeds: climb, gen: down}
  beliefs:
    - {left: adc, right: down, belief: the other source takes over}
    - {left: cpc, right: out, belief: controller dead means valves open}
  why: They fail closed.
  author: first author
  status: draft
"""
KEY = {"adc": "hold", "cpc": "relief", "bleeds": "climb", "gen": "down"}


def record_of(text=WHAT_NEXT):
    """The grading record of one question of the item, and the question as shown."""
    bank = check(text)
    assert bank.faults == [], bank.faults
    item = compile_item(bank.items[0].body, None)
    issued = issue(item, random.Random(3))
    return issued.record, present(item, issued.drawn, issued.order)


RECORD = record_of()[0]


class TestGrade:
    """Credit, outcome, belief."""

    def test_the_key_is_full(self):
        """S04's table."""
        record, _ = record_of()
        found = grade(record, read_response(record, {"pairs": KEY}))

        assert (found.outcome, found.credit) == ("full", 1.0)

    def test_the_common_wrong_pair_names_its_belief_in_its_own_row(self):
        """S04: CPC to E; three of four right, five outcomes: (3/4 - 1/5)/(4/5) = 11/16."""
        record, _ = record_of()
        found = grade(record, read_response(record, {"pairs": KEY | {"cpc": "out"}}))

        assert (found.outcome, found.credit) == ("part", pytest.approx(11 / 16))
        assert (found.trap, found.belief) == ("cpc-with-out", "controller dead means valves open")
        assert [row.belief for row in found.rows if not row.right] == ["controller dead means valves open"]
        assert [row.id for row in found.rows if not row.right] == ["cpc"]

    def test_one_of_four_earns_almost_nothing_and_none_is_a_miss(self):
        """(1/4 - 1/5)/(4/5) = 1/16; none right is 0."""
        record, _ = record_of()
        one = {"adc": "hold", "cpc": "down", "bleeds": "out", "gen": "climb"}
        none = {"adc": "out", "cpc": "down", "bleeds": "hold", "gen": "relief"}

        assert grade(record, read_response(record, {"pairs": one})).credit == pytest.approx(1 / 16)
        assert grade(record, read_response(record, {"pairs": none})).outcome == "miss"

    def test_a_pass_shows_the_pairs(self):
        """No credit."""
        record, _ = record_of()
        found = grade(record, {"pass": True})

        assert found.outcome == "pass"
        assert [row.key for row in found.rows][1] == "drops faster until the relief heads hold"
        assert "CPC: drops faster" in worked(record).key_shown


@pytest.mark.parametrize(("pairs", "outcomes"), [(2, 3), (3, 4), (4, 5), (4, 4)])
def test_random_ticking_earns_little(pairs, outcomes):
    """Exact mean over every way of ticking, before the floor at 0 it is 0; the floor leaves less than 1/4."""
    ways = list(itertools.product(range(outcomes), repeat=pairs))
    right = [sum(choice == place for place, choice in enumerate(way)) for way in ways]
    raw = [(Fraction(r, pairs) - Fraction(1, outcomes)) / (1 - Fraction(1, outcomes)) for r in right]

    assert sum(raw) == 0
    for r, exact in zip(right, raw, strict=True):
        assert corrected(r, pairs, outcomes) == pytest.approx(max(0.0, float(exact)))
    assert sum(corrected(r, pairs, outcomes) for r in right) / len(ways) < 1 / 4


@given(st.lists(st.sampled_from(["down", "relief", "hold", "climb", "out"]), min_size=4, max_size=4))
def test_only_the_key_is_full_and_what_was_read_is_read_the_same_again(outcomes):
    """Any outcomes; wrong rows alone carry a belief."""
    pairs = dict(zip(KEY, outcomes, strict=True))
    response = read_response(RECORD, {"pairs": pairs})
    found = grade(RECORD, response)
    right = sum(pairs[left] == KEY[left] for left in KEY)

    assert read_response(RECORD, response) == response
    assert found.credit == pytest.approx(max(0, (right / 4 - 0.2) / 0.8))
    assert (found.outcome == "full") == (pairs == KEY)
    assert [row.id for row in found.rows if row.right] == [left for left in KEY if pairs[left] == KEY[left]]
    assert not any(row.right and row.belief for row in found.rows)


@pytest.mark.parametrize(
    ("raw", "sentence"),
    [
        ({}, "No pair"),
        ({"pairs": []}, "No pair"),
        ({"pairs": {"adc": "hold"}}, "'CPC' has no outcome yet"),
        ({"pairs": KEY | {"cpc": ""}}, "'CPC' has no outcome yet"),
        ({"pairs": KEY | {"cpc": "nowhere"}}, "none of this"),
        ({"pairs": KEY | {"other": "hold"}}, "none of this"),
    ],
)
def test_what_is_no_answer_is_refused_and_names_the_open_row(raw, sentence):
    """Nothing is graded."""
    record, _ = record_of()
    with pytest.raises(InputError, match=sentence):
        read_response(record, raw)


def test_both_sides_are_shown_and_nothing_of_the_pairs():
    """The left as written, outcomes shuffled; whether one may serve twice is said."""
    record, shown = record_of()
    _, twice = record_of(WHAT_NEXT.replace("gen: down}", "gen: hold}"))

    assert [left.id for left in shown.lefts] == list(KEY)
    assert sorted(option.id for option in shown.options) == sorted(record["order"])
    assert "once" in shown.hint and "twice" in twice.hint


FAULTS = [
    ("pairs: {adc: hold, ", "pairs: {", "bank-pair", 18),
    ("adc: hold,", "adc: hodl,", "bank-entry-unknown", 18),
    ("pairs: {adc", "pairs: {acd", "bank-entry-unknown", 18),
    ("{id: cpc, text", "{id: adc, text", "bank-entry-twice", 9),
    ("text: holds its present altitude", "text: goes on down as before", "bank-entry-twice", 15),
    ("right: out, belief", "right: relief, belief", "bank-belief-pair", 21),
    ("left: cpc, right: out, belief", "left: adc, right: down, belief", "bank-belief-twice", 21),
    ("adc: hold,", "adc: [hold],", "bank-pair", 18),
]


@pytest.mark.parametrize(("old", "new", "reference", "line"), FAULTS)
def test_an_authors_slip_is_found_at_its_line(old, new, reference, line):
    """Lines counted by hand in the text above."""
    found = [(finding.reference, finding.line) for finding in check(WHAT_NEXT.replace(old, new)).faults]

    assert (reference, line) in found


def test_a_last_pair_by_elimination_is_remarked():
    """items.md: more outcomes than failures."""
    text = "".join(
        line for line in WHAT_NEXT.splitlines(keepends=True) if "id: out" not in line and "cpc, right" not in line
    )

    assert "style-match-elimination" in [finding.reference for finding in check(text).remarks]


def test_one_thing_on_the_left_is_no_match():
    """It is a single choice."""
    text = WHAT_NEXT.replace("pairs: {adc: hold, cpc: relief, bleeds: climb, gen: down}", "pairs: {adc: hold}")
    text = "".join(
        line
        for line in text.splitlines(keepends=True)
        if not any(name in line for name in ("id: cpc", "id: bleeds", "id: gen", "left: cpc"))
    )

    assert [(finding.reference, finding.line) for finding in check(text).faults] == [("bank-lefts", 8)]


def test_every_slip_of_an_item_is_found_in_one_run():
    """An open row is told though another row names an outcome that is none."""
    text = WHAT_NEXT.replace("pairs: {adc: hold, cpc: relief", "pairs: {cpc: reliev")

    assert sorted(finding.reference for finding in check(text).faults) == ["bank-entry-unknown", "bank-pair"]


@pytest.mark.parametrize(
    ("change", "ramp"),
    [
        (("text: both bleeds", "text: both bleeds"), True),
        (("text: both bleeds", "text: " + "both bleeds " * 7), False),
        (("text: holds its present altitude", "text: " + "holds it " * 7), False),
        (("  pairs:", "    - {id: more, text: a sixth outcome}\n  pairs:"), False),
        (("  right:", "    - {id: fifth, text: dump}\n  right:"), False),
    ],
)
def test_up_to_four_pairs_and_five_short_outcomes_are_fit_for_a_short_set(change, ramp):
    """items.md: on the ramp up to 4 pairs; more than 5 options, or one of more than 12 words, is for a Long set."""
    text = WHAT_NEXT.replace(*change).replace(
        "gen: down}", "gen: down, fifth: hold}" if "fifth" in change[1] else "gen: down}"
    )

    assert check(text).items[0].ramp is ramp

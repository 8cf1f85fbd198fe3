"""Habits of a whole bank that give answers away, each planted in a bank of its own; and where keys stand when shown."""

import random
from collections import Counter

import pytest
from scipy.stats import chisquare

from quizsvc.bank.question import compile_item, issue
from tests.bank.bank_texts import check

HEAD = """\
- item: {id}
  kind: {kind}
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: Which is it?
"""
TAIL = "  why: Because.\n  author: first author\n  status: draft\n"
SHORT, MIDDLE, LONG = "it stays", "it goes up a little", "it goes up a little and then down"


def block(number, kind, body):
    return HEAD.format(id=f"item-{number}", kind=kind) + body + TAIL


def one(number, key, *others):
    lines = [f"    - {{id: key, text: {key}, key: true}}"]
    lines += [f"    - {{id: w{place}, text: {text}, belief: b{place}}}" for place, text in enumerate(others)]
    return block(number, "one", "  options:\n" + "\n".join(lines) + "\n")


def some(number, keys, count=4):
    lines = [
        f"    - {{id: o{place}, text: option {place}, " + ("key: true}" if place < keys else f"belief: b{place}}}")
        for place in range(count)
    ]
    return block(number, "some", "  options:\n" + "\n".join(lines) + "\n")


def match(number, rights):
    sides = "".join(
        f"  {side}:\n" + "".join(f"    - {{id: {side[0]}{place}, text: {side} {place}}}\n" for place in range(count))
        for side, count in (("left", 3), ("right", rights))
    )
    beliefs = "  beliefs: [{left: l0, right: r1, belief: turns it round}]\n"
    return block(number, "match", sides + "  pairs: {l0: r0, l1: r1, l2: r2}\n" + beliefs)


def remarks(text):
    """The remarks of style over the whole bank."""
    bank = check(text)
    assert not bank.faults, [finding.what for finding in bank.faults]
    return [f for f in bank.remarks if f.reference in BANK_WIDE]


BANK_WIDE = {"style-keys-longest", "style-keys-shortest", "style-key-counts", "style-match-once"}


@pytest.mark.parametrize(
    ("key", "others", "reference", "what"),
    [
        (
            LONG,
            (SHORT, MIDDLE),
            "style-keys-longest",
            "the longest option in 24 of 24 items with one key, by chance in 8",
        ),
        (SHORT, (LONG, MIDDLE), "style-keys-shortest", "the shortest option in 24 of 24 items with one key"),
    ],
)
def test_keys_that_stand_out_by_length(key, others, reference, what):
    """Found once for the bank, at the first such item, with the items' names."""
    (found,) = remarks("".join(one(number, key, *others) for number in range(24)))

    assert (found.reference, found.line, found.column, found.item) == (reference, 1, 3, "item-0")
    assert what in found.what and "item-0, item-1" in found.what and "and 18 more" in found.what
    assert found.mend and found.severity == "remark"


def test_keys_of_every_length_are_no_habit():
    """A third longest, a third shortest, a third between: what chance has."""
    turns = [(LONG, SHORT, MIDDLE), (SHORT, LONG, MIDDLE), (MIDDLE, LONG, SHORT)]

    assert remarks("".join(one(number, *turns[number % 3]) for number in range(24))) == []


def test_options_of_one_length_tell_nothing():
    """The key is among the longest, as every option is."""
    assert remarks("".join(one(number, "it goes up", "it goes on", "it is shut") for number in range(24))) == []


def test_a_few_items_are_no_habit():
    """Nineteen are too few to say anything."""
    assert remarks("".join(one(number, LONG, SHORT, MIDDLE) for number in range(19))) == []


def test_the_same_number_of_keys_everywhere():
    """Two of four, always; with other numbers among them it is no habit."""
    (found,) = remarks("".join(some(number, 2) for number in range(20)))

    assert (found.reference, found.item) == ("style-key-counts", "item-0")
    assert "20 of 20 items of kind 'some' have 2 keys" in found.what
    assert remarks("".join(some(number, 1 + number % 3) for number in range(20))) == []


def test_outcomes_that_serve_once_each():
    """Three and three; with one outcome left over it is no habit."""
    (found,) = remarks("".join(match(number, 3) for number in range(20)))

    assert (found.reference, found.item) == ("style-match-once", "item-0")
    assert "20 of 20" in found.what
    assert remarks("".join(match(number, 4) for number in range(20))) == []


def test_parts_of_a_scenario_count():
    """Twelve scenarios of two parts each are twenty-four questions."""
    part = (
        "    - id: {id}\n      concept: P-DIFF\n      kind: one\n      stem: Which?\n      options:\n"
        f"        - {{{{id: key, text: {LONG}, key: true}}}}\n        - {{{{id: w, text: {SHORT}, belief: b}}}}\n"
        f"        - {{{{id: x, text: {MIDDLE}, belief: c}}}}\n      why: Because.\n"
    )
    parts = "  parts:\n" + part.format(id="a") + part.format(id="b")

    (found,) = remarks("".join(block(number, "scenario", parts) for number in range(12)))

    assert "24 of 24 items with one key" in found.what


@pytest.mark.parametrize(("text", "count"), [(one(0, LONG, SHORT, MIDDLE), 3), (some(0, 1), 4)])
def test_the_key_stands_at_every_place_alike(text, count):
    """It stands first in the file; shown, each place is as likely as any other (chi-square, scipy)."""
    bank = check(text)
    item, rng = compile_item(bank.items[0].body, None), random.Random(20261125)
    places = Counter()
    for _ in range(3000):
        question = issue(item, rng)
        (key,) = question.record["keys"]
        places[question.order.index(key)] += 1

    assert chisquare([places[place] for place in range(count)]).pvalue > 0.001

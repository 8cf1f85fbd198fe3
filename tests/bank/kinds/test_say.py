"""Kind `say`: ticked points against those of a full answer (worked item S11)."""

from __future__ import annotations

import functools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.errors import InputError
from tests.bank.bank_texts import check

# S11: eight points; five of them including 1, 2 and 4 are full.
BOTH_GENERATORS = """\
- item: both-generators
  kind: say
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: Thirty seconds, aloud. Both generators are off at FL370, battery on. What have you got for the cabin?
  speak: 30 s
  points:
    - {id: cpc, text: "CPC dead, valves closing", must: true}
    - {id: man, text: "MAN now; the thumbwheel needs no power", must: true}
    - {id: bleeds, text: bleeds still flow}
    - {id: warn, text: CABIN ALT and automatic masks alive on ESS, must: true}
    - {id: dump, text: dump alive}
    - {id: brakes, text: no speedbrakes}
    - {id: hour, text: 60 minutes}
    - {id: gauge, text: "gauge, not digits"}
  full: 5
  why: Both mains are gone and ESS lives on the battery.
  author: first author
  status: draft
"""
ALL = ("cpc", "man", "bleeds", "warn", "dump", "brakes", "hour", "gauge")


@functools.cache
def compiled():
    """The item, checked and compiled once."""
    bank = check(BOTH_GENERATORS)
    assert bank.faults == [], bank.faults
    return compile_item(bank.items[0].body, None)


def graded(*points):
    """The grade of some ticked points."""
    record = issue(compiled(), random.Random(1)).record
    return grade(record, read_response(record, {"points": list(points)}))


@pytest.mark.parametrize(
    ("points", "outcome", "credit"),
    [
        (("cpc", "man", "warn", "dump", "gauge"), "full", 1.0),
        (ALL, "full", 1.0),
        (("cpc", "man", "warn", "dump"), "part", 0.8),
        (("cpc", "man", "dump", "brakes", "hour", "gauge"), "part", 0.8),
        ((), "miss", 0.0),
    ],
)
def test_five_points_with_the_three_that_must_come_are_full(points, outcome, credit):
    """S11; six points without CABIN ALT are no full answer."""
    found = graded(*points)

    assert (found.outcome, found.credit) == (outcome, pytest.approx(credit))


def test_what_must_come_and_did_not_is_named():
    """By its own words."""
    assert "CABIN ALT and automatic masks" in graded("cpc", "man", "dump", "brakes", "hour").remark


@given(st.sets(st.sampled_from(ALL)))
def test_credit_never_falls_with_one_more_point_and_is_full_only_when_all_musts_came(points):
    """Properties over every choice of points."""
    found = graded(*points)

    assert 0 <= found.credit <= 1
    assert (found.outcome == "full") == (len(points) >= 5 and {"cpc", "man", "warn"} <= points)
    for more in set(ALL) - points:
        assert graded(*points, more).credit >= found.credit


def test_the_points_are_not_on_the_first_screen():
    """They are the model answer."""
    item = compiled()
    issued = issue(item, random.Random(1))
    first = present(item, issued.drawn, issued.order)
    second = present(item, issued.drawn, issued.order, spoken=True)

    assert first.points == () and first.model is None
    assert first.speak_s == 30.0
    assert [point.id for point in second.points] == list(ALL)
    assert "ESS lives" in second.model


def test_oral_practice_owes_the_checklist_caution():
    """C5 (vocabulary.md)."""
    assert "C5" in check(BOTH_GENERATORS).items[0].body["cautions"]


@pytest.mark.parametrize("raw", [{}, {"points": "cpc"}, {"points": ["nobody"]}])
def test_what_is_no_answer_is_refused(raw):
    """A sentence, nothing graded."""
    record = issue(compiled(), random.Random(1)).record
    with pytest.raises(InputError) as caught:
        read_response(record, raw)
    assert caught.value.reference == "response-unreadable"


FAULTS = [
    ("full: 5", "full: 9", "bank-full", 17),
    ("full: 5", "full: 2", "bank-full", 17),
    ("speak: 30 s", "speak: 30 ft", "bank-speak", 7),
    ("speak: 30 s", "speak: 1 h", "bank-speak", 7),
    ("{id: man, text", "{id: cpc, text", "bank-point-twice", 10),
    ("  full: 5\n", "", "bank-word-missing", 1),
    ("text: dump alive", "text: bleeds still flow", "bank-point-twice", 13),
]


@pytest.mark.parametrize(("old", "new", "reference", "line"), FAULTS)
def test_an_authors_slip_is_found_at_its_line(old, new, reference, line):
    """Lines counted by hand in the text above."""
    found = [(finding.reference, finding.line) for finding in check(BOTH_GENERATORS.replace(old, new)).faults]

    assert (reference, line) in found

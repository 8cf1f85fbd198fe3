"""What must be known first, in the shipped concepts.

Source of the arrows: the domain paper "Knowledge map", section "Concepts depend on one another", in its own writing.
Every other arrow is the authors' own and says so on its line.
"""

from __future__ import annotations

import re
from graphlib import TopologicalSorter

import pytest

from tests.bank.bank_texts import SHIPPED

MAP = """\
G-ISA -> P-DIFF -> P-SCHED -> P-HOLD -> P-PRIOR
P-LDG -> P-STALE ;  P-RATE -> P-CATCH ;  P-LDG -> H-SWITCH -> H-GATE -> H-REGIME -> H-WARN -> H-LOST
A-SRC -> C-KNOW -> C-LOSE -> C-TGT -> C-LAND -> L-DIV
E-TREE -> E-TIE -> E-GENBUS -> E-TWICE ;  E-BUS -> D-BUS, W-ALT, O-AUTO, K-SPD -> E-ESS, E-HOT
P-VALVES -> C-FAIL -> C-LOW ;  B-SENSE -> B-R ;  B-EJ -> M-AUTH -> M-NOBLEED
G-DALTON -> G-PO2 -> Y-TUC ;  G-CHOKE -> L-LEAK -> L-DESC ;  G-CHARLES -> O-TEMP -> O-PLAN
"""
OWN = "common practice, no source"
BLOCK = re.compile(r"^- concept: (\S+)\n((?:  .*\n)*)", re.MULTILINE)
FIRST = re.compile(r"^  first: \[(.*)\](?:  # (?:(.*): )?(.*))?$", re.MULTILINE)


def printed():
    """The arrows of the map, as pairs of before and after."""
    pairs = set()
    for chain in re.split(r"[;\n]", MAP):
        steps = [[name.strip() for name in step.split(",")] for step in chain.split("->") if step.strip()]
        for befores, afters in zip(steps, steps[1:], strict=False):
            pairs |= {(before, after) for before in befores for after in afters}
    return pairs


@pytest.fixture(scope="module")
def shipped():
    """Every concept with what comes before it, and which of these its line calls the authors' own."""
    found = {}
    for folder in ("general", "tolquenny-19"):
        text = (SHIPPED / folder / "concepts.yaml").read_text(encoding="utf-8")
        for concept, body in BLOCK.findall(text):
            line = FIRST.search(body)
            names = line[1].split(", ") if line else []
            own = () if not line or line[3] is None else line[2].split(", ") if line[2] else names
            assert line is None or line[3] in (None, OWN), concept
            found[concept] = (names, set(own))
    return found


def test_the_map_is_read_as_printed():
    """Counted by hand, line by line: 4, 7, 5, 15, 5 and 6."""
    assert 42 == len(printed())


def test_every_arrow_of_the_map_is_there(shipped):
    """And carries no remark that it was somebody's own."""
    there = {(before, concept) for concept, (names, _) in shipped.items() for before in names}

    assert 117 == len(shipped)
    assert set() == printed() - there
    assert set() == printed() & {(before, concept) for concept, (_, own) in shipped.items() for before in own}


def test_every_other_arrow_says_that_it_has_no_source(shipped):
    """An arrow that is not of the map is marked on its line."""
    unmarked = {(before, concept) for concept, (names, own) in shipped.items() for before in names if before not in own}

    assert set() == unmarked - printed()


def test_no_arrow_leads_back_or_out_of_the_bank(shipped):
    """Python's own sorter finds an order; every name is a concept; what is general waits for no aircraft."""
    order = list(TopologicalSorter({concept: names for concept, (names, _) in shipped.items()}).static_order())
    general = {name for name in shipped if name[0] in "GYZ"}

    assert set(order) == set(shipped)
    assert general == {name for name in general if set(shipped[name][0]) <= general}
    assert len(general) == 35  # as the map says


def test_nothing_that_follows_anyway_is_listed(shipped):
    """An arrow beside a longer way between the same two says nothing, unless the map prints it."""

    def before(name):
        return {other for one in shipped[name][0] for other in ({one} | before(one))}

    needless = {
        (one, concept)
        for concept, (names, _) in shipped.items()
        for one in names
        if any(one in before(other) for other in names if other != one)
    }

    assert set() == needless - printed()

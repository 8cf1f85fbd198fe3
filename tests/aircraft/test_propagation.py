"""Propagation against a second evaluation of the file's raw needs, over all single and double failures.

The second evaluation reads the YAML by itself (PyYAML), orders the nodes by `networkx.topological_sort`, and works the
needs out as numpy truth tables: neither our reader nor our graph, order or arithmetic takes part in it.
"""

from __future__ import annotations

import itertools

import networkx
import numpy as np
import pytest
import yaml

from quizsvc.aircraft.failures import doubles, evaluate, singles, working
from tests.aircraft.files import TOLQUENNY, aircraft_of

GRAPH = aircraft_of(TOLQUENNY).graph
RAW = yaml.safe_load(TOLQUENNY)
NODES = list(RAW["nodes"])
POSITIONS = {switch: words["positions"] for switch, words in RAW["switches"].items()}
NORMAL = {switch: words["normal"] for switch, words in RAW["switches"].items()}
FAILS = [(), *((key,) for key in NODES), *itertools.combinations(NODES, 2)]
SETTINGS = [dict(zip(POSITIONS, chosen, strict=True)) for chosen in itertools.product(*POSITIONS.values())]
"""Every combination of switch positions."""


def _named(need):
    """Node names in a raw need."""
    if isinstance(need, str):
        return [need]
    word, value = next(iter(need.items()))
    if word == "lost":
        return [value]
    return [name for entry in value for name in _named(entry)] if word in ("any", "all") else []


def _order():
    graph = networkx.DiGraph()
    graph.add_nodes_from(NODES)
    for key, words in RAW["nodes"].items():
        graph.add_edges_from((name, key) for need in words.get("needs", []) for name in _named(need))
    return list(networkx.topological_sort(graph))


def _table(setting, fails=FAILS):
    """Node to truth over all the failures, with the switches at one setting."""
    states = {}

    def met(need):
        if isinstance(need, str):
            return states[need]
        if "any" in need:
            return np.logical_or.reduce([met(entry) for entry in need["any"]])
        if "all" in need:
            return np.logical_and.reduce([met(entry) for entry in need["all"]])
        if "lost" in need:
            return ~states[need["lost"]]
        return np.full(len(fails), setting[need["switch"]] == need["at"])

    for key in _order():
        up = np.array([key not in fail for fail in fails])
        states[key] = np.logical_and.reduce([up, *(met(need) for need in RAW["nodes"][key].get("needs", []))])
    return states


def test_every_single_and_double_failure_with_every_switch_setting():
    """No difference in 2,416 failures times 40 settings times 69 nodes."""
    assert len(FAILS) == 1 + 69 + 69 * 68 // 2
    assert len(SETTINGS) == 40
    differences = 0
    for setting in SETTINGS:
        ours = GRAPH.program.run([(fail, setting) for fail in FAILS])
        for key, expected in _table(setting).items():
            number = int("".join("1" if works else "0" for works in expected[::-1]), 2)
            differences += (ours[key] ^ number).bit_count()

    assert differences == 0


@pytest.mark.parametrize("moved", [{}, {"AIR_DATA": "2"}, {"BATT": "OFF"}, {"BLEED": "R"}, {"PRESS": "MAN"}])
def test_what_an_action_brings_back(moved):
    """Works, lost and after of all single and double failures are what the truth tables of all settings make them."""
    setting = NORMAL | moved
    before = _table(setting)
    actions = {f"{row['switch']} {row['to']}": _table(setting | {row["switch"]: row["to"]}) for row in RAW["actions"]}
    expected = []
    for place in range(len(FAILS)):
        works = {key for key in NODES if before[key][place]}
        after = {
            key: tuple(action for action, table in actions.items() if table[key][place])
            for key in NODES
            if key not in works and any(table[key][place] for table in actions.values())
        }
        expected.append((works, set(NODES) - works - set(after), after))
    found = list(singles(GRAPH, moved)) + list(doubles(GRAPH, moved))

    assert [fail for fail, _ in found] == FAILS[1:]
    assert [(state.works, state.lost, state.after) for _, state in found] == expected[1:]


def test_one_state_at_a_time_says_the_same():
    """`evaluate` and `working` of one state agree with the enumeration of all."""
    for fail, state in itertools.islice(doubles(GRAPH, {"BATT": "OFF"}), 0, None, 37):
        assert evaluate(GRAPH, fail, {"BATT": "OFF"}) == state
        assert working(GRAPH, fail, {"BATT": "OFF"}) == state.works


def test_the_three_sorts_cover_the_graph_without_overlap():
    """A node works, is lost, or comes back: one of them."""
    for _, state in singles(GRAPH, {"BATT": "OFF"}):
        assert sorted([*state.works, *state.lost, *state.after]) == sorted(NODES)

"""All single and double failures of the graph, with what each action brings back, against one state after another."""

from __future__ import annotations

import dataclasses
import timeit
from collections.abc import Mapping
from itertools import combinations

from quizsvc.aircraft.failures import doubles, evaluate, path, singles
from quizsvc.aircraft.graph import Graph, graph_from_canonical
from quizsvc.aircraft.needs import AnyOf, Lost, Need, SwitchAt, Works
from tests.aircraft.files import TOLQUENNY, aircraft_of
from tests.benchmarks import Row, best_seconds


def _recursive(graph: Graph, fail: tuple[str, ...], positions: Mapping[str, str]) -> frozenset[str]:
    """A state the plain way: each node asks those it needs, and remembers what they said."""
    said: dict[str, bool] = {}

    def works(key: str) -> bool:
        if key not in said:
            said[key] = key not in fail and all(met(need) for need in graph.nodes[key].needs)
        return said[key]

    def met(need: Need) -> bool:
        if isinstance(need, Works):
            return works(need.node)
        if isinstance(need, Lost):
            return not works(need.node)
        if isinstance(need, SwitchAt):
            return positions[need.switch] == need.position
        return (any if isinstance(need, AnyOf) else all)(met(entry) for entry in need.needs)

    return frozenset(key for key in graph.nodes if works(key))


def _recursive_doubles(graph: Graph) -> int:
    """All double failures and each action in them, by the plain way; how many nodes come back, over all."""
    normal = {key: switch.normal for key, switch in graph.switches.items()}
    actions = [normal | {action.switch: action.to} for action in graph.actions if normal[action.switch] != action.to]
    back = 0
    for fail in combinations(graph.nodes, 2):
        before = _recursive(graph, fail, normal)
        back += len(frozenset().union(*(_recursive(graph, fail, positions) for positions in actions)) - before)
    return back


def _twice(graph: Graph) -> Graph:
    """The graph with a copy of itself beside it: twice the nodes, four times the pairs."""
    plain = graph.canonical()
    copied = {}
    for key, words in plain["nodes"].items():
        copied[f"{key}_B"] = {**words, "needs": _renamed(words["needs"]), "bus": words["bus"] and f"{words['bus']}_B"}
    return graph_from_canonical({**plain, "nodes": plain["nodes"] | copied})


def _renamed(need: object) -> object:
    if isinstance(need, str):
        return f"{need}_B"
    if isinstance(need, list):
        return [_renamed(entry) for entry in need]
    assert isinstance(need, dict)
    return {word: value if word in ("switch", "at") else _renamed(value) for word, value in need.items()}


def run() -> list[Row]:
    """The same double failures both ways in one run; growth is time a pair with twice the nodes, so 2 is linear."""
    graph = aircraft_of(TOLQUENNY).graph
    large = _twice(graph)
    pairs, large_pairs = (len(list(combinations(g.nodes, 2))) for g in (graph, large))
    assert sum(len(state.after) for _, state in doubles(graph)) == _recursive_doubles(graph)

    ours = best_seconds(lambda: list(doubles(graph)), repeats=5)
    peer = best_seconds(lambda: _recursive_doubles(graph), repeats=2)
    more = best_seconds(lambda: list(doubles(large)), repeats=2)
    bits = best_seconds(lambda: graph.program.run([(fail, {}) for fail in combinations(graph.nodes, 2)]))
    once = best_seconds(lambda: list(singles(graph)))
    one = min(timeit.repeat(lambda: evaluate(graph, ("L_GEN", "TIE")), number=500, repeat=5)) / 500
    why = min(timeit.repeat(lambda: path(graph, "AUTO", ("L_GEN", "TIE")), number=100, repeat=5)) / 100
    make = best_seconds(lambda: dataclasses.replace(graph).program)
    return [
        Row(f"failures: {pairs:,} doubles with their actions, one by one", peer * 1e3, "ms"),
        Row(f"failures: {pairs:,} doubles with their actions", ours * 1e3, "ms", peer / ours, "at least 10"),
        Row(f"failures: {pairs:,} doubles, works or not", bits * 1e3, "ms"),
        Row("failures: growth a pair with twice the nodes", more / large_pairs * 1e6, "us",
            (more / large_pairs) / (ours / pairs), "at most 3"),
        Row("failures: 69 singles with their actions", once * 1e3, "ms"),
        Row("failures: one state with its actions", one * 1e6, "us"),
        Row("failures: why one part is lost", why * 1e6, "us"),
        Row("failures: make the graph ready, once", make * 1e6, "us"),
    ]  # fmt: skip

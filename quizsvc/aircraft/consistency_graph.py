"""Whether the graph of an aircraft file agrees with itself and with what the file says of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator

from quizsvc.aircraft.consistency import Contradiction
from quizsvc.aircraft.failures import broken_claims, consequence, evaluation_order
from quizsvc.aircraft.graph import Graph, Node
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.needs import Works, circle_words, switches_in
from quizsvc.errors import InputError

__all__ = ["graph_contradictions"]


def graph_contradictions(aircraft: Aircraft) -> Iterator[Contradiction]:
    """The graph against itself: circles, buses, roles, switches, claims of failures, numbers in their consequences.

    Parameters
    ----------
    aircraft : Aircraft
        A description that was read without faults.

    Yields
    ------
    Contradiction
        One for each rule that is broken.
    """
    graph = aircraft.graph
    yield from _named_nodes(aircraft)
    for key, node in graph.nodes.items():
        yield from _bus(graph, key, node)
    for key, failure in graph.failures.items():
        try:
            consequence(aircraft, failure)
        except InputError as error:
            yield Contradiction(("failures", key, "consequence"), f"aircraft-{error.reference}", error.what, error.mend)
    circle = evaluation_order(graph)[1]
    if circle:
        words = circle_words({key: node.needs for key, node in graph.nodes.items()}, circle)
        yield Contradiction(
            ("nodes", words.partition(" ")[0], "needs"),
            "aircraft-graph-circle",
            f"nodes need each other in a circle: {words}",
            "take one of these needs out",
        )
        return
    yield from _switches(graph)
    yield from _claims(graph)


def _named_nodes(aircraft: Aircraft) -> Iterator[Contradiction]:
    """Nodes that other sections name: they must be there, and the same thing must not be two nodes."""
    named: list[tuple[tuple[str, str], str]] = []
    if aircraft.dump is not None:
        named.append((("dump", "node"), aircraft.dump.node))
    if aircraft.roles is not None:
        for entry in dataclasses.fields(aircraft.roles):
            role = getattr(aircraft.roles, entry.name)
            if role is not None:
                named.append((("roles", entry.name), role))
    for path, name in named:
        if name not in aircraft.nodes:
            yield Contradiction(
                path, "aircraft-name-unknown", f"'{name}' is no node of this file", "name a node of the graph"
            )
    if aircraft.dump is not None and aircraft.roles is not None:
        role = aircraft.roles.dump
        if role is not None and role != aircraft.dump.node:
            yield Contradiction(
                ("roles", "dump"),
                "aircraft-role",
                f"'dump' says that it is {aircraft.dump.node}, 'roles' that it is {role}",
                "name the same node in both",
            )


def _bus(graph: Graph, key: str, node: Node) -> Iterator[Contradiction]:
    direct = [need.node for need in node.needs if isinstance(need, Works)]
    if node.bus is not None and node.bus not in direct:
        yield Contradiction(
            ("nodes", key, "bus"),
            "aircraft-bus",
            f"{key} draws its current from {node.bus}, but its needs name {', '.join(direct) or 'nothing'}",
            f"add {node.bus} to its needs, or correct its bus",
        )
    behind = graph.nodes[node.bus].bus if node.bus is not None else None
    if behind is not None:
        yield Contradiction(
            ("nodes", key, "bus"),
            "aircraft-bus",
            f"{key} draws its current from {node.bus}, which draws its own from {behind}",
            f"name the bus itself, such as {behind}",
        )
    if (node.bus is None) != (node.amps is None):
        there, lacks = ("bus", "amps") if node.amps is None else ("amps", "bus")
        yield Contradiction(
            ("nodes", key),
            "aircraft-bus",
            f"{key} has '{there}' and lacks '{lacks}'",
            "give both, or neither",
        )


def _switches(graph: Graph) -> Iterator[Contradiction]:
    """A switch that changes nothing, with nothing or any one node failed, is a need that somebody forgot."""
    fails = [(), *((key,) for key in graph.nodes)]
    still = graph.program.run([(fail, {}) for fail in fails])
    for key, switch in graph.switches.items():
        others = [position for position in switch.positions if position != switch.normal]
        if any(graph.program.run([(fail, {key: position}) for fail in fails]) != still for position in others):
            continue
        named = [name for name, node in graph.nodes.items() if key in switches_in(node.needs)]
        yield Contradiction(
            ("switches", key),
            "aircraft-switch-idle",
            f"moving {key} changes nothing, with all well or any one node failed; "
            + (f"needs of {', '.join(named)} name it" if named else "no need names it"),
            f"add {{switch: {key}, at: {switch.normal}}} to the needs of what it moves, or take the switch out",
        )


def _claims(graph: Graph) -> Iterator[Contradiction]:
    for key, failure in graph.failures.items():
        for word, name, says in broken_claims(graph, failure):
            claim = {
                "expect_kept": "works",
                "expect_lost": "is lost",
                "expect_after": f"works after {failure.expect_after.get(name)} and not before",
            }[word]
            yield Contradiction(
                ("failures", key, word, name) if word == "expect_after" else ("failures", key, word),
                "aircraft-failure-claim",
                f"{key} claims that {name} {claim}, the graph says that it {says}",
                "correct the claim or the graph",
            )

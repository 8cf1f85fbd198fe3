"""A part of the graph as a picture description: how one component is fed, and where its feed breaks."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from quizsvc.aircraft.explanation import path
from quizsvc.aircraft.failures import State, evaluate
from quizsvc.aircraft.graph import Graph
from quizsvc.aircraft.needs import AllOf, AnyOf, Lost, Need, Works, named_in

__all__ = ["chain_diagram", "edges_between", "node_kind", "node_state", "short_name"]


def short_name(graph: Graph, key: str) -> str:
    """A component's name without what stands in brackets.

    Parameters
    ----------
    graph : Graph
        Of any shape.
    key : str
        Id of the node.

    Returns
    -------
    str
        Such as `CABIN ALT warning` for `CABIN ALT warning (own pressure switch)`.
    """
    return graph.nodes[key].name.partition(" (")[0]


def node_kind(graph: Graph, key: str) -> str:
    """What sort of node a picture shows.

    Parameters
    ----------
    graph : Graph
        Of any shape.
    key : str
        Id of the node.

    Returns
    -------
    str
        `bus` where others draw current from it, `source` where it needs no other node, else `part`.
    """
    if any(node.bus == key for node in graph.nodes.values()):
        return "bus"
    return "part" if any(named_in(graph.nodes[key].needs)) else "source"


def node_state(state: State, key: str, fail: Collection[str]) -> str:
    """The state of a node in one word of a picture.

    Parameters
    ----------
    state : State
        What `evaluate` gave.
    key : str
        Id of the node.
    fail : collection of str
        Nodes that have failed.

    Returns
    -------
    str
        `failed` by itself, `after` an action, `works` or `lost`.
    """
    if key in fail:
        return "failed"
    return "works" if key in state.works else "after" if key in state.after else "lost"


def edges_between(graph: Graph, keys: Collection[str]) -> list[dict[str, Any]]:
    """Who feeds whom among some nodes.

    Parameters
    ----------
    graph : Graph
        Of any shape.
    keys : collection of str
        Ids of the nodes that are drawn.

    Returns
    -------
    list of dict
        `from`, `to`, and `one-of`: whether another feed would do as well.
    """
    found: dict[tuple[str, str], bool] = {}
    for key in keys:
        for name, one_of in _feeds(graph.nodes[key].needs, False):
            if name in keys:
                found[name, key] = found.get((name, key), True) and one_of
    return [{"from": name, "to": key, "one-of": one_of} for (name, key), one_of in found.items()]


def _feeds(needs: tuple[Need, ...], one_of: bool) -> Iterator[tuple[str, bool]]:
    for need in needs:
        if isinstance(need, Works | Lost):
            yield need.node, one_of
        elif isinstance(need, AnyOf | AllOf):
            yield from _feeds(need.needs, one_of or isinstance(need, AnyOf))


def chain_diagram(
    graph: Graph, node: str, fail: Collection[str], switches: Mapping[str, str] | None = None
) -> dict[str, Any]:
    """The chain of one component, the failed neighbours of the chain, and the feeds that could serve instead.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    node : str
        The component.
    fail : collection of str
        Nodes that have failed.
    switches : mapping of str to str, optional
        Positions of switches that do not stand at normal.

    Returns
    -------
    dict
        A picture description of type `graph`: nodes with states, edges, the path from the source, and the node at which
        it breaks, None where it does not.

    Raises
    ------
    InputError
        `graph-circle`, `graph-name-unknown`.
    """
    state = evaluate(graph, fail, switches)
    steps = path(graph, node, fail, switches)
    way = [step.node for step in steps]
    shown = dict.fromkeys(way)
    for key in way:
        near = named_in(graph.nodes[key].needs)
        shown.update(dict.fromkeys(name for name in near if name not in state.works or key == node))
    order = [key for key in graph.nodes if key in shown]
    broken = steps[0].node if node not in state.works and steps[0].state != "works" else None
    return {
        "type": "graph",
        "title": f"Way to {short_name(graph, node)}",
        "nodes": [
            {
                "id": key,
                "name": short_name(graph, key),
                "state": node_state(state, key, fail),
                "kind": node_kind(graph, key),
            }
            for key in order
        ],
        "edges": edges_between(graph, order),
        "path": way,
        "break": broken,
    }

"""What the graph says in a state: which components work, and what one crew action brings back."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping

from quizsvc.aircraft.graph import AllOf, AnyOf, Failure, Graph, Lost, Need, SwitchAt, Works, named_in
from quizsvc.aircraft.model import Aircraft
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, unit

__all__ = ["broken_claims", "consequence", "evaluation_order", "restored_by", "working"]

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


def evaluation_order(graph: Graph) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Nodes so that each stands after those it needs, and the nodes that need each other in a circle.

    Parameters
    ----------
    graph : Graph
        A graph whose names are all known.

    Returns
    -------
    tuple of tuple of str
        The order, and the nodes that have no place in it; none where there is no circle.
    """
    waiting = {key: set(named_in(node.needs)) for key, node in graph.nodes.items()}
    needed_by: dict[str, list[str]] = {}
    for key, needs in waiting.items():
        for need in needs:
            needed_by.setdefault(need, []).append(key)
    ready = [key for key, needs in waiting.items() if not needs]
    order: list[str] = []
    while ready:
        done = ready.pop()
        order.append(done)
        for key in needed_by.get(done, ()):
            waiting[key].discard(done)
            if not waiting[key]:
                ready.append(key)
    placed = set(order)
    return tuple(order), tuple(key for key in graph.nodes if key not in placed)


def working(graph: Graph, fail: Collection[str], switches: Mapping[str, str] | None = None) -> frozenset[str]:
    """The components that work with some failed and the switches as they stand.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    fail : collection of str
        Nodes that have failed.
    switches : mapping of str to str, optional
        Positions of switches that do not stand at normal.

    Returns
    -------
    frozenset of str
        Ids of the working nodes.

    Raises
    ------
    InputError
        `graph-circle`, naming the nodes that need each other; `graph-name-unknown`.
    """
    order, circle = evaluation_order(graph)
    if circle:
        raise InputError("graph-circle", f"nodes need each other in a circle: {', '.join(circle)}", mend="break it")
    unknown = (set(fail) - set(graph.nodes)) | (set(switches or ()) - set(graph.switches))
    if unknown:
        raise InputError("graph-name-unknown", f"not in the graph: {', '.join(sorted(unknown))}", mend="use its names")
    positions = {key: switch.normal for key, switch in graph.switches.items()} | dict(switches or {})
    works: set[str] = set()
    for key in order:
        if key not in fail and all(_met(need, works, positions) for need in graph.nodes[key].needs):
            works.add(key)
    return frozenset(works)


def _met(need: Need, works: set[str], positions: Mapping[str, str]) -> bool:
    if isinstance(need, Works):
        return need.node in works
    if isinstance(need, Lost):
        return need.node not in works
    if isinstance(need, SwitchAt):
        return positions[need.switch] == need.position
    if isinstance(need, AnyOf):
        return any(_met(entry, works, positions) for entry in need.needs)
    assert isinstance(need, AllOf)
    return all(_met(entry, works, positions) for entry in need.needs)


def restored_by(
    graph: Graph, fail: Collection[str], switches: Mapping[str, str] | None = None
) -> dict[str, tuple[str, ...]]:
    """The single actions after which a component works that does not work before.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    fail : collection of str
        Nodes that have failed.
    switches : mapping of str to str, optional
        Positions of switches that do not stand at normal.

    Returns
    -------
    dict of str to tuple of str
        Ids of actions by node, for the nodes that an action brings back.

    Raises
    ------
    InputError
        As `working`.
    """
    before = working(graph, fail, switches)
    found: dict[str, tuple[str, ...]] = {}
    for action in graph.actions:
        after = working(graph, fail, dict(switches or {}) | {action.switch: action.to})
        for key in after - before:
            found[key] = (*found.get(key, ()), action.id)
    return found


def broken_claims(graph: Graph, failure: Failure) -> Iterator[tuple[str, str, str]]:
    """The hand-written claims of a failure that the graph does not bear out.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    failure : Failure
        One of its failures.

    Yields
    ------
    tuple of str
        Word of the claim (`expect_lost` ...), node, and what the graph says of it.
    """
    works = working(graph, failure.fail, failure.switches)
    restored = restored_by(graph, failure.fail, failure.switches)

    def state(node: str) -> str:
        if node in works:
            return "works"
        return f"works after {' or '.join(restored[node])}" if node in restored else "is lost, whatever single action"

    for node in failure.expect_kept:
        if node not in works:
            yield "expect_kept", node, state(node)
    for node in failure.expect_lost:
        if node in works or node in restored:
            yield "expect_lost", node, state(node)
    for node, action in failure.expect_after.items():
        if action not in restored.get(node, ()):
            yield "expect_after", node, state(node)


def consequence(aircraft: Aircraft, failure: Failure) -> str:
    """The consequence of a failure in words, with the aircraft's own numbers filled in.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    failure : Failure
        One of its failures.

    Returns
    -------
    str
        The text; `{name:unit:decimals}` has become a printed quantity.

    Raises
    ------
    InputError
        `placeholder-unreadable` or `unit-unknown`: a placeholder names no constant, or no unit of its dimension.
    """
    constants = aircraft.constants()

    def printed(match: re.Match[str]) -> str:
        name, _, rest = match.group(1).partition(":")
        unit_name, _, decimals = rest.partition(":")
        constant = constants.get(name)
        if constant is None or not re.fullmatch(r"-?[0-9]", decimals):
            raise _unreadable(match.group(0), "write {constant:unit:decimals} with a number of this file")
        if unit(unit_name).dimension != constant.dimension:
            raise _unreadable(match.group(0), f"'{name}' is a {constant.dimension}; use a unit of that")
        return format_quantity(constant.value_si, unit_name, int(decimals))

    return _PLACEHOLDER.sub(printed, failure.consequence)


def _unreadable(placeholder: str, mend: str) -> InputError:
    return InputError("placeholder-unreadable", f"'{placeholder}' cannot be filled in", mend=mend)

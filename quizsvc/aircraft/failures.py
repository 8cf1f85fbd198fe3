"""What the graph says in a state: which components work, and what one crew action brings back."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import TypeVar

from quizsvc.aircraft.explanation import Cause, Step, causes, path
from quizsvc.aircraft.graph import Action, Failure, Graph
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.needs import in_order
from quizsvc.aircraft.propagation import bits, columns
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, unit

__all__ = [
    "Cause",
    "State",
    "Step",
    "broken_claims",
    "causes",
    "consequence",
    "doubles",
    "evaluate",
    "evaluation_order",
    "path",
    "restored_by",
    "singles",
    "working",
]

_MOST_LANES = 4096
"""States worked out in one pass: enough to make a state cheap, few enough to stay in memory for any graph."""

_Fail = TypeVar("_Fail", bound=tuple[str, ...])

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True)
class State:
    """What the graph says in one state.

    `works` and `lost` are ids of nodes; `after` gives, for each node that one action brings back, the ids of all the
    actions that do so alone. The three have no node in common and cover the graph.
    """

    works: frozenset[str]
    lost: frozenset[str]
    after: Mapping[str, tuple[str, ...]]


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
    return in_order({key: node.needs for key, node in graph.nodes.items()})


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
    return frozenset(key for key, works in graph.program.run([(fail, switches or {})]).items() if works)


def evaluate(graph: Graph, fail: Collection[str], switches: Mapping[str, str] | None = None) -> State:
    """What works, what is lost, and what each single action brings back.

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
    State
        Of every node of the graph.

    Raises
    ------
    InputError
        As `working`.
    """
    moved, actions = dict(switches or {}), _moving(graph, switches or {})
    numbers = graph.program.run([(fail, moved), *((fail, moved | {a.switch: a.to}) for a in actions)])
    works = frozenset(key for key, number in numbers.items() if number & 1)
    after = {
        key: tuple(action.id for place, action in enumerate(actions, start=1) if numbers[key] >> place & 1)
        for key in graph.nodes
        if numbers[key] and key not in works
    }
    return State(works, frozenset(key for key, number in numbers.items() if not number), after)


def _moving(graph: Graph, switches: Mapping[str, str]) -> list[Action]:
    """The actions that would move a switch from where it stands."""
    positions = graph.program.normal | dict(switches)
    return [action for action in graph.actions if positions.get(action.switch) != action.to]


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
    return dict(evaluate(graph, fail, switches).after)


def singles(graph: Graph, switches: Mapping[str, str] | None = None) -> Iterator[tuple[tuple[str], State]]:
    """Every node failed alone, with what the graph says then.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    switches : mapping of str to str, optional
        Positions of switches that do not stand at normal.

    Yields
    ------
    tuple of tuple of str and State
        The failed node and the state, in the order of the graph.

    Raises
    ------
    InputError
        As `working`.
    """
    yield from _all_states(graph, [(key,) for key in graph.nodes], switches or {})


def doubles(graph: Graph, switches: Mapping[str, str] | None = None) -> Iterator[tuple[tuple[str, str], State]]:
    """Every pair of nodes failed together, with what the graph says then.

    Parameters
    ----------
    graph : Graph
        A graph without circles.
    switches : mapping of str to str, optional
        Positions of switches that do not stand at normal.

    Yields
    ------
    tuple of tuple of str and State
        The two failed nodes and the state, in the order of the graph.

    Raises
    ------
    InputError
        As `working`.
    """
    yield from _all_states(graph, list(combinations(graph.nodes, 2)), switches or {})


def _all_states(graph: Graph, fails: list[_Fail], switches: Mapping[str, str]) -> Iterator[tuple[_Fail, State]]:
    """States of many failures in few passes: one for the state itself, one for each action."""
    actions = _moving(graph, switches)
    nodes = frozenset(graph.nodes)
    for start in range(0, len(fails), _MOST_LANES):
        some = fails[start : start + _MOST_LANES]
        before = graph.program.run([(fail, switches) for fail in some])
        afters: list[dict[str, tuple[str, ...]]] = [{} for _ in some]
        for action in actions:
            moved = dict(switches) | {action.switch: action.to}
            for key, number in graph.program.run([(fail, moved) for fail in some]).items():
                for place in bits(number & ~before[key]):
                    afters[place][key] = (*afters[place].get(key, ()), action.id)
        for fail, works, after in zip(some, columns(before, len(some)), afters, strict=True):
            yield fail, State(works, nodes - works - after.keys(), after)


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
    says = evaluate(graph, failure.fail, failure.switches)
    works, restored = says.works, says.after

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

"""Many states of a graph worked out in one pass: a bit a state, a whole number a node.

A state is a set of failed nodes with the positions of the switches. Bit k of a node's number says whether it works in
state k, so "one of these" is `|`, "all of these" is `&` and "lost" is the complement; a pass over the nodes in the
order of their needs works out a thousand states in hardly more time than one.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from itertools import compress
from typing import TypeAlias

from quizsvc.aircraft.needs import AllOf, AnyOf, Lost, Need, SwitchAt, Works, circle_words, in_order
from quizsvc.errors import InputError

__all__ = ["Lane", "Program", "bits", "columns"]

Lane: TypeAlias = tuple[Collection[str], Mapping[str, str]]
"""Failed nodes, and positions of the switches that do not stand at normal."""

_Met: TypeAlias = Callable[[dict[str, int], dict[tuple[str, str], int], int], int]
"""From the nodes' numbers, the switch positions' numbers and the number of all states to the number of a need."""


class Program:
    """A graph made ready for evaluation; about a tenth of a millisecond to make, kept with its graph.

    Parameters
    ----------
    needs_of : mapping of str to tuple of Need
        The needs of each node.
    normal : mapping of str to str
        Where each switch stands before anything happens.

    Raises
    ------
    InputError
        `graph-circle`, naming the nodes that need each other.
    """

    def __init__(self, needs_of: Mapping[str, tuple[Need, ...]], normal: Mapping[str, str]) -> None:
        order, circle = in_order(needs_of)
        if circle:
            what = f"nodes need each other in a circle: {circle_words(needs_of, circle)}"
            raise InputError("graph-circle", what, mend="take one need out")
        self.normal = dict(normal)
        self.nodes = tuple(needs_of)
        self._known = frozenset(needs_of)
        self._steps = tuple((key, _compiled(AllOf(needs_of[key])) if needs_of[key] else None) for key in order)

    def check(self, fail: Collection[str], switches: Mapping[str, str]) -> None:
        """Refuse names that the graph lacks.

        Parameters
        ----------
        fail : collection of str
            Names of nodes.
        switches : mapping of str to str
            By names of switches.

        Returns
        -------
        None
            Where all are known.

        Raises
        ------
        InputError
            `graph-name-unknown`, naming them.
        """
        unknown = set(fail).difference(self._known) | set(switches).difference(self.normal)
        if unknown:
            raise InputError(
                "graph-name-unknown", f"not in the graph: {', '.join(sorted(unknown))}", mend="use its names"
            )

    def run(self, lanes: Sequence[Lane]) -> dict[str, int]:
        """Work out every state.

        Parameters
        ----------
        lanes : sequence of Lane
            The states; bit k of the results is the k-th of them.

        Returns
        -------
        dict of str to int
            The number of each node, in the order of the graph's evaluation.

        Raises
        ------
        InputError
            `graph-name-unknown`.
        """
        failed: dict[str, int] = {}
        moved: dict[str, int] = {}
        positions: dict[tuple[str, str], int] = {}
        for place, (fail, switches) in enumerate(lanes):
            self.check(fail, switches)
            bit = 1 << place
            for key in fail:
                failed[key] = failed.get(key, 0) | bit
            for switch, position in switches.items():
                moved[switch] = moved.get(switch, 0) | bit
                positions[switch, position] = positions.get((switch, position), 0) | bit
        every = (1 << len(lanes)) - 1
        for switch, position in self.normal.items():
            stays = every & ~moved.get(switch, 0)
            positions[switch, position] = positions.get((switch, position), 0) | stays
        works: dict[str, int] = {}
        for key, met in self._steps:
            value = every if met is None else met(works, positions, every)
            works[key] = value & ~failed[key] if key in failed else value
        return works


def columns(numbers: Mapping[str, int], count: int) -> list[frozenset[str]]:
    """The results of a run turned round: of each state the nodes that work.

    Parameters
    ----------
    numbers : mapping of str to int
        What `Program.run` gave.
    count : int
        Of how many states.

    Returns
    -------
    list of frozenset of str
        Working nodes, in the order of the states.
    """
    if not numbers:
        return [frozenset()] * count
    rows = [f"{value:0{count}b}" for value in numbers.values()]
    found = [frozenset(compress(numbers, map("1".__eq__, column))) for column in zip(*rows, strict=True)]
    found.reverse()  # the text of a number begins with its highest bit
    return found


def bits(number: int) -> Iterator[int]:
    """Places of the bits that are set, from the lowest.

    Parameters
    ----------
    number : int
        Zero or more.

    Yields
    ------
    int
        Counted from 0.
    """
    while number:
        lowest = number & -number
        yield lowest.bit_length() - 1
        number ^= lowest


def _compiled(need: Need) -> _Met:
    if isinstance(need, Works):
        node = need.node
        return lambda works, positions, every: works[node]
    if isinstance(need, Lost):
        node = need.node
        return lambda works, positions, every: every & ~works[node]
    if isinstance(need, SwitchAt):
        place = (need.switch, need.position)
        return lambda works, positions, every: positions.get(place, 0)
    parts = tuple(_compiled(entry) for entry in need.needs)
    if len(parts) == 1:
        return parts[0]
    if isinstance(need, AnyOf):

        def one(works: dict[str, int], positions: dict[tuple[str, str], int], every: int) -> int:
            value = 0
            for part in parts:
                value |= part(works, positions, every)
            return value

        return one

    def all_(works: dict[str, int], positions: dict[tuple[str, str], int], every: int) -> int:
        value = every
        for part in parts:
            value &= part(works, positions, every)
        return value

    return all_

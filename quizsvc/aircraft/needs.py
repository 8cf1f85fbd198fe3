"""What a component needs: its five shapes, their canonical form, and the order in which needs can be worked out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

__all__ = [
    "AllOf",
    "AnyOf",
    "Lost",
    "Need",
    "SwitchAt",
    "Works",
    "circle_words",
    "in_order",
    "named_in",
    "need_of_plain",
    "plain_needs",
    "switches_in",
]


@dataclass(frozen=True)
class Works:
    """The node works."""

    node: str


@dataclass(frozen=True)
class Lost:
    """The node does not work: a spring-closed valve that nothing can shut any more stays open."""

    node: str


@dataclass(frozen=True)
class SwitchAt:
    """The switch stands at the position."""

    switch: str
    position: str


@dataclass(frozen=True)
class AnyOf:
    """One of the needs is enough."""

    needs: tuple[Need, ...]


@dataclass(frozen=True)
class AllOf:
    """All the needs must be met."""

    needs: tuple[Need, ...]


Need: TypeAlias = Works | Lost | SwitchAt | AnyOf | AllOf


def named_in(needs: tuple[Need, ...]) -> Iterator[str]:
    """Every node that the needs name, at any depth.

    Parameters
    ----------
    needs : tuple of Need
        Needs of one node.

    Yields
    ------
    str
        Ids, as often as they are named.
    """
    for need in needs:
        if isinstance(need, Works | Lost):
            yield need.node
        elif isinstance(need, AnyOf | AllOf):
            yield from named_in(need.needs)


def switches_in(needs: tuple[Need, ...]) -> Iterator[str]:
    """Every switch that the needs name, at any depth.

    Parameters
    ----------
    needs : tuple of Need
        Needs of one node.

    Yields
    ------
    str
        Ids, as often as they are named.
    """
    for need in needs:
        if isinstance(need, SwitchAt):
            yield need.switch
        elif isinstance(need, AnyOf | AllOf):
            yield from switches_in(need.needs)


def in_order(needs_of: Mapping[str, tuple[Need, ...]]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Nodes so that each stands after those it needs, and the nodes that need each other in a circle.

    Parameters
    ----------
    needs_of : mapping of str to tuple of Need
        The needs of each node; every node they name is a key.

    Returns
    -------
    tuple of tuple of str
        The order, and the nodes that have no place in it; none where there is no circle.
    """
    waiting = {key: set(named_in(needs)) for key, needs in needs_of.items()}
    needed_by: dict[str, list[str]] = {}
    for key, names in waiting.items():
        for name in names:
            needed_by.setdefault(name, []).append(key)
    ready = [key for key, names in waiting.items() if not names]
    order: list[str] = []
    while ready:
        done = ready.pop()
        order.append(done)
        for key in needed_by.get(done, ()):
            waiting[key].discard(done)
            if not waiting[key]:
                ready.append(key)
    placed = set(order)
    return tuple(order), tuple(key for key in needs_of if key not in placed)


def circle_words(needs_of: Mapping[str, tuple[Need, ...]], unplaced: tuple[str, ...]) -> str:
    """One circle among the nodes that have no order, in words: `A needs B, which needs A`.

    Parameters
    ----------
    needs_of : mapping of str to tuple of Need
        The needs of each node.
    unplaced : tuple of str
        What `in_order` could not place, not empty.

    Returns
    -------
    str
        The nodes that need each other; those that only need one of them are left out.
    """
    left = set(unplaced)
    way = [unplaced[0]]
    while True:
        after = next(name for name in named_in(needs_of[way[-1]]) if name in left)
        if after in way:
            circle = way[way.index(after) :]
            return f"{circle[0]} needs {', which needs '.join((*circle[1:], circle[0]))}"
        way.append(after)


def plain_needs(needs: tuple[Need, ...]) -> list[Any]:
    """JSON-able form of needs, as an aircraft file writes them.

    Parameters
    ----------
    needs : tuple of Need
        Needs of one node.

    Returns
    -------
    list
        Texts and mappings.
    """
    return [_plain(need) for need in needs]


def _plain(need: Need) -> Any:
    if isinstance(need, Works):
        return need.node
    if isinstance(need, Lost):
        return {"lost": need.node}
    if isinstance(need, SwitchAt):
        return {"switch": need.switch, "at": need.position}
    return {"any" if isinstance(need, AnyOf) else "all": plain_needs(need.needs)}


def need_of_plain(plain: Any) -> Need:
    """A need from its JSON-able form.

    Parameters
    ----------
    plain : str or mapping
        One entry of what `plain_needs` gave.

    Returns
    -------
    Need
        Equal to the one it came from.
    """
    if isinstance(plain, str):
        return Works(plain)
    if "lost" in plain:
        return Lost(plain["lost"])
    if "switch" in plain:
        return SwitchAt(plain["switch"], plain["at"])
    if "any" in plain:
        return AnyOf(tuple(need_of_plain(entry) for entry in plain["any"]))
    return AllOf(tuple(need_of_plain(entry) for entry in plain["all"]))

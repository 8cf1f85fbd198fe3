"""Why a component works or is lost: the chain from its source, where it breaks, and what has to be blamed for it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from quizsvc.aircraft.graph import Graph
from quizsvc.aircraft.needs import AnyOf, Lost, Need, SwitchAt, Works, named_in

__all__ = ["Cause", "Step", "causes", "path"]


@dataclass(frozen=True, order=True)
class Cause:
    """What is to blame: a node that failed by itself (`at` empty), or a switch and the position where it stands."""

    name: str
    at: str = ""


@dataclass(frozen=True)
class Step:
    """One link of a chain.

    `state` is `works`, `lost`, or `failed` for a node that failed by itself; `switch` is the switch that does not stand
    where the node needs it, None where the break is another.
    """

    node: str
    state: Literal["works", "lost", "failed"]
    switch: Cause | None = None


@dataclass(frozen=True)
class _Trace:
    """How a need, or a node, came to its state: what is to blame, and the node before in the chain."""

    causes: frozenset[Cause]
    length: int = 0
    before: str | None = None
    switch: Cause | None = None


_NOTHING = _Trace(frozenset())


class _Explained:
    """How a node and those behind it came to their state, in the order of their needs: nothing recurs on depth."""

    def __init__(self, graph: Graph, node: str, fail: Collection[str], switches: Mapping[str, str]) -> None:
        program = graph.program
        works = program.run([(fail, switches)])
        self.works = {key: bool(value) for key, value in works.items()}
        self.positions = program.normal | dict(switches)
        self.fail = frozenset(fail)
        self.traces: dict[str, _Trace] = {}
        behind = _behind(graph, node)
        for key in works:
            if key in behind:
                self.traces[key] = self._node(key, graph.nodes[key].needs)

    def _node(self, key: str, needs: tuple[Need, ...]) -> _Trace:
        if key in self.fail:
            return _Trace(frozenset((Cause(key),)))
        if not needs:
            return _NOTHING
        return self._all(needs, self.works[key])

    def _met(self, need: Need) -> bool:
        if isinstance(need, Works):
            return self.works[need.node]
        if isinstance(need, Lost):
            return not self.works[need.node]
        if isinstance(need, SwitchAt):
            return self.positions[need.switch] == need.position
        return (any if isinstance(need, AnyOf) else all)(self._met(entry) for entry in need.needs)

    def _need(self, need: Need) -> _Trace:
        met = self._met(need)
        if isinstance(need, Works | Lost):
            trace = self.traces[need.node]
            return _Trace(trace.causes, trace.length + 1, need.node)
        if isinstance(need, SwitchAt):
            if met:
                return _NOTHING
            stands = Cause(need.switch, self.positions[need.switch])
            return _Trace(frozenset((stands,)), 0, None, stands)
        if isinstance(need, AnyOf):
            return self._any(need.needs, met)
        return self._all(need.needs, met)

    def _any(self, needs: tuple[Need, ...], met: bool) -> _Trace:
        """Met: the first branch that carries. Not met: all branches are to blame, the chain follows a failed one."""
        if met:
            return next(self._need(need) for need in needs if self._met(need))
        traces = [self._need(need) for need in needs]
        if not traces:
            return _NOTHING
        shown = min(traces, key=_mendable)
        return _Trace(_union(traces), shown.length, shown.before, shown.switch)

    def _all(self, needs: tuple[Need, ...], met: bool) -> _Trace:
        """Met: the longest chain, which leads to a source. Not met: the need with the least to blame, nearest by."""
        if met:
            traces = [self._need(need) for need in needs]
            longest = max(traces, key=lambda trace: trace.length, default=_NOTHING)
            return _Trace(_union(traces), longest.length, longest.before, longest.switch)
        return min(
            (self._need(need) for need in needs if not self._met(need)),
            key=lambda trace: (len(trace.causes), trace.length),
        )


def _behind(graph: Graph, node: str) -> set[str]:
    """The node and all that it needs, directly or not."""
    found, open_ = {node}, [node]
    while open_:
        for name in named_in(graph.nodes[open_.pop()].needs):
            if name not in found:
                found.add(name)
                open_.append(name)
    return found


def _mendable(trace: _Trace) -> tuple[bool, bool, int]:
    """A branch with a failed node is worth showing before one where only a switch stands wrong, or nothing at all."""
    moved = sum(bool(cause.at) for cause in trace.causes)
    return moved == len(trace.causes), not trace.causes, moved


def _union(traces: Iterable[_Trace]) -> frozenset[Cause]:
    return frozenset().union(*(trace.causes for trace in traces))


def path(graph: Graph, node: str, fail: Collection[str], switches: Mapping[str, str] | None = None) -> tuple[Step, ...]:
    """The chain from a source to a component, and where it breaks.

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
    tuple of Step
        From the deepest node to the component. Of a working component one chain that feeds it, by the longest way and
        by the first of several branches; of a lost one the way down to one of its `causes`, by the need that takes the
        least to explain. Where `any` branches are all lost, the one that no switch could mend is followed.

    Raises
    ------
    InputError
        `graph-circle`, `graph-name-unknown`.
    """
    blamed = causes(graph, node, fail, switches)
    steps = _chain(_Explained(graph, node, fail, switches or {}), node)
    if not blamed:
        return steps
    # Where two things would each explain it, the chain leads to the one that is blamed.
    nearest = _chain(
        _Explained(graph, node, [c.name for c in blamed if not c.at], {c.name: c.at for c in blamed if c.at}), node
    )
    works = graph.program.run([(fail, switches or {})])
    return nearest if all(bool(works[step.node]) == (step.state == "works") for step in nearest) else steps


def _chain(explained: _Explained, node: str) -> tuple[Step, ...]:
    steps: list[Step] = []
    at: str | None = node
    while at is not None:
        trace = explained.traces[at]
        if at in explained.fail:
            steps.append(Step(at, "failed"))
        elif explained.works[at]:
            steps.append(Step(at, "works"))
        else:
            steps.append(Step(at, "lost", trace.switch if trace.before is None else None))
        at = trace.before
    return tuple(reversed(steps))


def causes(
    graph: Graph,
    node: str,
    fail: Collection[str],
    switches: Mapping[str, str] | None = None,
    *,
    for_good: bool = False,
) -> tuple[Cause, ...]:
    """What is to blame for a component's being lost: enough to explain it, and nothing that does not matter.

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
    for_good : bool
        Whether to explain, of a component that no single action brings back, that none does; it makes no difference to
        any other.

    Returns
    -------
    tuple of Cause
        The failed nodes in the order of `fail`, then the switches that do not stand at normal; none where the component
        works. With these alone it is lost; with one of them mended it works.

    Raises
    ------
    InputError
        `graph-circle`, `graph-name-unknown`.
    """
    program = graph.program
    program.check((node,), {})
    moved = {key: position for key, position in (switches or {}).items() if position != program.normal.get(key)}
    moves: list[dict[str, str]] = [{}]
    if for_good:
        moves += [{action.switch: action.to} for action in graph.actions]

    def lost(some: Sequence[Sequence[Cause]]) -> list[bool]:
        """Of each set of causes, whether the component is lost with it, whatever the moves."""
        lanes = [
            ([c.name for c in found if not c.at], {c.name: c.at for c in found if c.at} | move)
            for found in some
            for move in moves
        ]
        works = f"{program.run(lanes)[node]:0{len(lanes)}b}"[::-1]
        return ["1" not in works[start : start + len(moves)] for start in range(0, len(lanes), len(moves))]

    left = [*(Cause(key) for key in dict.fromkeys(fail)), *(Cause(key, position) for key, position in moved.items())]
    if not left or not lost([left])[0]:
        return causes(graph, node, fail, switches) if for_good else ()
    idle = True
    while idle and left:
        # The last ones go first: what is listed first is blamed where either would do.
        without = [[cause for cause in left if cause is not dropped] for dropped in reversed(left)]
        idle = False
        for some, still in zip(without, lost(without), strict=True):
            if still:
                left, idle = some, True
                break
    return tuple(left)

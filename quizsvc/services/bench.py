"""The Fault bench: parts of an aircraft failed, switches moved, and what the graph says of it. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.diagram import chain_diagram, edges_between, node_state
from quizsvc.aircraft.failures import State, causes, consequence, evaluate
from quizsvc.aircraft.graph import Graph
from quizsvc.aircraft.needs import named_in
from quizsvc.errors import InputError
from quizsvc.services import bench_flights, bench_items, edge
from quizsvc.services.bench_flights import PHASES, FlightView
from quizsvc.services.bench_items import ConceptRow
from quizsvc.services.compiled import aircraft_of
from quizsvc.store import bank
from quizsvc.store.session import Database

__all__ = ["Asked", "BenchView", "Group", "KnownFailure", "NodeRow", "PHASES", "SwitchRow", "bench", "benches"]

WIDE, NARROW = 6, 3  # columns of the graph on a projector and on a phone
_MOST_FAILED = 40

# Chapter titles as the trade abbreviates them; from memory. A chapter that is not here goes by its number.
_CHAPTERS: Mapping[int, str] = {
    21: "Air conditioning, pressurisation", 22: "Autopilot", 23: "Communication", 24: "Electrical power",
    26: "Fire protection", 27: "Flight controls", 28: "Fuel", 29: "Hydraulics", 30: "Ice and rain", 31: "Indications",
    32: "Gear", 33: "Lights", 34: "Navigation, air data", 35: "Oxygen", 36: "Bleed air", 49: "Auxiliary power",
    72: "Engines", 73: "Engine fuel", 74: "Ignition", 77: "Engine indications", 78: "Exhaust", 80: "Starting",
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """The state that a page's address asks for.

    `fail` and `switches` are ids of the graph; `flight` counts the prepared flights from 0; `phase` is when it fails;
    `minute` is when the instrument is read, None for some minutes after the failure; `node` is the part looked at.
    """

    fail: tuple[str, ...] = ()
    switches: Mapping[str, str] = field(default_factory=dict)
    flight: int = 0
    phase: str = "cruise"
    minute: int | None = None
    node: str | None = None


@dataclass(frozen=True)
class NodeRow:
    """One part: `state` is `works`, `lost`, `failed` or `after`; `actions` are the words of what brings it back."""

    id: str
    name: str
    state: str
    actions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Group:
    """The parts of one system."""

    title: str
    nodes: tuple[NodeRow, ...]

    @property
    def failed(self) -> int:
        """How many of them have failed."""
        return sum(node.state == "failed" for node in self.nodes)


@dataclass(frozen=True)
class SwitchRow:
    """A switch, its positions, where it stands and where it normally does."""

    id: str
    name: str
    positions: tuple[str, ...]
    at: str
    normal: str


@dataclass(frozen=True)
class KnownFailure:
    """A failure that the aircraft's file describes, with the consequence written there."""

    title: str
    fail: tuple[str, ...]
    switches: Mapping[str, str]
    consequence: str
    chosen: bool


@dataclass(frozen=True)
class BenchView:
    """Everything that the bench shows of one state."""

    aircraft: str
    name: str
    asked: Asked
    groups: tuple[Group, ...]
    switches: tuple[SwitchRow, ...]
    known: tuple[KnownFailure, ...]
    failed: tuple[NodeRow, ...]
    lost: tuple[NodeRow, ...]
    after: tuple[NodeRow, ...]
    works: tuple[NodeRow, ...]
    wide: Mapping[str, Any]
    narrow: Mapping[str, Any]
    node: NodeRow | None
    way: Mapping[str, Any] | None
    blamed: tuple[str, ...]
    flight: FlightView | None
    concepts: tuple[ConceptRow, ...]

    @property
    def undisturbed(self) -> bool:
        """Whether nothing has failed and no switch is moved."""
        return not self.failed and all(switch.at == switch.normal for switch in self.switches)


def benches(db: Database) -> tuple[tuple[str, str], ...]:
    """Key and name of each aircraft whose file has a graph."""
    with db.reading() as session:
        found = []
        for key, name in bank.aircraft_list(session):
            row = bank.aircraft(session, key)
            if row is not None and aircraft_of(session, row.hash).nodes:
                found.append((key, name))
        return tuple(found)


def bench(db: Database, aircraft: str, asked: Asked) -> BenchView:
    """What the graph, the flight and the bank say of a state.

    Parameters
    ----------
    aircraft : str
        Key of the aircraft.
    asked : Asked
        The state.

    Raises
    ------
    NotFoundError
        The bank has no such aircraft, or its file has no graph.
    InputError
        A part, switch, position or flight that the aircraft does not have.
    """
    with db.reading() as session:
        row = bank.aircraft(session, aircraft) if aircraft.isprintable() else None
        found = aircraft_of(session, row.hash) if row is not None else None
        if row is None or found is None or not found.nodes:
            raise edge.not_found("bench")
        asked = _checked(found, asked)
        state = evaluate(found.graph, asked.fail, asked.switches)
        named = (*asked.fail, *(key for key in found.nodes if key not in state.works and key not in asked.fail))
        concepts = bench_items.about(session, row.key, found, asked.fail, named) if asked.fail else ()
    rows = {key: _row(found, state, asked.fail, key) for key in found.nodes}
    looked_at = asked.node
    return BenchView(
        aircraft=row.key,
        name=row.name,
        asked=asked,
        groups=_groups(found, rows),
        switches=_switches(found.graph, asked.switches),
        known=_known(found, asked),
        failed=tuple(rows[key] for key in asked.fail),
        lost=tuple(one for one in rows.values() if one.state == "lost"),
        after=tuple(one for one in rows.values() if one.state == "after"),
        works=tuple(one for one in rows.values() if one.state == "works"),
        wide=_graph(found.graph, state, asked.fail, WIDE),
        narrow=_graph(found.graph, state, asked.fail, NARROW),
        node=rows[looked_at] if looked_at else None,
        way=chain_diagram(found.graph, looked_at, asked.fail, asked.switches) if looked_at else None,
        blamed=_blamed(found.graph, looked_at, asked) if looked_at else (),
        flight=bench_flights.flown(found, asked.fail, asked.switches, asked.flight, asked.phase, asked.minute),
        concepts=concepts,
    )


def _checked(aircraft: Aircraft, asked: Asked) -> Asked:
    """The state in the order of the file, without what is not worth saying; names that are not there are refused."""
    named = [*asked.fail, *([asked.node] if asked.node else [])]
    unknown = [key for key in named if key not in aircraft.nodes]
    if unknown:
        raise _not_there(f"'{unknown[0][:40]}' is no part of the {aircraft.name}")
    for key, position in asked.switches.items():
        if key not in aircraft.switches:
            raise _not_there(f"'{key[:40]}' is no switch of the {aircraft.name}")
        if position not in aircraft.switches[key].positions:
            raise _not_there(f"{aircraft.switches[key].name} has no position '{position[:40]}'")
    fail = tuple(key for key in aircraft.nodes if key in asked.fail)
    if len(fail) > _MOST_FAILED:
        raise _not_there(f"{len(fail)} parts have failed at once, which is more than the bench takes")
    moved = {key: at for key, at in asked.switches.items() if at != aircraft.switches[key].normal}
    return Asked(fail, moved, asked.flight, asked.phase, asked.minute, asked.node)


def _not_there(what: str) -> InputError:
    return InputError("bench-name-unknown", what, where="the address", mend="choose on the bench's own page")


def _name(graph: Graph, key: str) -> str:
    """A part's name without what stands in brackets."""
    return graph.nodes[key].name.partition(" (")[0]


def _row(aircraft: Aircraft, state: State, fail: Collection[str], key: str) -> NodeRow:
    words = {action.id: action.words for action in aircraft.actions}
    actions = tuple(words[action] for action in state.after.get(key, ()))
    return NodeRow(key, _name(aircraft.graph, key), node_state(state, key, fail), actions)


def _groups(aircraft: Aircraft, rows: Mapping[str, NodeRow]) -> tuple[Group, ...]:
    by_chapter: dict[int, list[NodeRow]] = {}
    for key, node in aircraft.nodes.items():
        by_chapter.setdefault(node.ata, []).append(rows[key])
    return tuple(
        Group(f"{chapter} {_CHAPTERS.get(chapter, '')}".strip(), tuple(by_chapter[chapter]))
        for chapter in sorted(by_chapter)
    )


def _switches(graph: Graph, moved: Mapping[str, str]) -> tuple[SwitchRow, ...]:
    return tuple(
        SwitchRow(key, switch.name, switch.positions, moved.get(key, switch.normal), switch.normal)
        for key, switch in graph.switches.items()
    )


def _known(aircraft: Aircraft, asked: Asked) -> tuple[KnownFailure, ...]:
    return tuple(
        KnownFailure(
            failure.title,
            failure.fail,
            failure.switches,
            consequence(aircraft, failure),
            set(failure.fail) == set(asked.fail) and dict(failure.switches) == dict(asked.switches),
        )
        for failure in aircraft.failures.values()
    )


def _graph(graph: Graph, state: State, fail: Collection[str], columns: int) -> dict[str, Any]:
    """The whole graph as a picture."""
    kinds = _kinds(graph)
    return {
        "type": "graph",
        "title": "What feeds what",
        "columns": columns,
        "nodes": [
            {"id": key, "name": _name(graph, key), "state": node_state(state, key, fail), "kind": kinds[key]}
            for key in graph.nodes
        ],
        "edges": edges_between(graph, graph.nodes),
    }


def _kinds(graph: Graph) -> dict[str, str]:
    """Buses, the sources that feed one, and parts. Where no load names its bus, what alone feeds three is a bus."""
    buses = {node.bus for node in graph.nodes.values() if node.bus}
    if not buses:
        feeds = (set(named_in(node.needs)) for node in graph.nodes.values())
        alone = Counter(need for needs in feeds if len(needs) == 1 for need in needs)
        buses = {key for key, parts in alone.items() if parts >= 3}
    sources: set[str] = set()
    waiting = list(buses)
    while waiting:
        for need in named_in(graph.nodes[waiting.pop()].needs):
            if need not in sources:
                sources.add(need)
                waiting.append(need)
    return {key: "bus" if key in buses else "source" if key in sources else "part" for key in graph.nodes}


def _blamed(graph: Graph, node: str, asked: Asked) -> tuple[str, ...]:
    """What explains that a part is lost: `left generator failed`, `BATT switch at OFF`."""
    return tuple(
        f"{graph.switches[cause.name].name} at {cause.at}" if cause.at else f"{_name(graph, cause.name)} failed"
        for cause in causes(graph, node, asked.fail, asked.switches)
    )

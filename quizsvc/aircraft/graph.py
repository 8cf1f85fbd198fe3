"""Switches, actions, nodes with what they need, and failures: their shape, reading and canonical form.

A need is a node's name, `{any: [...]}`, `{all: [...]}`, `{switch: S, at: P}` or `{lost: NODE}`. What the graph says in
a state is in `failures`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from quizsvc.aircraft.fields import Path, Reader, Spec
from quizsvc.aircraft.needs import (
    AllOf,
    AnyOf,
    Lost,
    Need,
    SwitchAt,
    Works,
    named_in,
    need_of_plain,
    plain_needs,
)
from quizsvc.aircraft.propagation import Program

__all__ = [
    "Action",
    "AllOf",
    "AnyOf",
    "Failure",
    "Graph",
    "Lost",
    "Need",
    "Node",
    "Switch",
    "SwitchAt",
    "Works",
    "graph_from_canonical",
    "named_in",
    "read_graph",
]


@dataclass(frozen=True)
class Switch:
    """A switch, its positions, and where it stands before anything happens."""

    name: str
    positions: tuple[str, ...]
    normal: str


@dataclass(frozen=True)
class Action:
    """One switch change that a crew can make, in words."""

    switch: str
    to: str
    words: str

    @property
    def id(self) -> str:
        """How claims and items call it, such as `AIR_DATA 2`."""
        return f"{self.switch} {self.to}"


@dataclass(frozen=True)
class Node:
    """A component. `amps` is its load on `bus`, A; both are None for what draws nothing."""

    name: str
    ata: int
    needs: tuple[Need, ...]
    bus: str | None
    amps: float | None


@dataclass(frozen=True)
class Failure:
    """A failure, and hand-written claims of what it does."""

    title: str
    fail: tuple[str, ...]
    switches: Mapping[str, str]
    expect_lost: tuple[str, ...]
    expect_after: Mapping[str, str]
    expect_kept: tuple[str, ...]
    consequence: str


@dataclass(frozen=True)
class Graph:
    """The four groups together; each mapping is by id, in the order of the file."""

    switches: Mapping[str, Switch]
    actions: tuple[Action, ...]
    nodes: Mapping[str, Node]
    failures: Mapping[str, Failure]

    @cached_property
    def program(self) -> Program:
        """The graph made ready for evaluation, once; raises `graph-circle` for one that goes round."""
        return Program(
            {key: node.needs for key, node in self.nodes.items()},
            {key: switch.normal for key, switch in self.switches.items()},
        )

    def canonical(self) -> dict[str, Any]:
        """JSON-able form."""
        return {
            "switches": {
                key: {"name": s.name, "positions": list(s.positions), "normal": s.normal}
                for key, s in self.switches.items()
            },
            "actions": [{"switch": a.switch, "to": a.to, "words": a.words} for a in self.actions],
            "nodes": {
                key: {"name": n.name, "ata": n.ata, "needs": plain_needs(n.needs), "bus": n.bus, "amps": n.amps}
                for key, n in self.nodes.items()
            },
            "failures": {
                key: {
                    "title": f.title,
                    "fail": list(f.fail),
                    "switches": dict(f.switches),
                    "expect_lost": list(f.expect_lost),
                    "expect_after": dict(f.expect_after),
                    "expect_kept": list(f.expect_kept),
                    "consequence": f.consequence,
                }
                for key, f in self.failures.items()
            },
        }


def graph_from_canonical(plain: Mapping[str, Any]) -> Graph:
    """A graph from its canonical form."""
    return Graph(
        {key: Switch(s["name"], tuple(s["positions"]), s["normal"]) for key, s in plain["switches"].items()},
        tuple(Action(a["switch"], a["to"], a["words"]) for a in plain["actions"]),
        {
            key: Node(n["name"], n["ata"], tuple(need_of_plain(need) for need in n["needs"]), n["bus"], n["amps"])
            for key, n in plain["nodes"].items()
        },
        {
            key: Failure(
                f["title"],
                tuple(f["fail"]),
                dict(f["switches"]),
                tuple(f["expect_lost"]),
                dict(f["expect_after"]),
                tuple(f["expect_kept"]),
                f["consequence"],
            )
            for key, f in plain["failures"].items()
        },
    )


class _GraphReader:
    """Reads the four groups; names are checked against each other, so switches and nodes are known first."""

    def __init__(self, reader: Reader, raw: Mapping[str, Any]) -> None:
        self.reader = reader
        self.raw = raw
        self.positions: dict[str, tuple[str, ...]] = {}
        nodes = raw.get("nodes")
        self.node_names = {str(key) for key in nodes} if isinstance(nodes, Mapping) else set()

    def group(self, word: str) -> Mapping[str, Any]:
        """A group by its word; one that is left out is empty."""
        raw = self.raw.get(word, {})
        if isinstance(raw, Mapping):
            return raw
        self.reader.mapping(raw, (word,), set(), set())
        return {}

    def switch(self, raw: object, path: Path) -> Switch | None:
        words = self.reader.mapping(raw, path, {"name", "positions", "normal"}, set())
        if words is None:
            return None
        at = (*path, "positions")
        entries = self.reader.sequence(words["positions"], at) or []
        positions = tuple(self.reader.text(entry, (*at, i), number_too=True) for i, entry in enumerate(entries))
        normal = self.reader.text(words["normal"], (*path, "normal"), number_too=True)
        if normal not in positions:
            self.unknown((*path, "normal"), "position", normal, positions)
        self.positions[str(path[-1])] = positions
        return Switch(self.reader.text(words["name"], (*path, "name")), positions, normal)

    def position(self, switch: object, raw: object, path: Path) -> str:
        position = self.reader.text(raw, path, number_too=True)
        if not isinstance(switch, str) or switch not in self.positions:
            self.unknown(path, "switch", switch, self.positions)
        elif position not in self.positions[switch]:
            self.unknown(path, f"position of {switch}", position, self.positions[switch])
        return position

    def node_name(self, raw: object, path: Path) -> str:
        if not isinstance(raw, str) or raw not in self.node_names:
            self.unknown(path, "node", raw, self.node_names)
            return ""
        return raw

    def unknown(self, path: Path, sort: str, given: object, accepted: Any) -> None:
        names = sorted(accepted)
        listed = ", ".join(names[:12]) + (", ..." if len(names) > 12 else "")
        what = f"'{given}' is no {sort} of this file" if isinstance(given, str) else f"{given!r} is no {sort}"
        self.reader.fault(
            path, "aircraft-name-unknown", what, f"use one of: {listed}" if names else f"declare the {sort}"
        )

    def action(self, raw: object, path: Path) -> Action | None:
        words = self.reader.mapping(raw, path, {"switch", "to", "words"}, set())
        if words is None:
            return None
        position = self.position(words["switch"], words["to"], (*path, "to"))
        return Action(str(words["switch"]), position, self.reader.text(words["words"], (*path, "words")))

    def need(self, raw: object, path: Path, depth: int = 0) -> Need:
        if isinstance(raw, Mapping) and depth < 8:
            keys = set(raw)
            if keys == {"switch", "at"}:
                return SwitchAt(str(raw["switch"]), self.position(raw["switch"], raw["at"], (*path, "at")))
            if keys == {"lost"}:
                return Lost(self.node_name(raw["lost"], (*path, "lost")))
            if keys == {"any"} or keys == {"all"}:
                (word,) = keys
                needs = self.needs(raw[word], (*path, word), depth + 1)
                return AnyOf(needs) if word == "any" else AllOf(needs)
        elif isinstance(raw, str):
            return Works(self.node_name(raw, path))
        self.reader.fault(
            path,
            "aircraft-need-shape",
            f"'{raw}' is no need",
            "write a node, {any: [...]}, {all: [...]}, {switch: S, at: P} or {lost: NODE}",
        )
        return Works("")

    def needs(self, raw: object, path: Path, depth: int = 0) -> tuple[Need, ...]:
        entries = self.reader.sequence(raw, path) or []
        return tuple(self.need(entry, (*path, i), depth) for i, entry in enumerate(entries))

    def node(self, raw: object, path: Path) -> Node | None:
        words = self.reader.mapping(raw, path, {"name", "ata"}, {"needs", "bus", "amps"})
        if words is None:
            return None
        ata = words["ata"]
        if not isinstance(ata, int) or isinstance(ata, bool) or not 0 < ata < 100:
            self.reader.fault(
                (*path, "ata"), "aircraft-value-shape", f"ATA chapter {ata!r}", "write a number from 1 to 99"
            )
            ata = 0
        bus = self.node_name(words["bus"], (*path, "bus")) if "bus" in words else None
        amps = self.reader.number(words["amps"], (*path, "amps"), Spec("quantity", "A")) if "amps" in words else None
        needs = self.needs(words.get("needs", ()), (*path, "needs"))
        return Node(self.reader.text(words["name"], (*path, "name")), ata, needs, bus, amps)

    def names(self, raw: object, path: Path) -> tuple[str, ...]:
        entries = self.reader.sequence(raw, path) or []
        return tuple(self.node_name(entry, (*path, i)) for i, entry in enumerate(entries))

    def failure(self, raw: object, path: Path, actions: set[str]) -> Failure | None:
        optional = {"switches", "expect_lost", "expect_after", "expect_kept"}
        words = self.reader.mapping(raw, path, {"title", "fail", "consequence"}, optional)
        if words is None:
            return None
        moved = words.get("switches", {})
        after = words.get("expect_after", {})
        for word, value in (("switches", moved), ("expect_after", after)):
            if not isinstance(value, Mapping):
                self.reader.mapping(value, (*path, word), set(), set())
        moved = moved if isinstance(moved, Mapping) else {}
        after = after if isinstance(after, Mapping) else {}
        for node, action in after.items():
            self.node_name(node, (*path, "expect_after", node))
            if not isinstance(action, str) or action not in actions:
                self.unknown((*path, "expect_after", node), "action", action, actions)
        return Failure(
            self.reader.text(words["title"], (*path, "title")),
            self.names(words["fail"], (*path, "fail")),
            {key: self.position(key, value, (*path, "switches", key)) for key, value in moved.items()},
            self.names(words.get("expect_lost", ()), (*path, "expect_lost")),
            {str(node): str(action) for node, action in after.items()},
            self.names(words.get("expect_kept", ()), (*path, "expect_kept")),
            self.reader.text(words["consequence"], (*path, "consequence")),
        )


def read_graph(reader: Reader, raw: Mapping[str, Any]) -> Graph | None:
    """Read the groups `switches`, `actions`, `nodes`, `failures`; None where a finding was added."""
    before = len(reader.findings)
    graph = _GraphReader(reader, raw)
    switches = {str(key): graph.switch(value, ("switches", key)) for key, value in graph.group("switches").items()}
    rows = reader.sequence(raw.get("actions", ()), ("actions",)) or []
    actions = tuple(graph.action(value, ("actions", i)) for i, value in enumerate(rows))
    nodes = {str(key): graph.node(value, ("nodes", key)) for key, value in graph.group("nodes").items()}
    known = {action.id for action in actions if action}
    failures = {
        str(key): graph.failure(value, ("failures", key), known) for key, value in graph.group("failures").items()
    }
    if len(reader.findings) > before:
        return None
    return Graph(
        {key: switch for key, switch in switches.items() if switch},
        tuple(action for action in actions if action),
        {key: node for key, node in nodes.items() if node},
        {key: failure for key, failure in failures.items() if failure},
    )

"""Pictures that several tests draw: the numbers are those of S06 and S07 in the domain's worked items."""

from __future__ import annotations

from typing import Any

CABIN = [[0, 412], [10.5, 412], [24.1, 6900], [68, 6900], [75.4, 10950], [76, 10950], [76.3, 10641], [80, 10641]]
EARLY = [[0, 412], [10.5, 412], [24.1, 6900], [60, 6900], [67.4, 10950], [76, 10950], [76.3, 10641], [80, 10641]]
CRUISE = [[0, 412], [10.5, 412], [24.1, 6900], [31, 10950], [76, 10950], [76.3, 10641], [80, 10641]]
DOWN = [[0, 412], [10.5, 412], [24.1, 6900], [60, 6900], [68, 4100], [78, 9600], [80, 10641]]
AIRCRAFT = [[0, 412], [24.1, 39000], [60, 39000], [68, 23000], [76.3, 10641], [80, 10641]]


def gauge(cabin: float = 4.7, differential: float = 8.9, **words: Any) -> dict[str, Any]:
    """The instrument with both pointers."""
    return {
        "type": "gauge",
        "dials": [
            {
                "id": "cabin", "label": "CABIN ALT", "unit": "x 1,000 ft", "low": -2, "high": 16, "major": 2,
                "minor": 0.2, "value": cabin, "bands": [{"from": 10, "to": 16, "colour": "amber"}],
            },
            {
                "id": "differential", "label": "DIFF", "unit": "psi", "low": 0, "high": 10, "major": 1,
                "minor": 0.2, "value": differential, "bands": [{"from": 9.1, "to": 9.1, "colour": "red"}],
            },
        ],
        "readings": False,
        **words,
    }  # fmt: skip


def profile(points: list[list[float]] = CABIN, **words: Any) -> dict[str, Any]:
    """A cabin line under an aircraft line."""
    return {
        "type": "profile",
        "title": "A",
        "lines": [
            {"id": "cabin", "label": "cabin", "style": "cabin", "points": points},
            {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": AIRCRAFT},
        ],
        "marks": [{"at": 68.0, "label": "FL230"}],
        **words,
    }


def feeds(count: int = 0, **words: Any) -> dict[str, Any]:
    """Two sources, a bus that needs one of them, parts on the bus, and `count` more parts of a second bus."""
    nodes = [
        {"id": "LEFT", "name": "left source", "state": "failed", "kind": "source"},
        {"id": "RIGHT", "name": "right source", "state": "failed", "kind": "source"},
        {"id": "MAIN", "name": "main bus", "state": "lost", "kind": "bus"},
        {"id": "FAN", "name": "cabin fan", "state": "lost", "kind": "part"},
        {"id": "LAMP", "name": "entry lamp with a long name", "state": "after", "kind": "part"},
        {"id": "BELL", "name": "bell", "state": "works", "kind": "part"},
    ]
    edges = [
        {"from": "LEFT", "to": "MAIN", "one-of": True},
        {"from": "RIGHT", "to": "MAIN", "one-of": True},
        {"from": "MAIN", "to": "FAN", "one-of": False},
        {"from": "MAIN", "to": "LAMP", "one-of": False},
    ]
    if count:
        nodes.append({"id": "SIDE", "name": "side bus", "state": "works", "kind": "bus"})
    for place in range(count):
        nodes.append({"id": f"P{place}", "name": f"part number {place}", "state": "works", "kind": "part"})
        edges.append({"from": "SIDE", "to": f"P{place}", "one-of": False})
    path = ["LEFT", "MAIN", "FAN"]
    return {"type": "graph", "title": "feeds", "nodes": nodes, "edges": edges, "path": path, "break": "LEFT", **words}


def bars() -> dict[str, Any]:
    """With a range, without one, below zero."""
    rows = [
        {"label": "Right of 20 fresh items", "value": 16, "low": 13.5, "high": 18},
        {"label": "Below", "value": -4},
        {"label": "Nothing", "value": 0, "low": 0, "high": 0},
    ]
    return {"type": "bars", "title": "Expectation", "unit": "items", "rows": rows}


def overlay() -> dict[str, Any]:
    """Four cabin lines in one picture."""
    lines = [
        {"id": key, "label": key, "style": "cabin" if key == "A" else "other", "points": points}
        for key, points in zip("ABCD", (CABIN, EARLY, CRUISE, DOWN), strict=True)
    ]
    aircraft = {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": AIRCRAFT}
    return {"type": "profile", "title": "all", "lines": [*lines, aircraft], "marks": []}


def trend() -> dict[str, Any]:
    """Three weeks past, today, and two looks ahead."""
    points = [
        {"at": 0, "label": "5 Nov", "value": 10, "low": 7, "high": 13},
        {"at": 7, "label": "12 Nov", "value": 12.5, "low": 9, "high": 15},
        {"at": 14, "label": "19 Nov", "value": 15, "low": 12, "high": 18},
        {"at": 21, "label": "26 Nov", "value": 20, "low": 18, "high": 20},
        {"at": 35, "label": "10 Dec", "value": 15, "low": 11, "high": 18, "ahead": True},
        {"at": 49, "label": "24 Dec", "value": 10, "low": 6, "high": 14, "ahead": True},
    ]
    return {"type": "trend", "title": "Expected right of 20", "unit": "of 20", "high": 20, "points": points}


def curve(points: list[list[float]] | None = None, *others: dict[str, Any]) -> dict[str, Any]:
    """A cabin against a level."""
    first = {"id": "cabin", "label": "schedule", "points": points or [[0, 0], [150, 0], [390, 6900]]}
    return {"type": "curve", "title": "Cabin against level", "x": "level", "y": "ft", "lines": [first, *others]}

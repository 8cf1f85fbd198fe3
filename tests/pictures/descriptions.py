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


def overlay() -> dict[str, Any]:
    """Four cabin lines in one picture."""
    lines = [
        {"id": key, "label": key, "style": "cabin" if key == "A" else "other", "points": points}
        for key, points in zip("ABCD", (CABIN, EARLY, CRUISE, DOWN), strict=True)
    ]
    aircraft = {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": AIRCRAFT}
    return {"type": "profile", "title": "all", "lines": [*lines, aircraft], "marks": []}

"""A picture description in, SVG text out. Pure; stands alone.

A description is a JSON-able mapping whose `type` is one of six. Numbers are in the unit that the picture shows: people
read it, not formulas.

`{"type": "gauge", "dials": [...], "readings": false}`
    One round instrument. A dial, the first on the outer scale and the second on the inner: `id`, `label`, `unit`,
    `low`, `high`, `major` (numbered marks), `minor`, `value`, and `bands` of `from`, `to` and `colour` (`amber` or
    `red`), where equal ends are a line. `readings` writes the values beside the pointers.
`{"type": "profile", "title": "...", "lines": [...], "marks": [...]}`
    Altitude over time. A line: `id`, `label`, `style` (`cabin`, `aircraft`, `other`), `points` of `[minutes, ft]`.
    A mark: `at` (minutes), `label`. `scale` gives the ends of the cabin's scale, ft, where several pictures share one.
`{"type": "graph", "title": "...", "nodes": [...], "edges": [...], "path": [ids], "break": id}`
    What feeds what. A node: `id`, `name`, `state` (`works`, `lost`, `failed`, `after`), `kind` (`source`, `bus`,
    `part`). An edge: `from`, `to`, `one-of` (another feed is enough). `columns` says how many stand side by side,
    `feeds` that the words name what each one feeds.
`{"type": "bars", "title": "...", "unit": "...", "rows": [...]}`
    A row: `label`, `value`, and where there is a range `low` and `high`.
`{"type": "curve", "title": "...", "x": "...", "y": "...", "lines": [...]}`
    One quantity against another; `x` and `y` name the scales with their units. A line: `id`, `label`, `points` of
    `[x, y]` from left to right. The corners of the first line are the rows of the table.
`{"type": "trend", "title": "...", "unit": "...", "high": 20, "points": [...]}`
    A value over days on a scale from 0 to `high`. A point: `at` (days), `label`, `value`, `low`, `high`, and `ahead`
    for what has not been yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import ModuleType
from typing import Any

from quizsvc.pictures import chart, curve, gauge, graph, profile, svg, trend

__all__ = ["describe", "draw", "table"]

_KINDS: Mapping[str, ModuleType] = {
    "gauge": gauge, "profile": profile, "graph": graph, "bars": chart, "curve": curve, "trend": trend,
}  # fmt: skip


def draw(description: Mapping[str, Any], *, name: str | None = None) -> str:
    """A picture as SVG text.

    Parameters
    ----------
    description : mapping
        As above.
    name : str, optional
        What the ids inside begin with: letters and digits. Without one it follows from the description, so a page that
        shows the same picture twice has to give one.

    Returns
    -------
    str
        One `svg` element with `title` and `desc`; every text of the description is escaped.

    Raises
    ------
    InputError
        `picture-unreadable`: no picture can be drawn of it.
    """
    drawn: str = _kind(description).draw(description, name or svg.name_of(description))
    return drawn


def describe(description: Mapping[str, Any]) -> str:
    """What an eye sees of a picture, in words that tell no more than that.

    Parameters
    ----------
    description : mapping
        As above.

    Returns
    -------
    str
        Plain sentences: angles of a gauge's pointers and not its readings, the run of a line and not its reason.

    Raises
    ------
    InputError
        As `draw`.
    """
    words: str = _kind(description).describe(description)
    return words


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """The same as `describe` in rows.

    Parameters
    ----------
    description : mapping
        As above.

    Returns
    -------
    tuple of tuple of str
        The heading first.

    Raises
    ------
    InputError
        As `draw`.
    """
    rows: tuple[tuple[str, ...], ...] = _kind(description).table(description)
    return rows


def _kind(description: Mapping[str, Any]) -> ModuleType:
    kind = description.get("type")
    svg.wanted(kind in _KINDS, f"a picture of type '{kind}'", f"one of {', '.join(_KINDS)}")
    return _KINDS[str(kind)]

"""A value over days with its range: what was, solid, and what comes, dashed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from quizsvc.pictures import svg
from quizsvc.pictures.svg import number, plain_number, text_width

__all__: list[str] = []

_WIDTH, _HEIGHT, _SIZE = 400.0, 270.0, 17.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 40.0, 388.0, 16.0, 226.0

_BODY = """\
{% for line in grid %}
<path class="pic-grid" d="M{{ left|n }} {{ line.y|n }}H{{ right|n }}" stroke="{{ SOFT }}" stroke-width=".8" \
fill="none"/>
<text class="pic-text" x="{{ (left - 7)|n }}" y="{{ (line.y + 6)|n }}" font-size="{{ size|n }}" text-anchor="end" \
fill="{{ INK }}">{{ line.text }}</text>
{% endfor %}
{% for band in bands %}
<path class="pic-band" d="{{ band }}" fill="{{ SOFT }}" fill-opacity=".22" stroke="none"/>
{% endfor %}
{% for edge in edges %}
<path class="pic-ink" d="{{ edge.d }}" stroke="{{ INK }}" stroke-width="1.2" fill="none"{{ edge.dash }}/>
{% endfor %}
{% for line in lines %}
<path class="pic-ink" d="{{ line.d }}" stroke="{{ INK }}" stroke-width="3.2" fill="none"{{ line.dash }}/>
{% endfor %}
{% for point in points %}
<circle class="{{ point.kind }}" cx="{{ point.x|n }}" cy="{{ point.y|n }}" r="4" stroke="{{ INK }}" stroke-width="2" \
fill="{{ point.fill }}"/>
{% endfor %}
{% for label in labels %}
<text class="pic-text" x="{{ label.x|n }}" y="{{ base|n }}" font-size="{{ size|n }}" text-anchor="{{ label.anchor }}" \
fill="{{ INK }}">{{ label.text }}</text>
{% endfor %}
<path class="pic-ink" d="M{{ left|n }} {{ bottom|n }}H{{ right|n }}" stroke="{{ INK }}" stroke-width="2" fill="none"/>
"""
svg.add_template("trend", _BODY)
_DASH = ' stroke-dasharray="7 6"'


def draw(description: Mapping[str, Any], name: str) -> str:
    """The trend as SVG; `quizsvc.pictures.draw` says what a description holds."""
    points = _points(description)
    first, last = float(points[0]["at"]), float(points[-1]["at"])
    top = float(description["high"])

    def x(at: float) -> float:
        return _LEFT + (at - first) / ((last - first) or 1.0) * (_RIGHT - _LEFT)

    def y(value: float) -> float:
        return _BOTTOM - value / top * (_BOTTOM - _TOP)

    def path(pairs: Sequence[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{number(x(at))} {number(y(value))}" for at, value in pairs)

    been = [one for one in points if not one.get("ahead")]
    ahead = ([been[-1]] if been else []) + [one for one in points if one.get("ahead")]
    bands, edges, lines = [], [], []
    for part, dash in ((been, ""), (ahead, _DASH)):
        if len(part) < 2:
            continue
        lows = [(float(one["at"]), float(one["low"])) for one in part]
        highs = [(float(one["at"]), float(one["high"])) for one in part]
        bands.append(path([*highs, *reversed(lows)]) + "Z")
        edges += [{"d": path(pairs), "dash": svg.markup(dash)} for pairs in (lows, highs)]
        lines.append({"d": path([(float(one["at"]), float(one["value"])) for one in part]), "dash": svg.markup(dash)})
    shown = points if len(points) < 2 else [been[0], been[-1], points[-1]] if been else [points[0], points[-1]]
    return svg.render(
        "trend",
        name=name,
        box=(0.0, 0.0, _WIDTH, _HEIGHT),
        title=str(description.get("title") or "Over time"),
        desc=describe(description),
        left=_LEFT,
        right=_RIGHT,
        bottom=_BOTTOM,
        base=_BOTTOM + 24.0,
        size=_SIZE,
        grid=[{"y": y(value), "text": plain_number(value)} for value in (0.0, top / 4, top / 2, 3 * top / 4, top)],
        bands=bands,
        edges=edges,
        lines=lines,
        points=[
            {
                "x": x(float(one["at"])),
                "y": y(float(one["value"])),
                # The class fills it too: on a dark page the attribute alone would swap solid and hollow.
                "kind": "pic-body" if one.get("ahead") else "pic-hub pic-ink",
                "fill": svg.PAPER if one.get("ahead") else svg.INK,
            }
            for one in points
        ],
        labels=_labels(shown, x),
    )


def describe(description: Mapping[str, Any]) -> str:
    """Each point with its range, and where the line begins to look ahead."""
    unit = str(description.get("unit", ""))
    said = []
    for one in _points(description):
        when = f"{one['label']}, looking ahead" if one.get("ahead") else str(one["label"])
        said.append(
            f"{when}: {_value(one['value'])} ({_value(one['low'])} to {_value(one['high'])}) {unit}".strip() + "."
        )
    return " ".join(said)


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Day, value, low and high end. The first row is the heading."""
    found: list[tuple[str, ...]] = [("Day", str(description.get("unit", "")), "from", "to")]
    for one in _points(description):
        label = f"{one['label']} (ahead)" if one.get("ahead") else str(one["label"])
        found.append((label, _value(one["value"]), _value(one["low"]), _value(one["high"])))
    return tuple(found)


def _value(value: Any) -> str:
    return plain_number(float(value), 1)


def _points(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    points: Sequence[Mapping[str, Any]] = description["points"]
    svg.wanted(points, "a trend without a point", "give one")
    svg.wanted(float(description["high"]) > 0, "a trend whose scale ends at nothing", "give 'high' above 0")
    for one, other in zip(points, points[1:], strict=False):
        svg.wanted(
            float(one["at"]) < float(other["at"]) and not (one.get("ahead") and not other.get("ahead")),
            f"'{other['label']}' before '{one['label']}'",
            "give the points in the order of their days, what comes last",
        )
    for one in points:
        svg.wanted(
            0.0 <= float(one["low"]) <= float(one["value"]) <= float(one["high"]) <= float(description["high"]),
            f"'{one['label']}' with {one['value']} between {one['low']} and {one['high']}",
            "give numbers on the scale, low to high",
        )
    return points


def _labels(shown: Sequence[Mapping[str, Any]], x: Any) -> list[dict[str, Any]]:
    """Days under the line: the first, today, the last, as far as they do not touch."""
    placed: list[dict[str, Any]] = []
    taken: list[tuple[float, float]] = []
    last = len(shown) - 1
    for place in dict.fromkeys((last, 0, *range(1, last))):
        one = shown[place]
        width = text_width(str(one["label"]), _SIZE)
        at = x(float(one["at"]))
        left = min(max(at - width / 2, 2.0), _WIDTH - width - 2.0)
        if all(left + width + 10.0 < begin or left > end + 10.0 for begin, end in taken):
            taken.append((left, left + width))
            placed.append({"x": left, "anchor": "start", "text": str(one["label"])})
    return placed

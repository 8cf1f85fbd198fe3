"""One quantity against another: bold lines over a plain scale, each labelled at the line.

The corners of the first line are the rows of the table: they are what a reader is to know.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.pictures import svg
from quizsvc.pictures.plot import (
    BOTTOM,
    HEIGHT,
    LABELS,
    LEFT,
    RIGHT,
    SIZE,
    TOP,
    UPRIGHT_SCALE,
    WIDTH,
    Point,
    place_labels,
    step_of,
)
from quizsvc.pictures.svg import number, plain_number, text_width

__all__: list[str] = []

_MOST_UP, _MOST_ACROSS = 5, 5
_DASHES = ("", "14 5", "3 4", "14 4 3 4")

_BODY = """\
{% for tick in x_ticks %}
<path class="pic-ink" d="M{{ tick.at|n }} {{ bottom|n }}v6" stroke="{{ INK }}" stroke-width="2" fill="none"/>
<text class="pic-text" x="{{ tick.middle|n }}" y="{{ (bottom + 22)|n }}" font-size="{{ size|n }}" text-anchor="middle" \
fill="{{ INK }}">{{ tick.text }}</text>
{% endfor %}
<text class="pic-text" x="{{ right|n }}" y="{{ (bottom + 40)|n }}" font-size="{{ size|n }}" text-anchor="end" \
fill="{{ INK }}">{{ x_name }}</text>
<text class="pic-text" x="2" y="{{ (top - 10)|n }}" font-size="{{ size|n }}" text-anchor="start" \
fill="{{ INK }}">{{ y_name }}</text>
<path class="pic-ink" d="M{{ left|n }} {{ top|n }}V{{ bottom|n }}H{{ right|n }}" stroke="{{ INK }}" stroke-width="2.4" \
fill="none"/>
{% for line in lines %}
<path class="pic-line" data-line="{{ line.id }}" d="{{ line.d }}" stroke="{{ INK }}" stroke-width="{{ line.width|n }}"\
{% if line.dash %} stroke-dasharray="{{ line.dash }}"{% endif %} stroke-linejoin="round" fill="none"/>
{% for point in line.points %}
<circle class="pic-hub" cx="{{ point[0]|n }}" cy="{{ point[1]|n }}" r="4.5" fill="{{ INK }}"/>
{% endfor %}
{% endfor %}
"""
svg.add_template("curve", UPRIGHT_SCALE + _BODY + LABELS)


@dataclass(frozen=True)
class _Plane:
    """Both scales; an upright one is never split."""

    x0: float
    x1: float
    y0: float
    y1: float
    split: bool = False
    fold: float = TOP

    def at(self, point: Point) -> Point:
        """A point's place in the picture."""
        x, y = point
        return (
            LEFT + (x - self.x0) / (self.x1 - self.x0) * (RIGHT - LEFT),
            BOTTOM - (y - self.y0) / (self.y1 - self.y0) * (BOTTOM - TOP),
        )


def draw(description: Mapping[str, Any], name: str) -> str:
    """The curves as SVG; `quizsvc.pictures.draw` says what a description holds."""
    lines = _lines(description)
    every = [point for line in lines for point in _points(line)]
    x_step = step_of(max(x for x, _ in every) - min(x for x, _ in every), _MOST_ACROSS)
    y_step = step_of(max(y for _, y in every) - min(0.0, *(y for _, y in every)), _MOST_UP)
    xs, ys = _ticks([x for x, _ in every], x_step), _ticks([0.0, *(y for _, y in every)], y_step)
    # The line ends at the frame; a round number beyond it would only leave a gap.
    xs = [x for x in xs if x <= max(x for x, _ in every)]
    plane = _Plane(xs[0], max(x for x, _ in every), ys[0], ys[-1])
    corners = [[plane.at(point) for point in _points(line)] for line in lines]
    dashes = iter(_DASHES * (1 + len(lines) // len(_DASHES)))
    return svg.render(
        "curve",
        name=name,
        box=(0.0, -16.0, WIDTH, HEIGHT + 16.0),
        title=str(description.get("title") or "One against the other"),
        desc=describe(description),
        left=LEFT,
        right=RIGHT,
        top=TOP,
        bottom=BOTTOM,
        size=SIZE,
        x_ticks=[_x_tick(plane.at((x, ys[0]))[0], _value(x, x_step)) for x in xs],
        y_ticks=[{"at": plane.at((xs[0], y))[1], "text": _value(y, y_step)} for y in ys],
        x_name=str(description["x"]),
        y_name=str(description["y"]),
        lines=[
            {
                "id": line["id"],
                "d": "M" + "L".join(f"{number(x)} {number(y)}" for x, y in path),
                "width": 2.4 if place else 4.2,
                "dash": next(dashes),
                "points": () if place else path,
            }
            for place, (line, path) in enumerate(zip(lines, corners, strict=True))
        ],
        labels=place_labels(lines, corners, plane, []),
    )


def describe(description: Mapping[str, Any]) -> str:
    """Each line's value at the corners of the first one."""
    heading, *rows = table(description)
    words = []
    for place, label in enumerate(heading[1:], start=1):
        values = ", ".join(f"{row[place]} at {row[0]}" for row in rows if row[place])
        words.append(f"{label} against {heading[0]}: {values}.")
    return " ".join(words)


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Each line's value at the corners of the first one, empty where a line does not reach. The heading comes first."""
    lines = _lines(description)
    every = [y for line in lines for _, y in _points(line)]
    decimals = 0 if max(map(abs, every)) >= 100.0 else 1
    found = [(str(description["x"]), *(f"{line['label']}, {description['y']}" for line in lines))]
    for x, _ in _points(lines[0]):
        values = (_at(_points(line), x) for line in lines)
        found.append((plain_number(x), *("" if y is None else plain_number(y, decimals) for y in values)))
    return tuple(found)


def _lines(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    lines: Sequence[Mapping[str, Any]] = description["lines"]
    svg.wanted(lines, "curves without a line", "give one line")
    for line in lines:
        points = _points(line)
        svg.wanted(len(points) > 1, f"line '{line['id']}' of {len(points)} points", "give two points")
        svg.wanted(
            all(math.isfinite(one) for point in points for one in point)
            and all(a[0] < b[0] for a, b in zip(points, points[1:], strict=False)),
            f"line '{line['id']}' does not run from left to right",
            "give finite numbers, each further right than the last",
        )
    return [{"style": "cabin", **line} for line in lines]


def _points(line: Mapping[str, Any]) -> list[Point]:
    return [(float(x), float(y)) for x, y in line["points"]]


def _at(points: Sequence[Point], x: float) -> float | None:
    """The value of a line at a place, None where it does not reach."""
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if x0 <= x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None


def _ticks(values: Sequence[float], step: float) -> list[float]:
    first, last = math.floor(min(values) / step + 1e-9), math.ceil(max(values) / step - 1e-9)
    return [place * step for place in range(first, max(last, first + 1) + 1)]


def _x_tick(at: float, text: str) -> dict[str, Any]:
    """A tick and the middle of its number, which stays inside the picture."""
    return {"at": at, "text": text, "middle": min(at, WIDTH - 1.0 - text_width(text, SIZE) / 2)}


def _value(value: float, step: float) -> str:
    return plain_number(value, 0 if step >= 1 else 1)

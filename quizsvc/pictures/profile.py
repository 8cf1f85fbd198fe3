"""Altitude over time: cabin lines bold, the aircraft thin and dashed, each labelled at the line.

Where the aircraft goes far above the cabin, the upper part of the picture has a scale of its own: what matters is how
the cabin moves, and on one scale it would be a ripple at the bottom.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
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

__all__ = ["run"]

_UPPER = 0.30  # part of the height that the aircraft's own scale takes
_GAP = 9.0
_FT_IN_LEVEL = 100.0

# Dashes of the lines that are compared, in their order; none is the plain line of the first.
_DASHES = ("", "14 5", "3 4", "14 4 3 4", "8 3 8 9", "2 8")
_STYLES = ("cabin", "aircraft", "other")
_AIRCRAFT_DASH = "7 6"

_BODY = """\
{% for tick in x_ticks %}
<path class="pic-ink" d="M{{ tick.at|n }} {{ bottom|n }}v6" stroke="{{ INK }}" stroke-width="2" fill="none"/>
<text class="pic-text" x="{{ tick.at|n }}" y="{{ (bottom + 22)|n }}" font-size="{{ size|n }}" text-anchor="middle" \
fill="{{ INK }}">{{ tick.text }}</text>
{% endfor %}
<text class="pic-text" x="{{ right|n }}" y="{{ (bottom + 40)|n }}" font-size="{{ size|n }}" text-anchor="end" \
fill="{{ INK }}">minutes</text>
{% for label in y_names %}
<text class="pic-text" x="{{ label.x|n }}" y="{{ label.y|n }}" font-size="{{ size|n }}" text-anchor="start" \
fill="{{ INK }}">{{ label.text }}</text>
{% endfor %}
{% for at in folds %}
<path class="pic-ink" d="M{{ (left - 7)|n }} {{ (at + 3)|n }}l14 -6" stroke="{{ INK }}" stroke-width="2" fill="none"/>
{% endfor %}
<path class="pic-ink" d="{{ frame }}" stroke="{{ INK }}" stroke-width="2.4" fill="none"/>
{% for mark in marks %}
<path class="pic-mark" d="M{{ mark.at|n }} {{ mark.top|n }}V{{ bottom|n }}" stroke="{{ INK }}" stroke-width="1.6" \
stroke-dasharray="2 3" fill="none"/>
{% endfor %}
{% for line in lines %}
<path class="pic-line pic-{{ line.style }}" data-line="{{ line.id }}" d="{{ line.d }}" stroke="{{ INK }}" \
stroke-width="{{ line.width|n }}"{% if line.dash %} stroke-dasharray="{{ line.dash }}"{% endif %} \
stroke-linejoin="round" fill="none"/>
{% endfor %}
"""
svg.add_template("profile", UPRIGHT_SCALE + _BODY + LABELS)


class _Plane:
    """Minutes and feet to places in the picture."""

    def __init__(
        self, lines: Sequence[Mapping[str, Any]], marks: Sequence[Mapping[str, Any]], scale: Sequence[float]
    ) -> None:
        minutes = [float(point[0]) for line in lines for point in line["points"]]
        minutes += [float(mark["at"]) for mark in marks]
        own = [float(p[1]) for line in lines if line["style"] != "aircraft" for p in line["points"]]
        aircraft = [float(p[1]) for line in lines if line["style"] == "aircraft" for p in line["points"]]
        every = own + aircraft
        if scale:
            own = [float(end) for end in scale]
        self.first, self.last = min(minutes), max(minutes)
        if self.last <= self.first:
            self.last = self.first + 1.0
        self.split = bool(own and aircraft and max(aircraft) > 1.8 * max(*own, 1000.0))
        lower = own if self.split else every
        self.y_step = step_of(max(lower) - min(0.0, *lower), 3 if self.split else 4)
        self.low = math.floor(min(0.0, *lower) / self.y_step) * self.y_step
        self.high = max(math.ceil(max(lower) / self.y_step) * self.y_step, self.low + self.y_step)
        if self.high - max(lower) < 0.04 * (self.high - self.low):
            self.high += self.y_step / 2 if self.split else 0.0
        self.ceiling = max(every)
        self.fold = TOP + _UPPER * (BOTTOM - TOP) if self.split else TOP

    def x(self, minute: float) -> float:
        return LEFT + (minute - self.first) / (self.last - self.first) * (RIGHT - LEFT)

    def y(self, feet: float) -> float:
        if self.split and feet > self.high:
            return self.fold - _GAP - (feet - self.high) / (self.ceiling - self.high) * (self.fold - _GAP - TOP)
        return BOTTOM - (feet - self.low) / (self.high - self.low) * (BOTTOM - self.fold)

    def path(self, points: Sequence[Point]) -> list[Point]:
        """A line's corners in the picture; where it leaves one scale for the other it gets two more."""
        found: list[Point] = []
        for place, (minute, feet) in enumerate(points):
            if self.split and place:
                before_minute, before = points[place - 1]
                if (before - self.high) * (feet - self.high) < 0:
                    at = before_minute + (self.high - before) / (feet - before) * (minute - before_minute)
                    edges = [(self.x(at), self.fold), (self.x(at), self.fold - _GAP)]
                    found += edges if feet > before else edges[::-1]
            found.append((self.x(minute), self.y(feet)))
        return found


def draw(description: Mapping[str, Any], name: str) -> str:
    """The plot as SVG; `quizsvc.pictures.draw` says what a description holds."""
    lines, marks = _lines(description), _marks(description)
    plane = _Plane(lines, marks, description.get("scale", ()))
    corners = [plane.path(_points(line)) for line in lines]
    placed_marks, mark_labels, top = _place_marks(marks, plane)
    labels = place_labels(lines, corners, plane, [label["box"] for label in mark_labels])
    y_ticks, y_names = _y_axis(plane)
    dashes = iter(_DASHES * (1 + len(lines) // len(_DASHES)))
    return svg.render(
        "profile",
        name=name,
        box=(0.0, top, WIDTH, HEIGHT),
        title=_title(description),
        desc=describe(description),
        left=LEFT,
        right=RIGHT,
        bottom=BOTTOM,
        size=SIZE,
        frame=_frame(plane),
        folds=[plane.fold, plane.fold - _GAP] if plane.split else [],
        x_ticks=_x_ticks(plane),
        y_ticks=y_ticks,
        y_names=y_names,
        marks=placed_marks,
        lines=[
            {
                "id": line["id"],
                "style": line["style"],
                "d": _d(path),
                "width": 2.0 if line["style"] == "aircraft" else 4.2,
                "dash": _AIRCRAFT_DASH if line["style"] == "aircraft" else next(dashes),
            }
            for line, path in zip(lines, corners, strict=True)
        ],
        labels=[*labels, *mark_labels],
    )


def describe(description: Mapping[str, Any]) -> str:
    """The run of each line in words, then the marks."""
    words = [f"{line['label']}: {run(_points(line))}." for line in _lines(description)]
    words += [f"Mark at minute {_minute(float(m['at']))}: {m['label']}." for m in _marks(description)]
    return " ".join(words)


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Altitude of each line, ft, at each minute where one of them turns. The first row is the heading."""
    lines = _lines(description)
    turns = sorted({minute for line in lines for minute, _ in _simple(_points(line))})
    rows: list[tuple[str, ...]] = [("Minute", *(f"{line['label']}, ft" for line in lines))]
    for minute in turns:
        rows.append((_minute(minute), *(_feet(_at(_points(line), minute)) for line in lines)))
    return tuple(rows)


def run(points: Sequence[Point]) -> str:
    """A line in words: level, up or down, to which altitude and when.

    Parameters
    ----------
    points : sequence of (float, float)
        Minutes and feet, in the order of time.

    Returns
    -------
    str
        Such as `400 ft, level to minute 10.5, up to 6,900 ft at minute 24`; altitudes to the nearest 50 ft.
    """
    simple = _simple(points)
    words = [f"{_feet(simple[0][1])} ft"]
    for (_, before), (minute, feet) in zip(simple, simple[1:], strict=False):
        if _feet(before) == _feet(feet):
            words.append(f"level to minute {_minute(minute)}")
        else:
            words.append(f"{'up' if feet > before else 'down'} to {_feet(feet)} ft at minute {_minute(minute)}")
    return ", ".join(words)


def _lines(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    lines: Sequence[Mapping[str, Any]] = description["lines"]
    svg.wanted(lines, "a profile without a line", "give one line")
    for line in lines:
        points = _points(line)
        svg.wanted(len(points) > 1, f"line '{line['id']}' of {len(points)} points", "give two points")
        svg.wanted(line["style"] in _STYLES, f"style '{line['style']}'", f"one of {', '.join(_STYLES)}")
        svg.wanted(
            all(math.isfinite(one) for point in points for one in point)
            and all(a[0] <= b[0] for a, b in zip(points, points[1:], strict=False)),
            f"line '{line['id']}' does not run forward in time",
            "give finite numbers, in the order of time",
        )
    return lines


def _marks(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    return sorted(description.get("marks", ()), key=lambda mark: float(mark["at"]))


def _points(line: Mapping[str, Any]) -> list[Point]:
    return [(float(minute), float(feet)) for minute, feet in line["points"]]


def _title(description: Mapping[str, Any]) -> str:
    title = description.get("title")
    return f"Profile {title}" if title else "Profile: altitude over time"


def _d(path: Sequence[Point]) -> str:
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in path)


def _minute(minute: float) -> str:
    return plain_number(round(minute, 1), 1)


def _feet(feet: float) -> str:
    return plain_number(50.0 * round(feet / 50.0))


def _at(points: Sequence[Point], minute: float) -> float:
    """The altitude of a line at a minute; at a jump, after it."""
    for (start, low), (end, high) in zip(reversed(points[:-1]), reversed(points[1:]), strict=True):
        if start <= minute:
            return high if end <= minute else low + (high - low) * (minute - start) / (end - start)
    return points[0][1]


def _simple(points: Sequence[Point]) -> list[Point]:
    """The corners of a line without those that nobody would see, which lie within 60 ft of a straight line."""

    def far(first: int, last: int) -> Iterable[tuple[float, int]]:
        (m0, f0), (m1, f1) = points[first], points[last]
        for place in range(first + 1, last):
            minute, feet = points[place]
            straight = f0 + (f1 - f0) * ((minute - m0) / (m1 - m0) if m1 > m0 else 1.0)
            yield abs(feet - straight), place

    keep, open_spans = {0, len(points) - 1}, [(0, len(points) - 1)]
    while open_spans:
        first, last = open_spans.pop()
        distance, place = max(far(first, last), default=(0.0, 0))
        if distance > 60.0:
            keep.add(place)
            open_spans += [(first, place), (place, last)]
    return [points[place] for place in sorted(keep)]


def _x_ticks(plane: _Plane) -> list[dict[str, Any]]:
    span = plane.last - plane.first
    step = next((one for one in (1, 2, 5, 10, 15, 20, 30, 60, 120, 240) if span / one <= 7), 480)
    first = math.ceil(plane.first / step - 1e-9)
    ticks = [place * step for place in range(first, math.floor(plane.last / step + 1e-9) + 1)]
    return [{"at": plane.x(minute), "text": plain_number(minute)} for minute in ticks]


def _y_axis(plane: _Plane) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Ticks in feet for the cabin's scale, in flight levels above the fold."""
    count = math.floor((plane.high - plane.low) / plane.y_step + 1e-9)
    ticks = [plane.low + place * plane.y_step for place in range(count + 1)]
    found = [{"at": plane.y(feet), "text": plain_number(feet)} for feet in ticks]
    names = [{"x": 2.0, "y": BOTTOM + 40.0, "text": "altitude, ft"}]
    if plane.split:
        found.append({"at": TOP, "text": f"FL{round(plane.ceiling / _FT_IN_LEVEL):03d}"})
    return found, names


def _frame(plane: _Plane) -> str:
    """The two axes; the upright one is broken where the scale changes."""
    upright = f"V{number(plane.fold - _GAP)}M{number(LEFT)} {number(plane.fold)}" if plane.split else ""
    return f"M{number(LEFT)} {number(TOP - 4)}{upright}V{number(BOTTOM)}H{number(RIGHT)}"


def _place_marks(
    marks: Sequence[Mapping[str, Any]], plane: _Plane
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], float]:
    """Marks as lines with labels over the frame, in as many rows as keep them apart; and the picture's top."""
    lines, labels, rows = [], [], [0.0]
    for mark in marks:
        width = text_width(str(mark["label"]), SIZE) + 8.0
        at = plane.x(float(mark["at"]))
        left = min(max(at - width / 2, 0.0), WIDTH - width)
        row = next((place for place, taken in enumerate(rows) if taken <= left), len(rows))
        rows[row:] = [left + width, *rows[row + 1 :]]
        y = TOP - 12.0 - 20.0 * row
        box = (left, y - 14.0, left + width, y + 4.0)
        labels.append({"x": left + width / 2, "y": y, "text": mark["label"], "strong": False, "box": box})
        lines.append({"at": at, "top": y + 5.0})
    return lines, labels, (min(0.0, TOP - 12.0 - 20.0 * (len(rows) - 1) - 18.0) if marks else 0.0)

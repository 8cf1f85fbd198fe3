"""What plots share: the frame, round steps of a scale, and a place beside each line for its label."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from quizsvc.pictures.svg import Box, apart, crosses, text_width

__all__ = [
    "BOTTOM",
    "HEIGHT",
    "LABELS",
    "LEFT",
    "RIGHT",
    "SIZE",
    "TOP",
    "UPRIGHT_SCALE",
    "WIDTH",
    "Plane",
    "Point",
    "place_labels",
    "step_of",
]

Point = tuple[float, float]

LEFT, RIGHT, TOP, BOTTOM = 70.0, 392.0, 12.0, 204.0
WIDTH, HEIGHT = 400.0, 248.0
SIZE = 17.0  # of every text: 14 px on a phone of 360 px
_DISTINCT = 5.0

# Pieces of the templates of plots: lines across with their numbers, and what is written beside the lines.
UPRIGHT_SCALE = """\
{% for tick in y_ticks %}
<path class="pic-grid" d="M{{ left|n }} {{ tick.at|n }}H{{ right|n }}" stroke="{{ SOFT }}" stroke-width=".8" \
stroke-opacity=".45" fill="none"/>
<text class="pic-text" x="{{ (left - 6)|n }}" y="{{ (tick.at + 6)|n }}" font-size="{{ size|n }}" text-anchor="end" \
fill="{{ INK }}">{{ tick.text }}</text>
{% endfor %}
"""
LABELS = """\
{% for label in labels %}
<text class="pic-text pic-halo" x="{{ label.x|n }}" y="{{ label.y|n }}" font-size="{{ size|n }}" \
text-anchor="middle" fill="{{ INK }}" stroke="{{ PAPER }}" stroke-width="4" paint-order="stroke" \
stroke-linejoin="round"{% if label.strong %} font-weight="700"{% endif %}>{{ label.text }}</text>
{% endfor %}
"""


class Plane(Protocol):
    """What the labels have to know of a frame: whether its upright scale is split, and where."""

    @property
    def split(self) -> bool:
        """Whether its upper part has a scale of its own."""

    @property
    def fold(self) -> float:
        """Where that part begins."""


def step_of(span: float, most: int) -> float:
    """A round step of which at most `most` fit into a span.

    Parameters
    ----------
    span : float
        Minutes, ft, or whatever unit the scale has.
    most : int
        How many steps there is room for.

    Returns
    -------
    float
        1, 2, 2.5 or 5 times a power of ten: minutes or ft, as the span.
    """
    raw = max(span, 1.0) / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= raw * 0.999)


def place_labels(
    lines: Sequence[Mapping[str, Any]], corners: Sequence[Sequence[Point]], plane: Plane, taken: Sequence[Box]
) -> list[dict[str, Any]]:
    """A place beside each line for its label: clear of every line and label, far from the other lines.

    Parameters
    ----------
    lines : sequence of mapping
        Their `label` and `style`; one without a label gets none.
    corners : sequence of sequence of (float, float)
        Where each line runs, in units of the picture: from 0 to 400 across.
    plane : Plane
        The frame.
    taken : sequence of Box
        What is written already.

    Returns
    -------
    list of dict
        `x` of the middle, `y`, `text`, and whether it is `strong`.
    """
    placed = list(taken)
    found = []
    for own, line in enumerate(lines):
        if not line["label"]:
            continue
        text = str(line["label"])
        width = text_width(text, SIZE)
        best: tuple[float, float, float, Box] | None = None
        for x, y in _along(corners[own]):
            if best is not None and best[0] == 0:
                break  # the first place that is clear of everything
            beside = width / 2 + 9.0
            for across, place in ((x, y - 9.0), (x, y + 20.0), (x - beside, y + 5.0), (x + beside, y + 5.0)):
                middle = min(max(across, LEFT + width / 2 + 3.0), WIDTH - width / 2 - 2.0)
                box = (middle - width / 2, place - 13.0, middle + width / 2, place + 4.0)
                cost = _cost(box, (x, y), own, corners, placed, plane) + abs(middle - across) * 2.0
                if best is None or cost < best[0]:
                    best = (cost, middle, place, box)
        assert best is not None
        placed.append(best[3])
        found.append({"x": best[1], "y": best[2], "text": text, "strong": line["style"] != "aircraft"})
    return found


def _along(path: Sequence[Point]) -> list[Point]:
    """Places along a line, about 12 apart."""
    found = []
    for (x1, y1), (x2, y2) in zip(path, path[1:], strict=False):
        steps = max(1, round(math.hypot(x2 - x1, y2 - y1) / 12.0))
        found += [(x1 + (x2 - x1) * part / steps, y1 + (y2 - y1) * part / steps) for part in range(steps)]
    return [*found, path[-1]]


def _cost(
    box: Box, at: Point, own: int, corners: Sequence[Sequence[Point]], placed: Sequence[Box], plane: Plane
) -> float:
    """How bad a place for a label is: outside the frame, on a line, on a label, or nearer to a line of another name."""
    cost = 0.0
    if box[1] < TOP - 10.0 or box[3] > BOTTOM - 2.0:
        cost += 1000.0
    cost += 800.0 * sum(not apart(box, other) for other in placed)
    around = (box[0] - 2.0, box[1] - 1.0, box[2] + 2.0, box[3] + 1.0)
    near = (box[0] - 6.0, box[1] - 22.0, box[2] + 6.0, box[3] + 22.0)
    here = (at[0] - _DISTINCT, at[1] - _DISTINCT, at[0] + _DISTINCT, at[1] + _DISTINCT)
    reach = (min(near[0], here[0]), min(near[1], here[1]), max(near[2], here[2]), max(near[3], here[3]))
    for place, path in enumerate(corners):
        together = False
        for start, end in zip(path, path[1:], strict=False):
            if max(start[0], end[0]) < reach[0] or min(start[0], end[0]) > reach[2]:
                continue
            if crosses(around, start, end):
                cost += 300.0
            elif place != own and crosses(near, start, end):
                cost += 30.0
            together = together or (place != own and crosses(here, start, end))
        # Where two lines run together, a label says nothing of either.
        cost += 60.0 * together
    if plane.split and box[1] < plane.fold < box[3]:
        cost += 20.0
    return cost

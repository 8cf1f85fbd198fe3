"""One round instrument with two scales: the outer with a long pointer, the inner with a short broad one.

Until the readings are asked for, the text equivalent gives the angles of the pointers and of the numbered marks: what
an eye has to go on, and not the reading itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from quizsvc.pictures import svg
from quizsvc.pictures.svg import number, plain_number, polar

__all__ = ["numbered_marks", "pointer_angle"]

_SWEEP = 140.0  # degrees to each side of the top; the gap at the bottom holds the labels

# Radius of the ticks' outer end, lengths of numbered, half and plain ticks, radius and size of the numerals, the band.
_SCALES: tuple[dict[str, Any], ...] = (
    {"edge": 154.0, "long": 16.0, "half": 11.0, "short": 7.0, "at": 180.0, "size": 24.0, "band": 157.5},
    {"edge": 102.0, "long": 14.0, "half": 10.0, "short": 6.5, "at": 119.0, "size": 20.0, "band": 105.0},
)
# Outlines around the origin, pointing up.
_LONG = "M-2.6 8 L-2.6 -126 L-8 -126 L0 -140 L8 -126 L2.6 -126 L2.6 8 Z"
_SHORT = "M-8 26 L-11 -30 L0 -88 L11 -30 L8 26 Z"

_BODY = """\
<circle class="pic-face" cx="200" cy="200" r="197" fill="{{ PAPER }}" stroke="{{ INK }}" stroke-width="5"/>
{% for scale in scales %}
<g class="pic-scale" data-dial="{{ scale.id }}">
{% for band in scale.bands %}
<path class="pic-{{ band.colour }}" d="{{ band.d }}" stroke="{{ RED if band.colour == "red" else AMBER }}" \
stroke-width="{{ 9 if band.colour == "red" else 5 }}" fill="none"/>
{% endfor %}
<path class="pic-ink" d="{{ scale.arc }}" stroke="{{ INK }}" stroke-width="2" fill="none"/>
<path class="pic-ink" d="{{ scale.fine }}" stroke="{{ INK }}" stroke-width="1.8" fill="none"/>
<path class="pic-ink" d="{{ scale.major }}" stroke="{{ INK }}" stroke-width="3.6" fill="none"/>
{% for numeral in scale.numerals %}
<text class="pic-text" x="{{ numeral.x|n }}" y="{{ numeral.y|n }}" font-size="{{ scale.size|n }}" font-weight="600" \
text-anchor="middle" fill="{{ INK }}">{{ numeral.text }}</text>
{% endfor %}
</g>
{% endfor %}
{% for label in labels %}
<text class="pic-text" x="200" y="{{ label.y|n }}" font-size="{{ label.size|n }}" text-anchor="middle" \
fill="{{ INK }}"{% if label.strong %} font-weight="700"{% endif %}>{{ label.text }}</text>
{% endfor %}
{% for pointer in pointers %}
<path class="pic-pointer pic-{{ pointer.shape }}" data-dial="{{ pointer.id }}" d="{{ pointer.d }}" \
transform="translate(200 200) rotate({{ pointer.angle|n }})" stroke="{{ INK }}" \
stroke-width="{{ 4.5 if pointer.shape == "short" else 1 }}" stroke-linejoin="round" \
fill="{{ PAPER if pointer.shape == "short" else INK }}"/>
{% endfor %}
<circle class="pic-hub" cx="200" cy="200" r="9" fill="{{ INK }}"/>
{% for reading in readings %}
<path class="pic-leader" d="{{ reading.d }}" stroke="{{ INK }}" stroke-width="2.5" stroke-dasharray="5 4" fill="none"/>
<circle class="pic-ring" cx="{{ reading.tip[0]|n }}" cy="{{ reading.tip[1]|n }}" r="8" fill="none" stroke="{{ INK }}" \
stroke-width="3"/>
<rect class="pic-face" x="{{ reading.box[0]|n }}" y="{{ reading.box[1]|n }}" width="{{ reading.width|n }}" height="36" \
fill="{{ PAPER }}" stroke="{{ INK }}" stroke-width="3"/>
<text class="pic-text" x="{{ reading.x|n }}" y="{{ reading.y|n }}" font-size="27" font-weight="700" \
text-anchor="middle" fill="{{ INK }}">{{ reading.text }}</text>
{% endfor %}
{% for line in legend %}
<text class="pic-text" x="200" y="{{ line.y|n }}" font-size="25" text-anchor="middle" fill="{{ INK }}">\
{{ line.text }}</text>
{% endfor %}
"""
svg.add_template("gauge", _BODY)


def pointer_angle(dial: Mapping[str, Any], value: float) -> float:
    """Where a value stands on a dial.

    Parameters
    ----------
    dial : mapping
        With `low` and `high`, in the dial's unit.
    value : float
        Altitude, ft, or pressure, psi, or whatever unit the dial has; what lies outside the scale rests at its end.

    Returns
    -------
    float
        Degrees clockwise from the top, from -140 to 140.
    """
    low, high = float(dial["low"]), float(dial["high"])
    part = (min(max(value, low), high) - low) / (high - low)
    return _SWEEP * (2.0 * part - 1.0)


def numbered_marks(dial: Mapping[str, Any]) -> list[float]:
    """The numbered marks of a dial, in its unit: every multiple of `major` between its ends."""
    return _multiples(float(dial["low"]), float(dial["high"]), float(dial["major"]))


def draw(description: Mapping[str, Any], name: str) -> str:
    """The instrument as SVG; `quizsvc.pictures.draw` says what a description holds."""
    dials = _dials(description)
    readings = _readings(dials) if description.get("readings") else []
    legend = [
        {"y": 448.0 + 34.0 * place, "text": f"{dial['label']}  {_reading(dial)}"}
        for place, dial in enumerate(dials if readings else ())
    ]
    box = (-60.0, -42.0, 460.0, 458.0 + 34.0 * (len(dials) - 1)) if readings else (0.0, 0.0, 400.0, 400.0)
    return svg.render(
        "gauge",
        name=name,
        box=box,
        title=_title(description),
        desc=describe(description),
        scales=[_scale(dial, look) for dial, look in zip(dials, _SCALES, strict=False)],
        labels=_labels(dials),
        # The short one lies on top: a long pointer shows beyond it wherever both stand alike.
        pointers=[
            {"id": dial["id"], "shape": shape, "d": outline, "angle": pointer_angle(dial, float(dial["value"]))}
            for dial, shape, outline in zip(dials, ("long", "short"), (_LONG, _SHORT), strict=False)
        ],
        readings=readings,
        legend=legend,
    )


def describe(description: Mapping[str, Any]) -> str:
    """Angles of the pointers and of the scale; with `readings`, what they show."""
    dials = _dials(description)
    words = ["Angles are clockwise from the top."]
    for dial, place in zip(dials, ("Outer", "Inner"), strict=False):
        pointer = "long thin pointer" if place == "Outer" else "short broad pointer"
        marks = numbered_marks(dial)
        step = pointer_angle(dial, marks[1]) - pointer_angle(dial, marks[0]) if len(marks) > 1 else 0.0
        words.append(
            f"{place} scale {dial['label']}, {dial['unit']}: numbered {plain_number(marks[0], 2)} at "
            f"{_degrees(pointer_angle(dial, marks[0]))} to {plain_number(marks[-1], 2)} at "
            f"{_degrees(pointer_angle(dial, marks[-1]))}, every {plain_number(float(dial['major']), 2)} is "
            f"{plain_number(step, 1)} degrees."
        )
        for band in dial.get("bands", ()):
            low, high = float(band["from"]), float(band["to"])
            words.append(
                f"{band['colour'].capitalize()} line at {plain_number(low, 2)}."
                if low == high
                else f"{band['colour'].capitalize()} band from {plain_number(low, 2)} to {plain_number(high, 2)}."
            )
        words.append(f"Its {pointer} stands at {_degrees(pointer_angle(dial, float(dial['value'])))}.")
        if description.get("readings"):
            words.append(f"It reads {_reading(dial)}.")
    return " ".join(words)


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Pointers and their angles; with `readings`, what they show. The first row is the heading."""
    shown = bool(description.get("readings"))
    rows: list[tuple[str, ...]] = [("Pointer", "Angle", "Reading") if shown else ("Pointer", "Angle")]
    for dial in _dials(description):
        row = (str(dial["label"]), _degrees(pointer_angle(dial, float(dial["value"]))))
        rows.append((*row, _reading(dial)) if shown else row)
    return tuple(rows)


def _dials(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    dials: Sequence[Mapping[str, Any]] = description["dials"]
    svg.wanted(1 <= len(dials) <= 2, f"a gauge with {len(dials)} dials", "give one dial or two")
    for dial in dials:
        svg.wanted(
            float(dial["low"]) < float(dial["high"]) and float(dial["major"]) > 0 and float(dial["minor"]) > 0,
            f"the scale of '{dial['id']}' from {dial['low']} to {dial['high']}",
            "let it run upwards, with marks some way apart",
        )
        svg.wanted(math.isfinite(float(dial["value"])), f"'{dial['id']}' shows {dial['value']}", "give a number")
    return dials


def _title(description: Mapping[str, Any]) -> str:
    return "Instrument: " + " and ".join(str(dial["label"]) for dial in _dials(description))


def _degrees(angle: float) -> str:
    """An angle in whole degrees from 0 to 359."""
    return f"{round(angle) % 360} degrees"


def _reading(dial: Mapping[str, Any]) -> str:
    return f"{_value(dial)} {dial['unit']}"


def _value(dial: Mapping[str, Any]) -> str:
    """The value with as many decimals as half a small mark needs; one more where it stands between two of those."""
    value, minor = float(dial["value"]) + 0.0, float(dial["minor"])
    decimals = max(0, -math.floor(math.log10(minor / 2)))
    if abs(round(value, decimals) - value) > minor / 8:
        decimals += 1
    return f"{value:,.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def _multiples(low: float, high: float, step: float) -> list[float]:
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [place * step for place in range(first, last + 1)]


def _scale(dial: Mapping[str, Any], look: Mapping[str, Any]) -> dict[str, Any]:
    edge, major, minor = look["edge"], float(dial["major"]), float(dial["minor"])

    def tick(value: float, length: float) -> str:
        angle = pointer_angle(dial, value)
        (x1, y1), (x2, y2) = polar(edge, angle), polar(edge - length, angle)
        return f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"

    numbered = numbered_marks(dial)
    fine = []
    for value in _multiples(float(dial["low"]), float(dial["high"]), minor):
        if all(abs(value - mark) > minor / 4 for mark in numbered):
            halves = value / (major / 2)
            fine.append(tick(value, look["half"] if abs(halves - round(halves)) < 1e-6 else look["short"]))
    numerals = []
    for value in numbered:
        x, y = polar(look["at"], pointer_angle(dial, value))
        numerals.append({"x": x, "y": y + 0.35 * look["size"], "text": plain_number(value, 2)})
    return {
        "id": dial["id"],
        "size": look["size"],
        "arc": _arc(edge, -_SWEEP, _SWEEP),
        "fine": "".join(fine) or "M0 0",
        "major": "".join(tick(value, look["long"]) for value in numbered) or "M0 0",
        "numerals": numerals,
        "bands": [_band(dial, band, look) for band in dial.get("bands", ())],
    }


def _band(dial: Mapping[str, Any], band: Mapping[str, Any], look: Mapping[str, Any]) -> dict[str, Any]:
    """A stretch along the scale, or a line across it; red is the broader one, for who sees no colours."""
    colour = band["colour"]
    svg.wanted(colour in ("amber", "red"), f"a band in '{colour}'", "amber or red, as on an instrument")
    first, last = pointer_angle(dial, float(band["from"])), pointer_angle(dial, float(band["to"]))
    if first == last:
        (x1, y1), (x2, y2) = polar(look["band"] + 4, first), polar(look["edge"] - look["long"] - 3, first)
        return {"colour": colour, "d": f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"}
    return {"colour": colour, "d": _arc(look["band"], first, last)}


def _arc(radius: float, first: float, last: float) -> str:
    (x1, y1), (x2, y2) = polar(radius, first), polar(radius, last)
    large = 1 if last - first > 180.0 else 0
    return f"M{number(x1)} {number(y1)}A{number(radius)} {number(radius)} 0 {large} 1 {number(x2)} {number(y2)}"


def _labels(dials: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Name and unit of each scale, in the gap at the bottom."""
    found = []
    for dial, (y, size) in zip(dials, ((350.0, 21.0), (272.0, 20.0)), strict=False):
        found.append({"y": y, "size": size, "text": dial["label"], "strong": True})
        found.append({"y": y + 21.0, "size": 20.0, "text": dial["unit"], "strong": False})
    return found


def _readings(dials: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """A ring around each pointer's tip and a line from it to its value outside the instrument."""
    angles = [pointer_angle(dial, float(dial["value"])) for dial in dials]
    placed = list(angles)
    if len(angles) == 2 and abs(angles[0] - angles[1]) < 24.0:
        middle, first = sum(angles) / 2, 1.0 if angles[0] >= angles[1] else -1.0
        placed = [middle + 12.0 * first, middle - 12.0 * first]
    found = []
    for dial, angle, place, length in zip(dials, angles, placed, (140.0, 88.0), strict=False):
        start, end = polar(length + 8.0, angle), polar(198.0, place)
        text = _value(dial)
        width = max(44.0, svg.text_width(text, 27.0) + 14.0)
        turned = math.radians(place)
        # As far out as the box needs in order to lie outside the instrument.
        x, y = polar(202.0 + abs(math.sin(turned)) * width / 2 + abs(math.cos(turned)) * 18.0, place)
        found.append(
            {
                "tip": polar(length, angle),
                "d": f"M{number(start[0])} {number(start[1])}L{number(end[0])} {number(end[1])}",
                "box": (x - width / 2, y - 18.0),
                "width": width,
                "x": x,
                "y": y + 9.5,
                "text": text,
            }
        )
    return found

"""Bars with ranges: a bar to the value, a bracket from low to high, and the numbers written out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from quizsvc.pictures import svg
from quizsvc.pictures.layout import wrapped
from quizsvc.pictures.svg import number, plain_number, text_width

__all__: list[str] = []

_WIDTH, _SIZE, _LINE = 400.0, 17.0, 20.0
_LEFT, _BAR = 6.0, 20.0

_BODY = """\
{% for row in rows %}
{% for line in row.lines %}
<text class="pic-text" x="{{ left|n }}" y="{{ line.y|n }}" font-size="{{ size|n }}" fill="{{ INK }}">\
{{ line.text }}</text>
{% endfor %}
<path class="pic-bar" d="{{ row.bar }}" fill="{{ SOFT }}" fill-opacity=".45" stroke="{{ INK }}" stroke-width="1.6"/>
{% if row.range %}
<path class="pic-ink" d="{{ row.range }}" stroke="{{ INK }}" stroke-width="3.4" fill="none"/>
{% endif %}
<text class="pic-text" x="{{ row.x|n }}" y="{{ row.y|n }}" font-size="{{ size|n }}" font-weight="700" fill="{{ INK }}">\
{{ row.text }}</text>
{% endfor %}
<path class="pic-ink" d="{{ axis }}" stroke="{{ INK }}" stroke-width="2.4" fill="none"/>
"""
svg.add_template("bars", _BODY)


def draw(description: Mapping[str, Any], name: str) -> str:
    """The bars as SVG; `quizsvc.pictures.draw` says what a description holds."""
    rows = _rows(description)
    decimals = _decimals(rows)
    texts = [_value(row, decimals, str(description.get("unit", ""))) for row in rows]
    ends = [_ends(row) for row in rows]
    low, high = min(0.0, *(end[0] for end in ends)), max(0.0, *(end[1] for end in ends))
    span = (high - low) or 1.0
    room = _WIDTH - 2 * _LEFT - max(text_width(text, _SIZE, bold=True) for text in texts) - 10.0

    def x(value: float) -> float:
        return _LEFT + (value - low) / span * room

    top = 4.0
    shown: list[dict[str, Any]] = []
    for row, text, (_, last) in zip(rows, texts, ends, strict=True):
        lines = wrapped(str(row["label"]), _WIDTH - 2 * _LEFT, _SIZE)
        at = top + _LINE * len(lines) + 4.0
        shown.append(
            {
                "lines": [{"text": line, "y": top + 15.0 + _LINE * place} for place, line in enumerate(lines)],
                "bar": _bar(x(0.0), x(float(row["value"])), at),
                "range": _range(row, x, at),
                "x": max(x(last), x(0.0)) + 8.0,
                "y": at + _BAR / 2 + 6.0,
                "text": text,
            }
        )
        top = at + _BAR + 14.0
    return svg.render(
        "bars",
        name=name,
        box=(0.0, 0.0, _WIDTH, top),
        title=str(description.get("title") or "Bars"),
        desc=describe(description),
        left=_LEFT,
        size=_SIZE,
        rows=shown,
        axis="".join(f"M{number(x(0.0))} {number(row['y'] - 20.0)}v28" for row in shown),
    )


def describe(description: Mapping[str, Any]) -> str:
    """Each row's value and range."""
    rows = _rows(description)
    decimals, unit = _decimals(rows), str(description.get("unit", ""))
    return " ".join(f"{row['label']}: {_value(row, decimals, unit)}." for row in rows)


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Label, value, low and high end. The first row is the heading."""
    rows = _rows(description)
    decimals = _decimals(rows)
    found: list[tuple[str, ...]] = [("", str(description.get("unit", "")), "from", "to")]
    for row in rows:
        ends = (plain_number(end, decimals) for end in _ends(row)) if _ranged(row) else ("", "")
        found.append((str(row["label"]), plain_number(float(row["value"]), decimals), *ends))
    return tuple(found)


def _rows(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    rows: Sequence[Mapping[str, Any]] = description["rows"]
    svg.wanted(rows, "bars without a row", "give one")
    for row in rows:
        low, high = _ends(row)
        svg.wanted(
            all(math.isfinite(value) for value in (low, float(row["value"]), high))
            and low <= float(row["value"]) <= high,
            f"'{row['label']}' with {row['value']} between {row.get('low')} and {row.get('high')}",
            "give finite numbers, low to high",
        )
    return rows


def _ranged(row: Mapping[str, Any]) -> bool:
    return row.get("low") is not None and row.get("high") is not None


def _ends(row: Mapping[str, Any]) -> tuple[float, float]:
    value = float(row["value"])
    return (float(row["low"]), float(row["high"])) if _ranged(row) else (value, value)


def _decimals(rows: Sequence[Mapping[str, Any]]) -> int:
    """None for whole numbers, else as many as tell a hundredth of the largest."""
    values = [value for row in rows for value in (*_ends(row), float(row["value"]))]
    if all(value == round(value) for value in values):
        return 0
    return max(0, min(3, 2 - math.floor(math.log10(max(map(abs, values))))))


def _value(row: Mapping[str, Any], decimals: int, unit: str) -> str:
    text = plain_number(float(row["value"]), decimals)
    if _ranged(row):
        low, high = _ends(row)
        text += f" ({plain_number(low, decimals)} to {plain_number(high, decimals)})"
    return f"{text} {unit}".strip()


def _bar(zero: float, end: float, top: float) -> str:
    left, right = sorted((zero, end))
    return f"M{number(left)} {number(top)}H{number(right)}V{number(top + _BAR)}H{number(left)}Z"


def _range(row: Mapping[str, Any], x: Any, top: float) -> str:
    if not _ranged(row):
        return ""
    low, high = (x(end) for end in _ends(row))
    middle = top + _BAR / 2
    return (
        f"M{number(low)} {number(middle)}H{number(high)}"
        f"M{number(low)} {number(top + 3)}v{number(_BAR - 6)}M{number(high)} {number(top + 3)}v{number(_BAR - 6)}"
    )

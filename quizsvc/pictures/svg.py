"""What the pictures share: the template engine that escapes every text, coordinates, how wide a text is."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

from jinja2 import DictLoader, Environment
from markupsafe import Markup

from quizsvc.errors import InputError

__all__ = [
    "Box",
    "add_template",
    "apart",
    "crosses",
    "markup",
    "name_of",
    "number",
    "plain_number",
    "polar",
    "render",
    "text_width",
    "wanted",
]

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

# Colours stand as presentation attributes, so that a picture is complete by itself; a page's style sheet overrules them
# by class (`pic-...`) and so turns a picture dark.
INK, PAPER, SOFT, AMBER, RED = "#0f1419", "#ffffff", "#3d464f", "#b86e00", "#b3001b"

_FRAME = """\
<svg class="pic pic-{{ kind }}" viewBox="{{ box }}" role="img" aria-labelledby="{{ name }}-t {{ name }}-d" \
xmlns="http://www.w3.org/2000/svg" font-family="sans-serif" preserveAspectRatio="xMidYMid meet">
<title id="{{ name }}-t">{{ title }}</title>
<desc id="{{ name }}-d">{{ desc }}</desc>
{% block body %}{% endblock %}
</svg>
"""

_templates: dict[str, str] = {"frame": _FRAME}
_environment = Environment(
    loader=DictLoader(_templates), autoescape=True, trim_blocks=True, lstrip_blocks=True, auto_reload=False
)
_environment.globals.update(INK=INK, PAPER=PAPER, SOFT=SOFT, AMBER=AMBER, RED=RED)


def add_template(kind: str, source: str) -> None:
    """Make the body of a kind of picture known; it extends `frame`."""
    _templates[kind] = '{% extends "frame" %}{% block body %}' + source + "{% endblock %}"


def render(kind: str, *, name: str, box: Box, title: str, desc: str, **values: Any) -> str:
    """The SVG text of a picture.

    Parameters
    ----------
    kind : str
        A template's name.
    name : str
        What the ids of the picture begin with; unique in its page.
    box : Box
        The part of the plane that is shown.
    title, desc : str
        The text equivalent, short and long.
    **values
        What the template names.

    Returns
    -------
    str
        One `svg` element.
    """
    left, top, right, bottom = box
    shown = " ".join(number(value) for value in (left, top, right - left, bottom - top))
    text = _environment.get_template(kind).render(kind=kind, name=name, box=shown, title=title, desc=desc, **values)
    return text.strip()


def number(value: float) -> str:
    """A coordinate with two decimals at most, and never a minus zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


_environment.filters["n"] = number


def markup(source: str) -> Markup:
    """A piece of SVG that stands in our own code; never a text of a description."""
    return Markup(source)


def plain_number(value: float, decimals: int = 0) -> str:
    """A number for people: thousands apart, a true minus."""
    text = f"{value:,.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if float(text.replace(",", "")) == 0:
        return "0"
    return text.replace("-", "\N{MINUS SIGN}")


def polar(radius: float, degrees: float, centre: float = 200.0) -> tuple[float, float]:
    """The point at an angle clockwise from the top, around a centre that lies as far from the left as from the top."""
    turned = math.radians(degrees)
    return centre + radius * math.sin(turned), centre - radius * math.cos(turned)


# About how wide letters are in the widest of the common sans-serif faces, in parts of its size: what is kept apart in
# that one is apart in all.
_LETTERS = {0.28: "ijlI'|", 0.33: " .,:;!", 0.41: "frt-()[]", 0.54: "cksz", 0.75: "ACDGHNOQRUVX&", 0.96: "mwMW@%"}
_WIDTHS = {letter: width for width, letters in _LETTERS.items() for letter in letters}
_OTHER, _BOLD = 0.635, 1.12


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """About how wide a text is, in units of the picture."""
    width = sum(_WIDTHS.get(letter, _OTHER) for letter in text)
    return size * width * (_BOLD if bold else 1.0)


def crosses(box: Box, start: tuple[float, float], end: tuple[float, float]) -> bool:
    """Whether a straight line touches a box."""
    (x, y), (to_x, to_y) = start, end
    # Most lines lie wholly on one side of a box: said at once, since labels try hundreds of places.
    if (x < box[0] and to_x < box[0]) or (x > box[2] and to_x > box[2]):
        return False
    if (y < box[1] and to_y < box[1]) or (y > box[3] and to_y > box[3]):
        return False
    dx, dy = to_x - x, to_y - y
    low, high = 0.0, 1.0
    for step, from_low, to_high in ((dx, box[0] - x, box[2] - x), (dy, box[1] - y, box[3] - y)):
        if step == 0:
            if from_low > 0 or to_high < 0:
                return False
            continue
        one, other = sorted((from_low / step, to_high / step))
        low, high = max(low, one), min(high, other)
        if low > high:
            return False
    return True


def apart(one: Box, other: Box) -> bool:
    """Whether two boxes have no point in common."""
    return one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def name_of(description: Mapping[str, Any]) -> str:
    """A name for the ids of a picture, the same for the same description.

    Parameters
    ----------
    description : mapping
        JSON-able.

    Returns
    -------
    str
        A letter and ten hexadecimal digits.
    """
    text = json.dumps(description, sort_keys=True, default=str)
    return "p" + hashlib.sha256(text.encode()).hexdigest()[:10]


def wanted(condition: object, what: str, mend: str) -> None:
    """Refuse a description that no picture can be drawn of.

    Raises
    ------
    InputError
        `picture-unreadable`, where the condition does not hold.
    """
    if not condition:
        raise InputError("picture-unreadable", what, where="picture", mend=mend)

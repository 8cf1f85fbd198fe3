"""Quantities: what a person types, how one is printed, and the accepted units (from `unit_table`).

People type `5,500`, `5 500 ft`, `8,7 psi`, `FL055`. Reading is strict about what two people could read in two ways, and
each refusal is a sentence that can stand beside the field.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.unit_table import UNITS, Unit, find_unit, from_si, names_of, to_si, unit, unknown_unit

__all__ = [
    "UNITS",
    "Quantity",
    "Unit",
    "find_unit",
    "format_quantity",
    "from_si",
    "names_of",
    "read_quantity",
    "to_si",
    "unit",
]

LONGEST = 60
"""Longest text that is read as a quantity, characters."""

_LONG = 1e15
"""From here on a value is printed with an exponent: its digits would be noise."""

_SPACES = dict.fromkeys(map(ord, "\t\u00a0\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u3000"), " ")
_MINUSES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2212\ufe63\uff0d"), "-")
_QUOTES = dict.fromkeys(map(ord, "\u2018\u2019\u02bc"), "'")
_PLAIN = str.maketrans({**_SPACES, **_MINUSES, **_QUOTES})

_FLIGHT_LEVEL = re.compile(r"(?:FL|flight level) ?([0-9]{1,3})\.?", re.IGNORECASE | re.ASCII)
_NUMBER_THEN_REST = re.compile(r"([+-]?) ?([0-9.,]+(?: [0-9.,]+)*) ?(.*)")
_DIGITS = re.compile(r"[0-9]+\.?|[0-9]*\.[0-9]+")
_COMMA_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]*)?")
_SPACE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?: [0-9]{3})+(?:[.,][0-9]*)?")
_ONE_COMMA = re.compile(r"([0-9]*),([0-9]+)")


@dataclass(frozen=True)
class Quantity:
    """A quantity that a person typed.

    Parameters
    ----------
    value_si : float
        The value in the SI unit of its dimension.
    unit : str
        The unit it was read in: the typed one, else the shown one.
    typed : str
        The text as it was typed.
    """

    value_si: float
    unit: str
    typed: str


def read_quantity(text: str, *, unit: str, answers_below_100: bool = False) -> Quantity:
    """Read a quantity as a person types it.

    Parameters
    ----------
    text : str
        What was typed, at most 60 characters: a number with or without a unit, or a flight level.
    unit : str
        The unit that is meant where none is typed; a typed one must be of its dimension.
    answers_below_100 : bool
        True where a comma with three digits after it can only be a decimal comma, because answers stay below 100.

    Returns
    -------
    Quantity
        Value in the SI unit of its dimension, unit and text.

    Raises
    ------
    InputError
        `quantity-unreadable` or `quantity-dimension`, worded for the person who typed; `unit-unknown` if the shown unit
        is not of the table.

    Notes
    -----
    A dot is always a decimal point. A comma with exactly three digits after it separates thousands where thousands can
    stand, unless `answers_below_100`; any other single comma is a decimal comma. Spaces of every width may separate
    thousands.

    Examples
    --------
    >>> read_quantity("8,7 psi", unit="psi").value_si == read_quantity("8.7", unit="psi").value_si
    True
    >>> round(read_quantity("FL055", unit="ft").value_si, 1)
    1676.4
    """
    shown = _unit(unit)
    if len(text) > LONGEST:
        raise _unreadable(f"{text[:20]}...", shown, "it is too long for a number")
    if any(
        character < " " and character != "\t" or "\ud800" <= character <= "\udfff" or character == "\x7f"
        for character in text
    ):
        raise _unreadable(ascii(text), shown, "it holds characters that cannot be read")
    plain = " ".join(text.translate(_PLAIN).split())
    if not plain:
        raise InputError("quantity-unreadable", "nothing was typed", mend=_hint(shown))

    level = _FLIGHT_LEVEL.fullmatch(plain)
    if level:
        typed_unit = _unit("FL")
        value = float(level.group(1))
    else:
        parts = _NUMBER_THEN_REST.fullmatch(plain)
        if parts is None:
            raise _unreadable(repr(text), shown)
        typed_unit = _typed_unit(parts.group(3), shown, text)
        value = _number(parts.group(2), text, shown, answers_below_100)
        if parts.group(1) == "-":
            value = -value
    if typed_unit.dimension != shown.dimension:
        raise InputError(
            "quantity-dimension",
            f"{text.strip()!r} is a {_words(typed_unit.dimension)}, but a {_words(shown.dimension)} is asked for",
            mend=_hint(shown),
        )
    return Quantity(value * typed_unit.factor + typed_unit.offset, typed_unit.name, text)


_unit = unit  # `unit` is the natural name of the argument above


def _typed_unit(word: str, shown: Unit, text: str) -> Unit:
    if not word:
        return shown
    found = find_unit(word) or find_unit(word.removesuffix("."))
    if found is None:
        if not word[0].isalpha() and word[0] not in "%°'\"′":
            raise _unreadable(repr(text), shown)
        error = unknown_unit(word, names_of(shown.dimension))
        raise InputError(
            "quantity-unreadable", f"{error.what} that can be read here, in {text.strip()!r}", mend=error.mend
        )
    return found


def _number(digits: str, text: str, shown: Unit, answers_below_100: bool) -> float:
    if _DIGITS.fullmatch(digits):
        return float(digits)
    comma = _ONE_COMMA.fullmatch(digits)
    if comma and (answers_below_100 or not _COMMA_THOUSANDS.fullmatch(digits)):
        return float(f"{comma.group(1)}.{comma.group(2)}")
    if _COMMA_THOUSANDS.fullmatch(digits):
        return float(digits.replace(",", ""))
    if _SPACE_THOUSANDS.fullmatch(digits):
        return float(digits.replace(" ", "").replace(",", "."))
    raise _unreadable(repr(text), shown, "its digits can be read in more than one way")


def _unreadable(quoted: str, shown: Unit, why: str = "") -> InputError:
    what = f"{quoted} cannot be read as a number" + (f": {why}" if why else "")
    return InputError("quantity-unreadable", what, mend=_hint(shown))


def _hint(shown: Unit) -> str:
    if shown.name == "ratio":
        return "type a number, such as 2.1"
    return f"type a number, with or without a unit ({', '.join(names_of(shown.dimension))})"


def _words(dimension: str) -> str:
    return {"length": "length or altitude", "number": "plain number"}.get(dimension, dimension.replace("-", " "))


def format_quantity(value_si: float, unit: str, decimals: int) -> str:
    """Print an SI value in a unit, rounded half up in what is printed.

    Parameters
    ----------
    value_si : float
        The value, in the SI unit of its dimension.
    unit : str
        A name of the table; FL prints a flight level, ratio prints no unit.
    decimals : int
        Digits after the point; -2 rounds to hundreds. A flight level has none.

    Returns
    -------
    str
        Such as "6,506 ft", "FL330", "-10 C", "2.14", "80 %".

    Raises
    ------
    InputError
        `unit-unknown`.
    OutOfRangeError
        The value is not a finite number.

    Examples
    --------
    >>> format_quantity(1983.0, "ft", -2)
    '6,500 ft'
    """
    value = from_si(value_si, unit)
    if not math.isfinite(value):
        raise OutOfRangeError("quantity-not-finite", f"{value} {unit} cannot be printed", mend="give a finite value")
    if abs(value) >= _LONG:
        return f"{value:.6e} {unit}"
    if unit == "FL":
        level = _rounded(value, 0)
        return f"FL{level:03}" if level >= 0 else f"-FL{-level:03}"
    rounded = _rounded(value, decimals)
    # A pilot writes QNH 1013 hPa, never 1,013.
    number = f"{rounded:f}" if unit == "hPa" and abs(rounded) < 10_000 else f"{rounded:,f}"
    return number if unit == "ratio" else f"{number} {unit}"


def _rounded(value: float, decimals: int) -> Decimal:
    # Twelve digits first: 2.675 in feet may come out of SI as 2.6749999999999998, and a person expects 2.68.
    exact = Decimal(f"{value:.12g}")
    rounded = (
        exact.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP) if decimals >= 0 else _to_step(exact, -decimals)
    )
    return rounded or abs(rounded)  # no minus before zero


def _to_step(exact: Decimal, zeros: int) -> Decimal:
    step = Decimal(10) ** zeros
    return (exact / step).quantize(Decimal(1), ROUND_HALF_UP) * step

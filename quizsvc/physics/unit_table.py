"""The one table of accepted units. Everything inside is SI; units stand at the edges only.

References
----------
.. [1] NIST Special Publication 811, 2008 edition, appendix B.8 (factors). Factors that are exact by definition are
       written as their definition, the conventional columns of mercury as 13 595.1 kg/m3 times standard gravity, of
       which B.8 prints the first seven digits.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from quizsvc.errors import InputError
from quizsvc.physics.constants import CELSIUS_ZERO, FOOT, POUND, STANDARD_GRAVITY

__all__ = ["UNITS", "Unit", "find_unit", "from_si", "names_of", "spellings", "to_si", "unit"]


@dataclass(frozen=True)
class Unit:
    """A unit and its way into SI: value_si = value * factor + offset.

    Parameters
    ----------
    name : str
        The name in bank texts and on the screen.
    dimension : str
        What it measures, such as `length` or `pressure-rate`.
    factor : float
        SI units in one of this unit.
    offset : float
        SI value at zero of this unit; 0 for all but C and F.
    aliases : tuple of str
        Other ways in which people type it.
    """

    name: str
    dimension: str
    factor: float
    offset: float = 0.0
    aliases: tuple[str, ...] = ()


_INCH = FOOT / 12
_POUND_FORCE = POUND * STANDARD_GRAVITY
_PSI = _POUND_FORCE / (_INCH * _INCH)
_MERCURY_MM = 13_595.1 * STANDARD_GRAVITY / 1000
_MINUTE = 60.0
_HOUR = 3600.0

_TABLE = (
    Unit("m", "length", 1.0, aliases=("metre", "metres", "meter", "meters", "mtr")),
    Unit("ft", "length", FOOT, aliases=("foot", "feet", "'", "′")),
    Unit("FL", "length", 100 * FOOT, aliases=("flight level",)),
    Unit("km", "length", 1000.0, aliases=("kilometre", "kilometres", "kilometer", "kilometers")),
    Unit("NM", "length", 1852.0, aliases=("nmi", "nautical mile", "nautical miles")),
    Unit("in", "length", _INCH, aliases=("inch", "inches")),
    Unit("Pa", "pressure", 1.0, aliases=("pascal", "pascals")),
    Unit("hPa", "pressure", 100.0, aliases=("mb", "mbar", "millibar", "millibars", "hectopascal", "hectopascals")),
    Unit("kPa", "pressure", 1000.0, aliases=("kilopascal", "kilopascals")),
    Unit("bar", "pressure", 100_000.0, aliases=("bars",)),
    Unit("psi", "pressure", _PSI, aliases=("psid", "psia", "psig", "lbf/in2", "lb/in2", "pounds per square inch")),
    Unit("inHg", "pressure", 25.4 * _MERCURY_MM, aliases=("in hg", '"hg', "inches of mercury")),
    Unit("mmHg", "pressure", _MERCURY_MM, aliases=("mm hg", "millimetres of mercury", "millimeters of mercury")),
    Unit("s", "time", 1.0, aliases=("sec", "secs", "second", "seconds")),
    Unit("min", "time", _MINUTE, aliases=("mins", "minute", "minutes")),
    Unit("h", "time", _HOUR, aliases=("hr", "hrs", "hour", "hours")),
    Unit("m/s", "speed", 1.0, aliases=("mps", "metres per second", "meters per second")),
    Unit("fpm", "speed", FOOT / _MINUTE, aliases=("ft/min", "feet per minute", "feet/min", "feet/minute")),
    Unit("kt", "speed", 1852.0 / _HOUR, aliases=("kts", "knot", "knots", "NM/h")),
    Unit("psi/min", "pressure-rate", _PSI / _MINUTE, aliases=("psi per minute", "psi/minute")),
    Unit("K", "temperature", 1.0, aliases=("kelvin",)),
    Unit("C", "temperature", 1.0, CELSIUS_ZERO, ("degC", "deg C", "degrees C", "celsius", "°C", "° C")),
    Unit("F", "temperature", 5 / 9, CELSIUS_ZERO - 32 * 5 / 9, ("degF", "deg F", "fahrenheit", "°F", "° F")),
    Unit("A", "current", 1.0, aliases=("amp", "amps", "ampere", "amperes")),
    Unit("V", "voltage", 1.0, aliases=("volt", "volts")),
    Unit("Ah", "charge", _HOUR, aliases=("amp hours", "ampere hours", "amp-hours", "ampere-hours")),
    Unit("m3", "volume", 1.0, aliases=("m^3", "m³", "cubic metres", "cubic meters")),
    Unit("L", "volume", 0.001, aliases=("litre", "litres", "liter", "liters", "ltr")),
    Unit("ft3", "volume", FOOT**3, aliases=("ft^3", "ft³", "cu ft", "cubic feet", "cubic foot")),
    Unit("kg", "mass", 1.0, aliases=("kilogram", "kilograms", "kilo", "kilos")),
    Unit("lb", "mass", POUND, aliases=("lbs", "pound", "pounds")),
    Unit("kg/s", "mass-flow", 1.0, aliases=("kilograms per second",)),
    Unit("lb/min", "mass-flow", POUND / _MINUTE, aliases=("lbs/min", "pounds per minute", "lb per minute")),
    Unit("m3/s", "volume-flow", 1.0, aliases=("m³/s", "m^3/s", "cubic metres per second")),
    Unit("L/min", "volume-flow", 0.001 / _MINUTE, aliases=("lpm", "litres per minute", "liters per minute")),
    Unit("N", "force", 1.0, aliases=("newton", "newtons")),
    Unit("lbf", "force", _POUND_FORCE, aliases=("pounds-force", "pound-force", "pounds force", "pound force")),
    Unit("m2", "area", 1.0, aliases=("m²", "m^2", "square metres", "square meters")),
    Unit("cm2", "area", 0.0001, aliases=("cm²", "cm^2", "square centimetres", "square centimeters")),
    Unit("in2", "area", _INCH * _INCH, aliases=("in²", "in^2", "sq in", "square inches", "square inch")),
    Unit("ft2", "area", FOOT * FOOT, aliases=("ft²", "ft^2", "sq ft", "square feet", "square foot")),
    Unit("ratio", "number", 1.0, aliases=("times",)),
    Unit("%", "number", 0.01, aliases=("percent", "per cent", "pct")),
)

UNITS: Mapping[str, Unit] = MappingProxyType({entry.name: entry for entry in _TABLE})
"""Every accepted unit by its name."""


def _spellings() -> dict[str, Unit]:
    """Every spelling in lower case; what two units would share is left to the exact names."""
    found: dict[str, Unit] = {}
    shared: set[str] = set()
    for entry in _TABLE:
        for spelling in {_folded(word) for word in (entry.name, *entry.aliases)}:
            if spelling in found:
                shared.add(spelling)
            found[spelling] = entry
    return {spelling: entry for spelling, entry in found.items() if spelling not in shared}


def _folded(text: str) -> str:
    return " ".join(text.split()).lower()


_BY_SPELLING = _spellings()


def spellings() -> dict[str, Unit]:
    """Every spelling that `find_unit` knows, in small letters and with single spaces, and the unit it means."""
    return dict(_BY_SPELLING)


def names_of(dimension: str) -> tuple[str, ...]:
    """Names of the units of one dimension.

    Parameters
    ----------
    dimension : str
        Such as `pressure`.

    Returns
    -------
    tuple of str
        The names, in the table's order; empty for a dimension without units.

    Examples
    --------
    >>> names_of("time")
    ('s', 'min', 'h')
    """
    return tuple(entry.name for entry in _TABLE if entry.dimension == dimension)


def find_unit(spelling: str) -> Unit | None:
    """The unit that a person means by a spelling, or None.

    Parameters
    ----------
    spelling : str
        A name or another way of writing it; case and doubled spaces do not matter.

    Returns
    -------
    Unit or None
        The unit of the table.

    Examples
    --------
    >>> find_unit("Feet").name
    'ft'
    """
    return UNITS.get(spelling) or _BY_SPELLING.get(_folded(spelling))


def unit(name: str) -> Unit:
    """The unit of this name, exactly as the table writes it.

    Parameters
    ----------
    name : str
        A name such as `ft`; other spellings are for people who type, not for texts.

    Returns
    -------
    Unit
        The unit of the table.

    Raises
    ------
    InputError
        `unit-unknown`, with the nearest names.

    Examples
    --------
    >>> unit("psi").dimension
    'pressure'
    """
    found = UNITS.get(name)
    if found is None:
        raise unknown_unit(name, UNITS)
    return found


def unknown_unit(name: str, accepted: Iterable[str]) -> InputError:
    """The error for a word that is no unit, with the nearest accepted names."""
    names = list(accepted)
    shown = name if len(name) <= 30 else name[:30] + "..."
    meant = find_unit(name) if len(name) <= 30 else None
    near = (
        [meant.name] if meant and meant.name in names else difflib.get_close_matches(name[:30], names, n=3, cutoff=0.5)
    )
    mend = f"did you mean {' or '.join(repr(word) for word in near)}? " if near else ""
    return InputError("unit-unknown", f"{shown!r} is not a unit", mend=f"{mend}Accepted: {', '.join(names)}")


def to_si(value: float, name: str) -> float:
    """A value in a named unit, in SI.

    Parameters
    ----------
    value : float
        The value, in the named unit.
    name : str
        A name of the table.

    Returns
    -------
    float
        The value in the SI unit of its dimension (m, Pa, s, m/s, Pa/s, K, A, V, C, m3, kg, kg/s, m3/s, N, m2, 1).

    Raises
    ------
    InputError
        `unit-unknown`, with the nearest names.

    Examples
    --------
    >>> to_si(100.0, "ft")
    30.48
    """
    entry = unit(name)
    return value * entry.factor + entry.offset


def from_si(value_si: float, name: str) -> float:
    """An SI value in a named unit.

    Parameters
    ----------
    value_si : float
        The value, in the SI unit of its dimension.
    name : str
        A name of the table.

    Returns
    -------
    float
        The value in the named unit.

    Raises
    ------
    InputError
        `unit-unknown`, with the nearest names.

    Examples
    --------
    >>> round(from_si(101325.0, "psi"), 3)
    14.696
    """
    entry = unit(name)
    return (value_si - entry.offset) / entry.factor

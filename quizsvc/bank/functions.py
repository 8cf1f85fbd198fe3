"""The one table of functions that formulas may call, with a dimension for every argument and result.

Argument order is always aircraft altitude, cabin, differential. Everything is SI; dimensions are the names of
`quizsvc.physics.units`, and `density`. `any` stands for a dimension that all such arguments of a call share; a result
`any` has it too, `root` its square root.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from types import MappingProxyType

from quizsvc.aircraft import pressurisation
from quizsvc.aircraft.description import Aircraft, Constant
from quizsvc.physics import atmosphere
from quizsvc.physics.units import UNITS, Unit

__all__ = [
    "NAMED_UNITS",
    "ConstantRow",
    "Function",
    "FunctionRow",
    "Library",
    "Listing",
    "UnitRow",
    "library",
    "listing",
]

_GUARD = 1e-9  # what floats lose on the way to a value that stands exactly on a step


@dataclass(frozen=True)
class Function:
    """One callable of the language.

    `call` takes SI floats by position. `arguments` are pairs of name and dimension; the last one may repeat where
    `repeats` is true. `aircraft` is true where the value depends on the aircraft.
    """

    name: str
    arguments: tuple[tuple[str, str], ...]
    result: str
    what: str
    call: Callable[..., float]
    aircraft: bool = False
    repeats: bool = False

    def takes(self, count: int) -> bool:
        """Whether it may be called with this many arguments."""
        return count >= len(self.arguments) if self.repeats else count == len(self.arguments)

    @property
    def signature(self) -> str:
        """Name and arguments as they are typed."""
        names = ", ".join(name for name, _ in self.arguments)
        return f"{self.name}({names}{', ...' if self.repeats else ''})"


@dataclass(frozen=True)
class Library:
    """Functions and constants that the formulas of one aircraft, or of none, may use."""

    functions: Mapping[str, Function]
    constants: Mapping[str, Constant]
    aircraft_only: frozenset[str]
    """Names of functions that only exist with an aircraft; empty where there is one."""


def _round_nearest(value: float, step: float) -> float:
    """Nearest multiple of a step; halves go away from zero."""
    count = math.floor(abs(value / step) + 0.5 + _GUARD)
    return math.copysign(count * step, value) if count else 0.0


def _round_down(value: float, step: float) -> float:
    """Largest multiple of a step not above the value."""
    return math.floor(value / step + _GUARD) * step


def _round_up(value: float, step: float) -> float:
    """Smallest multiple of a step not below the value."""
    return math.ceil(value / step - _GUARD) * step


_LEVEL = ("aircraft_altitude", "length")
_CABIN = ("cabin_altitude", "length")
_DIFF = ("differential", "pressure")
_FIELD = ("elevation", "length")
_FROM_TO = (("from_cabin", "length"), ("to_cabin", "length"))
_TWO_ANY = (("a", "any"), ("b", "any"))
_STEPPED = (("value", "any"), ("step", "any"))
_ALTITUDE = (("altitude", "length"),)

_GENERAL: tuple[Function, ...] = (
    Function("isa_pressure", _ALTITUDE, "pressure", "pressure of the standard atmosphere", atmosphere.pressure),
    Function("isa_altitude", (("pressure", "pressure"),), "length", "pressure altitude", atmosphere.altitude),
    Function("isa_temperature", _ALTITUDE, "temperature", "standard temperature", atmosphere.temperature),
    Function("isa_density", _ALTITUDE, "density", "standard air density", atmosphere.density),
    Function("speed_of_sound", _ALTITUDE, "speed", "standard speed of sound", atmosphere.speed_of_sound),
    Function(
        "cabin_altitude",
        (_LEVEL, _DIFF),
        "length",
        "cabin altitude at a level and differential",
        pressurisation.cabin_altitude,
    ),
    Function(
        "differential",
        (_LEVEL, _CABIN),
        "pressure",
        "differential at a level and cabin altitude",
        pressurisation.differential,
    ),
    Function(
        "highest_altitude",
        (_CABIN, _DIFF),
        "length",
        "level where this cabin takes this differential",
        pressurisation.highest_altitude,
    ),
    Function("min", _TWO_ANY, "any", "the smaller, or smallest", min, repeats=True),
    Function("max", _TWO_ANY, "any", "the larger, or largest", max, repeats=True),
    Function("abs", (("value", "any"),), "any", "the magnitude", abs),
    Function("sqrt", (("value", "any"),), "root", "square root", math.sqrt),
    Function("exp", (("value", "number"),), "number", "e to this power", math.exp),
    Function("log", (("value", "number"),), "number", "natural logarithm", math.log),
    Function("floor", (("value", "number"),), "number", "whole number below", lambda x: _round_down(x, 1.0)),
    Function("ceil", (("value", "number"),), "number", "whole number above", lambda x: _round_up(x, 1.0)),
    Function("round_nearest", _STEPPED, "any", "nearest multiple of the step, halves away from zero", _round_nearest),
    Function("round_down", _STEPPED, "any", "next lower multiple of the step", _round_down),
    Function("round_up", _STEPPED, "any", "next higher multiple of the step", _round_up),
)

# name -> what computes it (the aircraft comes first), arguments, result, what it is
_OF_AIRCRAFT: Mapping[str, tuple[Callable[..., float], tuple[tuple[str, str], ...], str, str]] = {
    "schedule": (pressurisation.schedule, (_LEVEL,), "length", "cabin altitude that the automatic schedule asks for"),
    "schedule_inverse": (
        pressurisation.schedule_inverse,
        (_CABIN,),
        "length",
        "level where the schedule asks for this cabin",
    ),
    "schedule_row_below": (
        pressurisation.schedule_row_below,
        (_LEVEL,),
        "length",
        "cabin of the schedule row at or below the level",
    ),
    "schedule_row_above": (
        pressurisation.schedule_row_above,
        (_LEVEL,),
        "length",
        "cabin of the schedule row above the level",
    ),
    "hold_end": (pressurisation.hold_end, (_FIELD,), "length", "level where the cabin leaves the departure hold"),
    "landing_setting": (
        pressurisation.landing_setting,
        (_FIELD,),
        "length",
        "LDG: the elevation to the nearest knob step",
    ),
    "landing_target": (
        pressurisation.landing_target,
        (_FIELD,),
        "length",
        "cabin target for landing, in the regime that the setting selects",
    ),
    "warning_threshold": (
        pressurisation.warning_threshold,
        (("landing_setting", "length"), _LEVEL),
        "length",
        "cabin altitude of the warning",
    ),
    "valves_closed": (
        pressurisation.valves_closed,
        (_LEVEL,),
        "length",
        "cabin with the controller dead and the relief heads holding",
    ),
    "relief_altitude": (
        pressurisation.relief_altitude,
        (_CABIN,),
        "length",
        "level where the relief heads start to blow with this cabin",
    ),
    "placard": (pressurisation.placard, (_LEVEL,), "length", "crew target placard: the next higher row"),
    "climb_time": (pressurisation.climb_time, _FROM_TO, "time", "time of a cabin climb at the up limit"),
    "descent_time": (pressurisation.descent_time, _FROM_TO, "time", "time of a cabin descent at the down limit"),
}

_GENERAL_LIBRARY = Library(
    MappingProxyType({function.name: function for function in _GENERAL}), MappingProxyType({}), frozenset(_OF_AIRCRAFT)
)

NAMED_UNITS: Mapping[str, Unit] = MappingProxyType(
    {"inch" if name == "in" else name: unit for name, unit in UNITS.items() if name.isidentifier()}
)
"""Units by the names that formulas use; rates are written as fractions (`kg/s`), inch because `in` is another word."""


def library(aircraft: Aircraft | None) -> Library:
    """The functions and constants for an aircraft, or the general ones.

    Parameters
    ----------
    aircraft : Aircraft or None
        The described aircraft, bound to its functions here.

    Returns
    -------
    Library
        What formulas may name.
    """
    return _GENERAL_LIBRARY if aircraft is None else _library_of(aircraft)


@lru_cache(maxsize=16)
def _library_of(aircraft: Aircraft) -> Library:
    """Built once for each aircraft: its constants take half a millisecond, and every compiled item needs them."""
    functions = dict(_GENERAL_LIBRARY.functions)
    for name, (compute, arguments, result, what) in _OF_AIRCRAFT.items():
        functions[name] = Function(name, arguments, result, what, partial(compute, aircraft), aircraft=True)
    return Library(MappingProxyType(functions), MappingProxyType(dict(aircraft.constants())), frozenset())


@dataclass(frozen=True)
class FunctionRow:
    """A function as `quizsvc compute --list` prints it; `arguments` are pairs of name and dimension."""

    name: str
    arguments: tuple[tuple[str, str], ...]
    result: str
    what: str
    aircraft: bool


@dataclass(frozen=True)
class ConstantRow:
    """A number of the aircraft, SI, and the unit in which its file writes it."""

    name: str
    value_si: float
    dimension: str
    unit: str


@dataclass(frozen=True)
class UnitRow:
    """A unit by the name that formulas use. `factor` is false for a unit with its zero elsewhere (C, F)."""

    name: str
    dimension: str
    factor: bool


@dataclass(frozen=True)
class Listing:
    """Everything that a formula may name."""

    functions: tuple[FunctionRow, ...]
    constants: tuple[ConstantRow, ...]
    units: tuple[UnitRow, ...]


def listing(aircraft: Aircraft | None = None) -> Listing:
    """Everything that a formula may name, for an aircraft or without one.

    Parameters
    ----------
    aircraft : Aircraft or None
        Its constants are listed; the aircraft functions are listed in any case.

    Returns
    -------
    Listing
        Rows in the order of the tables; constants by name.
    """
    rows = [FunctionRow(f.name, f.arguments, f.result, f.what, False) for f in _GENERAL]
    rows += [FunctionRow(name, *entry[1:], True) for name, entry in _OF_AIRCRAFT.items()]
    constants = sorted(library(aircraft).constants.items())
    return Listing(
        tuple(rows),
        tuple(ConstantRow(name, c.value_si, c.dimension, c.unit) for name, c in constants),
        tuple(UnitRow(name, unit.dimension, unit.offset == 0) for name, unit in NAMED_UNITS.items()),
    )

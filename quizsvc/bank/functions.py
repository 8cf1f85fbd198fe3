"""What formulas may name: functions and constants, of an aircraft or general; the rows stand in `function_table`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from types import MappingProxyType

from quizsvc.aircraft.description import Aircraft, Constant
from quizsvc.bank.function_table import GENERAL, OF_AIRCRAFT, Function
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


@dataclass(frozen=True)
class Library:
    """Functions and constants that the formulas of one aircraft, or of none, may use."""

    functions: Mapping[str, Function]
    constants: Mapping[str, Constant]
    aircraft_only: frozenset[str]
    """Names of functions that only exist with an aircraft; empty where there is one."""


_GENERAL_LIBRARY = Library(
    MappingProxyType({function.name: function for function in GENERAL}), MappingProxyType({}), frozenset(OF_AIRCRAFT)
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
    for name, (compute, arguments, result, what) in OF_AIRCRAFT.items():
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
    rows = [FunctionRow(f.name, f.arguments, f.result, f.what, False) for f in GENERAL]
    rows += [FunctionRow(name, *entry[1:], True) for name, entry in OF_AIRCRAFT.items()]
    constants = sorted(library(aircraft).constants.items())
    return Listing(
        tuple(rows),
        tuple(ConstantRow(name, c.value_si, c.dimension, c.unit) for name, c in constants),
        tuple(UnitRow(name, unit.dimension, unit.offset == 0) for name, unit in NAMED_UNITS.items()),
    )

"""The rows of the function table: what formulas may call, with a dimension for every argument and result.

Argument order is always aircraft altitude, cabin, differential. Everything is SI; dimensions are the names of
`quizsvc.physics.units`, and `density`. `any` stands for a dimension that all such arguments of a call share; a result
`any` has it too, `root` its square root.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from quizsvc.aircraft import pressurisation, supplies
from quizsvc.physics import atmosphere, flow, gas

__all__ = ["GENERAL", "OF_AIRCRAFT", "Function"]

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
_ON_AIR = ("altitude_on_air", "length")
_LEAK = ("time_constant", "time")
_DOWN = (("from_altitude", "length"), ("to_altitude", "length"))


def _leak_cabin(cabin_altitude: float, elapsed: float, time_constant: float) -> float:
    """Cabin altitude after a time of a choked leak: the pressure falls as exp(-t/tau)."""
    return atmosphere.altitude(atmosphere.pressure(cabin_altitude) * math.exp(-elapsed / time_constant))


def _leak_time(from_cabin: float, to_cabin: float, time_constant: float) -> float:
    """Time of a choked leak from one cabin altitude to another."""
    return time_constant * math.log(atmosphere.pressure(from_cabin) / atmosphere.pressure(to_cabin))


def _leak_rate(cabin_altitude: float, time_constant: float) -> float:
    """First vertical speed of a cabin that leaks choked."""
    return flow.cabin_rate(cabin_altitude, -atmosphere.pressure(cabin_altitude) / time_constant)


GENERAL: tuple[Function, ...] = (
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
    Function(
        "cabin_rate",
        (_CABIN, ("pressure_rate", "pressure-rate")),
        "speed",
        "vertical speed of a cabin whose pressure changes so; a fall is a climb",
        flow.cabin_rate,
    ),
    Function(
        "leak_cabin",
        (_CABIN, ("elapsed", "time"), _LEAK),
        "length",
        "cabin altitude some time after the inflow stopped, leak choked",
        _leak_cabin,
    ),
    Function(
        "leak_time", (*_FROM_TO, _LEAK), "time", "time from cabin to cabin without inflow, leak choked", _leak_time
    ),
    Function("leak_rate", (_CABIN, _LEAK), "speed", "first climb of a cabin without inflow, leak choked", _leak_rate),
    Function(
        "orifice_flow",
        (("inside", "pressure"), ("outside", "pressure"), ("temperature", "temperature"), ("area", "area")),
        "mass-flow",
        "air through a hole, choked or not",
        flow.mass_flow,
    ),
    Function(
        "air_mass",
        (("pressure", "pressure"), ("volume", "volume"), ("temperature", "temperature")),
        "mass",
        "mass of the air in a volume",
        gas.air_mass,
    ),
    Function(
        "inspired_oxygen",
        (*_ALTITUDE, ("fraction", "number")),
        "pressure",
        "oxygen pressure in the windpipe; fraction 0.2095 for air, 1 for pure oxygen",
        gas.inspired_oxygen,
    ),
    Function(
        "alveolar_oxygen",
        (*_ALTITUDE, ("fraction", "number")),
        "pressure",
        "oxygen pressure in the lungs, at rest",
        gas.alveolar_oxygen,
    ),
    Function(
        "altitude_on_oxygen",
        (_ON_AIR,),
        "length",
        "where 100 % oxygen gives the inspired oxygen of air lower down",
        gas.altitude_on_oxygen,
    ),
    Function(
        "oxygen_fraction_needed",
        (_ON_AIR, *_ALTITUDE),
        "number",
        "fraction that gives the inspired oxygen of air lower down",
        gas.fraction_needed,
    ),
    Function("wet_gas_ratio", _DOWN, "number", "growth of a trapped wet gas between two cabins", gas.wet_gas_ratio),
    Function(
        "gauge_at_temperature",
        (("gauge", "pressure"), ("from_temperature", "temperature"), ("to_temperature", "temperature")),
        "pressure",
        "reading of a closed bottle at another temperature",
        gas.gauge_at_temperature,
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
OF_AIRCRAFT: Mapping[str, tuple[Callable[..., float], tuple[tuple[str, str], ...], str, str]] = {
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
    "book_leak_time_constant": (
        supplies.book_leak_time_constant,
        (_LEVEL,),
        "time",
        "time constant of the largest allowed leak, measured at this level",
    ),
    "emergency_descent_time": (
        supplies.emergency_descent_time,
        _DOWN,
        "time",
        "emergency descent with speedbrakes, by the book",
    ),
    "slow_emergency_descent_time": (
        supplies.slow_emergency_descent_time,
        _DOWN,
        "time",
        "emergency descent without speedbrakes, by the book",
    ),
    "usable_oxygen": (
        supplies.usable_oxygen,
        (("bottle_pressure", "pressure"),),
        "volume",
        "oxygen to use at a bottle pressure, reference temperature",
    ),
    "bottle_pressure_for": (
        supplies.bottle_pressure_for,
        (("volume", "volume"),),
        "pressure",
        "least bottle pressure that leaves this oxygen to use",
    ),
    "bottle_at_reference": (
        supplies.bottle_at_reference,
        (("gauge", "pressure"), ("temperature", "temperature")),
        "pressure",
        "bottle reading corrected to the reference temperature",
    ),
    "crew_flow": (supplies.crew_flow, (_CABIN,), "volume-flow", "oxygen for one crew mask at 100 %"),
    "crew_flow_normal": (supplies.crew_flow_normal, (_CABIN,), "volume-flow", "oxygen for one crew mask at NORM"),
    "battery_time": (supplies.battery_time, (("load", "current"),), "time", "how long the battery feeds a load"),
    "generator_limit": (supplies.generator_limit, (_LEVEL,), "current", "load that one generator may carry at a level"),
}

"""What the described aircraft has in store: oxygen, battery, generator limits, and the time its cabin takes to leak.

Each function takes the `Aircraft` first and has no number of its own; an aircraft without the section that a function
needs is refused by name.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.sections import Electrical, FlowRow, Oxygen, Performance
from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.atmosphere import pressure
from quizsvc.physics.flow import leak_time_constant
from quizsvc.physics.gas import gauge_at_temperature
from quizsvc.physics.units import format_quantity

__all__ = [
    "battery_time",
    "book_leak_time_constant",
    "bottle_at_reference",
    "bottle_pressure_for",
    "crew_flow",
    "crew_flow_normal",
    "emergency_descent_time",
    "generator_limit",
    "slow_emergency_descent_time",
    "usable_oxygen",
]

# Altitudes go through SI and back: a row is the same row whichever way its altitude was computed.
_SAME_M = 1e-6


def book_leak_time_constant(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Time constant of the cabin's largest allowed leak, for the differential at which the file states it.

    tau = p V/(R T w) with p = p(h_aircraft) + dp; choked, so it stays while the cabin empties

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft at which the leak is measured, m.

    Returns
    -------
    float
        Time constant, s.

    Raises
    ------
    OutOfRangeError
        The level is outside the atmosphere of this service.
    """
    p = aircraft.pressurisation
    inside = pressure(aircraft_altitude_m) + p.max_leak.at_diff
    return leak_time_constant(p.cabin_volume, p.cabin_temp, inside, p.max_leak.flow)


def usable_oxygen(aircraft: Aircraft, bottle_pressure_pa: float) -> float:
    """Oxygen that can be used at a bottle pressure: litres go with pressure, less what is unusable.

    V = V_full (p - p_unusable)/p_full

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    bottle_pressure_pa : float
        Gauge pressure at the bottle's reference temperature, Pa.

    Returns
    -------
    float
        Volume, m3 at the bottle's normal temperature and pressure; 0 at or below the unusable pressure.

    Raises
    ------
    InputError
        The aircraft has no oxygen section.
    """
    oxygen = _oxygen(aircraft)
    usable = max(0.0, bottle_pressure_pa - oxygen.unusable_below)
    return oxygen.bottle_capacity * usable / oxygen.bottle_full


def bottle_pressure_for(aircraft: Aircraft, volume_m3: float) -> float:
    """Least bottle pressure that leaves a volume of oxygen to use.

    p = p_unusable + p_full V/V_full

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    volume_m3 : float
        Oxygen needed, m3 at the bottle's normal temperature and pressure, zero or more.

    Returns
    -------
    float
        Gauge pressure at the bottle's reference temperature, Pa; above a full bottle where it cannot be had.

    Raises
    ------
    OutOfRangeError
        The volume is negative.
    InputError
        The aircraft has no oxygen section.
    """
    oxygen = _oxygen(aircraft)
    if not volume_m3 >= 0:
        raise OutOfRangeError("oxygen-volume", f"a need of {volume_m3} m3", mend="give a volume of zero or more")
    return oxygen.unusable_below + oxygen.bottle_full * volume_m3 / oxygen.bottle_capacity


def bottle_at_reference(aircraft: Aircraft, gauge_pa: float, temperature_k: float) -> float:
    """Bottle reading corrected to the reference temperature of the bottle's figures.

    p2 = (p1 + outside) T2/T1 - outside, outside the normal pressure

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    gauge_pa : float
        Gauge pressure as read, Pa.
    temperature_k : float
        Temperature of the bottle as read, K.

    Returns
    -------
    float
        Gauge pressure at the reference temperature, Pa.

    Raises
    ------
    OutOfRangeError
        The temperature is not above absolute zero.
    InputError
        The aircraft has no oxygen section.
    """
    oxygen = _oxygen(aircraft)
    return gauge_at_temperature(gauge_pa, temperature_k, oxygen.bottle_ref_temp, oxygen.normal_pressure)


def crew_flow(aircraft: Aircraft, cabin_altitude_m: float) -> float:
    """Flow from the bottle for one crew mask at 100 %, straight lines between the rows of the file.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    cabin_altitude_m : float
        Cabin pressure altitude, m, from the first row to the last.

    Returns
    -------
    float
        Flow, m3/s at the bottle's normal temperature and pressure.

    Raises
    ------
    OutOfRangeError
        The cabin is outside the rows.
    InputError
        The aircraft has no oxygen section.
    """
    return _between(_oxygen(aircraft).crew_100pct, cabin_altitude_m)


def crew_flow_normal(aircraft: Aircraft, cabin_altitude_m: float) -> float:
    """Flow from the bottle for one crew mask at NORM, straight lines between the rows of the file.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    cabin_altitude_m : float
        Cabin pressure altitude, m, from the first row to the last.

    Returns
    -------
    float
        Flow, m3/s at the bottle's normal temperature and pressure.

    Raises
    ------
    OutOfRangeError
        The cabin is outside the rows.
    InputError
        The aircraft has no oxygen section.
    """
    return _between(_oxygen(aircraft).crew_norm, cabin_altitude_m)


def battery_time(aircraft: Aircraft, load_a: float) -> float:
    """How long the usable part of the battery's charge feeds a steady load.

    t = Q f/I

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    load_a : float
        Load, A, above zero.

    Returns
    -------
    float
        Time, s.

    Raises
    ------
    OutOfRangeError
        The load is not above zero.
    InputError
        The aircraft has no electrical section.
    """
    battery = _electrical(aircraft).battery
    if not load_a > 0:
        raise OutOfRangeError("battery-load", f"a load of {load_a} A", mend="give a load above zero")
    return battery.capacity * battery.usable_fraction / load_a


def generator_limit(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Load that one generator may carry at a level: its rating, and less above the level that the file names.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m; at the named level itself the rating still holds.

    Returns
    -------
    float
        Current, A.

    Raises
    ------
    InputError
        The aircraft has no electrical section.
    """
    generators = _electrical(aircraft).generators
    high = aircraft_altitude_m > generators.limit_high_above + _SAME_M
    return generators.limit_high if high else generators.rated


def emergency_descent_time(aircraft: Aircraft, from_altitude_m: float, to_altitude_m: float) -> float:
    """Time of an emergency descent with speedbrakes, at the book's average rate.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    from_altitude_m : float
        Pressure altitude at the start, m.
    to_altitude_m : float
        Pressure altitude at the end, m.

    Returns
    -------
    float
        Time, s; negative where the end lies above the start.

    Raises
    ------
    InputError
        The aircraft has no performance section.
    """
    return (from_altitude_m - to_altitude_m) / _performance(aircraft).emergency_descent_avg


def slow_emergency_descent_time(aircraft: Aircraft, from_altitude_m: float, to_altitude_m: float) -> float:
    """Time of an emergency descent without speedbrakes, at the book's average rate.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    from_altitude_m : float
        Pressure altitude at the start, m.
    to_altitude_m : float
        Pressure altitude at the end, m.

    Returns
    -------
    float
        Time, s; negative where the end lies above the start.

    Raises
    ------
    InputError
        The aircraft has no performance section.
    """
    return (from_altitude_m - to_altitude_m) / _performance(aircraft).emergency_descent_no_speedbrake_avg


def _between(rows: Sequence[FlowRow], cabin_altitude_m: float) -> float:
    rising = sorted(rows, key=lambda row: row.cabin)
    lowest, highest = (rising[0].cabin, rising[-1].cabin) if rising else (0.0, -1.0)
    if not lowest - _SAME_M <= cabin_altitude_m <= highest + _SAME_M:
        raise OutOfRangeError(
            "oxygen-flow-range",
            f"the table of mask flows has no cabin of {format_quantity(cabin_altitude_m, 'ft', 0)}",
            mend=f"give one from {format_quantity(lowest, 'ft', 0)} to {format_quantity(highest, 'ft', 0)}",
        )
    for low, high in zip(rising, rising[1:], strict=False):
        if cabin_altitude_m < high.cabin:
            share = max(0.0, cabin_altitude_m - low.cabin) / (high.cabin - low.cabin)
            return low.flow + share * (high.flow - low.flow)
    return rising[-1].flow


def _oxygen(aircraft: Aircraft) -> Oxygen:
    found: Oxygen = _section(aircraft, aircraft.oxygen, "oxygen")
    return found


def _electrical(aircraft: Aircraft) -> Electrical:
    found: Electrical = _section(aircraft, aircraft.electrical, "electrical")
    return found


def _performance(aircraft: Aircraft) -> Performance:
    found: Performance = _section(aircraft, aircraft.performance, "performance")
    return found


def _section(aircraft: Aircraft, section: Any, word: str) -> Any:
    if section is None:
        raise InputError(
            f"no-{word}",
            f"the file of {aircraft.name} has no '{word}'",
            mend=f"write the section '{word}', or leave out what needs it",
        )
    return section

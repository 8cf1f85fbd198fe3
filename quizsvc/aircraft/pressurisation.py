"""What the cabin does at a level: the air's part, and what the described controller and valves make of it.

Argument order is always aircraft altitude, cabin, differential. All altitudes are pressure altitudes, m. The first
three functions hold for any aircraft; the others take the `Aircraft` first and have no number of their own.
"""

from __future__ import annotations

import math

from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.scheduled import (
    SAME_M,
    feet,
    hold_end,
    placard,
    schedule,
    schedule_inverse,
    schedule_row_above,
    schedule_row_below,
)
from quizsvc.errors import OutOfRangeError
from quizsvc.physics.atmosphere import altitude, pressure

__all__ = [
    "cabin_altitude",
    "climb_time",
    "descent_time",
    "differential",
    "highest_altitude",
    "hold_end",
    "landing_setting",
    "landing_target",
    "placard",
    "relief_altitude",
    "schedule",
    "schedule_inverse",
    "schedule_row_above",
    "schedule_row_below",
    "valves_closed",
    "warning_threshold",
]


def cabin_altitude(aircraft_altitude_m: float, differential_pa: float) -> float:
    """Cabin altitude that a differential gives at a level.

    h_cabin = h(p(h_aircraft) + dp)

    Parameters
    ----------
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, from -609.6 to 19 994.88.
    differential_pa : float
        Cabin pressure less outside pressure, Pa.

    Returns
    -------
    float
        Cabin pressure altitude, m.

    Raises
    ------
    OutOfRangeError
        The level or the resulting cabin is outside the atmosphere of this service.

    Examples
    --------
    >>> round(cabin_altitude(39000 * 0.3048, 8.7 * 6894.757293) / 0.3048)
    6506
    """
    return altitude(pressure(aircraft_altitude_m) + differential_pa)


def differential(aircraft_altitude_m: float, cabin_altitude_m: float) -> float:
    """Differential between a cabin and the outside at a level.

    dp = p(h_cabin) - p(h_aircraft)

    Parameters
    ----------
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, from -609.6 to 19 994.88.
    cabin_altitude_m : float
        Cabin pressure altitude, m, in the same range.

    Returns
    -------
    float
        Differential, Pa; negative where the cabin is thinner than the outside.

    Raises
    ------
    OutOfRangeError
        An altitude outside the atmosphere of this service.

    Examples
    --------
    >>> round(differential(37000 * 0.3048, 6200 * 0.3048) / 6894.757293, 2)
    8.55
    """
    return pressure(cabin_altitude_m) - pressure(aircraft_altitude_m)


def highest_altitude(cabin_altitude_m: float, differential_pa: float) -> float:
    """Highest level at which a differential still holds a cabin altitude.

    h_aircraft = h(p(h_cabin) - dp)

    Parameters
    ----------
    cabin_altitude_m : float
        Cabin pressure altitude, m, from -609.6 to 19 994.88.
    differential_pa : float
        Largest differential, Pa.

    Returns
    -------
    float
        Pressure altitude of the aircraft, m.

    Raises
    ------
    OutOfRangeError
        The cabin or the resulting level is outside the atmosphere of this service.

    Examples
    --------
    >>> round(highest_altitude(4500 * 0.3048, 8.7 * 6894.757293) / 0.3048)
    33236
    """
    return altitude(pressure(cabin_altitude_m) - differential_pa)


def landing_setting(aircraft: Aircraft, elevation_m: float) -> float:
    """LDG setting for a field: the published elevation to the nearest step of the knob, a tie upwards.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    elevation_m : float
        Published elevation of the landing field, m, inside the knob's range.

    Returns
    -------
    float
        Setting, m.

    Raises
    ------
    OutOfRangeError
        The knob cannot be set to it.
    """
    knob = aircraft.pressurisation.ldg_knob
    setting = elevation_m
    if math.isfinite(elevation_m):
        setting = math.floor(elevation_m / knob.step + 0.5 + 1e-9) * knob.step
    if not knob.min - SAME_M <= setting <= knob.max + SAME_M:
        raise OutOfRangeError(
            "landing-setting-range",
            f"LDG cannot be set to {feet(setting)}, the nearest step to {feet(elevation_m)}",
            mend=f"give an elevation from {feet(knob.min)} to {feet(knob.max)}",
        )
    return setting


def landing_target(aircraft: Aircraft, elevation_m: float) -> float:
    """Cabin altitude that the controller makes for with LDG set to the field, in the regime of that setting.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    elevation_m : float
        Published elevation of the landing field, m, inside the knob's range.

    Returns
    -------
    float
        Cabin pressure altitude, m: the setting plus the offset of its regime.

    Raises
    ------
    OutOfRangeError
        The knob cannot be set to the field.
    """
    setting = landing_setting(aircraft, elevation_m)
    if _is_high_setting(aircraft, setting):
        assert aircraft.high_field is not None
        return setting + aircraft.high_field.ldg_target_offset
    return setting + aircraft.pressurisation.ldg_target_offset


def warning_threshold(aircraft: Aircraft, landing_setting_m: float, aircraft_altitude_m: float) -> float:
    """Cabin altitude at which CABIN ALT sounds in flight, by landing setting and level.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    landing_setting_m : float
        LDG setting, m.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m.

    Returns
    -------
    float
        Cabin pressure altitude, m: the shifted one only with a high setting and below the gate.

    Notes
    -----
    The leg does not matter. After a departure from a high field the threshold follows other rules.
    """
    if _is_high_setting(aircraft, landing_setting_m):
        assert aircraft.high_field is not None
        if aircraft_altitude_m < aircraft.high_field.gate_aircraft_below - SAME_M:
            return aircraft.high_field.warn_shifted
    return aircraft.safety_altitudes.cab_alt_warn


def valves_closed(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Cabin altitude with the outflow valves closed and the air still coming in: the relief heads hold it.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m.

    Returns
    -------
    float
        Cabin pressure altitude, m; below sea level at low levels.

    Raises
    ------
    OutOfRangeError
        The level or the resulting cabin is outside the atmosphere of this service.
    """
    return cabin_altitude(aircraft_altitude_m, aircraft.pressurisation.relief_crack_diff)


def relief_altitude(aircraft: Aircraft, cabin_altitude_m: float) -> float:
    """Level at which the relief heads start to blow in a climb with an unchanged cabin.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    cabin_altitude_m : float
        Cabin pressure altitude, m.

    Returns
    -------
    float
        Pressure altitude of the aircraft, m.

    Raises
    ------
    OutOfRangeError
        The cabin or the resulting level is outside the atmosphere of this service.
    """
    return highest_altitude(cabin_altitude_m, aircraft.pressurisation.relief_crack_diff)


def climb_time(aircraft: Aircraft, from_cabin_m: float, to_cabin_m: float) -> float:
    """Time the cabin needs to climb, at its up limit.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    from_cabin_m : float
        Cabin pressure altitude at the start, m.
    to_cabin_m : float
        Cabin pressure altitude at the end, m.

    Returns
    -------
    float
        Time, s; negative where the end lies below the start.
    """
    return (to_cabin_m - from_cabin_m) / aircraft.pressurisation.cabin_up_limit


def descent_time(aircraft: Aircraft, from_cabin_m: float, to_cabin_m: float) -> float:
    """Time the cabin needs to descend, at its down limit.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    from_cabin_m : float
        Cabin pressure altitude at the start, m.
    to_cabin_m : float
        Cabin pressure altitude at the end, m.

    Returns
    -------
    float
        Time, s; negative where the end lies above the start.
    """
    return (from_cabin_m - to_cabin_m) / aircraft.pressurisation.cabin_down_limit


def _is_high_setting(aircraft: Aircraft, landing_setting_m: float) -> bool:
    high_field = aircraft.high_field
    return high_field is not None and landing_setting_m > high_field.switch_ldg_above + SAME_M

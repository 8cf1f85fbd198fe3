"""Cabin altitudes that a table asks for: the automatic schedule, the departure hold on it, the crew-target placard.

All altitudes are pressure altitudes, m; every number comes from the described aircraft.
"""

from __future__ import annotations

import math
from bisect import bisect_left

from quizsvc.aircraft.model import Aircraft
from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.units import format_quantity

__all__ = [
    "hold_end",
    "placard",
    "schedule",
    "schedule_inverse",
    "schedule_row_above",
    "schedule_row_below",
]

# Feet go through SI and back: 7,200 ft is the same altitude whichever way it was computed.
SAME_M = 1e-6


def schedule(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Cabin altitude that the automatic schedule asks for, straight lines between its rows.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, up to the top row; below the first row its cabin holds.

    Returns
    -------
    float
        Cabin pressure altitude, m.

    Raises
    ------
    OutOfRangeError
        The level is above the schedule's top row.
    """
    return _between(aircraft.pressurisation.schedule, aircraft_altitude_m)


def schedule_inverse(aircraft: Aircraft, cabin_altitude_m: float) -> float:
    """Level at which the schedule asks for a cabin altitude; for the first row's cabin the highest such level.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    cabin_altitude_m : float
        Cabin pressure altitude, m, from the schedule's first cabin to its last.

    Returns
    -------
    float
        Pressure altitude of the aircraft, m.

    Raises
    ------
    OutOfRangeError
        The schedule never asks for this cabin.
    """
    rows = aircraft.pressurisation.schedule
    lowest, highest = rows[0][1], rows[-1][1]
    if not lowest - SAME_M <= cabin_altitude_m <= highest + SAME_M:
        raise OutOfRangeError(
            "cabin-not-scheduled",
            f"the schedule never asks for a cabin of {feet(cabin_altitude_m)}",
            mend=f"give a cabin from {feet(lowest)} to {feet(highest)}",
        )
    return _between(tuple((cabin, level) for level, cabin in rows), min(cabin_altitude_m, highest))


def schedule_row_below(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Cabin altitude of the schedule's row at or next below a level.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, up to the top row; below the first row its cabin holds.

    Returns
    -------
    float
        Cabin pressure altitude, m.

    Raises
    ------
    OutOfRangeError
        The level is above the schedule's top row.
    """
    rows = aircraft.pressurisation.schedule
    index = _row_at_or_above(rows, aircraft_altitude_m)
    on_row = abs(rows[index][0] - aircraft_altitude_m) <= SAME_M
    return rows[index if on_row or index == 0 else index - 1][1]


def schedule_row_above(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """Cabin altitude of the schedule's row at or next above a level.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, up to the top row.

    Returns
    -------
    float
        Cabin pressure altitude, m.

    Raises
    ------
    OutOfRangeError
        The level is above the schedule's top row.
    """
    rows = aircraft.pressurisation.schedule
    return rows[_row_at_or_above(rows, aircraft_altitude_m)][1]


def hold_end(aircraft: Aircraft, elevation_m: float) -> float:
    """Level at which the cabin leaves the departure hold, because the schedule asks for a higher cabin.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    elevation_m : float
        Elevation of the departure field, m, up to the highest field with a hold.

    Returns
    -------
    float
        Pressure altitude of the aircraft, m; the field itself where the schedule asks for a higher cabin at once.

    Raises
    ------
    OutOfRangeError
        From a field this high there is no hold.
    """
    highest = aircraft.pressurisation.departure_hold.max_field
    if elevation_m > highest + SAME_M:
        raise OutOfRangeError(
            "no-departure-hold",
            f"from {feet(elevation_m)} there is no departure hold",
            mend=f"give a field up to {feet(highest)}",
        )
    if elevation_m < aircraft.pressurisation.schedule[0][1] - SAME_M:
        return elevation_m
    return schedule_inverse(aircraft, elevation_m)


def placard(aircraft: Aircraft, aircraft_altitude_m: float) -> float:
    """CAB setting from the crew-target placard: the row at the level, between rows the next higher one.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    aircraft_altitude_m : float
        Pressure altitude of the aircraft, m, up to the top row.

    Returns
    -------
    float
        Cabin pressure altitude, m.

    Raises
    ------
    OutOfRangeError
        The level is above the placard's top row.
    InputError
        The aircraft has no crew-target mode.
    """
    if aircraft.crew_target is None:
        raise InputError("no-crew-target", f"{aircraft.name} has no crew-target mode", mend="leave the placard out")
    rows = aircraft.crew_target.placard
    return rows[_row_at_or_above(rows, aircraft_altitude_m)][1]


def _row_at_or_above(rows: tuple[tuple[float, float], ...], level_m: float) -> int:
    if not level_m <= rows[-1][0] + SAME_M:
        raise OutOfRangeError(
            "level-above-table",
            f"{feet(level_m)} is above the table's top row",
            mend=f"give a level up to {feet(rows[-1][0])}",
        )
    return min(bisect_left(rows, (level_m - SAME_M,)), len(rows) - 1)


def _between(rows: tuple[tuple[float, float], ...], x: float) -> float:
    upper = _row_at_or_above(rows, x)
    if upper == 0:
        return rows[0][1]
    (x0, y0), (x1, y1) = rows[upper - 1], rows[upper]
    return y0 + (y1 - y0) * ((x - x0) / (x1 - x0))


def feet(altitude_m: float) -> str:
    """An altitude for an error, also one that is no number."""
    return f"{altitude_m} m" if not math.isfinite(altitude_m) else format_quantity(altitude_m, "ft", 0)

"""The standard atmosphere, from -2,000 to 65,600 ft geopotential altitude, both ways.

Pressure altitude is geopotential: these functions take what an altimeter set to 1013.25 hPa shows. A float gives a
float by plain arithmetic (about a microsecond); an array gives an array of the same shape.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import overload

import numpy as np
import numpy.typing as npt

from quizsvc.errors import OutOfRangeError
from quizsvc.physics.constants import (
    FOOT,
    GAS_CONSTANT_AIR,
    HEAT_RATIO_AIR,
    HIGHEST_ALTITUDE,
    LAPSE_RATE,
    LOWEST_ALTITUDE,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_TEMPERATURE,
    STANDARD_GRAVITY,
    TROPOPAUSE_ALTITUDE,
)

__all__ = ["altitude", "density", "pressure", "speed_of_sound", "temperature"]

Array = npt.NDArray[np.float64]
ArrayIn = Array | Sequence[float]

_EXPONENT = -STANDARD_GRAVITY / (GAS_CONSTANT_AIR * LAPSE_RATE)
_SLOPE = LAPSE_RATE / SEA_LEVEL_TEMPERATURE
_TROPOPAUSE_TEMPERATURE = SEA_LEVEL_TEMPERATURE + LAPSE_RATE * TROPOPAUSE_ALTITUDE
_TROPOPAUSE_PRESSURE = SEA_LEVEL_PRESSURE * math.pow(1.0 + _SLOPE * TROPOPAUSE_ALTITUDE, _EXPONENT)
_LOG_TROPOPAUSE = math.log(_TROPOPAUSE_PRESSURE / SEA_LEVEL_PRESSURE)
_SCALE_HEIGHT = GAS_CONSTANT_AIR * _TROPOPAUSE_TEMPERATURE / STANDARD_GRAVITY

# A value that went through a unit conversion and back may miss the edge by rounding; a micrometre is no other altitude.
_SLACK_M = 1e-6


def _pressure_of(altitude_m: float) -> float:
    if altitude_m <= TROPOPAUSE_ALTITUDE:
        return SEA_LEVEL_PRESSURE * math.pow(1.0 + _SLOPE * altitude_m, _EXPONENT)
    return _TROPOPAUSE_PRESSURE * math.exp((TROPOPAUSE_ALTITUDE - altitude_m) / _SCALE_HEIGHT)


_ALTITUDE_FROM = LOWEST_ALTITUDE - _SLACK_M
_ALTITUDE_TO = HIGHEST_ALTITUDE + _SLACK_M
_PRESSURE_FROM = _pressure_of(_ALTITUDE_TO)
_PRESSURE_TO = _pressure_of(_ALTITUDE_FROM)


@overload
def pressure(altitude_m: float) -> float: ...
@overload
def pressure(altitude_m: ArrayIn) -> Array: ...
def pressure(altitude_m: float | ArrayIn) -> float | Array:
    """Static pressure of the standard atmosphere.

    p = p0 (1 + L h/T0)^(-g0/(R L)) up to 11 km, p = p11 exp(-g0 (h - 11 km)/(R T11)) above

    Parameters
    ----------
    altitude_m : float or array_like of float, shape (...)
        Geopotential altitude, m, from -609.6 to 19 994.88.

    Returns
    -------
    float or ndarray of float64, shape (...)
        Static pressure, Pa; NaN where the input is NaN.

    Raises
    ------
    OutOfRangeError
        An altitude outside the range; names the first one and its index.

    References
    ----------
    .. [1] ICAO Doc 7488/3, 1993; ISO 2533:1975.

    Examples
    --------
    >>> round(pressure(39000 * 0.3048), 1)
    19677.3
    >>> [round(p) for p in pressure([0.0, 11000.0])]
    [101325, 22632]
    """
    if isinstance(altitude_m, float | int):
        if altitude_m < _ALTITUDE_FROM or altitude_m > _ALTITUDE_TO:
            raise _altitude_error(altitude_m)
        return _pressure_of(altitude_m)
    h = _checked_altitudes(altitude_m)
    # One power over all, flattened at the tropopause, then the exponential only where it is needed: half the time of
    # computing both layers everywhere.
    p = np.minimum(h, TROPOPAUSE_ALTITUDE)
    p *= _SLOPE
    p += 1.0
    np.log(p, out=p)
    p *= _EXPONENT
    above = h > TROPOPAUSE_ALTITUDE
    np.subtract(p, (h - TROPOPAUSE_ALTITUDE) / _SCALE_HEIGHT, out=p, where=above)
    np.exp(p, out=p)
    p *= SEA_LEVEL_PRESSURE
    return p


@overload
def altitude(pressure_pa: float) -> float: ...
@overload
def altitude(pressure_pa: ArrayIn) -> Array: ...
def altitude(pressure_pa: float | ArrayIn) -> float | Array:
    """Pressure altitude: the geopotential altitude where the standard atmosphere has this pressure.

    h = T0/L ((p/p0)^(-R L/g0) - 1) up to 11 km, h = 11 km + R T11/g0 ln(p11/p) above

    Parameters
    ----------
    pressure_pa : float or array_like of float, shape (...)
        Static pressure, Pa, from 5 480 (65,600 ft) to 108 865 (-2,000 ft), rounded inwards here.

    Returns
    -------
    float or ndarray of float64, shape (...)
        Geopotential altitude, m; NaN where the input is NaN.

    Raises
    ------
    OutOfRangeError
        A pressure outside the range; names the first one and its index.

    References
    ----------
    .. [1] ICAO Doc 7488/3, 1993; ISO 2533:1975.

    Examples
    --------
    >>> round(altitude(70000.0), 1)
    3012.2
    """
    if isinstance(pressure_pa, float | int):
        if pressure_pa < _PRESSURE_FROM or pressure_pa > _PRESSURE_TO:
            raise _pressure_error(pressure_pa)
        if pressure_pa >= _TROPOPAUSE_PRESSURE:
            return (math.pow(pressure_pa / SEA_LEVEL_PRESSURE, 1.0 / _EXPONENT) - 1.0) / _SLOPE
        return TROPOPAUSE_ALTITUDE + _SCALE_HEIGHT * math.log(_TROPOPAUSE_PRESSURE / pressure_pa)
    p = np.asarray(pressure_pa, dtype=np.float64)
    _check(p, _PRESSURE_FROM, _PRESSURE_TO, _pressure_error)
    log_ratio = np.log(p / SEA_LEVEL_PRESSURE)
    h = np.expm1(np.maximum(log_ratio, _LOG_TROPOPAUSE) / _EXPONENT)
    h /= _SLOPE
    np.add(h, (_LOG_TROPOPAUSE - log_ratio) * _SCALE_HEIGHT, out=h, where=log_ratio < _LOG_TROPOPAUSE)
    return h


@overload
def temperature(altitude_m: float) -> float: ...
@overload
def temperature(altitude_m: ArrayIn) -> Array: ...
def temperature(altitude_m: float | ArrayIn) -> float | Array:
    """Temperature of the standard atmosphere.

    T = T0 + L h up to 11 km, 216.65 K above

    Parameters
    ----------
    altitude_m : float or array_like of float, shape (...)
        Geopotential altitude, m, from -609.6 to 19 994.88.

    Returns
    -------
    float or ndarray of float64, shape (...)
        Temperature, K; NaN where the input is NaN.

    Raises
    ------
    OutOfRangeError
        An altitude outside the range; names the first one and its index.

    References
    ----------
    .. [1] ICAO Doc 7488/3, 1993; ISO 2533:1975.

    Examples
    --------
    >>> round(temperature(5000.0), 2)
    255.65
    """
    if isinstance(altitude_m, float | int):
        if altitude_m < _ALTITUDE_FROM or altitude_m > _ALTITUDE_TO:
            raise _altitude_error(altitude_m)
        if altitude_m > TROPOPAUSE_ALTITUDE:
            return _TROPOPAUSE_TEMPERATURE
        return SEA_LEVEL_TEMPERATURE + LAPSE_RATE * altitude_m
    h = _checked_altitudes(altitude_m)
    kelvin: Array = SEA_LEVEL_TEMPERATURE + LAPSE_RATE * np.minimum(h, TROPOPAUSE_ALTITUDE)
    return kelvin


@overload
def density(altitude_m: float) -> float: ...
@overload
def density(altitude_m: ArrayIn) -> Array: ...
def density(altitude_m: float | ArrayIn) -> float | Array:
    """Air density of the standard atmosphere.

    rho = p/(R T)

    Parameters
    ----------
    altitude_m : float or array_like of float, shape (...)
        Geopotential altitude, m, from -609.6 to 19 994.88.

    Returns
    -------
    float or ndarray of float64, shape (...)
        Density of dry air, kg/m3; NaN where the input is NaN.

    Raises
    ------
    OutOfRangeError
        An altitude outside the range; names the first one and its index.

    References
    ----------
    .. [1] ICAO Doc 7488/3, 1993; ISO 2533:1975.

    Examples
    --------
    >>> round(density(0.0), 4)
    1.225
    """
    if isinstance(altitude_m, float | int):
        return pressure(altitude_m) / (GAS_CONSTANT_AIR * temperature(altitude_m))
    return pressure(altitude_m) / (GAS_CONSTANT_AIR * temperature(altitude_m))


@overload
def speed_of_sound(altitude_m: float) -> float: ...
@overload
def speed_of_sound(altitude_m: ArrayIn) -> Array: ...
def speed_of_sound(altitude_m: float | ArrayIn) -> float | Array:
    """Speed of sound in the standard atmosphere.

    a = sqrt(1.4 R T)

    Parameters
    ----------
    altitude_m : float or array_like of float, shape (...)
        Geopotential altitude, m, from -609.6 to 19 994.88.

    Returns
    -------
    float or ndarray of float64, shape (...)
        Speed of sound, m/s; NaN where the input is NaN.

    Raises
    ------
    OutOfRangeError
        An altitude outside the range; names the first one and its index.

    References
    ----------
    .. [1] ICAO Doc 7488/3, 1993; ISO 2533:1975.

    Examples
    --------
    >>> round(speed_of_sound(0.0), 2)
    340.29
    """
    if isinstance(altitude_m, float | int):
        return math.sqrt(HEAT_RATIO_AIR * GAS_CONSTANT_AIR * temperature(altitude_m))
    metres_per_second: Array = np.sqrt(HEAT_RATIO_AIR * GAS_CONSTANT_AIR * temperature(altitude_m))
    return metres_per_second


def _checked_altitudes(altitude_m: ArrayIn) -> Array:
    h = np.asarray(altitude_m, dtype=np.float64)
    _check(h, _ALTITUDE_FROM, _ALTITUDE_TO, _altitude_error)
    return h


def _check(
    values: Array, lowest: float, highest: float, error: Callable[[float, tuple[int, ...]], OutOfRangeError]
) -> None:
    if values.size == 0:
        return
    # fmin and fmax pass NaN over, so that a gap in a series is no range error.
    if np.fmin.reduce(values, axis=None) < lowest or np.fmax.reduce(values, axis=None) > highest:
        index = tuple(int(i) for i in np.argwhere((values < lowest) | (values > highest))[0])
        raise error(float(values[index]), index)


def _altitude_error(value: float, index: tuple[int, ...] = ()) -> OutOfRangeError:
    return OutOfRangeError(
        "altitude-out-of-range",
        f"the altitude {value / FOOT:,.1f} ft ({value:,.1f} m) is outside the standard atmosphere of this service",
        where=_at(index),
        mend="give a pressure altitude from -2,000 to 65,600 ft",
    )


def _pressure_error(value: float, index: tuple[int, ...] = ()) -> OutOfRangeError:
    return OutOfRangeError(
        "pressure-out-of-range",
        f"the pressure {value:,.1f} Pa is outside the standard atmosphere of this service",
        where=_at(index),
        mend=f"give a pressure from {_PRESSURE_FROM:,.0f} to {_PRESSURE_TO:,.0f} Pa (65,600 to -2,000 ft)",
    )


def _at(index: tuple[int, ...]) -> str:
    return f"index {index[0] if len(index) == 1 else index}" if index else ""

"""A cabin without inflow empties through a hole: times and pressures, sonic and subsonic part.

Fixed volume, constant outside pressure, flow as in `flow`. The cabin air stays at its temperature (isothermal, slow
leaks) or expands without heat from the walls (adiabatic, fast ones). For air (heat ratio 7/5) every time has a closed
form.
"""

from __future__ import annotations

import math

from quizsvc.errors import OutOfRangeError
from quizsvc.physics.constants import GAS_CONSTANT_AIR, HEAT_RATIO_AIR
from quizsvc.physics.flow import CRITICAL_RATIO, above_zero

__all__ = ["blow_down_time", "hole_area", "pressure_after"]

_SEVENTH = (HEAT_RATIO_AIR - 1.0) / (2.0 * HEAT_RATIO_AIR)
_TWO_SEVENTHS = 2.0 * _SEVENTH
_SQRT_5 = math.sqrt(5.0)


def blow_down_time(
    volume_m3: float,
    area_m2: float,
    temperature_k: float,
    initial_pa: float,
    final_pa: float,
    outside_pa: float,
    *,
    adiabatic: bool = False,
) -> float:
    """Time in which a cabin without inflow falls from one pressure to another, sonic and subsonic part.

    With tc = V/(A a), a the speed of sound in the cabin air at the start, u^2 = (p/outside)^(2/7) - 1:

    isothermal: 1.728 tc ln(p1/p2) while choked, then (7/sqrt 5) tc (G(u1) - G(u2)), G = u + 2u^3/3 + u^5/5;
    adiabatic: 8.64 tc ((p0/p2)^(1/7) - (p0/p1)^(1/7)) while choked, then
    sqrt 5 tc (p0/outside)^(1/7) (H(u1) - H(u2)), H the integral of (1 + u^2)^(3/2)

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    area_m2 : float
        Effective area, m2; divide the time of this area by the coefficient of a sharp-edged hole (0.6 to 0.8).
    temperature_k : float
        Temperature of the cabin air at the start, K.
    initial_pa : float
        Cabin pressure at the start, Pa.
    final_pa : float
        Cabin pressure at the end, Pa; the outside pressure for equalisation.
    outside_pa : float
        Outside pressure, Pa.
    adiabatic : bool
        Whether the air cools as it expands (p/rho^1.4 stays).

    Returns
    -------
    float
        Time, s.

    Raises
    ------
    OutOfRangeError
        A value is not above zero, or the pressures do not fall from initial over final to outside.

    References
    ----------
    .. [1] The integrals of dt = dp/(dp/dt), which for k = 7/5 have closed forms.

    Examples
    --------
    30 m3 and 200 cm2 at 41,000 ft from a cabin of 8,000 ft to equalisation:

    >>> round(blow_down_time(30.0, 0.02, 293.15, 75_262.36, 17_873.94, 17_873.94), 2)
    13.02
    """
    characteristic = _characteristic_time(volume_m3, area_m2, temperature_k)
    above_zero("outside pressure", outside_pa)
    if not initial_pa >= final_pa >= outside_pa:
        raise OutOfRangeError(
            "blow-down-pressures",
            f"a blow-down from {initial_pa:,.0f} to {final_pa:,.0f} Pa with {outside_pa:,.0f} Pa outside",
            mend="give an end between the start and the outside pressure",
        )
    critical = min(max(outside_pa / CRITICAL_RATIO, final_pa), initial_pa)  # where the sonic part ends
    if adiabatic:
        sonic = math.pow(initial_pa / critical, _SEVENTH) - 1.0
        subsonic = _adiabatic_integral(_speed(critical, outside_pa)) - _adiabatic_integral(_speed(final_pa, outside_pa))
        return characteristic * (8.64 * sonic + _SQRT_5 * math.pow(initial_pa / outside_pa, _SEVENTH) * subsonic)
    subsonic = _isothermal_integral(_speed(critical, outside_pa)) - _isothermal_integral(_speed(final_pa, outside_pa))
    return characteristic * (1.728 * math.log(initial_pa / critical) + 7.0 / _SQRT_5 * subsonic)


def _characteristic_time(volume_m3: float, area_m2: float, temperature_k: float) -> float:
    above_zero("volume", volume_m3)
    above_zero("area", area_m2)
    above_zero("temperature", temperature_k)
    return volume_m3 / (area_m2 * math.sqrt(HEAT_RATIO_AIR * GAS_CONSTANT_AIR * temperature_k))


def _speed(inside_pa: float, outside_pa: float) -> float:
    """u of the subsonic part: the Mach number at the hole over the square root of five."""
    return math.sqrt(max(0.0, math.pow(inside_pa / outside_pa, _TWO_SEVENTHS) - 1.0))


def _isothermal_integral(u: float) -> float:
    return u * (1.0 + u * u * (2.0 / 3.0 + u * u / 5.0))


def _adiabatic_integral(u: float) -> float:
    root = math.sqrt(1.0 + u * u)
    return u * root * root * root / 4.0 + 3.0 * u * root / 8.0 + 3.0 * math.asinh(u) / 8.0


def pressure_after(
    volume_m3: float,
    area_m2: float,
    temperature_k: float,
    initial_pa: float,
    outside_pa: float,
    elapsed_s: float,
    *,
    adiabatic: bool = False,
) -> float:
    """Pressure of a cabin without inflow some time after a hole opened: the inverse of `blow_down_time`.

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    area_m2 : float
        Effective area, m2.
    temperature_k : float
        Temperature of the cabin air at the start, K.
    initial_pa : float
        Cabin pressure at the start, Pa, not below the outside pressure.
    outside_pa : float
        Outside pressure, Pa.
    elapsed_s : float
        Time since then, s.
    adiabatic : bool
        Whether the air cools as it expands.

    Returns
    -------
    float
        Cabin pressure, Pa; the outside pressure once equal.

    Raises
    ------
    OutOfRangeError
        A value is not above zero, the time is negative, or the outside pressure is the higher one.

    Examples
    --------
    >>> round(pressure_after(30.0, 0.02, 293.15, 75_262.36, 17_873.94, 2.9671))
    50809
    """
    characteristic = _characteristic_time(volume_m3, area_m2, temperature_k)
    if not elapsed_s >= 0:
        raise OutOfRangeError("blow-down-time", f"a time of {elapsed_s} s", mend="give a time of zero or more")
    above_zero("outside pressure", outside_pa)
    start = min(outside_pa / CRITICAL_RATIO, initial_pa)
    sonic = blow_down_time(volume_m3, area_m2, temperature_k, initial_pa, start, outside_pa, adiabatic=adiabatic)
    if elapsed_s < sonic:
        passed = elapsed_s / characteristic
        if adiabatic:
            return initial_pa * math.pow(1.0 + passed / 8.64, -1.0 / _SEVENTH)
        return initial_pa * math.exp(-passed / 1.728)
    passed = (elapsed_s - sonic) / characteristic
    if adiabatic:
        gone = passed / (_SQRT_5 * math.pow(initial_pa / outside_pa, _SEVENTH))
    else:
        gone = passed * _SQRT_5 / 7.0
    integral = _adiabatic_integral if adiabatic else _isothermal_integral
    power = 1.5 if adiabatic else 2.0
    left = integral(_speed(start, outside_pa)) - gone
    if left <= 0:
        return outside_pa
    u = left
    for _ in range(20):  # Newton on a convex, rising function: a handful of steps
        step = (integral(u) - left) / math.pow(1.0 + u * u, power)
        u -= step
        if abs(step) <= 1e-15 * u:
            break
    return outside_pa * math.pow(1.0 + u * u, 1.0 / _TWO_SEVENTHS)


def hole_area(
    volume_m3: float,
    temperature_k: float,
    initial_pa: float,
    final_pa: float,
    outside_pa: float,
    time_s: float,
    *,
    adiabatic: bool = False,
) -> float:
    """Effective area of the hole through which a cabin falls to a pressure in a given time.

    Times go with V/A, so A = t(1 m2)/t.

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    temperature_k : float
        Temperature of the cabin air at the start, K.
    initial_pa : float
        Cabin pressure at the start, Pa.
    final_pa : float
        Cabin pressure at the end, Pa.
    outside_pa : float
        Outside pressure, Pa.
    time_s : float
        Time, s.
    adiabatic : bool
        Whether the air cools as it expands.

    Returns
    -------
    float
        Effective area, m2.

    Raises
    ------
    OutOfRangeError
        As `blow_down_time`, or the time is not above zero.

    Examples
    --------
    >>> round(hole_area(8.0, 293.15, 75_262.36, 37_600.89, 23_842.26, 30.0) * 1e4, 2)
    9.34
    """
    above_zero("time", time_s)
    return blow_down_time(volume_m3, 1.0, temperature_k, initial_pa, final_pa, outside_pa, adiabatic=adiabatic) / time_s

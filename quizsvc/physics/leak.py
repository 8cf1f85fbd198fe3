"""A cabin that leaks while air still comes in: pressure after a time, time to a pressure, at constant temperature.

The mass balance V/(R T) dp/dt = inflow - outflow(p), with the outflow of `physics.flow`. While the flow is choked the
pressure runs exponentially to its balance; below that the time is an integral with a pole at the balance, taken in
the logarithm of the distance from it, where what is left is smooth.
"""

from __future__ import annotations

import math

from quizsvc.errors import OutOfRangeError
from quizsvc.physics.blow_down import blow_down_time, pressure_after
from quizsvc.physics.constants import GAS_CONSTANT_AIR
from quizsvc.physics.flow import (
    CRITICAL_RATIO,
    balance_pressure,
    leak_time_constant,
    mass_flow,
)

__all__ = ["leak_pressure", "leak_time"]

# Gauss-Legendre, 8 points, positive half: roots and weights (Abramowitz and Stegun, table 25.4).
_ROOTS = (0.1834346424956498, 0.5255324099163290, 0.7966664774136267, 0.9602898564975363)
_WEIGHTS = (0.3626837833783620, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763)
_PANEL = 0.75  # in the logarithm; the 8-point rule then errs by less than 1e-12
_TWO_SEVENTHS = 2.0 / 7.0


def leak_time(
    volume_m3: float,
    area_m2: float,
    temperature_k: float,
    inflow_kg_s: float,
    initial_pa: float,
    final_pa: float,
    outside_pa: float,
) -> float:
    """Time in which a leaking cabin gets from one pressure to another.

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    area_m2 : float
        Effective area of the leak, m2.
    temperature_k : float
        Temperature of the cabin air, K; it stays.
    inflow_kg_s : float
        Air that still comes in, kg/s; 0 for none.
    initial_pa : float
        Cabin pressure at the start, Pa, not below the outside pressure.
    final_pa : float
        Cabin pressure at the end, Pa, on the same side of the balance as the start.
    outside_pa : float
        Outside pressure, Pa.

    Returns
    -------
    float
        Time, s; infinite at or beyond the balance, which is only approached, and away from it.

    Raises
    ------
    OutOfRangeError
        A value is not above zero, the inflow is negative, or a pressure lies below the outside one.

    Examples
    --------
    With 0.1 kg/s left, 30 m3 leak through 10 cm2 at FL350 from 8,000 to 10,000 ft in 28 s:

    >>> round(leak_time(30.0, 1e-3, 295.15, 0.1, 75_262.36, 69_681.64, 23_842.26), 1)
    28.1
    """
    balance = balance_pressure(inflow_kg_s, area_m2, temperature_k, outside_pa)
    for pressure in (initial_pa, final_pa):
        if not pressure >= outside_pa:
            raise OutOfRangeError(
                "leak-pressure",
                f"a cabin of {pressure:,.0f} Pa with {outside_pa:,.0f} Pa outside",
                mend="give cabin pressures not below the outside pressure",
            )
    if final_pa == initial_pa:
        return 0.0
    if inflow_kg_s == 0:
        if final_pa > initial_pa:
            return math.inf
        return blow_down_time(volume_m3, area_m2, temperature_k, initial_pa, final_pa, outside_pa)
    if not (initial_pa > final_pa > balance or initial_pa < final_pa < balance):
        return math.inf
    critical = outside_pa / CRITICAL_RATIO
    high, low = max(initial_pa, final_pa), min(initial_pa, final_pa)
    time = 0.0
    if high > critical:
        bottom = max(low, critical)
        choked_balance = inflow_kg_s / mass_flow(critical, outside_pa, temperature_k, area_m2) * critical
        tau = leak_time_constant(
            volume_m3, temperature_k, critical, mass_flow(critical, outside_pa, temperature_k, area_m2)
        )
        time += tau * abs(math.log((high - choked_balance) / (bottom - choked_balance)))
    if low < critical:
        top = min(high, critical)
        time += abs(_subsonic_time(volume_m3, area_m2, temperature_k, inflow_kg_s, top, low, outside_pa))
    return time


def leak_pressure(
    volume_m3: float,
    area_m2: float,
    temperature_k: float,
    inflow_kg_s: float,
    initial_pa: float,
    outside_pa: float,
    elapsed_s: float,
) -> float:
    """Pressure of a leaking cabin after a time: the inverse of `leak_time`.

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    area_m2 : float
        Effective area of the leak, m2.
    temperature_k : float
        Temperature of the cabin air, K.
    inflow_kg_s : float
        Air that still comes in, kg/s; 0 for none.
    initial_pa : float
        Cabin pressure at the start, Pa, not below the outside pressure.
    outside_pa : float
        Outside pressure, Pa.
    elapsed_s : float
        Time, s.

    Returns
    -------
    float
        Cabin pressure, Pa, to 1e-10 of the way to the balance.

    Raises
    ------
    OutOfRangeError
        As `leak_time`, or the time is negative.

    Examples
    --------
    >>> round(leak_pressure(30.0, 1e-3, 295.15, 0.1, 75_262.36, 23_842.26, 28.1))
    69685
    """
    if inflow_kg_s == 0:
        return pressure_after(volume_m3, area_m2, temperature_k, initial_pa, outside_pa, elapsed_s)
    if not elapsed_s >= 0:
        raise OutOfRangeError("leak-elapsed", f"a time of {elapsed_s} s", mend="give a time of zero or more")
    balance = balance_pressure(inflow_kg_s, area_m2, temperature_k, outside_pa)
    way = initial_pa - balance
    if way == 0 or elapsed_s == 0:
        return initial_pa

    def time_at(distance: float) -> float:  # distance: logarithm of the part of the way that is left, negative
        pressure = balance + way * math.exp(distance)
        return leak_time(volume_m3, area_m2, temperature_k, inflow_kg_s, initial_pa, pressure, outside_pa)

    # The time grows about evenly with that logarithm, so a secant inside a bracket closes in within a few steps.
    near, far = 0.0, -1.0
    while time_at(far) < elapsed_s:
        near, far = far, 2.0 * far
        if far < -30.0:
            return balance
    at_near, at_far = (time_at(near) if near else 0.0) - elapsed_s, time_at(far) - elapsed_s
    middle = far
    for _ in range(80):
        # So near the balance that the far end cannot be told from it, the time there is infinite: halve.
        middle = near - at_near * (far - near) / (at_far - at_near) if math.isfinite(at_far) else (near + far) / 2.0
        value = time_at(middle) - elapsed_s
        if abs(value) <= 1e-11 * elapsed_s or near - far < 1e-13:
            break
        if value < 0:
            near, at_near, at_far = middle, value, at_far / 2.0  # halving keeps the far end from staying for ever
        else:
            far, at_far, at_near = middle, value, at_near / 2.0
    return balance + way * math.exp(middle)


def _subsonic_time(
    volume_m3: float,
    area_m2: float,
    temperature_k: float,
    inflow_kg_s: float,
    initial_pa: float,
    final_pa: float,
    outside_pa: float,
) -> float:
    """With p = outside (1 + u^2)^3.5 the outflow is M u sqrt(1 + u^2), M = sqrt 7 outside A/sqrt(R T)."""
    flow_scale = math.sqrt(7.0 / (GAS_CONSTANT_AIR * temperature_k)) * outside_pa * area_m2
    factor = 7.0 * outside_pa * volume_m3 / (GAS_CONSTANT_AIR * temperature_k * flow_scale)
    q = inflow_kg_s / flow_scale
    middle = q * math.sqrt(2.0 / (1.0 + math.sqrt(1.0 + 4.0 * q * q)))  # where this outflow would balance the inflow
    start, end = _u(initial_pa, outside_pa) - middle, _u(final_pa, outside_pa) - middle
    sign = 1.0 if start > 0 else -1.0
    from_log, to_log = math.log(abs(start)), math.log(abs(end))
    panels = max(1, math.ceil(abs(to_log - from_log) / _PANEL))
    half = (to_log - from_log) / panels / 2.0
    total = 0.0
    for panel in range(panels):
        centre = from_log + (2 * panel + 1) * half
        for root, weight in zip(_ROOTS, _WEIGHTS, strict=True):
            for place in (centre - half * root, centre + half * root):
                u = middle + sign * math.exp(place)
                # (u - middle)/(outflow(u) - outflow(middle)) without the cancellation near the balance:
                # x sqrt(1+x^2) - y sqrt(1+y^2) = (x-y)(x+y)(1+x^2+y^2)/(x sqrt(1+x^2) + y sqrt(1+y^2))
                outflows = u * math.sqrt(1.0 + u * u) + middle * math.sqrt(1.0 + middle * middle)
                share = outflows / ((u + middle) * (1.0 + u * u + middle * middle))
                total += weight * share * u * math.pow(1.0 + u * u, 2.5)
    return factor * total * half


def _u(pressure_pa: float, outside_pa: float) -> float:
    return math.sqrt(max(0.0, math.pow(pressure_pa / outside_pa, _TWO_SEVENTHS) - 1.0))

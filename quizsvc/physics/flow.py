"""Air through a hole: compressible orifice flow, choked and not, and what it does to a cabin at one moment.

One model throughout: isentropic flow of air (heat ratio 7/5) through an effective area, discharge coefficient included.
`blow_down` and `leak` follow the pressure over time.
"""

from __future__ import annotations

import math

from quizsvc.errors import OutOfRangeError
from quizsvc.physics.atmosphere import density
from quizsvc.physics.constants import GAS_CONSTANT_AIR, HEAT_RATIO_AIR, STANDARD_GRAVITY

__all__ = [
    "CRITICAL_RATIO",
    "balance_pressure",
    "cabin_rate",
    "is_choked",
    "leak_time_constant",
    "mass_flow",
    "pressure_rate",
]

CRITICAL_RATIO: float = (2.0 / (HEAT_RATIO_AIR + 1.0)) ** (HEAT_RATIO_AIR / (HEAT_RATIO_AIR - 1.0))
"""Outside over inside pressure at and below which the flow is choked: 0.528 for air."""

# p A CHOKED / sqrt(R T) is the choked mass flow.
_CHOKED: float = math.sqrt(HEAT_RATIO_AIR) * (2.0 / (HEAT_RATIO_AIR + 1.0)) ** (
    (HEAT_RATIO_AIR + 1.0) / (2.0 * (HEAT_RATIO_AIR - 1.0))
)
_SQRT_7 = math.sqrt(2.0 * HEAT_RATIO_AIR / (HEAT_RATIO_AIR - 1.0))
_SEVENTH = (HEAT_RATIO_AIR - 1.0) / (2.0 * HEAT_RATIO_AIR)
_TWO_SEVENTHS = 2.0 * _SEVENTH


def is_choked(inside_pa: float, outside_pa: float) -> bool:
    """Whether the flow out of a hole runs at the speed of sound, so that the outside no longer matters.

    Parameters
    ----------
    inside_pa : float
        Pressure in front of the hole, Pa, above zero.
    outside_pa : float
        Pressure behind it, Pa.

    Returns
    -------
    bool
        True where outside/inside is at or below (2/(k+1))^(k/(k-1)), k = 1.4.

    Examples
    --------
    >>> is_choked(78_600.0, 19_700.0)
    True
    """
    return bool(outside_pa <= CRITICAL_RATIO * inside_pa)


def mass_flow(inside_pa: float, outside_pa: float, temperature_k: float, area_m2: float) -> float:
    """Mass flow of air through a hole.

    choked: p A sqrt(k/(R T)) (2/(k+1))^((k+1)/(2(k-1)));
    else p A sqrt(2k/((k-1) R T)) r^(1/k) sqrt(1 - r^((k-1)/k)) with r = outside/inside

    Parameters
    ----------
    inside_pa : float
        Pressure in the cabin, Pa.
    outside_pa : float
        Pressure outside, Pa.
    temperature_k : float
        Temperature of the air in front of the hole, K.
    area_m2 : float
        Effective area, m2, discharge coefficient included.

    Returns
    -------
    float
        Mass flow, kg/s; negative (inwards) where the outside pressure is the higher one.

    Raises
    ------
    OutOfRangeError
        A pressure or the temperature is not above zero, or the area is negative.

    References
    ----------
    .. [1] Isentropic nozzle flow of a perfect gas; the numbers of API Standard 520 part 1 for gas relief agree.

    Examples
    --------
    >>> round(mass_flow(81_199.60, 37_600.89, 288.15, 1e-4), 7)
    0.0193323
    """
    above_zero("inside pressure", inside_pa)
    above_zero("outside pressure", outside_pa)
    above_zero("temperature", temperature_k)
    if not area_m2 >= 0:
        raise OutOfRangeError("flow-area", f"an area of {area_m2} m2", mend="give an area of zero or more")
    if outside_pa > inside_pa:
        return -_flux(outside_pa, inside_pa, temperature_k) * area_m2
    return _flux(inside_pa, outside_pa, temperature_k) * area_m2


def _flux(inside_pa: float, outside_pa: float, temperature_k: float) -> float:
    root = math.sqrt(GAS_CONSTANT_AIR * temperature_k)
    ratio = outside_pa / inside_pa
    if ratio <= CRITICAL_RATIO:
        return inside_pa * _CHOKED / root
    share = math.pow(ratio, _TWO_SEVENTHS)
    return inside_pa * _SQRT_7 / root * math.pow(ratio, 1.0 / HEAT_RATIO_AIR) * math.sqrt(max(0.0, 1.0 - share))


def pressure_rate(mass_flow_kg_s: float, temperature_k: float, volume_m3: float) -> float:
    """How fast the pressure of a volume changes with a net flow of air, at constant temperature.

    dp/dt = w R T/V

    Parameters
    ----------
    mass_flow_kg_s : float
        Net mass flow into the volume, kg/s; negative outwards.
    temperature_k : float
        Temperature of the air in it, K.
    volume_m3 : float
        Volume, m3, above zero.

    Returns
    -------
    float
        Pressure rate, Pa/s.

    Raises
    ------
    OutOfRangeError
        The volume is not above zero.

    Examples
    --------
    >>> round(pressure_rate(-0.03820, 295.15, 10.0), 1)
    -323.6
    """
    above_zero("volume", volume_m3)
    return mass_flow_kg_s * GAS_CONSTANT_AIR * temperature_k / volume_m3


def cabin_rate(cabin_altitude_m: float, pressure_rate_pa_s: float) -> float:
    """Vertical speed of a cabin, from the rate of its pressure.

    dh/dt = -(dp/dt)/(rho g0), rho of the standard atmosphere at the cabin's pressure altitude

    Parameters
    ----------
    cabin_altitude_m : float
        Cabin pressure altitude, m, from -609.6 to 19 994.88.
    pressure_rate_pa_s : float
        Rate of the cabin's pressure, Pa/s.

    Returns
    -------
    float
        Rate of the cabin's pressure altitude, m/s; positive (a climb) where the pressure falls.

    Raises
    ------
    OutOfRangeError
        The cabin is outside the atmosphere of this service.

    Examples
    --------
    >>> round(cabin_rate(0.0, -61.027) / 0.3048 * 60)
    1000
    """
    return -pressure_rate_pa_s / (density(cabin_altitude_m) * STANDARD_GRAVITY)


def leak_time_constant(volume_m3: float, temperature_k: float, pressure_pa: float, mass_flow_kg_s: float) -> float:
    """Time constant of a choked leak: the mass in the volume over the flow that leaves it.

    tau = p V/(R T w); while the flow is choked the flow falls with the pressure, so tau stays

    Parameters
    ----------
    volume_m3 : float
        Volume, m3.
    temperature_k : float
        Temperature of the air in it, K.
    pressure_pa : float
        Absolute pressure in it, Pa, at which the flow was measured.
    mass_flow_kg_s : float
        Flow that leaves it, kg/s.

    Returns
    -------
    float
        Time constant, s.

    Raises
    ------
    OutOfRangeError
        A value is not above zero.

    Examples
    --------
    390 ft3 at 22 C and 11.35 psi absolute, losing 1.6 lb/min:

    >>> round(leak_time_constant(11.0436, 295.15, 78_255.0, 0.0120958) / 60, 1)
    14.1
    """
    above_zero("volume", volume_m3)
    above_zero("temperature", temperature_k)
    above_zero("pressure", pressure_pa)
    above_zero("flow", mass_flow_kg_s)
    return pressure_pa * volume_m3 / (GAS_CONSTANT_AIR * temperature_k * mass_flow_kg_s)


def balance_pressure(inflow_kg_s: float, area_m2: float, temperature_k: float, outside_pa: float) -> float:
    """Pressure at which a hole lets out as much air as comes in.

    choked: p = w sqrt(R T)/(0.6847 A); else outside (1 + u^2)^3.5 with u sqrt(1 + u^2) = w sqrt(R T)/(sqrt 7 outside A)

    Parameters
    ----------
    inflow_kg_s : float
        Mass flow into the cabin, kg/s, zero or more.
    area_m2 : float
        Effective area of the hole, m2.
    temperature_k : float
        Temperature of the cabin air, K.
    outside_pa : float
        Outside pressure, Pa.

    Returns
    -------
    float
        Cabin pressure, Pa. It may lie above what relief heads allow: the caller compares.

    Raises
    ------
    OutOfRangeError
        The inflow is negative, or another value is not above zero.

    Examples
    --------
    >>> round(balance_pressure(0.15, 1e-3, 295.15, 23_842.26) / 6894.757293, 3)
    9.248
    """
    if not inflow_kg_s >= 0:
        raise OutOfRangeError("flow-inflow", f"an inflow of {inflow_kg_s} kg/s", mend="give an inflow of zero or more")
    above_zero("area", area_m2)
    above_zero("temperature", temperature_k)
    above_zero("outside pressure", outside_pa)
    per_area = inflow_kg_s * math.sqrt(GAS_CONSTANT_AIR * temperature_k) / area_m2
    choked = per_area / _CHOKED
    if is_choked(choked, outside_pa):
        return choked
    q = per_area / (_SQRT_7 * outside_pa)
    u_squared = 2.0 * q * q / (1.0 + math.sqrt(1.0 + 4.0 * q * q))  # of u^2 (1 + u^2) = q^2, without cancellation
    return outside_pa * math.pow(1.0 + u_squared, 1.0 / _TWO_SEVENTHS)


def above_zero(name: str, value: float) -> None:
    if not value > 0:
        raise OutOfRangeError(
            f"flow-{name.replace(' ', '-')}", f"the {name} is {value}", mend=f"give a {name} above zero"
        )

"""Gases in the body, in a bottle and in a cabin: what the gas laws make of a pressure altitude or a gauge reading.

Pressures are absolute unless a name says gauge. The physiological constants are those of textbooks; ranges of people
are wide, so the numbers explain and compare, they do not predict a person.
"""

from __future__ import annotations

from quizsvc.errors import OutOfRangeError
from quizsvc.physics.atmosphere import altitude, pressure
from quizsvc.physics.constants import CELSIUS_ZERO, FOOT, GAS_CONSTANT_AIR, SEA_LEVEL_PRESSURE

__all__ = [
    "BODY_TEMPERATURE",
    "OXYGEN_FRACTION",
    "WATER_VAPOUR",
    "air_mass",
    "alveolar_oxygen",
    "altitude_on_oxygen",
    "breathed_flow",
    "bottle_content",
    "fraction_needed",
    "gauge_at_temperature",
    "inspired_oxygen",
    "wet_gas_ratio",
]

OXYGEN_FRACTION = 0.2095
"""Oxygen in dry air, by volume (physiology texts, from memory; US Standard Atmosphere 1976: 0.209476)."""
BODY_TEMPERATURE = 37.0 + CELSIUS_ZERO
"""Temperature at which gas in the body is saturated, K."""
# Physiology takes a millimetre of mercury as 1/760 of the standard atmosphere: the conventional one of the unit
# table, to its seventh digit.
_MERCURY_MM = SEA_LEVEL_PRESSURE / 760.0
WATER_VAPOUR = 47.0 * _MERCURY_MM
"""Pressure of water vapour in gas at body temperature, Pa (47 mmHg at 37 C)."""
CARBON_DIOXIDE = 40.0 * _MERCURY_MM
"""Pressure of carbon dioxide in the lungs of a person at rest, Pa (40 mmHg; falls with hyperventilation)."""
EXCHANGE_RATIO = 0.8
"""Carbon dioxide given off for oxygen taken up, by volume."""


def inspired_oxygen(altitude_m: float, fraction: float = OXYGEN_FRACTION) -> float:
    """Oxygen pressure in the windpipe, where the breathed gas is warm and moist.

    PIO2 = F (pB - 47 mmHg)

    Parameters
    ----------
    altitude_m : float
        Pressure altitude of the cabin, m, from -609.6 to 19 994.88.
    fraction : float
        Oxygen in the dry breathed gas, a ratio: 0.2095 for air, 1 for pure oxygen.

    Returns
    -------
    float
        Oxygen pressure, Pa; negative above 63,000 ft, where body fluids boil.

    Raises
    ------
    OutOfRangeError
        The altitude is outside the atmosphere of this service, or the fraction is not from 0 to 1.

    References
    ----------
    .. [1] The alveolar gas equation of physiology texts; water vapour 47 mmHg at 37 C.

    Examples
    --------
    >>> round(inspired_oxygen(8000 * 0.3048) / 133.322, 1)
    108.4
    """
    _check_fraction(fraction)
    return fraction * (pressure(altitude_m) - WATER_VAPOUR)


def alveolar_oxygen(altitude_m: float, fraction: float = OXYGEN_FRACTION) -> float:
    """Oxygen pressure in the lungs of a person at rest who does not overbreathe.

    PAO2 = F (pB - 47 mmHg) - 40 mmHg (F + (1 - F)/0.8)

    Parameters
    ----------
    altitude_m : float
        Pressure altitude of the cabin, m, from -609.6 to 19 994.88.
    fraction : float
        Oxygen in the dry breathed gas, a ratio.

    Returns
    -------
    float
        Oxygen pressure, Pa. On air above 20,000 ft people overbreathe, and this says too little.

    Raises
    ------
    OutOfRangeError
        The altitude is outside the atmosphere of this service, or the fraction is not from 0 to 1.

    References
    ----------
    .. [1] The alveolar gas equation of physiology texts.

    Examples
    --------
    >>> round(alveolar_oxygen(0.0) / 133.322, 1)
    101.5
    """
    return inspired_oxygen(altitude_m, fraction) - CARBON_DIOXIDE * (fraction + (1.0 - fraction) / EXCHANGE_RATIO)


def altitude_on_oxygen(altitude_on_air_m: float, *, alveolar: bool = False) -> float:
    """Altitude where pure oxygen at outside pressure gives as much oxygen as air does lower down.

    inspired: h(F (pB - 47 mmHg) + 47 mmHg); alveolar: h(PAO2 + 47 mmHg + 40 mmHg)

    Parameters
    ----------
    altitude_on_air_m : float
        Pressure altitude on air, m, from -609.6 to 13 700.
    alveolar : bool
        Whether the oxygen pressures in the lungs are to agree, not those in the windpipe.

    Returns
    -------
    float
        Pressure altitude on pure oxygen, m.

    Raises
    ------
    OutOfRangeError
        An altitude is outside the atmosphere of this service.

    References
    ----------
    .. [1] The alveolar gas equation of physiology texts.

    Examples
    --------
    >>> round(altitude_on_oxygen(10_000 * 0.3048) / 0.3048)
    39133
    """
    if alveolar:
        return altitude(alveolar_oxygen(altitude_on_air_m) + WATER_VAPOUR + CARBON_DIOXIDE)
    return altitude(inspired_oxygen(altitude_on_air_m) + WATER_VAPOUR)


def fraction_needed(altitude_on_air_m: float, altitude_m: float) -> float:
    """Oxygen fraction that gives the inspired oxygen pressure of air at another altitude.

    F = 0.2095 (pB_air - 47 mmHg)/(pB - 47 mmHg)

    Parameters
    ----------
    altitude_on_air_m : float
        Pressure altitude on air, m, from -609.6 to 19 994.88.
    altitude_m : float
        Pressure altitude where the mask is used, m, up to 19 000.

    Returns
    -------
    float
        Fraction, a ratio; above 1 where no mask at outside pressure can do it.

    Raises
    ------
    OutOfRangeError
        An altitude is outside the atmosphere of this service, or so high that the airways hold vapour only.

    Examples
    --------
    >>> round(fraction_needed(8_000 * 0.3048, 25_000 * 0.3048), 3)
    0.461
    """
    return inspired_oxygen(altitude_on_air_m) / _dry(altitude_m)


def wet_gas_ratio(from_altitude_m: float, to_altitude_m: float) -> float:
    """How many times its volume a trapped gas in the body takes at another cabin altitude.

    V2/V1 = (p1 - 47 mmHg)/(p2 - 47 mmHg): Boyle's law for the dry part, the water vapour stays saturated

    Parameters
    ----------
    from_altitude_m : float
        Pressure altitude where it was trapped, m, from -609.6 to 19 000.
    to_altitude_m : float
        Pressure altitude afterwards, m, in the same range.

    Returns
    -------
    float
        Volume afterwards over volume before, a ratio; no allowance for walls that do not give.

    Raises
    ------
    OutOfRangeError
        An altitude is outside the atmosphere of this service, or above the height where body fluids boil.

    References
    ----------
    .. [1] Boyle's law; water vapour 47 mmHg at 37 C (physiology texts).

    Examples
    --------
    >>> round(wet_gas_ratio(0.0, 18_000 * 0.3048), 2)
    2.14
    """
    return _dry(from_altitude_m) / _dry(to_altitude_m)


def breathed_flow(minute_volume_m3_s: float, altitude_m: float, normal_k: float, normal_pa: float) -> float:
    """Flow from a bottle for breathing 100 %: the breathed volume as dry gas at normal temperature and pressure.

    V_normal = V (pB - 47 mmHg)/p_normal T_normal/310.15 K

    Parameters
    ----------
    minute_volume_m3_s : float
        Volume breathed in unit time, m3/s, at body temperature and pressure, saturated.
    altitude_m : float
        Pressure altitude of the cabin, m, up to 19 000.
    normal_k : float
        Temperature of the bottle's litres, K.
    normal_pa : float
        Pressure of the bottle's litres, Pa.

    Returns
    -------
    float
        Flow, m3/s of normal gas: it falls with altitude.

    Raises
    ------
    OutOfRangeError
        The altitude is outside the atmosphere of this service, or too high to breathe at all.

    Examples
    --------
    20 L/min at 10,000 ft, bottle at 20 C and 1013.25 hPa:

    >>> round(breathed_flow(20 / 60_000, 3048.0, 293.15, 101_325.0) * 60_000, 1)
    11.8
    """
    return minute_volume_m3_s * _dry(altitude_m) / normal_pa * normal_k / BODY_TEMPERATURE


def bottle_content(
    water_volume_m3: float,
    gauge_pa: float,
    temperature_k: float,
    *,
    reserve_gauge_pa: float = 0.0,
    normal_k: float,
    normal_pa: float = SEA_LEVEL_PRESSURE,
) -> float:
    """Gas that a bottle gives before it falls to its reserve, as volume at normal temperature and pressure.

    V = V_water (p_gauge - p_reserve)/p_normal T_normal/T

    Parameters
    ----------
    water_volume_m3 : float
        Volume of the bottle, m3.
    gauge_pa : float
        Gauge pressure, Pa.
    temperature_k : float
        Temperature of the bottle, K.
    reserve_gauge_pa : float
        Gauge pressure at which it counts as empty, Pa.
    normal_k : float
        Temperature at which the gas is counted, K.
    normal_pa : float
        Pressure at which the gas is counted, Pa.

    Returns
    -------
    float
        Volume, m3; negative below the reserve. Ideal gas: real oxygen at 1,850 psi is 4 to 5 % more (from memory).

    Raises
    ------
    OutOfRangeError
        The temperature is not above absolute zero.

    Examples
    --------
    >>> round(bottle_content(7e-3, 1850 * 6894.757, 294.15, reserve_gauge_pa=200 * 6894.757, normal_k=294.15) * 1000)
    786
    """
    _check_kelvin(temperature_k)
    return water_volume_m3 * (gauge_pa - reserve_gauge_pa) / normal_pa * normal_k / temperature_k


def gauge_at_temperature(gauge_pa: float, from_k: float, to_k: float, outside_pa: float = SEA_LEVEL_PRESSURE) -> float:
    """Gauge pressure of a closed bottle at another temperature.

    p2 = (p1 + outside) T2/T1 - outside: absolute pressure goes with absolute temperature

    Parameters
    ----------
    gauge_pa : float
        Gauge pressure as read, Pa.
    from_k : float
        Temperature of the bottle as read, K.
    to_k : float
        The other temperature, K.
    outside_pa : float
        Pressure against which the gauge reads, Pa.

    Returns
    -------
    float
        Gauge pressure, Pa.

    Raises
    ------
    OutOfRangeError
        A temperature is not above absolute zero.

    Examples
    --------
    1,650 psi at -10 C, corrected to 21 C:

    >>> round(gauge_at_temperature(1650 * 6894.757, 263.15, 294.15) / 6894.757)
    1846
    """
    _check_kelvin(from_k)
    _check_kelvin(to_k)
    return (gauge_pa + outside_pa) * to_k / from_k - outside_pa


def air_mass(pressure_pa: float, volume_m3: float, temperature_k: float) -> float:
    """Mass of the air in a volume.

    m = p V/(R T)

    Parameters
    ----------
    pressure_pa : float
        Absolute pressure, Pa.
    volume_m3 : float
        Volume, m3.
    temperature_k : float
        Temperature of the air, K.

    Returns
    -------
    float
        Mass, kg.

    Raises
    ------
    OutOfRangeError
        The temperature is not above absolute zero.

    Examples
    --------
    >>> round(air_mass(101_325.0, 1.0, 288.15), 3)
    1.225
    """
    _check_kelvin(temperature_k)
    return pressure_pa * volume_m3 / (GAS_CONSTANT_AIR * temperature_k)


def _dry(altitude_m: float) -> float:
    """Outside pressure less the water vapour of the body, Pa, above zero."""
    dry = pressure(altitude_m) - WATER_VAPOUR
    if not dry > 0:
        raise OutOfRangeError(
            "gas-body-fluids-boil",
            f"at {altitude_m / FOOT:,.0f} ft the outside pressure is that of water vapour in the body",
            mend="give an altitude below 62,000 ft",
        )
    return dry


def _check_fraction(fraction: float) -> None:
    if not 0.0 <= fraction <= 1.0:
        raise OutOfRangeError("gas-fraction", f"an oxygen fraction of {fraction}", mend="give one from 0 to 1")


def _check_kelvin(temperature_k: float) -> None:
    if not temperature_k > 0:
        raise OutOfRangeError("gas-temperature", f"a temperature of {temperature_k} K", mend="give one above 0 K")

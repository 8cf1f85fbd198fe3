"""Constants of the standard atmosphere and of conversion, SI, each with its source.

References
----------
.. [1] ICAO Doc 7488/3, Manual of the ICAO Standard Atmosphere, 3rd edition, 1993: primary constants. ISO 2533:1975 and
       the US Standard Atmosphere 1976 use the same values below 20 km, to the digits that matter here.
.. [2] NIST Special Publication 811, 2008 edition, appendix B.8.
"""

from __future__ import annotations

__all__ = [
    "CELSIUS_ZERO",
    "FOOT",
    "GAS_CONSTANT_AIR",
    "HEAT_RATIO_AIR",
    "LAPSE_RATE",
    "LOWEST_ALTITUDE",
    "HIGHEST_ALTITUDE",
    "POUND",
    "SEA_LEVEL_PRESSURE",
    "SEA_LEVEL_TEMPERATURE",
    "STANDARD_GRAVITY",
    "TROPOPAUSE_ALTITUDE",
]

# Standard atmosphere [1]
SEA_LEVEL_PRESSURE = 101_325.0
"""Pressure at zero geopotential altitude, Pa."""
SEA_LEVEL_TEMPERATURE = 288.15
"""Temperature at zero geopotential altitude, K."""
LAPSE_RATE = -0.0065
"""Change of temperature with geopotential altitude below the tropopause, K/m."""
TROPOPAUSE_ALTITUDE = 11_000.0
"""Geopotential altitude where the isothermal layer begins, m."""
STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s2."""
GAS_CONSTANT_AIR = 287.05287
"""Specific gas constant of dry air, J/(kg K)."""
HEAT_RATIO_AIR = 1.4
"""Ratio of the specific heats of air."""

# Units that are exact by definition [2]
FOOT = 0.3048
"""International foot, m."""
POUND = 0.45359237
"""Avoirdupois pound, kg."""
CELSIUS_ZERO = 273.15
"""Zero of the Celsius scale, K."""

# Range of the model in this service: both layers with some room, geopotential.
LOWEST_ALTITUDE = -2_000.0 * FOOT
"""Lowest geopotential altitude that is computed, m (-2,000 ft)."""
HIGHEST_ALTITUDE = 65_600.0 * FOOT
"""Highest geopotential altitude that is computed, m (65,600 ft), just below the next layer at 20 km."""

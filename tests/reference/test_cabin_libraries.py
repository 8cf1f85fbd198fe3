"""Cabin altitude and highest level live against ambiance, over the whole range of levels and differentials.

The library takes geometric heights and gives pressures; cabin altitudes are found in it by root search, so that nothing
of our own inverse is used. Its `from_pressure` is a root search of its own that gives up above 18 km.
"""

from __future__ import annotations

import numpy as np
import pytest
from ambiance import Atmosphere
from scipy.optimize import brentq

from quizsvc.aircraft.pressurisation import cabin_altitude, highest_altitude

FT = 0.3048
PSI = 6894.757293168361  # Pa, NIST SP 811
EARTH_RADIUS = 6_356_766.0  # m, nominal, the library's own


def _pressure(geopotential_ft):
    geopotential = geopotential_ft * FT
    return float(Atmosphere(EARTH_RADIUS * geopotential / (EARTH_RADIUS - geopotential)).pressure[0])


def _altitude_ft(pascals):
    return brentq(lambda feet: _pressure(feet) - pascals, -2_000.0, 65_600.0, xtol=1e-4)


@pytest.mark.parametrize("level", [5_000, 10_000, 18_000, 25_000, 33_000, 36_100, 39_000, 45_000, 51_000, 65_000])
def test_cabin_and_level_agree_within_a_foot(level):
    """Every differential that leaves the cabin inside the range, in steps of 1.1 psi, both ways."""
    compared = 0
    for psi in np.arange(0.1, 10.0, 1.1):
        wanted = _pressure(level) + psi * PSI
        if wanted > _pressure(-2_000.0):
            continue
        compared += 1
        cabin = _altitude_ft(wanted)

        assert cabin_altitude(level * FT, psi * PSI) / FT == pytest.approx(cabin, abs=1.0)
        assert highest_altitude(cabin * FT, psi * PSI) / FT == pytest.approx(level, abs=1.0)
    assert compared >= 3

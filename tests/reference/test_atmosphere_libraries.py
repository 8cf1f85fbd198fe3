"""The standard atmosphere live against two independent libraries, over the whole range.

Both take geometric height, while pressure altitude is geopotential: altitudes are converted first, Z = r H/(r - H).
"""

from __future__ import annotations

import numpy as np
import pytest
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976

from quizsvc.physics import atmosphere

FT = 0.3048
EARTH_RADIUS = 6_356_766.0  # m, nominal, both libraries' own
# Every 100 ft, the edges, and both sides of the tropopause.
GEOPOTENTIAL = np.unique(
    np.concatenate([np.arange(-2000, 65_600, 100.0) * FT, [65_600 * FT, 10_999.99, 11_000, 11_000.01]])
)
GEOMETRIC = EARTH_RADIUS * GEOPOTENTIAL / (EARTH_RADIUS - GEOPOTENTIAL)


def test_ambiance_agrees():
    """Pressure, temperature, density and speed of sound within 1e-5 relative of ambiance."""
    peer = Atmosphere(GEOMETRIC)
    assert np.asarray(peer.H) == pytest.approx(GEOPOTENTIAL, abs=1e-6)

    assert atmosphere.pressure(GEOPOTENTIAL) == pytest.approx(peer.pressure, rel=1e-5)
    assert atmosphere.temperature(GEOPOTENTIAL) == pytest.approx(peer.temperature, rel=1e-5)
    assert atmosphere.density(GEOPOTENTIAL) == pytest.approx(peer.density, rel=1e-5)
    assert atmosphere.speed_of_sound(GEOPOTENTIAL) == pytest.approx(peer.speed_of_sound, rel=1e-5)


def test_fluids_agrees():
    """Pressure, temperature, density and speed of sound within 1e-5 relative of fluids."""
    peers = [ATMOSPHERE_1976(z) for z in GEOMETRIC]

    assert atmosphere.pressure(GEOPOTENTIAL) == pytest.approx(np.array([peer.P for peer in peers]), rel=1e-5)
    assert atmosphere.temperature(GEOPOTENTIAL) == pytest.approx(np.array([peer.T for peer in peers]), rel=1e-5)
    assert atmosphere.density(GEOPOTENTIAL) == pytest.approx(np.array([peer.rho for peer in peers]), rel=1e-5)
    assert atmosphere.speed_of_sound(GEOPOTENTIAL) == pytest.approx(
        np.array([peer.v_sonic for peer in peers]), rel=1e-5
    )


def test_altitude_of_a_library_pressure_is_where_the_library_has_it():
    """The way back within 0.1 ft, array and scalar, from the pressures of both libraries."""
    for pressures in (Atmosphere(GEOMETRIC).pressure, np.array([ATMOSPHERE_1976(z).P for z in GEOMETRIC])):
        inside = (pressures > 5_480) & (pressures < 108_865)

        assert inside.sum() > 670
        assert atmosphere.altitude(pressures[inside]) / FT == pytest.approx(GEOPOTENTIAL[inside] / FT, abs=0.1)
        for p, h in zip(pressures[inside][::40], GEOPOTENTIAL[inside][::40], strict=True):
            assert atmosphere.altitude(float(p)) / FT == pytest.approx(h / FT, abs=0.1)


def test_ambiance_inverse_agrees():
    """Our altitude of a pressure and that of ambiance differ by less than 0.1 ft."""
    pressures = np.geomspace(5_500.0, 108_500.0, 300)
    peer = np.array([float(Atmosphere.from_pressure(p).H[0]) for p in pressures[::10]])

    assert atmosphere.altitude(pressures[::10]) / FT == pytest.approx(peer / FT, abs=0.1)

"""The standard atmosphere on a million altitudes against ambiance, and one altitude at a time."""

from __future__ import annotations

import timeit

import numpy as np
from ambiance import Atmosphere

from quizsvc.physics import atmosphere
from tests.benchmarks import Row, best_seconds

EARTH_RADIUS = 6_356_766.0  # m, nominal; ambiance takes geometric heights


def run() -> list[Row]:
    """Times of both in one run; ambiance is given the same work: pressures, and altitudes of pressures."""
    geopotential = np.linspace(-600.0, 19_990.0, 1_000_000)
    geometric = EARTH_RADIUS * geopotential / (EARTH_RADIUS - geopotential)
    pressures = atmosphere.pressure(geopotential)
    np.testing.assert_allclose(pressures, Atmosphere(geometric).pressure, rtol=1e-5)

    ours = best_seconds(lambda: atmosphere.pressure(geopotential))
    peer = best_seconds(lambda: Atmosphere(geometric).pressure, repeats=3)
    # The way back in ambiance is a root search: a hundredth of the altitudes, below where it fails to converge.
    some = pressures[geopotential < 18_000][::100].copy()
    ours_back = best_seconds(lambda: atmosphere.altitude(some))
    peer_back = best_seconds(lambda: Atmosphere.from_pressure(some).H, repeats=3)
    one = min(timeit.repeat(lambda: atmosphere.altitude(atmosphere.pressure(8000.0)), number=20_000, repeat=5)) / 20_000
    return [
        Row("atmosphere: ambiance, 10^6 pressures", peer * 1e3, "ms"),
        Row("atmosphere: 10^6 pressures", ours * 1e3, "ms", peer / ours, "at least 10"),
        Row("atmosphere: ambiance, 10^4 altitudes", peer_back * 1e3, "ms"),
        Row("atmosphere: 10^4 altitudes", ours_back * 1e3, "ms", peer_back / ours_back, "at least 10"),
        Row("atmosphere: one pressure and back", one * 1e6, "us"),
    ]

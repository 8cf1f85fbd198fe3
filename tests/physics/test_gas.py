"""Gas laws at their edges; the figures themselves stand in tests/reference/test_gas_tables.py."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.errors import OutOfRangeError
from quizsvc.physics import gas
from quizsvc.physics.atmosphere import density, pressure, temperature

ALTITUDE = st.floats(-600.0, 18_000.0)


@given(low=ALTITUDE, high=ALTITUDE)
def test_trapped_gas_goes_back(low, high):
    """There and back again is the same volume, and wet gas moves more than dry gas."""
    there = gas.wet_gas_ratio(low, high)

    assert there * gas.wet_gas_ratio(high, low) == pytest.approx(1.0)
    dry = pressure(low) / pressure(high)
    assert there >= dry if high >= low else there <= dry


@given(altitude=st.floats(-600.0, 13_000.0))
def test_pure_oxygen_at_its_altitude_is_the_air_below(altitude):
    """Inspired and alveolar oxygen agree between the two altitudes."""
    assert gas.inspired_oxygen(gas.altitude_on_oxygen(altitude), 1.0) == pytest.approx(gas.inspired_oxygen(altitude))
    lungs = gas.altitude_on_oxygen(min(altitude, 8000.0), alveolar=True)
    assert gas.alveolar_oxygen(lungs, 1.0) == pytest.approx(gas.alveolar_oxygen(min(altitude, 8000.0)))


@given(altitude=ALTITUDE)
def test_air_mass_of_a_cubic_metre_is_the_density(altitude):
    """ISO 2533 density, by the ideal gas law."""
    assert gas.air_mass(pressure(altitude), 1.0, temperature(altitude)) == pytest.approx(density(altitude))


@given(gauge=st.floats(0.0, 2e7), cold=st.floats(220.0, 294.0), warm=st.floats(294.0, 330.0))
def test_bottle_temperature_goes_back(gauge, cold, warm):
    """Warmed and cooled again it reads the same; warmer reads higher."""
    warmed = gas.gauge_at_temperature(gauge, cold, warm)

    assert warmed >= gauge - 1e-6  # what floats lose beside an atmosphere
    assert gas.gauge_at_temperature(warmed, warm, cold) == pytest.approx(gauge, abs=1e-6)


@pytest.mark.parametrize(
    ("cabin_ft", "printed"),
    [(8000, 12.9), (10_000, 11.8), (15_000, 9.5), (20_000, 7.5), (25_000, 5.8), (30_000, 4.4), (35_000, 3.3)],
)
def test_breathing_pure_oxygen(cabin_ft, printed):
    """The table of the invented aircraft (domain paper on it, section oxygen): 20 L/min breathed, litres at 20 C."""
    flow = gas.breathed_flow(20 / 60_000, cabin_ft * 0.3048, 293.15, 101_325.0)

    assert flow * 60_000 == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(
    ("call", "reference"),
    [
        (lambda: gas.inspired_oxygen(0.0, 1.2), "gas-fraction"),
        (lambda: gas.alveolar_oxygen(0.0, -0.1), "gas-fraction"),
        (lambda: gas.wet_gas_ratio(0.0, 19_300.0), "gas-body-fluids-boil"),
        (lambda: gas.fraction_needed(0.0, 19_300.0), "gas-body-fluids-boil"),
        (lambda: gas.gauge_at_temperature(1e6, 0.0, 290.0), "gas-temperature"),
        (lambda: gas.gauge_at_temperature(1e6, 290.0, -1.0), "gas-temperature"),
        (lambda: gas.bottle_content(1.0, 1e6, 0.0, normal_k=290.0), "gas-temperature"),
        (lambda: gas.air_mass(1e5, 1.0, 0.0), "gas-temperature"),
        (lambda: gas.altitude_on_oxygen(99_000.0), "altitude-out-of-range"),
    ],
)
def test_values_outside_the_range_are_refused(call, reference):
    """Each names the value and how to mend it."""
    with pytest.raises(OutOfRangeError) as caught:
        call()
    assert caught.value.reference == reference and caught.value.mend

"""Oxygen, battery, generators, leak and emergency descent of the described aircraft.

Expected values: samples of the domain paper on numeric families and figures of that on the aircraft, to half a unit of
their last printed digit. A second aircraft file with other numbers goes through the same functions.
"""

from __future__ import annotations

import pytest

from quizsvc.aircraft import supplies
from quizsvc.errors import InputError, OutOfRangeError
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of, edited

FT = 0.3048
PSI = 6894.757293168361
L_MIN = 1e-3 / 60
TQ = aircraft_of(TOLQUENNY)
VS = aircraft_of(VESSANDRY)


def test_book_leak_time_constant():
    """14 min at FL390 (aircraft paper); lower down the cabin holds more air at the same differential: longer."""
    assert supplies.book_leak_time_constant(TQ, 39_000 * FT) / 60 == pytest.approx(14, abs=0.5)
    assert supplies.book_leak_time_constant(TQ, 30_000 * FT) > supplies.book_leak_time_constant(TQ, 39_000 * FT)


def test_n25_usable_oxygen():
    """1,200 psi: 795 L (N25); a full bottle 1,286 L; nothing at or below 150 psi."""
    assert supplies.usable_oxygen(TQ, 1200 * PSI) * 1000 == pytest.approx(795, abs=0.5)
    assert supplies.usable_oxygen(TQ, 1850 * PSI) * 1000 == pytest.approx(1286, abs=0.5)
    assert supplies.usable_oxygen(TQ, 150 * PSI) == pytest.approx(0, abs=1e-12)
    assert supplies.usable_oxygen(TQ, 90 * PSI) == 0


def test_n26_bottle_at_reference():
    """1,650 psi at -10 C: 1,846 psi at 21 C (N26)."""
    assert supplies.bottle_at_reference(TQ, 1650 * PSI, 263.15) / PSI == pytest.approx(1846, abs=0.5)


def test_n28_bottle_pressure_for_a_plan():
    """6 masks and 2 crew, 10 min at 25,000 ft and 20 at 10,000: 1,181 psi (N28); and back again."""
    need = (6 * 3.2 * 10 + 2 * 5.8 * 10 + 2 * 11.8 * 20) * 1e-3
    least = supplies.bottle_pressure_for(TQ, need)

    assert least / PSI == pytest.approx(1181, abs=0.5)
    assert supplies.usable_oxygen(TQ, least) == pytest.approx(need)


def test_n27_crew_flow_at_and_between_rows():
    """The rows of SH 35-20, and half way between two of them the mean."""
    for feet, litres in ((8000, 12.9), (10_000, 11.8), (25_000, 5.8), (35_000, 3.3)):
        assert supplies.crew_flow(TQ, feet * FT) / L_MIN == pytest.approx(litres)
    assert supplies.crew_flow(TQ, 22_500 * FT) / L_MIN == pytest.approx((7.5 + 5.8) / 2)
    assert supplies.crew_flow_normal(TQ, 12_500 * FT) / L_MIN == pytest.approx((2.6 + 4.2) / 2)


def test_flow_rows_may_stand_in_any_order():
    """The rows are a table: their order in the file says nothing."""
    turned = aircraft_of(
        edited(
            ("    - {cabin_ft: 8000, flow_l_per_min: 12.9}\n", ""),
            (
                "    - {cabin_ft: 35000, flow_l_per_min: 3.3}\n",
                "    - {cabin_ft: 35000, flow_l_per_min: 3.3}\n    - {cabin_ft: 8000, flow_l_per_min: 12.9}\n",
            ),
        )
    )
    assert supplies.crew_flow(turned, 9000 * FT) == pytest.approx(supplies.crew_flow(TQ, 9000 * FT))


def test_n29_battery_time():
    """33 A: 64.00 min (N29)."""
    assert supplies.battery_time(TQ, 33.0) / 60 == pytest.approx(64.00, abs=0.005)


def test_n31_generator_limit():
    """300 A, 260 A above FL300; at FL300 itself still the rating."""
    assert supplies.generator_limit(TQ, 35_000 * FT) == 260
    assert supplies.generator_limit(TQ, 30_000 * FT) == supplies.generator_limit(TQ, 12_000 * FT) == 300


def test_n23_emergency_descent():
    """FL390 to 14,000 ft: 8.06 min without speedbrakes, 4.81 with (N23)."""
    way = 39_000 * FT, 14_000 * FT

    assert supplies.slow_emergency_descent_time(TQ, *way) / 60 == pytest.approx(8.06, abs=0.005)
    assert supplies.emergency_descent_time(TQ, *way) / 60 == pytest.approx(4.81, abs=0.005)


@pytest.mark.parametrize(
    ("call", "reference"),
    [
        (lambda: supplies.crew_flow(TQ, 5000 * FT), "oxygen-flow-range"),
        (lambda: supplies.crew_flow_normal(TQ, 21_000 * FT), "oxygen-flow-range"),
        (lambda: supplies.battery_time(TQ, 0.0), "battery-load"),
        (lambda: supplies.bottle_pressure_for(TQ, -1.0), "oxygen-volume"),
        (lambda: supplies.bottle_at_reference(TQ, 1e6, 0.0), "gas-temperature"),
    ],
)
def test_values_outside_the_range_are_refused(call, reference):
    """Each names the value and how to mend it."""
    with pytest.raises(OutOfRangeError) as caught:
        call()
    assert caught.value.reference == reference and caught.value.mend


@pytest.mark.parametrize(
    ("call", "reference"),
    [
        (lambda: supplies.usable_oxygen(VS, 1e6), "no-oxygen"),
        (lambda: supplies.battery_time(VS, 10.0), "no-electrical"),
        (lambda: supplies.generator_limit(VS, 1000.0), "no-electrical"),
        (lambda: supplies.emergency_descent_time(VS, 5000.0, 3000.0), "no-performance"),
    ],
)
def test_an_aircraft_without_the_section_is_refused_by_name(call, reference):
    """The second aircraft has neither oxygen nor electrical nor performance; it says so."""
    with pytest.raises(InputError, match="Vessandry 40") as caught:
        call()
    assert caught.value.reference == reference


def test_another_aircraft_leaks_by_its_own_numbers():
    """Ideal gas by hand: p V/(R T w) of the second file's volume, temperature and leak."""
    p = VS.pressurisation
    tau = supplies.book_leak_time_constant(VS, 25_000 * FT)
    outside = 37_600.9  # Pa at FL250, isa_table.csv

    assert tau == pytest.approx(
        (outside + p.max_leak.at_diff) * p.cabin_volume / (287.05287 * p.cabin_temp * p.max_leak.flow), rel=1e-6
    )

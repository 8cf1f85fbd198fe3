"""Cabin altitude, differential and highest level against data/cabin, computed by two libraries."""

from __future__ import annotations

import pytest

from quizsvc.aircraft.pressurisation import cabin_altitude, differential, highest_altitude
from tests.reference.tables import half_last_digit, rows_of

FT = 0.3048
PSI = 6894.757293  # Pa, as the tables' heads say


@pytest.mark.parametrize("library", ["ambiance", "fluids"])
def test_cabin_altitude_at_a_differential(library):
    """cabin_altitude_at_max_dp.csv: every cabin altitude within 1 ft."""
    rows = rows_of("cabin/cabin_altitude_at_max_dp.csv")
    assert len(rows) == 243
    for row in rows:
        level = float(row["aircraft_pressure_alt_ft"]) * FT
        feet = cabin_altitude(level, float(row["max_differential_psi"]) * PSI) / FT

        assert feet == pytest.approx(float(row[f"cabin_alt_ft_{library}"]), abs=1.0)


@pytest.mark.parametrize("library", ["ambiance", "fluids"])
def test_differential_of_a_cabin(library):
    """differential.csv: every differential to the printed hundred-thousandth of a psi."""
    rows = rows_of("cabin/differential.csv")
    assert len(rows) > 130
    for row in rows:
        psi = differential(float(row["aircraft_alt_ft"]) * FT, float(row["cabin_alt_ft"]) * FT) / PSI
        printed = row[f"dp_psi_{library}"]
        # The two libraries differ by up to 5e-7 of 15 psi, 8e-6 psi, beside the half digit of the print.
        assert psi == pytest.approx(float(printed), abs=half_last_digit(printed) + 8e-6)


@pytest.mark.parametrize("library", ["ambiance", "fluids"])
def test_highest_level_for_a_cabin(library):
    """max_aircraft_alt_for_cabin.csv: every level within 1 ft."""
    compared = 0
    for row in rows_of("cabin/max_aircraft_alt_for_cabin.csv"):
        printed = row[f"aircraft_alt_ft_{library}"]
        if not printed or float(printed) > 65_600:
            continue
        compared += 1
        feet = highest_altitude(float(row["cabin_or_field_alt_ft"]) * FT, float(row["max_differential_psi"]) * PSI) / FT

        assert feet == pytest.approx(float(printed), abs=1.0)
    assert compared > 100


def test_light_jet_at_its_maximum_differential():
    """Common practice, no source: at FL450 a maximum differential of 8.7 to 9.0 psi shows a cabin near 7,800 ft."""
    assert 8.7 < differential(45_000 * FT, 7_800 * FT) / PSI < 9.0


def test_cabin_of_the_command_line_example():
    """FL390 at 8.7 psi is 6,506 ft (numeric-families N19 and aircraft.md print 6,506; recomputed there with ISA)."""
    assert cabin_altitude(39_000 * FT, 8.7 * PSI) / FT == pytest.approx(6506, abs=1.0)

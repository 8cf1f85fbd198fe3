"""Oxygen, trapped gas and bottles against data/physiology, cabins against data/cabin.

Constants of the tables, in their first lines: oxygen fraction 0.2095, water vapour 47 mmHg at 37 C, carbon dioxide
40 mmHg, exchange ratio 0.8, bottle litres at 14.6959 psi and 21 C.
"""

from __future__ import annotations

import pytest

from quizsvc.aircraft.pressurisation import cabin_altitude, differential
from quizsvc.bank.formula import compile_formula
from quizsvc.bank.functions import library
from quizsvc.physics import gas
from quizsvc.physics.atmosphere import pressure
from tests.reference.tables import half_last_digit, rows_of

FT = 0.3048
PSI = 6894.757293168361  # Pa, NIST SP 811
MMHG = 101_325.0 / 760.0  # Pa, as the tables take it: 760 at sea level
ATMOSPHERE = 14.6959 * PSI  # Pa, as the tables of bottles state it


def _same(value, printed):
    assert value == pytest.approx(float(printed), abs=half_last_digit(printed), rel=0)


def test_oxygen_pressures_by_altitude():
    """po2_by_altitude.csv: inspired and alveolar, on air and on 100 %, every 1,000 ft to 64,000 ft."""
    rows = rows_of("physiology/po2_by_altitude.csv")
    assert len(rows) == 65
    alveolar = 0
    for row in rows:
        metres = float(row["altitude_ft"]) * FT
        _same(pressure(metres) / MMHG, row["PB_mmHg"])
        _same(gas.OXYGEN_FRACTION * pressure(metres) / MMHG, row["PO2_dry_air_mmHg"])
        _same(gas.inspired_oxygen(metres) / MMHG, row["PIO2_tracheal_air_mmHg"])
        _same(gas.inspired_oxygen(metres, 1.0) / MMHG, row["PIO2_tracheal_100pct_mmHg"])
        for fraction, column in ((gas.OXYGEN_FRACTION, "PAO2_air_mmHg"), (1.0, "PAO2_100pct_mmHg")):
            if row[column]:
                alveolar += 1
                _same(gas.alveolar_oxygen(metres, fraction) / MMHG, row[column])
    assert alveolar == 71


def test_altitude_on_pure_oxygen():
    """equivalent_altitude_100pct_oxygen.csv: same windpipe and same lung pressures, to the tenth of a foot."""
    rows = rows_of("physiology/equivalent_altitude_100pct_oxygen.csv")
    assert len(rows) == 12
    for row in rows:
        metres = float(row["air_altitude_ft"]) * FT
        _same(gas.altitude_on_oxygen(metres) / FT, row["equiv_alt_100pct_same_tracheal_ft"])
        _same(gas.altitude_on_oxygen(metres, alveolar=True) / FT, row["equiv_alt_100pct_same_alveolar_ft"])


def test_classic_figures_of_pure_oxygen():
    """From memory: 33,700 ft on 100 % is about sea level on air; 40,000 ft about 10,000 ft (both alveolar)."""
    assert gas.altitude_on_oxygen(0.0, alveolar=True) / FT == pytest.approx(33_700, abs=300)
    assert gas.altitude_on_oxygen(10_000 * FT, alveolar=True) / FT == pytest.approx(40_000, abs=500)


def test_fraction_that_a_cabin_needs():
    """fio2_required.csv: the fraction, and where no mask at outside pressure gives it."""
    rows = rows_of("physiology/fio2_required.csv")
    assert len(rows) == 31
    for row in rows:
        needed = gas.fraction_needed(float(row["reference_air_alt_ft"]) * FT, float(row["cabin_alt_ft"]) * FT)

        _same(needed, row["fio2_required"])
        assert (needed > 1) == row["note"].startswith("impossible")


def test_trapped_gas():
    """gas_expansion.csv: dry (Boyle) and wet ratios."""
    rows = rows_of("physiology/gas_expansion.csv")
    assert len(rows) > 60
    for row in rows:
        low, high = float(row["from_ft"]) * FT, float(row["to_ft"]) * FT
        _same(pressure(low) / pressure(high), row["dry_ratio"])
        _same(gas.wet_gas_ratio(low, high), row["wet_ratio"])


def test_oxygen_duration():
    """oxygen_duration.csv: litres, cubic feet, minutes, and the wrong minutes without reserve and temperature."""
    rows = rows_of("physiology/oxygen_duration.csv")
    assert len(rows) == 12
    for row in rows:
        water, gauge = float(row["water_volume_L"]) * 1e-3, float(row["gauge_psi"]) * PSI
        use = float(row["users"]) * float(row["flow_L_min_each"])
        usable = gas.bottle_content(
            water,
            gauge,
            273.15 + float(row["bottle_T_C"]),
            reserve_gauge_pa=float(row["reserve_psi"]) * PSI,
            normal_k=294.15,
            normal_pa=ATMOSPHERE,
        )
        naive = gas.bottle_content(water, gauge, 294.15, normal_k=294.15, normal_pa=ATMOSPHERE)

        _same(usable * 1000, row["usable_free_litres"])
        _same(usable / FT**3, row["usable_cuft"])
        _same(usable * 1000 / use, row["minutes"])
        _same(naive * 1000 / use, row["wrong_no_reserve_no_temperature_min"])


def test_gauge_and_temperature():
    """oxygen_gauge_temperature.csv: a closed bottle read at another temperature."""
    rows = rows_of("physiology/oxygen_gauge_temperature.csv")
    assert len(rows) == 20
    for row in rows:
        gauge = float(row["gauge_psi_at_T1"])
        after = gas.gauge_at_temperature(
            gauge * PSI, 273.15 + float(row["T1_C"]), 273.15 + float(row["T2_C"]), ATMOSPHERE
        )

        _same(after / PSI, row["gauge_psi_at_T2"])
        assert abs(after / PSI - float(row["gauge_ratio_shortcut"])) < 4  # the ratio of gauge pressures: a small error


def test_emergency_descents():
    """emergency_descent.csv by formulas of the bank's language: time to the level, and seconds above 25,000 ft."""
    rows = rows_of("physiology/emergency_descent.csv")
    assert len(rows) == 10
    names = {"level": None, "goal": None, "rate": None, "delay": None}
    time = compile_formula("delay + (level - goal)/rate", library(None), names)
    above = compile_formula("delay + (level - 25000*ft)/rate if level > 25000*ft else 0*s", library(None), names)
    for row in rows:
        values = {
            "level": float(row["aircraft_alt_ft"]) * FT,
            "goal": float(row["target_alt_ft"]) * FT,
            "rate": float(row["descent_fpm"]) * FT / 60,
            "delay": float(row["delay_s"]),
        }
        _same(time(values), row["time_to_target_s"])
        _same(above(values), row["seconds_above_25000"])
        assert (above(values) <= 120 + 1e-9) == (row["within_2_min_above_25000"] == "yes")


def test_prepressurisation():
    """prepressurisation.csv: how far below the field a cabin shows that is held above field pressure."""
    rows = rows_of("cabin/prepressurisation.csv")
    assert len(rows) == 56
    for row in rows:
        field = float(row["field_alt_ft"]) * FT
        below = field - cabin_altitude(field, float(row["dp_psi"]) * PSI)

        _same(below / FT, row["feet_below_field_exact"])


def test_landing_elevation_set_wrong():
    """landing_elevation_set_wrong.csv: differential at touchdown if the controller followed the set value."""
    rows = rows_of("cabin/landing_elevation_set_wrong.csv")
    assert len(rows) > 25
    for row in rows:
        field = float(row["true_field_alt_ft"]) * FT
        psi = differential(field, field + float(row["set_minus_true_ft"]) * FT) / PSI

        _same(psi, row["dp_at_touchdown_psi"])
        assert (psi > 0) == ("residual positive" in row["meaning"])

"""The functions that items use, against the samples of the numeric families and over a second aircraft.

The samples N01 to N19 were computed outside this project from the aircraft's numbers and a standard-atmosphere formula;
each is held to its printed digits.
"""

from __future__ import annotations

import math
import time
import timeit

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.aircraft import pressurisation as cabin
from quizsvc.aircraft.model import Aircraft
from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.atmosphere import altitude, pressure
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of, edited

FT = 0.3048
PSI = 6894.757293168361
MIN = 60.0
TQ = aircraft_of(TOLQUENNY)
VS = aircraft_of(VESSANDRY)


def feet(metres):
    """Metres in feet."""
    return metres / FT


class TestSamplesOfTheFamilies:
    """Expected: "Sample" and "Misconceptions" of the families, to half a unit of the last printed digit."""

    def test_n01_cabin_altitude_from_differential(self):
        """FL330, 8.2 psi: 5,501 ft; off the sea-level pressure 20,924; off the schedule 4,960."""
        assert round(feet(cabin.cabin_altitude(33_000 * FT, 8.2 * PSI))) == 5501
        assert round(feet(altitude(pressure(0.0) - 8.2 * PSI))) == 20_924
        assert round(feet(cabin.schedule(TQ, 33_000 * FT))) == 4960

    def test_n02_differential(self):
        """FL370 with 6,200 ft: 8.55 psi; with sea level 11.55."""
        assert round(cabin.differential(37_000 * FT, 6200 * FT) / PSI, 2) == 8.55
        assert round(cabin.differential(37_000 * FT, 0.0) / PSI, 2) == 11.55

    def test_n03_highest_level(self):
        """4,500 ft at the control limit: 33,236 ft; relief 34,398; schedule backwards 31,562; sea level 22,807."""
        limit = TQ.pressurisation.diff_control_limit

        assert round(feet(cabin.highest_altitude(4500 * FT, limit))) == 33_236
        assert round(feet(cabin.relief_altitude(TQ, 4500 * FT))) == 34_398
        assert feet(cabin.schedule_inverse(TQ, 4500 * FT)) == pytest.approx(31_562, abs=0.51)
        assert round(feet(cabin.highest_altitude(0.0, limit))) == 22_807

    def test_n04_schedule_between_rows(self):
        """FL330: 4,960 ft between 4,000 and 5,600."""
        assert feet(cabin.schedule(TQ, 33_000 * FT)) == pytest.approx(4960)
        assert feet(cabin.schedule_row_below(TQ, 33_000 * FT)) == pytest.approx(4000)
        assert feet(cabin.schedule_row_above(TQ, 33_000 * FT)) == pytest.approx(5600)

    def test_n05_departure_hold(self):
        """Tarn Ebbick, 2,237 ft: 24,457 ft; Dunquerry about 17,300 and Ost Tallay about FL324 (handbook, 21-20)."""
        assert round(feet(cabin.hold_end(TQ, 2237 * FT))) == 24_457
        assert round(feet(cabin.hold_end(TQ, 412 * FT)), -2) == 17_300
        assert round(feet(cabin.hold_end(TQ, 4764 * FT)), -2) == 32_400

    def test_n06_climb_time(self):
        """2,237 to 6,900 ft: 8.48 min; at the down limit 13.32; from sea level 12.55."""
        assert round(cabin.climb_time(TQ, 2237 * FT, 6900 * FT) / MIN, 2) == 8.48
        assert round(-cabin.descent_time(TQ, 2237 * FT, 6900 * FT) / MIN, 2) == 13.32
        assert cabin.climb_time(TQ, 0.0, 6900 * FT) / MIN == pytest.approx(12.55, abs=0.00501)

    def test_n07_descent_time(self):
        """6,900 ft to Dunquerry: 19.00 min; without the offset 18.57; added 18.14; at the up limit 12.09."""
        start, setting = 6900 * FT, cabin.landing_setting(TQ, 412 * FT)
        target = cabin.landing_target(TQ, 412 * FT)

        assert round(cabin.descent_time(TQ, start, target) / MIN, 2) == 19.00
        assert round(cabin.descent_time(TQ, start, setting) / MIN, 2) == 18.57
        assert round(cabin.descent_time(TQ, start, setting + 150 * FT) / MIN, 2) == 18.14
        assert round(-cabin.climb_time(TQ, start, target) / MIN, 2) == 12.09

    def test_n08_latest_descent_point(self):
        """The same at 400 kt: 127 NM."""
        seconds = cabin.descent_time(TQ, 6900 * FT, cabin.landing_target(TQ, 412 * FT))

        assert round(seconds * (400 * 1852 / 3600) / 1852) == 127

    def test_n11_landing_setting(self):
        """7,265 ft: 7,250 ft; minus the offset 7,100."""
        setting = cabin.landing_setting(TQ, 7265 * FT)

        assert feet(setting) == pytest.approx(7250, abs=1e-6)
        assert feet(setting + TQ.pressurisation.ldg_target_offset) == pytest.approx(7100, abs=1e-6)

    def test_n13_landing_target_of_both_regimes(self):
        """Quenna Alta, 8,483 ft: 8,800 ft; Karsk Shelf rounds to the switch itself and stays normal (7,050 ft)."""
        assert feet(cabin.landing_target(TQ, 8483 * FT)) == pytest.approx(8800, abs=1e-6)
        assert feet(cabin.landing_target(TQ, 7215 * FT)) == pytest.approx(7050, abs=1e-6)
        assert feet(cabin.landing_target(TQ, 7224 * FT)) == pytest.approx(7050, abs=1e-6)
        assert feet(cabin.landing_target(TQ, 7226 * FT)) == pytest.approx(7550, abs=1e-6)

    def test_n17_placard(self):
        """FL330: 5,800 ft, the next higher row."""
        assert feet(cabin.placard(TQ, 33_000 * FT)) == pytest.approx(5800)

    def test_n18_relief_heads(self):
        """3,700 ft left set: 32,254 ft; with 8.7 psi 31,181; with 9.1 psi 33,372."""
        assert round(feet(cabin.relief_altitude(TQ, 3700 * FT))) == 32_254
        assert round(feet(cabin.highest_altitude(3700 * FT, TQ.pressurisation.diff_control_limit))) == 31_181
        assert round(feet(cabin.highest_altitude(3700 * FT, TQ.pressurisation.relief_full_open_diff))) == 33_372

    def test_n19_valves_closed(self):
        """FL390: 6,052 ft; handbook 21-50: 650 ft at FL250 and 1,760 ft below sea level at FL200."""
        assert round(feet(cabin.valves_closed(TQ, 39_000 * FT))) == 6052
        assert round(feet(cabin.valves_closed(TQ, 25_000 * FT)), -1) == 650
        assert round(feet(cabin.valves_closed(TQ, 20_000 * FT)), -1) == -1760

    @pytest.mark.parametrize(
        ("level", "psi"),
        [(15_000, 6.40), (20_000, 7.47), (25_000, 8.01), (30_000, 8.33), (35_000, 8.50), (39_000, 8.53)],
    )
    def test_differential_column_of_the_schedule(self, level, psi):
        """Handbook 21-20, differential at each row."""
        assert round(cabin.differential(level * FT, cabin.schedule(TQ, level * FT)) / PSI, 2) == psi


class TestSchedule:
    """The automatic schedule and its way back."""

    @pytest.mark.parametrize("aircraft", [TQ, VS], ids=lambda aircraft: aircraft.key)
    def test_agrees_with_interpolation_by_numpy(self, aircraft):
        """numpy.interp as second method, every 50 ft, both ways."""
        rows = np.array(aircraft.pressurisation.schedule)
        levels = np.arange(rows[0, 0], rows[-1, 0], 50 * FT)
        by_numpy = np.interp(levels, rows[:, 0], rows[:, 1])

        assert [cabin.schedule(aircraft, h) for h in levels] == pytest.approx(list(by_numpy), rel=1e-12, abs=1e-9)
        assert [cabin.schedule_inverse(aircraft, c) for c in by_numpy] == pytest.approx(list(levels), abs=1e-6)

    def test_below_the_first_row(self):
        """The first row's cabin holds down to the lowest levels."""
        for level in (-1000.0, 0.0, 14_999.0, 15_000.0):
            assert cabin.schedule(TQ, level * FT) == 0.0
            assert cabin.schedule_row_below(TQ, level * FT) == 0.0
            assert cabin.schedule_row_above(TQ, level * FT) == 0.0
        assert feet(cabin.schedule(VS, 0.0)) == pytest.approx(500)

    @pytest.mark.parametrize(("level", "row"), [(20_000, 900), (25_000, 2400), (39_000, 6900)])
    def test_on_a_row_all_agree(self, level, row):
        """Row below, row above and schedule are the row itself, also after rounding in SI."""
        for metres in (level * FT, level * FT * (1 + 1e-15), level * FT * (1 - 1e-15)):
            assert feet(cabin.schedule(TQ, metres)) == pytest.approx(row)
            assert feet(cabin.schedule_row_below(TQ, metres)) == pytest.approx(row)
            assert feet(cabin.schedule_row_above(TQ, metres)) == pytest.approx(row)

    @pytest.mark.parametrize(
        "function",
        [cabin.schedule, cabin.schedule_row_below, cabin.schedule_row_above, cabin.placard],
        ids=lambda function: function.__name__,
    )
    def test_above_the_ceiling_is_refused(self, function):
        """Nothing is said above the table, nor for what is no number."""
        with pytest.raises(OutOfRangeError, match="40,000 ft is above the table's top row"):
            function(TQ, 40_000 * FT)
        with pytest.raises(OutOfRangeError):
            function(TQ, math.nan)

    def test_inverse_of_the_first_cabin_is_its_highest_level(self):
        """Sea level is asked for up to FL150."""
        assert feet(cabin.schedule_inverse(TQ, 0.0)) == pytest.approx(15_000)

    @pytest.mark.parametrize("feet_asked", [-1.0, 6901.0, math.nan])
    def test_cabin_that_is_never_asked_for(self, feet_asked):
        """Refused with the range of the schedule."""
        with pytest.raises(OutOfRangeError) as error:
            cabin.schedule_inverse(TQ, feet_asked * FT)

        assert error.value.mend == "give a cabin from 0 ft to 6,900 ft"


class TestDepartureHold:
    """Where the cabin leaves the field's altitude."""

    def test_field_below_the_schedule(self):
        """Hollin Sink, 168 ft below sea level: the schedule asks for more at once."""
        assert feet(cabin.hold_end(TQ, -168 * FT)) == pytest.approx(-168)

    def test_field_above_the_top(self):
        """Karsk Shelf has no hold; the top of the schedule has one up to the ceiling."""
        assert feet(cabin.hold_end(TQ, 6900 * FT)) == pytest.approx(39_000)
        with pytest.raises(OutOfRangeError) as error:
            cabin.hold_end(TQ, 7215 * FT)

        assert str(error.value) == "from 7,215 ft there is no departure hold - give a field up to 6,900 ft"


class TestLanding:
    """Setting and target of every elevation."""

    @given(st.integers(-1000, 12_000))
    def test_setting_is_a_step_and_the_nearest(self, elevation):
        """A multiple of the step, no more than half a step away, by integers."""
        setting = feet(cabin.landing_setting(TQ, elevation * FT))

        assert setting == pytest.approx(round(setting / 50) * 50, abs=1e-6)
        assert abs(setting - elevation) <= 25 + 1e-6

    def test_a_tie_goes_up(self):
        """7,225 ft is set as 7,250 ft and -25 ft as 0, whatever the rounding in SI."""
        assert feet(cabin.landing_setting(TQ, 7225 * FT)) == pytest.approx(7250)
        assert feet(cabin.landing_setting(TQ, -25 * FT)) == pytest.approx(0)
        assert feet(cabin.landing_setting(TQ, 24.999 * FT)) == pytest.approx(0)

    @pytest.mark.parametrize("elevation", [-1026, 12_026, 20_000, math.inf, math.nan])
    def test_outside_the_knob(self, elevation):
        """Refused where the knob ends, and for what is no elevation."""
        with pytest.raises(OutOfRangeError, match="LDG cannot be set"):
            cabin.landing_setting(TQ, elevation * FT)

    def test_target_switches_once_over_all_settings(self):
        """Minus 150 up to 7,200, plus 300 from 7,250: every step of the knob."""
        for setting in range(-1000, 12_001, 50):
            offset = 300 if setting > 7200 else -150

            assert feet(cabin.landing_target(TQ, setting * FT)) == pytest.approx(setting + offset, abs=1e-6)


class TestWarningThreshold:
    """Strictly above the switch and strictly below the gate."""

    @pytest.mark.parametrize(
        ("setting", "level", "threshold"),
        [
            (7200, 10_000, 10_000),
            (7250, 10_000, 13_400),
            (7250, 22_999, 13_400),
            (7250, 23_000, 10_000),
            (10_650, 31_000, 10_000),
            (412, 10_000, 10_000),
        ],
    )
    def test_threshold(self, setting, level, threshold):
        """Handbook 21-30: above 7,200 ft and below FL230, both."""
        assert feet(cabin.warning_threshold(TQ, setting * FT, level * FT)) == pytest.approx(threshold)


class TestAnotherAircraft:
    """Vessandry 40: each function follows the file it is given; expected values by hand from that file."""

    def test_every_function(self):
        """Schedule, hold, landing, warning, valves, placard and times with other numbers."""
        assert feet(cabin.schedule(VS, 14_000 * FT)) == pytest.approx(2300)
        assert feet(cabin.schedule_inverse(VS, 2300 * FT)) == pytest.approx(14_000)
        assert feet(cabin.schedule_row_below(VS, 14_000 * FT)) == pytest.approx(500)
        assert feet(cabin.schedule_row_above(VS, 14_000 * FT)) == pytest.approx(4100)
        assert feet(cabin.hold_end(VS, 2300 * FT)) == pytest.approx(14_000)
        assert feet(cabin.hold_end(VS, 40 * FT)) == pytest.approx(40)
        assert feet(cabin.landing_setting(VS, 8630 * FT)) == pytest.approx(8600)
        assert feet(cabin.landing_target(VS, 8630 * FT)) == pytest.approx(8800)
        assert feet(cabin.landing_target(VS, 8040 * FT)) == pytest.approx(7800)
        assert feet(cabin.warning_threshold(VS, 8600 * FT, 19_000 * FT)) == pytest.approx(12_000)
        assert feet(cabin.warning_threshold(VS, 8600 * FT, 20_000 * FT)) == pytest.approx(9800)
        assert feet(cabin.placard(VS, 18_500 * FT)) == pytest.approx(7800)
        assert feet(cabin.placard(VS, 12_000 * FT)) == pytest.approx(4400)
        assert cabin.climb_time(VS, 500 * FT, 5500 * FT) == pytest.approx(600)
        assert cabin.descent_time(VS, 7500 * FT, 4500 * FT) == pytest.approx(600)
        closed = cabin.valves_closed(VS, 25_000 * FT)
        assert cabin.differential(25_000 * FT, closed) == pytest.approx(6.2 * PSI)
        assert cabin.relief_altitude(VS, closed) == pytest.approx(25_000 * FT)

    def test_without_the_optional_sections(self):
        """No high-field regime: always the normal target and the plain warning. No crew target: no placard."""
        start, end = VESSANDRY.index("high_field:"), VESSANDRY.index("safety_altitudes:")
        plain = aircraft_of(edited((VESSANDRY[start:end], ""), text=VESSANDRY))

        assert feet(cabin.landing_target(plain, 8630 * FT)) == pytest.approx(8400)
        assert feet(cabin.warning_threshold(plain, 8600 * FT, 10_000 * FT)) == pytest.approx(9800)
        with pytest.raises(InputError) as error:
            cabin.placard(plain, 18_000 * FT)
        assert error.value.reference == "no-crew-target"


@given(st.floats(20_000, 39_000), st.floats(0, 8.7))
def test_cabin_and_differential_undo_each_other(level, psi):
    """The differential of the cabin that a differential gives is that differential."""
    found = cabin.cabin_altitude(level * FT, psi * PSI)

    assert cabin.differential(level * FT, found) == pytest.approx(psi * PSI, abs=1e-6)
    assert cabin.highest_altitude(found, psi * PSI) == pytest.approx(level * FT, abs=1e-5)


def test_functions_take_microseconds():
    """A check draws 200 variants of each item: no function may cost more than 50 us (measured: 0.3 to 3)."""
    calls = [
        lambda: cabin.cabin_altitude(10_000.0, 50_000.0),
        lambda: cabin.schedule(TQ, 10_000.0),
        lambda: cabin.schedule_inverse(TQ, 1000.0),
        lambda: cabin.landing_target(TQ, 2000.0),
        lambda: cabin.warning_threshold(TQ, 2500.0, 5000.0),
        lambda: cabin.placard(TQ, 10_000.0),
    ]
    for call in calls:
        assert min(timeit.repeat(call, timer=time.thread_time, number=200, repeat=5)) / 200 < 50e-6


def test_from_canonical_drives_the_same():
    """An aircraft that came back from its canonical form computes the same values."""
    again = Aircraft.from_canonical(TQ.canonical())

    assert cabin.schedule(again, 10_000.0) == cabin.schedule(TQ, 10_000.0)
    assert cabin.landing_target(again, 2600.0) == cabin.landing_target(TQ, 2600.0)

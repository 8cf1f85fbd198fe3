"""Who controls the cabin when several things fail, what stops it, and what holds of every flight (SH 21)."""

from __future__ import annotations

import math

import pytest
from ambiance import Atmosphere
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.aircraft.flight import EVENTS, Event, fly
from quizsvc.errors import InputError
from tests.aircraft.files import VESSANDRY, aircraft_of, edited
from tests.aircraft.flights import (
    AIRCRAFT,
    DUNQUERRY,
    EBBICK,
    FPM,
    FT,
    KARSK,
    MIN,
    ORRIN,
    PSI,
    QUENNA,
    S07,
    SINK,
    TALLAY,
    cabin_ft,
    first,
    plan,
)

HALF_FT = 0.5


def _psi(altitude_ft: float) -> float:
    """The standard atmosphere of an independent library; it takes geometric heights."""
    return float(Atmosphere(altitude_ft * FT / (1 - altitude_ft * FT / 6_356_766.0)).pressure[0]) / PSI


def _events(*pairs):
    return [Event(at * MIN, what, *value) for at, what, *value in pairs]


def _modes(history):
    return [one.what for one in history.modes]


class TestOneFailureAfterAnother:
    @pytest.mark.parametrize(
        "events",
        [
            [(30, "controller dead"), (35, "air data lost")],
            [(30, "controller dead"), (35, "air data back")],
            [(20, "air data lost"), (30, "controller dead"), (35, "air data back")],
        ],
    )
    def test_air_data_do_not_bring_a_dead_controller_back(self, events):
        """domain/aircraft.md, SH 21-50: untouched about 6,050 ft at FL390, whatever the air data do."""
        history = fly(AIRCRAFT, plan(), events=_events(*events))

        assert _modes(history)[-1] == "controller dead"
        assert cabin_ft(history, 50) == pytest.approx(6052, abs=HALF_FT)

    @pytest.mark.parametrize("fails", ["controller dead", "air data lost"])
    def test_in_man_the_cabin_stays_in_the_crew_s_hand(self, fails):
        """SH 21-50: the selector to MAN isolates the torque motor; so MAN before the descent."""
        history = fly(AIRCRAFT, plan(), events=_events((30, "manual hold"), (35, fails)))

        assert _modes(history) == ["automatic", "manual"]
        assert cabin_ft(history, 50) == pytest.approx(6900, abs=HALF_FT)

    def test_air_data_lost_for_two_seconds_are_not_noticed(self):
        """SH 21-40: CREW TGT only where the source is invalid for 3 s."""
        history = fly(AIRCRAFT, plan(), events=_events((30, "air data lost"), (30 + 2 / 60, "air data back")))

        assert "crew target" not in _modes(history)
        assert history.modes[-1].at_s == pytest.approx(30 * MIN + 2, abs=0.01)

    def test_air_data_back_for_ten_seconds_do_not_bring_automatic_back(self):
        """SH 21-40: 12 s of valid data; the crew's target of 6,000 ft stays set."""
        history = fly(
            AIRCRAFT, plan(),
            events=_events((30, "air data lost"), (31, "target", 6000 * FT), (35, "air data back"),
                           (35 + 10 / 60, "air data lost")),
        )  # fmt: skip

        assert _modes(history)[-1] == "crew target"
        # Below 6,052 ft the relief heads hold at FL390 (SH 21-10).
        assert cabin_ft(history, 50) == pytest.approx(6052, abs=HALF_FT)

    def test_back_in_automatic_the_old_landing_setting_stands(self):
        """SH 21-40: the window goes back to the OLD landing setting, Sant Orrin's: the cabin waits for the gate."""
        events = _events((40, "air data lost"), (41, "target", 6500 * FT), (45, "air data back"))
        history = fly(AIRCRAFT, S07, events=events)

        assert first(history, "waiting for the gate")[0] == pytest.approx(60 + 800 / 2000 + 0.25, abs=0.01)
        assert first(history, "on the landing target")[1] == pytest.approx(10950, abs=HALF_FT)

    def test_air_data_lost_on_the_way_take_return_to_field_with_them(self):
        """SH 21-40: it is among what is lost, and AUTO comes back with the old setting: 5,000 ft less 150."""
        flight = plan(EBBICK, EBBICK, cruise_ft=9000, until_min=20, descent=((None, 500),), setting_ft=5000)
        calm = fly(AIRCRAFT, flight)
        broken = fly(AIRCRAFT, flight, events=_events((12, "air data lost"), (13, "air data back")))

        assert first(calm, "on the landing target")[1] == pytest.approx(2250 - 150, abs=HALF_FT)
        assert first(broken, "on the landing target")[1] == pytest.approx(5000 - 150, abs=HALF_FT)


class TestTheWarning:
    def test_the_shift_of_the_warning_goes_with_crew_target(self):
        """SH 21-40: the high-field shift is lost 3 s after the air data; the cabin at 10,950 ft then sounds."""
        history = fly(AIRCRAFT, S07, events=_events((75.7, "air data lost")))

        assert first(history, "cabin altitude warning")[0] == pytest.approx(75.7 + 3 / 60, abs=0.001)

    def test_it_sounds_nothing_on_the_approach_to_a_high_field(self):
        """SH 21-30: 13,400 ft below the gate; the cabin at 10,950 is below it."""
        assert not fly(AIRCRAFT, S07).warnings

    def test_setting_a_low_field_below_the_gate_ends_the_shift_at_once(self):
        """SH 21-30: the gate looks at altitude and LDG; with LDG changed at 75.7 min the cabin stands above 10,000."""
        history = fly(AIRCRAFT, S07, events=_events((75.7, "setting", 7000 * FT)))

        assert first(history, "cabin altitude warning")[0] == pytest.approx(75.7, abs=0.001)

    def test_a_high_departure_keeps_the_late_warning_in_man_too(self):
        """SH 21-30: from Sant Orrin, sensed above 7,200 ft, until the cabin is first below 9,700."""
        history = fly(
            AIRCRAFT, plan(ORRIN, climb_fpm=1000),
            events=_events((1, "manual hold"), (4, "manual up"), (5, "manual hold")),
        )  # fmt: skip

        assert not [one for one in history.warnings if one.at_s < 10 * MIN]

    def test_once_below_9700_after_a_high_departure_the_warning_is_the_plain_one(self):
        """SH 21-30: N20 has the cabin there after 2.69 min, at FL150 here; up again by hand it sounds at 10,000."""
        history = fly(
            AIRCRAFT, plan(ORRIN, climb_fpm=500, until_min=90), events=_events((3.5, "manual up"), (6, "manual hold"))
        )
        low = ORRIN - 350 * 3.5

        assert first(history, "cabin altitude warning")[0] == pytest.approx(3.5 + (10000 - low) / 550, abs=0.005)


class TestWhatStopsTheCabin:
    def test_the_altitude_limiters_stop_a_valve_opened_by_hand(self):
        """SH 21-10: they close the valve at 13,700 ft; the masks, at 14,300, stay up."""
        history = fly(AIRCRAFT, plan(), events=_events((30, "manual up")))

        assert first(history, "altitude limiter")[0] == pytest.approx(30 + (13700 - 6900) / 550, abs=0.001)
        assert cabin_ft(history, 50) == pytest.approx(13700, abs=HALF_FT)
        assert [one.what for one in history.warnings] == ["cabin altitude warning"]

    def test_a_cabin_that_is_wanted_lower_still_leaks(self):
        """SH 36: no air comes in, so nothing brings it down; 10,000 ft after 1.7 min, whatever is wanted."""
        events = _events((55, "inflow lost"), (55.01, "manual down"))
        history = fly(AIRCRAFT, plan(), events=events)

        assert first(history, "cabin altitude warning")[0] - 55 == pytest.approx(1.7, abs=0.05)
        assert "down at the limit" not in [one.what for one in history.breaks if 55 * MIN < one.at_s < 60 * MIN]

    def test_they_cannot_stop_a_leak_nor_a_dump(self):
        """They close valves (SH 21-10), and a dump bypasses them (SH 21-60): the masks drop."""
        for events in (_events((30, "inflow lost")), _events((30, "dump"))):
            history = fly(AIRCRAFT, plan(), events=events)

            assert "automatic mask drop" in [one.what for one in history.warnings]
            assert max(history.cabin_m) / FT > 20000

    def test_without_bleed_the_wheel_moves_nothing_below_one_psi(self):
        """SH 21-50. With a leak small enough to leave it to the wheel: at FL100 it stops where 1.0 psi is left."""
        text = edited(("max_leak: {flow_lb_per_min: 1.6", "max_leak: {flow_lb_per_min: 0.01"))
        small = aircraft_of(text)
        history = fly(
            small, plan(cruise_ft=10000, until_min=40), events=_events((10, "inflow lost"), (10.01, "manual up"))
        )
        stops = [one.at_s for one in history.breaks if one.what == "leak" and one.at_s > 11 * MIN][0]
        cabin = cabin_ft(history, stops / MIN)

        assert _psi(cabin) - _psi(10000) == pytest.approx(1.0, abs=0.001)
        assert stops / MIN == pytest.approx(10.01 + (cabin - DUNQUERRY) / 550, abs=0.05)
        # From here only the leak: 0.01 lb/min of some 27 lb of air is 10 ft a minute at most, for 16 minutes.
        assert 0 < cabin_ft(history, 39) - cabin < 165
        with_bleed = fly(small, plan(cruise_ft=10000, until_min=40), events=_events((10.01, "manual up")))
        assert cabin_ft(with_bleed, 39) == pytest.approx(10000, abs=HALF_FT)

    def test_an_aircraft_without_a_manual_control_refuses_its_use(self):
        """By its name; a section of the file is optional."""
        with pytest.raises(InputError, match="has no manual control") as refused:
            fly(aircraft_of(VESSANDRY), plan(400, 400, cruise_ft=20000), events=_events((30, "manual up")))
        assert refused.value.reference == "flight-event-unknown"


FIELDS = st.sampled_from([SINK, DUNQUERRY, EBBICK, TALLAY, KARSK, QUENNA, ORRIN])
PLANS = st.builds(
    plan,
    FIELDS,
    FIELDS,
    st.integers(130, 390).map(lambda level: level * 100.0),
    st.integers(500, 4500),
    st.integers(80, 100),
    st.integers(400, 5000).map(lambda rate: ((None, float(rate)),)),
)
HAPPENINGS = st.lists(
    st.tuples(
        st.floats(0, 130 * MIN), st.sampled_from(sorted(EVENTS)), st.integers(0, 240).map(lambda step: step * 50 * FT)
    ).map(lambda three: Event(three[0], three[1], three[2] if EVENTS[three[1]] else None)),
    max_size=6,
)
BY_RULES = {
    "departure hold", "on the schedule", "up at the limit", "down at the limit", "waiting for the gate",
    "on the landing target",
}  # fmt: skip


class TestEveryFlight:
    @settings(deadline=None, max_examples=60)
    @given(flight=PLANS)
    def test_as_described_the_cabin_keeps_to_its_limits(self, flight):
        """SH 21-20: 550 up, 350 down, but where the differential limit, relief or the aircraft itself move it."""
        history = fly(AIRCRAFT, flight)

        rule, breaks = None, list(history.breaks)
        for place in range(1, len(history.time_s)):
            start, end = history.time_s[place - 1], history.time_s[place]
            middle = (start + end) / 2
            while breaks and breaks[0].at_s <= middle:
                rule = breaks.pop(0).what
            if end - start > 0.1 and rule in BY_RULES:
                rate = (history.cabin_m[place] - history.cabin_m[place - 1]) / (end - start) / FPM
                assert -350.1 <= rate <= 550.1, (rule, middle / MIN)
        for at in history.time_s:
            aircraft, cabin = history.at(at)
            assert -0.001 <= _psi(cabin / FT) - _psi(aircraft / FT) <= 8.7 + 0.001, at / MIN

    @settings(deadline=None, max_examples=120)
    @given(flight=PLANS, events=HAPPENINGS)
    def test_whatever_happens_relief_holds_and_the_same_comes_out_again(self, flight, events):
        """SH 21-10: 8.9 psi and no less than outside; the same points, bit by bit, and no more than a flight needs."""
        history = fly(AIRCRAFT, flight, events=events)

        assert fly(AIRCRAFT, flight, events=events) == history
        assert list(history.time_s) == sorted(history.time_s)
        assert len(history.time_s) < 1500
        assert all(math.isfinite(altitude) for altitude in history.cabin_m)
        for aircraft, cabin in zip(history.aircraft_m, history.cabin_m, strict=True):
            assert cabin <= aircraft + 0.01
            if cabin > -600:  # the other library's atmosphere ends a little below
                assert _psi(cabin / FT) - _psi(aircraft / FT) <= 8.9 + 0.001

"""Flights of the invented aircraft against the worked break points and samples of the domain, and against scipy."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest
from ambiance import Atmosphere
from scipy.integrate import solve_ivp

from quizsvc.aircraft.flight import BELIEFS, Belief, Event, belief_of, fly
from quizsvc.errors import InputError, OutOfRangeError
from tests.aircraft.files import aircraft_of, edited
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
    STRAIGHT_DOWN,
    TALLAY,
    cabin_ft,
    first,
    plan,
)

# A published minute with one decimal is good to half a tenth, an altitude in whole feet to half a foot.
TENTH, HALF_FT = 0.05, 0.5


def _pressure_psi(altitude_ft):
    return float(Atmosphere(altitude_ft * FT / (1 - altitude_ft * FT / 6_356_766.0)).pressure[0]) / PSI


class TestTheKeyOfS07:
    """domain/items.md S07: 412 flat to minute 10.5; 6,900 at 24.1; flat to 68; 10,950 at 75.4; meets at 76.0."""

    history = fly(AIRCRAFT, S07)

    def test_the_cabin_waits_at_the_field_until_the_schedule_asks_for_more(self):
        """Minute 10.5, still at 412 ft."""
        minute, cabin = first(self.history, "on the schedule")

        assert minute == pytest.approx(10.5, abs=TENTH)
        assert cabin == pytest.approx(412, abs=HALF_FT)

    def test_it_is_on_the_schedule_at_the_top_of_climb(self):
        """6,900 ft at minute 24.1, and there until minute 68."""
        for minute in (24.12, 40, 60, 64, 67.99):
            assert cabin_ft(self.history, minute) == pytest.approx(6900, abs=HALF_FT)

    def test_it_leaves_at_the_gate_and_reaches_its_target(self):
        """Minute 68 exactly; 10,950 ft at 75.4."""
        assert first(self.history, "up at the limit")[0] == pytest.approx(68, abs=0.001)
        minute, cabin = first(self.history, "on the landing target")
        assert minute == pytest.approx(75.4, abs=TENTH)
        assert cabin == pytest.approx(10950, abs=HALF_FT)

    def test_it_meets_the_aircraft_and_follows_it_to_the_field(self):
        """Minute 76.0, then down together."""
        assert first(self.history, "with the aircraft")[0] == pytest.approx(76.0, abs=TENTH)
        for minute in (76.1, 76.2):
            aircraft, cabin = self.history.at(minute * MIN)
            assert cabin == pytest.approx(aircraft, abs=0.01)
        assert self.history.cabin_m[-1] / FT == pytest.approx(10641, abs=HALF_FT)

    # S07: B starts up at 60; C climbs to 10,950 in cruise; D goes from 60 down at 350 to 4,100 at 68, then up 550.
    @pytest.mark.parametrize(
        ("change", "minute", "cabin"),
        [({"gate": "none"}, 60.0, 6900), ({"gate": "none"}, 64.0, 6900 + 4 * 550), ({"descent": "down"}, 68.0, 4100),
         ({"descent": "down"}, 70.0, 4100 + 2 * 550), ({"regime": "target-in-cruise"}, 50.0, 10950)],
    )  # fmt: skip
    def test_the_wrong_beliefs_give_the_wrong_plots(self, change, minute, cabin):
        """B, C and D of S07."""
        wrong = fly(AIRCRAFT, S07, belief=belief_of(change))

        assert cabin_ft(wrong, minute) == pytest.approx(cabin, abs=HALF_FT)


# N05 and domain/aircraft.md: the hold ends at 17,289 (about 17,300), 24,457 and about FL324.
@pytest.mark.parametrize(
    ("field", "level", "within"), [(EBBICK, 24457, HALF_FT), (DUNQUERRY, 17300, 50), (TALLAY, 32400, 50)]
)
def test_the_departure_hold_ends_where_the_family_says(field, level, within):
    """Climbed slowly, so that no rate limit hides it."""
    history = fly(AIRCRAFT, plan(field, climb_fpm=900))
    minute, cabin = first(history, "on the schedule")

    assert history.at(minute * MIN)[0] / FT == pytest.approx(level, abs=within)
    assert cabin == pytest.approx(field, abs=HALF_FT)


def test_from_a_high_field_there_is_no_hold():
    """domain/aircraft.md: above 6,900 ft the cabin goes down at 350 fpm until it meets the schedule."""
    history = fly(AIRCRAFT, plan(KARSK))

    assert cabin_ft(history, 10) == pytest.approx(KARSK - 3500, abs=HALF_FT)


def test_n20_the_shift_of_the_warning_after_a_high_departure_ends_after_2_69_minutes():
    """N20: Sant Orrin 10,641 ft, 350 fpm down to 9,700: 2.69 min; the cabin above 10,000 sounds nothing until then."""
    history = fly(AIRCRAFT, plan(ORRIN, to_ft=DUNQUERRY, climb_fpm=500, until_min=90))

    assert cabin_ft(history, 2.69) == pytest.approx(9700, abs=5)
    assert "cabin altitude warning" not in [one.what for one in history.warnings]


# N10: between FL250 and FL300 the cabin can follow 1,719 fpm.
@pytest.mark.parametrize(("climb", "follows"), [(1700, True), (1740, False)])
def test_n10_the_climb_that_the_cabin_can_follow(climb, follows):
    """550 fpm is enough up to 1,719 fpm, from a field whose hold ends before FL250."""
    history = fly(AIRCRAFT, plan(climb_fpm=climb))
    at = (29900 - DUNQUERRY) / climb * MIN
    level, cabin = history.at(at)
    behind = _schedule_ft(level / FT) - cabin / FT

    # 4,900 ft at 1,740 fpm take 2.8 min, in each of which the schedule gains 7 ft.
    assert behind == pytest.approx(0 if follows else 19, abs=1)


def _schedule_ft(level):
    rows = [(15000, 0), (20000, 900), (25000, 2400), (30000, 4000), (35000, 5600), (39000, 6900)]
    for (a, c), (b, d) in zip(rows, rows[1:], strict=False):
        if a <= level <= b:
            return c + (d - c) * (level - a) / (b - a)
    return 0.0


def test_the_differential_limit_outranks_the_rate_limit():
    """In a fast climb the cabin rises faster than 550 fpm so as not to pass 8.7 psi; by an independent atmosphere."""
    history = fly(AIRCRAFT, plan(climb_fpm=4000))
    start, _ = first(history, "differential limit")
    rates = []
    for minute in (start + 0.2, start + 0.5):
        aircraft, cabin = history.at(minute * MIN)
        # Between two points of a curved line it is cut straight: within two hundredths of a psi.
        assert _pressure_psi(cabin / FT) - _pressure_psi(aircraft / FT) == pytest.approx(8.7, abs=0.02)
        rates.append((cabin_ft(history, minute + 0.1) - cabin_ft(history, minute)) / 0.1)

    assert min(rates) > 550
    assert "differential limit" not in {one.what for one in fly(AIRCRAFT, plan(climb_fpm=1000)).breaks}


def test_n07_the_cabin_takes_19_minutes_down_to_its_landing_target():
    """N07: from 6,900 ft for Dunquerry: 19.00 min at 350 fpm, target 250 ft, sensed 800 ft and 15 s below cruise."""
    history = fly(AIRCRAFT, plan(descent=((None, 1500),)))
    start, end = first(history, "down at the limit")[0], first(history, "on the landing target")

    assert start == pytest.approx(60 + 800 / 1500 + 0.25, abs=0.001)
    assert end[0] - start == pytest.approx(19.00, abs=0.005)
    assert end[1] == pytest.approx(250, abs=HALF_FT)


def test_on_the_ground_the_cabin_goes_to_the_field_at_450_fpm():
    """domain/aircraft.md: 150 ft at 450 fpm are 20 s; the valves are open after 40 s."""
    history = fly(AIRCRAFT, plan(descent=((None, 1500),)))
    touchdown, cabin = (
        first(history, "to the field") if _has(history, "to the field") else first(history, "up at the limit")
    )
    landed = (60 + (39000 - DUNQUERRY) / 1500) * MIN

    assert history.at(landed)[1] / FT == pytest.approx(250, abs=HALF_FT)
    assert history.at(landed + 10)[1] / FT == pytest.approx(250 + 75, abs=HALF_FT)
    assert history.at(landed + 41)[1] / FT == pytest.approx(DUNQUERRY, abs=HALF_FT)
    assert touchdown * MIN <= landed + 41 and cabin < DUNQUERRY + 1


def _has(history, what):
    return what in {one.what for one in (*history.breaks, *history.modes, *history.warnings)}


def test_n09_the_aircraft_overtakes_the_cabin():
    """N09: FL390, cabin 6,900, 3,500 fpm: 3,333 ft, had the cabin started with the aircraft; it starts later."""
    history = fly(AIRCRAFT, plan(descent=((None, 3500),)))
    late = 800 / 3500 + 0.25
    time = (39000 - 6900 - 350 * late) / (3500 - 350)
    minute, cabin = first(history, "with the aircraft")

    assert minute - 60 == pytest.approx(time, abs=0.001)
    assert cabin == pytest.approx(39000 - 3500 * time, abs=HALF_FT)
    told = fly(AIRCRAFT, plan(descent=((None, 3500),)), belief=Belief(gate="none"))
    assert first(told, "with the aircraft")[1] == pytest.approx(3333, abs=HALF_FT)


def test_return_to_field():
    """domain/aircraft.md: a descent begun before 11,000 ft is passed lands at the departure, whatever LDG says."""
    back = plan(EBBICK, EBBICK, cruise_ft=9000, until_min=15, setting_ft=ORRIN)
    on = plan(EBBICK, EBBICK, cruise_ft=12000, until_min=15, setting_ft=5000)

    # LDG to the nearest 50: 2,250, less 150.
    assert cabin_ft(fly(AIRCRAFT, back), 18) == pytest.approx(2100, abs=HALF_FT)
    assert cabin_ft(fly(AIRCRAFT, on), 18) > 2300


def test_a_low_cruise_below_the_gate_starts_up_with_the_descent():
    """domain/aircraft.md: from FL180, cabin 540 ft, the climb to Sant Orrin's target needs 19 min."""
    history = fly(AIRCRAFT, plan(to_ft=ORRIN, cruise_ft=18000, until_min=40, descent=((None, 300),)))
    start, reached = first(history, "up at the limit"), first(history, "on the landing target")

    assert start[1] == pytest.approx(540, abs=HALF_FT)
    assert reached[0] - start[0] == pytest.approx(19, abs=0.5)


class TestFailures:
    def test_without_air_data_the_cabin_holds_its_present_altitude_to_the_nearest_50(self):
        """domain/aircraft.md: CREW TGT after 3 s; F01: the cabin holds its present altitude."""
        history = fly(AIRCRAFT, plan(climb_fpm=1000), events=[Event(25 * MIN, "air data lost")])
        present = cabin_ft(history, 25)
        minute, _ = first(history, "crew target")

        assert minute == pytest.approx(25 + 3 / 60, abs=0.001)
        assert cabin_ft(history, 26) == pytest.approx(50 * round(present / 50), abs=HALF_FT)

    def test_n18_a_climb_with_the_target_left_blows_the_relief_heads(self):
        """N18: target 3,700 ft left: 32,254 ft; domain/aircraft.md: at FL390 the cabin is forced to about 6,050."""
        events = [Event(20 * MIN, "air data lost"), Event(20.5 * MIN, "target", 3700 * FT)]
        history = fly(AIRCRAFT, plan(climb_fpm=1000), events=events)
        minute, _ = first(history, "relief heads")

        assert history.at(minute * MIN)[0] / FT == pytest.approx(32254, abs=HALF_FT)
        assert cabin_ft(history, 50) == pytest.approx(6052, abs=HALF_FT)

    def test_air_data_back_brings_automatic_back_after_12_s(self):
        """F01's consequence: valid for 12 s; then the schedule again, at the rate limit."""
        events = [Event(30 * MIN, "air data lost"), Event(31 * MIN, "air data back")]
        history = fly(AIRCRAFT, plan(climb_fpm=1000), events=events)
        again = [one for one in history.modes if one.what == "automatic"][-1]

        assert again.at_s == pytest.approx(31 * MIN + 12, abs=0.01)
        assert cabin_ft(history, 31.8) - cabin_ft(history, 31.3) == pytest.approx(275, abs=HALF_FT)
        assert cabin_ft(history, 55) == pytest.approx(6900, abs=HALF_FT)

    # domain/aircraft.md, SH 21-50: untouched about 6,050 ft at FL390, 650 at FL250, 1,760 below sea level at FL200.
    @pytest.mark.parametrize(("level", "cabin"), [(39000, 6050), (25000, 650), (20000, -1760)])
    def test_a_dead_controller_sinks_the_cabin_to_the_relief_line(self, level, cabin):
        """Within the 30 s that its valves take, and down the line in the descent."""
        history = fly(AIRCRAFT, plan(cruise_ft=39000), events=[Event(40 * MIN, "controller dead")])
        at = 40 + 0.5 if level == 39000 else 60 + (39000 - level) / 2000

        assert cabin_ft(history, at) == pytest.approx(cabin, abs=10)

    def test_a_controller_dead_low_down_drives_the_cabin_below_any_table(self):
        """At FL100 and 8.9 psi more than sea level: the lowest layer goes on, by the same formula (ISO 2533)."""
        history = fly(AIRCRAFT, plan(cruise_ft=10000, until_min=30), events=[Event(15 * MIN, "controller dead")])
        inside = (_pressure_psi(10000) + 8.9) * PSI
        exponent = 287.05287 * 0.0065 / 9.80665
        by_hand = 288.15 / 0.0065 * (1 - (inside / 101325) ** exponent) / FT

        assert by_hand < -7000
        assert cabin_ft(history, 20) == pytest.approx(by_hand, abs=HALF_FT)

    def test_without_inflow_the_cabin_leaks_as_the_handbook_says(self):
        """domain/aircraft.md, SH 36: at FL390 first about 1,900 fpm, 10,000 ft after 1.7 min, 14,300 after 4.0."""
        history = fly(AIRCRAFT, plan(), events=[Event(30 * MIN, "inflow lost")])

        assert (cabin_ft(history, 30.1) - cabin_ft(history, 30)) / 0.1 == pytest.approx(1900, abs=50)
        assert first(history, "cabin altitude warning")[0] - 30 == pytest.approx(1.7, abs=TENTH)
        # N22: tau ln(p0/p(threshold)); tau = V p/(R T w) of 390 ft3, 22 C, 1.6 lb/min at 8.5 psi, by hand 14.05 min.
        inside = (_pressure_psi(39000) + 8.5) * PSI
        tau = 390 * FT**3 * inside / (287.05287 * 295.15 * 1.6 * 0.45359237 / 60) / 60
        by_hand = tau * math.log(_pressure_psi(6900) / _pressure_psi(14300))
        assert first(history, "automatic mask drop")[0] - 30 == pytest.approx(by_hand, abs=0.01)

    def test_a_leak_in_a_descent_agrees_with_scipy(self):
        """The same balance, isothermal, nozzle flow choked and not, integrated at 1e-10 by another's solver."""
        history = fly(AIRCRAFT, plan(descent=((None, 3100),)), events=[Event(55 * MIN, "inflow lost")])
        p = AIRCRAFT.pressurisation
        gas, ratio = 287.05287, 1.4

        def flux(inside, outside):
            r = max(outside / inside, (2 / (ratio + 1)) ** (ratio / (ratio - 1)))
            if r >= 1:
                return 0.0
            part = r ** (2 / ratio) - r ** ((ratio + 1) / ratio)
            return inside * math.sqrt(2 * ratio / ((ratio - 1) * gas * p.cabin_temp) * part)

        full = _pressure_psi(39000) * PSI + 8.5 * PSI
        area = p.max_leak.flow / flux(full, _pressure_psi(39000) * PSI)

        def rate(at, y):
            outside = _pressure_psi(history.at(at)[0] / FT) * PSI
            return [-gas * p.cabin_temp / p.cabin_volume * area * flux(y[0], outside)]

        start = _pressure_psi(6900) * PSI
        found = solve_ivp(rate, (55 * MIN, 66 * MIN), [start], rtol=1e-9, atol=1e-6, max_step=10, dense_output=True)
        for minute in (58, 61, 63, 64.5):
            ours = _pressure_psi(cabin_ft(history, minute)) * PSI
            # Points lie half a minute apart, and between them the line is straight: 2 in 10,000.
            assert ours == pytest.approx(float(found.sol(minute * MIN)[0]), rel=2e-4), minute
        exact = [at for at in history.time_s if 55 * MIN < at < 66 * MIN]
        for at in exact[:20]:
            ours = _pressure_psi(history.at(at)[1] / FT) * PSI
            assert ours == pytest.approx(float(found.sol(at)[0]), rel=2e-6)

    def test_dump_takes_the_cabin_to_the_aircraft_within_a_minute(self):
        """S04, outcome E: climbs to aircraft altitude within a minute; masks drop at 14,300 ft."""
        history = fly(AIRCRAFT, plan(), events=[Event(40 * MIN, "dump")])

        assert cabin_ft(history, 41) == pytest.approx(39000, abs=1)
        assert _has(history, "automatic mask drop")

    def test_dump_off_gives_the_cabin_back_to_the_controller(self):
        """Down at 350 fpm from where it is."""
        history = fly(AIRCRAFT, plan(), events=[Event(40 * MIN, "dump"), Event(40.5 * MIN, "dump off")])

        assert cabin_ft(history, 41.5) - cabin_ft(history, 42.5) == pytest.approx(350, abs=HALF_FT)

    def test_manual_after_a_dead_controller_stops_the_sinking(self):
        """SH 21-50: MAN before the descent; up, hold, and the relief line stays below."""
        events = [Event(40 * MIN, "controller dead"), Event(45 * MIN, "manual up"), Event(46 * MIN, "manual hold")]
        history = fly(AIRCRAFT, plan(), events=events)

        assert cabin_ft(history, 46) - cabin_ft(history, 45) == pytest.approx(550, abs=HALF_FT)
        assert cabin_ft(history, 55) == pytest.approx(6052 + 550, abs=1)

    def test_inflow_that_comes_back_lets_the_controller_bring_the_cabin_down(self):
        """At its down limit to the schedule."""
        events = [Event(30 * MIN, "inflow lost"), Event(32 * MIN, "inflow back")]
        history = fly(AIRCRAFT, plan(), events=events)

        assert cabin_ft(history, 32) > 10000
        assert cabin_ft(history, 33) - cabin_ft(history, 34) == pytest.approx(350, abs=HALF_FT)
        assert cabin_ft(history, 50) == pytest.approx(6900, abs=HALF_FT)

    def test_a_new_landing_setting_is_flown(self):
        """Set for Sant Orrin in cruise: the cabin waits for the gate."""
        history = fly(AIRCRAFT, plan(), events=[Event(50 * MIN, "setting", 10650 * FT)])

        assert _has(history, "waiting for the gate")


def _marched(flight, seconds=0.25):
    """The rules of SH 21-20 and 21-30 once more, marched in small steps, for a low and a high field."""
    cabin = flight.from_m / FT
    setting = 50 * round(flight.to_m / FT / 50)
    high = setting > 7200
    target = setting + (300 if high else -150)
    top = (flight.cruise_m - flight.from_m) / flight.climb_m_s
    corners = [(0.0, flight.from_m / FT), (top, flight.cruise_m / FT), (flight.cruise_until_s, flight.cruise_m / FT)]
    for leg in flight.descent:
        below = (flight.to_m if leg.to_m is None else leg.to_m) / FT
        corners.append((corners[-1][0] + (corners[-1][1] - below) * FT / leg.rate_m_s, below))
    found, sensed, highest, below_since, at, cruising = [], None, 0.0, None, 0.0, False
    while at < corners[-1][0]:
        at += seconds
        level = next(
            (h0 + (h1 - h0) * (at - t0) / (t1 - t0) for (t0, h0), (t1, h1) in zip(corners, corners[1:], strict=False)
             if t0 <= at <= t1 and t1 > t0), corners[-1][1])  # fmt: skip
        highest = max(highest, level)
        if level <= highest - 800:
            below_since = at if below_since is None else below_since
            if sensed is None and at - below_since >= 15:
                sensed = cabin
        cruising = cruising or top + 90 <= at <= flight.cruise_until_s
        if sensed is None:
            wanted = _schedule_ft(flight.cruise_m / FT if cruising else level)
            if flight.from_m / FT <= 6900:
                wanted = max(wanted, flight.from_m / FT)
        else:
            wanted = sensed if high and level >= 23000 else target
        cabin = min(max(wanted, cabin - 350 * seconds / 60), cabin + 550 * seconds / 60)
        inside = _fast_psi(level) + 8.7
        if inside < 14.6959 and _fast_psi(cabin) > inside:
            cabin = _fast_ft(inside)
        cabin = min(cabin, level)
        found.append((at, cabin))
    return found


def _fast_psi(feet):
    """The troposphere and the layer above (ISO 2533), written once more."""
    m = feet * FT
    if m <= 11000:
        return 14.695949 * (1 - 0.0065 * m / 288.15) ** 5.2558797
    return 3.2829 * math.exp(-9.80665 * (m - 11000) / (287.05287 * 216.65))


def _fast_ft(psi):
    return 288.15 / 0.0065 * (1 - (psi / 14.695949) ** (1 / 5.2558797)) / FT


@pytest.mark.parametrize("seed", range(6))
def test_random_flights_agree_with_small_steps(seed):
    """Fields, levels and rates by lot; a quarter-second march may lag by one step and a few feet."""
    lot = random.Random(seed)
    flight = plan(
        lot.choice([SINK, DUNQUERRY, EBBICK, TALLAY, KARSK, ORRIN]),
        lot.choice([SINK, DUNQUERRY, TALLAY, KARSK, QUENNA, ORRIN]),
        cruise_ft=lot.choice([24000, 31000, 35000, 39000]),
        climb_fpm=lot.choice([800, 1600, 2500, 3500]),
        until_min=lot.choice([55, 70]),
        descent=((lot.choice([20000, 23000]), lot.choice([1500, 2500])), (None, lot.choice([900, 1500, 2500]))),
    )
    history = fly(AIRCRAFT, flight)
    for at, cabin in _marched(flight)[::40]:
        assert history.at(at)[1] / FT == pytest.approx(cabin, abs=25), at / 60


class TestEveryFlight:
    @pytest.mark.parametrize("seed", range(12))
    def test_time_runs_and_the_cabin_stays_between_relief_and_aircraft(self, seed):
        """Whatever happens: forward in time, never above the aircraft, never beyond the relief heads."""
        lot = random.Random(seed)
        words = ["air data lost", "air data back", "controller dead", "inflow lost", "inflow back", "manual up",
                 "manual hold", "manual down", "dump", "dump off"]  # fmt: skip
        events = [Event(lot.uniform(0, 90) * MIN, lot.choice(words)) for _ in range(lot.randint(0, 5))]
        flight = plan(
            lot.choice([SINK, EBBICK, ORRIN]), lot.choice([DUNQUERRY, QUENNA]), climb_fpm=lot.choice([900, 3000])
        )
        history = fly(AIRCRAFT, flight, events=events)

        assert list(history.time_s) == sorted(history.time_s)
        assert len(history.time_s) == len(history.aircraft_m) == len(history.cabin_m)
        assert fly(AIRCRAFT, flight, events=events) == history
        for aircraft, cabin in zip(history.aircraft_m, history.cabin_m, strict=True):
            assert cabin <= aircraft + 0.01
            if cabin > -600:
                assert _pressure_psi(cabin / FT) - _pressure_psi(aircraft / FT) <= 8.9 + 0.001

    @pytest.mark.parametrize(("word", "value"), [(word, value) for word in BELIEFS for value in BELIEFS[word]])
    def test_each_belief_changes_some_flight(self, word, value):
        """A belief that changes nothing is no trap; each shows on one of these flights."""
        flights = [
            (S07, []),
            (plan(climb_fpm=4000), []),
            (plan(descent=((None, 3500),)), []),
            (plan(EBBICK, until_min=70), [Event(30 * MIN, "air data lost")]),
            (plan(), [Event(30 * MIN, "controller dead")]),
            (plan(), [Event(30 * MIN, "inflow lost")]),
        ]
        belief = belief_of({word: value})

        assert any(fly(AIRCRAFT, flight, events=events, belief=belief) != fly(AIRCRAFT, flight, events=events)
                   for flight, events in flights)  # fmt: skip

    @pytest.mark.parametrize(("value", "cabin"), [("holds", 6900), ("opens", 39000)])
    def test_beliefs_about_a_dead_controller(self, value, cabin):
        """What S04's wrong outcomes say: it stays, or it goes to aircraft altitude."""
        history = fly(
            AIRCRAFT, plan(), events=[Event(40 * MIN, "controller dead")], belief=belief_of({"controller": value})
        )

        assert cabin_ft(history, 45) == pytest.approx(cabin, abs=1)

    def test_the_second_aircraft_flies_by_its_own_numbers(self):
        """tests/aircraft/second.yaml: schedule 500 ft up to 10,000, 7,600 at its ceiling, up at 500 fpm."""
        second = aircraft_of((Path(__file__).parent / "second.yaml").read_text(encoding="utf-8"))
        history = fly(second, plan(400, 400, cruise_ft=27000, climb_fpm=1000))

        assert cabin_ft(history, 45) == pytest.approx(7600, abs=HALF_FT)

    def test_an_aircraft_without_crew_target_mode_dies_without_air_data(self):
        """And one without a time for its valves closes them at once."""
        text = edited(("  valves_close_s: 30 ", "  #"))
        history = fly(aircraft_of(text), plan(), events=[Event(40 * MIN, "controller dead")])

        assert cabin_ft(history, 40.01) == pytest.approx(6052, abs=1)


@pytest.mark.parametrize(
    ("flight", "named"),
    [
        (plan(until_min=10), "after the top of descent"),
        (plan(cruise_ft=300), "below a field"),
        (plan(climb_fpm=0), "not above zero"),
        (plan(descent=((None, -5),)), "not above zero"),
        (plan(descent=((20000, 1000),)), "ends at 20,000 ft"),
        (plan(descent=((45000, 1000), (None, 1000))), "from 39,000 ft to 45,000 ft"),
        (plan(descent=()), "without a descent"),
    ],
)
def test_a_plan_that_cannot_be_flown_is_refused(flight, named):
    """With what is wrong in feet and minutes."""
    with pytest.raises(InputError, match=named) as refused:
        fly(AIRCRAFT, flight)
    assert refused.value.reference == "flight-plan"


@pytest.mark.parametrize(
    "event",
    [Event(5, "lightning"), Event(5, "target"), Event(5, "dump", 3.0), Event(-1, "dump"), Event(math.nan, "dump")],
)
def test_an_event_that_is_none_is_refused(event):
    """By its name."""
    with pytest.raises(InputError) as refused:
        fly(AIRCRAFT, plan(), events=[event])
    assert refused.value.reference == "flight-event-unknown"


@pytest.mark.parametrize("change", [{"weather": "bad"}, {"gate": "open"}])
def test_a_belief_that_is_none_is_refused(change):
    """And the known ones are named."""
    with pytest.raises(InputError) as refused:
        belief_of(change)
    assert refused.value.reference == "flight-belief-unknown"


def test_levels_and_settings_beyond_the_aircraft_are_refused():
    """Above the schedule, and beyond the knob."""
    with pytest.raises(OutOfRangeError):
        fly(AIRCRAFT, plan(cruise_ft=43000, descent=STRAIGHT_DOWN))
    with pytest.raises(OutOfRangeError):
        fly(AIRCRAFT, plan(setting_ft=14000))
    assert FPM > 0

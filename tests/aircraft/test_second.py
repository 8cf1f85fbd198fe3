"""A second invented aircraft, with another schedule, another bus layout and other names, drives every function.

Expected values are worked by hand from the rows of `second.yaml`, or by `ambiance` (the standard atmosphere).
"""

from __future__ import annotations

import json
from pathlib import Path

import networkx
import pytest
import yaml
from ambiance import Atmosphere

from quizsvc.aircraft import pressurisation, scheduled
from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.diagram import chain_diagram
from quizsvc.aircraft.failures import Cause, broken_claims, causes, consequence, doubles, evaluate, path, singles
from quizsvc.aircraft.flight import Descent, Event, Plan, belief_of, fly
from quizsvc.aircraft.instrument import cabin_gauge, dials
from quizsvc.physics.units import from_si, to_si
from tests.aircraft.files import TOLQUENNY, aircraft_of

TEXT = (Path(__file__).parent / "second.yaml").read_text(encoding="utf-8")
VS = aircraft_of(TEXT)
RAW = yaml.safe_load(TEXT)


def ft(value):
    """Feet to SI."""
    return to_si(value, "ft")


def _ambient_psi(altitude_ft):
    """Pressure of the standard atmosphere by ambiance, which takes geometric heights."""
    geopotential = altitude_ft * 0.3048
    return float(Atmosphere(6_356_766.0 * geopotential / (6_356_766.0 - geopotential)).pressure[0]) / 6894.757293168


class TestDescription:
    """It shares nothing with the aircraft that ships."""

    def test_no_name_in_common(self):
        """Neither nodes nor switches; it has no electrical and no oxygen section."""
        ours = aircraft_of(TOLQUENNY)

        assert not set(VS.nodes) & set(ours.nodes)
        assert not set(VS.switches) & set(ours.switches)
        assert VS.electrical is None
        assert VS.oxygen is None

    def test_canonical_form(self):
        """Through JSON and back."""
        assert Aircraft.from_canonical(json.loads(json.dumps(VS.canonical()))) == VS


class TestPressurisation:
    """Rows of its schedule: 10,000 ft to 500, 18,000 to 3,600, 27,000 to 7,600."""

    @pytest.mark.parametrize(
        ("level", "cabin"), [(10_000, 500), (14_000, 2_050), (18_000, 3_600), (22_500, 5_600), (27_000, 7_600)]
    )
    def test_schedule(self, level, cabin):
        """Straight lines between the rows, worked by hand."""
        assert from_si(scheduled.schedule(VS, ft(level)), "ft") == pytest.approx(cabin, abs=1e-6)
        assert from_si(scheduled.schedule_inverse(VS, ft(cabin)), "ft") == pytest.approx(level, abs=1e-6)

    def test_placard(self):
        """Next higher row between rows: 3,900 up to 18,000 ft, 7,900 above."""
        assert from_si(scheduled.placard(VS, ft(18_000)), "ft") == pytest.approx(3_900)
        assert from_si(scheduled.placard(VS, ft(18_100)), "ft") == pytest.approx(7_900)

    @pytest.mark.parametrize(("elevation", "setting", "target"), [(40, 0, -200), (8_630, 8_600, 8_800)])
    def test_landing(self, elevation, setting, target):
        """Steps of 100 ft; minus 200 at a low field, plus 200 at a high one."""
        assert from_si(pressurisation.landing_setting(VS, ft(elevation)), "ft") == pytest.approx(setting, abs=1e-6)
        assert from_si(pressurisation.landing_target(VS, ft(elevation)), "ft") == pytest.approx(target, abs=1e-6)

    @pytest.mark.parametrize(
        ("setting", "level", "warning"), [(8_600, 19_900, 12_000), (8_600, 20_100, 9_500), (6_900, 15_000, 9_500)]
    )
    def test_warning(self, setting, level, warning):
        """Shifted only above 7,000 ft set and below 20,000 ft."""
        found = pressurisation.warning_threshold(VS, ft(setting), ft(level))

        assert from_si(found, "ft") == pytest.approx(warning)

    def test_relief_holds_its_own_crack(self):
        """Controller dead at 25,000 ft: the cabin where 6.4 psi is kept, by ambiance."""
        cabin = from_si(pressurisation.valves_closed(VS, ft(25_000)), "ft")

        assert _ambient_psi(cabin) - _ambient_psi(25_000) == pytest.approx(6.4, abs=1e-4)

    def test_rates(self):
        """500 fpm up, 300 down: 3,000 ft take 6 and 10 minutes."""
        assert pressurisation.climb_time(VS, ft(1_000), ft(4_000)) == pytest.approx(360)
        assert pressurisation.descent_time(VS, ft(4_000), ft(1_000)) == pytest.approx(600)

    def test_differential_against_ambiance(self):
        """At 27,000 ft over 7,600 ft: 6.09 psi, as its file says to the hundredth."""
        found = from_si(pressurisation.differential(ft(27_000), ft(7_600)), "psi")

        assert found == pytest.approx(_ambient_psi(7_600) - _ambient_psi(27_000), abs=1e-4)
        assert round(found, 2) == RAW["pressurisation"]["schedule_diff_at_ceiling_psi"]


class TestFailures:
    """One main bus, a standby bus, a selector with letters."""

    @pytest.mark.parametrize("key", VS.failures)
    def test_claims(self, key):
        """Its hand-written claims are borne out."""
        assert list(broken_claims(VS.graph, VS.failures[key])) == []

    def test_consequence_has_its_own_numbers(self):
        """Five seconds here."""
        assert "returns after 5 s" in consequence(VS, VS.failures["B"])

    def test_singles_and_doubles_against_reachability(self):
        """A part without `any` in all that it needs is lost exactly when one of those failed (networkx ancestors)."""
        graph = networkx.DiGraph()
        either = set()
        for key, words in RAW["nodes"].items():
            graph.add_node(key)
            for need in words.get("needs", []):
                if isinstance(need, str):
                    graph.add_edge(need, key)
                else:
                    either.add(key)
        plain = [key for key in graph if not either & ({key} | networkx.ancestors(graph, key))]
        states = [*singles(VS.graph), *doubles(VS.graph)]

        assert len(states) == 21 + 21 * 20 // 2
        assert len(plain) >= 5
        for fail, state in states:
            for key in plain:
                assert (key in state.works) == (not set(fail) & ({key} | networkx.ancestors(graph, key)))

    def test_way_back(self):
        """The bar takes probe A: SENSE to B brings the control back."""
        state = evaluate(VS.graph, ("BAR",))

        assert state.after["SELF"] == ("SENSE B",)
        assert {"DROP", "FLOATS", "PROBE_A"} <= state.lost
        assert {"VENT", "HORN", "SET", "LEVER"} <= state.works

    def test_path_and_causes(self):
        """Both alternators, reserve disarmed: the vent is lost by three."""
        fail, switches = ("ALT_P", "ALT_S"), {"RESERVE": "DISARM"}

        assert causes(VS.graph, "VENT", fail, switches) == (
            Cause("ALT_P"), Cause("ALT_S"), Cause("RESERVE", "DISARM"),
        )  # fmt: skip
        assert [step.node for step in path(VS.graph, "VENT", fail, switches)] == ["ALT_P", "MAIN", "STANDBY", "VENT"]
        assert chain_diagram(VS.graph, "VENT", fail, switches)["break"] == "ALT_P"


def _plan(**changed):
    """From the low field to the high one at 25,000 ft: up at 1,000 fpm, down from minute 60 at 1,500."""
    fpm = to_si(1.0, "fpm")
    return Plan(
        **{
            "from_m": ft(40),
            "to_m": ft(8_630),
            "cruise_m": ft(25_000),
            "climb_m_s": 1_000 * fpm,
            "cruise_until_s": 3_600.0,
            "descent": (Descent(None, 1_500 * fpm),),
        }
        | changed
    )


def _cabin_ft(history, minute):
    return from_si(history.at(minute * 60)[1], "ft")


class TestFlight:
    """Its own gate (20,000 ft), rates (500 up, 300 down), target (plus 200 above 7,000 ft set), limits."""

    def test_waits_for_its_own_gate(self):
        """25,000 ft: 3,600 + 7/9 of 4,000 = 6,711 ft until 20,000 ft at minute 63.3; then 2,089 ft at 500 fpm."""
        history = fly(VS, _plan())

        assert _cabin_ft(history, 50) == pytest.approx(6_711.1, abs=0.1)
        assert _cabin_ft(history, 63.33) == pytest.approx(6_711.1, abs=0.1)
        assert _cabin_ft(history, 63.333 + 2) == pytest.approx(7_711, abs=1)
        assert _cabin_ft(history, 63.333 + 4.178 + 0.1) == pytest.approx(8_800, abs=0.1)

    def test_low_field_goes_down_at_its_rate(self):
        """Back to the low field, LDG 0: from 6,711 ft at 300 fpm as soon as the descent is sensed."""
        history = fly(VS, _plan(to_m=ft(40), descent=(Descent(None, to_si(1_000, "fpm")),)))

        fall = _cabin_ft(history, 65) - _cabin_ft(history, 75)
        assert fall == pytest.approx(3_000, abs=1)

    def test_belief_that_the_gate_does_not_exist(self):
        """The wrong plot starts up before 20,000 ft."""
        history = fly(VS, _plan(), belief=belief_of({"gate": "none"}))

        assert _cabin_ft(history, 63.3) > 7_500

    def test_dead_controller_sinks_to_its_own_relief(self):
        """At 25,000 ft the cabin ends where 6.4 psi is held, by ambiance."""
        history = fly(VS, _plan(), events=[Event(2_400.0, "controller dead")])
        cabin = _cabin_ft(history, 58)

        assert _ambient_psi(cabin) - _ambient_psi(25_000) == pytest.approx(6.4, abs=1e-3)

    def test_no_inflow_leads_to_its_own_warning(self):
        """The leak takes the cabin past 9,500 ft: the horn, not ten thousand."""
        history = fly(VS, _plan(), events=[Event(2_400.0, "inflow lost")])
        first = history.warnings[0]

        assert from_si(history.at(first.at_s)[1], "ft") == pytest.approx(9_500, abs=5)


class TestInstrument:
    """Scales of its own."""

    def test_bands(self):
        """Warning at 9,500 ft, masks from 13,500; 6.5 and 6.8 psi."""
        found = dials(VS)

        assert [band[0] for band in found["cabin"].bands] == [9.5, 13.5]
        assert [band[0] for band in found["differential"].bands][1:] == [6.5, 6.8]

    def test_every_scheduled_cabin_is_on_the_dial(self):
        """From 1,000 ft to its ceiling."""
        for level in range(1_000, 27_001, 1_000):
            cabin = scheduled.schedule(VS, ft(level))
            gauge = cabin_gauge(VS, cabin, pressurisation.differential(ft(level), cabin))
            assert gauge["type"] == "gauge"

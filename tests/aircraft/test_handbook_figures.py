"""The handbook's figures against the files, read by a YAML reader that is not ours, and against sums by hand."""

import math
from pathlib import Path

import pytest
import yaml

from quizsvc.aircraft.handbook_figures import FIGURES, figure
from quizsvc.pictures import describe, draw, table
from tests.aircraft.files import TOLQUENNY, VESSANDRY, aircraft_of

SECOND = (Path(__file__).parent / "second.yaml").read_text(encoding="utf-8")
FILES = {"ours": TOLQUENNY, "second": SECOND}
SHIPPED = {name: aircraft_of(text) for name, text in FILES.items()}
YAML = {name: yaml.safe_load(text) for name, text in FILES.items()}


@pytest.fixture(params=FILES)
def which(request):
    return request.param


def lines(found):
    return {line["id"]: line["points"] for line in found.picture["lines"]}


def at(points, x):
    """The value of a line at a place, by hand."""
    for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
        if x0 <= x <= x1 and x1 > x0:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    raise AssertionError(x)


def test_the_schedule_has_the_rows_of_the_file(which):
    rows = YAML[which]["pressurisation"]["schedule_ft"]
    drawn = lines(figure(SHIPPED[which], "schedule"))["schedule"]
    assert [[level * 100, cabin] for level, cabin in drawn[1:]] == rows


def test_the_line_of_the_control_limit_is_where_the_handbook_says():
    # Section 21-10: at FL390 8.7 psi is a cabin of 6,506 ft, and it holds sea level up to about FL228.
    points = lines(figure(SHIPPED["ours"], "schedule"))["limit"]
    assert points[-1][0] == 390
    assert round(points[-1][1]) == 6506
    assert (round(points[0][0]), points[0][1]) == (228, 0)


def test_the_cabin_waits_at_the_departure_field_until_the_schedule_asks_for_more():
    # Section 21-20: from Tarn Ebbick, 2,237 ft, the wait ends at about FL245: (24,457 - 2,237) / 1,600 = 13.9 min.
    found = figure(SHIPPED["ours"], "flight")
    cabin, aircraft = lines(found)["cabin"], lines(found)["aircraft"]
    assert "Tarn Ebbick (2,237 ft) to Dunquerry (412 ft)" in found.caption
    ends = found.picture["marks"][0]
    assert (ends["label"], round(ends["at"], 1)) == ("hold ends", 13.9)
    assert at(cabin, 10.0) == pytest.approx(2237)
    assert at(aircraft, ends["at"]) == pytest.approx(24457, abs=10)  # 0.01 min at 1,600 fpm, rounded, is 8 ft
    # In cruise 6,900 ft; at the end of the way down LDG minus 150 ft, which is 400 - 150.
    assert at(cabin, 40.0) == pytest.approx(6900)
    assert min(feet for _, feet in cabin) == pytest.approx(250)


def test_the_cabin_climbs_to_a_high_field_after_the_gate():
    # Section 21-30: Sant Orrin's target is 10,950 ft; from 6,900 ft the climb takes 7.4 minutes.
    found = figure(SHIPPED["ours"], "high-field")
    cabin = lines(found)["cabin"]
    gate = next(mark["at"] for mark in found.picture["marks"] if mark["label"] == "gate FL230")
    assert at(cabin, gate) == pytest.approx(6900, abs=6)  # 0.01 min at 550 fpm
    assert at(cabin, gate + 7.4) == pytest.approx(10950, abs=30)  # 0.05 min at 550 fpm
    assert max(feet for _, feet in cabin) == pytest.approx(10950)


def test_without_inflow_the_thresholds_are_passed_when_the_handbook_says():
    # tau = p V / (R T w): 390 ft3, 22 C, 1.6 lb/min at 8.5 psi over FL390's 2.854 psi; R = 287.053 J/(kg K).
    tau = (8.5 + 2.854) * 6894.757 * 390 * 0.3048**3 / (287.053 * 295.15 * 1.6 * 0.45359237 / 60) / 60

    def pressure(feet):  # the standard atmosphere's own formula for the troposphere
        return (1 - 6.8755856e-6 * feet) ** 5.2558797

    found = figure(SHIPPED["ours"], "leak")
    marks = {mark["label"]: mark["at"] for mark in found.picture["marks"]}
    for label, feet in (("CABIN ALT warning", 10000), ("automatic passenger mask drop", 14300)):
        assert marks[label] == pytest.approx(tau * math.log(pressure(6900) / pressure(feet)), abs=0.011), label
    assert lines(found)["cabin"][0] == [0.0, pytest.approx(6900, abs=1)]


def test_power_shows_each_bus_and_nothing_that_draws_current(which):
    loads = {key for key, node in YAML[which]["nodes"].items() if node.get("bus")}
    buses = {node["bus"] for node in YAML[which]["nodes"].values() if node.get("bus")}
    shown = {node["id"]: node for node in figure(SHIPPED[which], "power").picture["nodes"]}
    assert {key for key, node in shown.items() if node["kind"] == "bus"} == buses
    assert not loads & set(shown)
    assert {node["state"] for node in shown.values()} == {"works"}
    beside = {node["id"] for node in figure(SHIPPED[which], "loads").picture["nodes"]}
    assert beside == buses | loads


def test_both_generators_and_the_battery_stand_behind_the_buses():
    shown = {node["id"] for node in figure(SHIPPED["ours"], "power").picture["nodes"]}
    assert {"L_ENG", "R_ENG", "L_GEN", "R_GEN", "TIE", "BATT", "BATT_CTR"} <= shown


def test_the_words_of_the_loads_name_what_each_bus_feeds():
    # Section 24-40, HOT: standby instrument, clock, entry light, fire bottle squibs.
    words = describe(figure(SHIPPED["ours"], "loads").picture)
    hot = words.split("HOT battery bus feeds ")[1].split(".")[0]
    assert set(hot.split(", ")) == {"standby attitude and altimeter", "clock", "entry light", "fire bottle squibs"}


def test_the_gauge_stands_as_in_cruise():
    # Section 21-10: the schedule keeps 6,900 ft at FL390, which is 8.53 psi; a dial is read to a tenth.
    dials = figure(SHIPPED["ours"], "gauge").picture["dials"]
    assert [dial["value"] for dial in dials] == [6.9, 8.5]


def test_bleed_and_oxygen_are_those_of_the_file(which):
    bleed = YAML[which]["bleed"]
    values = [row["value"] for row in figure(SHIPPED[which], "bleed").picture["rows"]]
    each = bleed["flow_each_lb_per_min"]
    assert values == [2 * each, each, bleed["flow_emer_lb_per_min"]]
    if "oxygen" in YAML[which]:
        pure = YAML[which]["oxygen"]["crew_100pct"]
        assert lines(figure(SHIPPED[which], "oxygen"))["pure"] == [
            [row["cabin_ft"] / 1000, row["flow_l_per_min"]] for row in pure
        ]


def test_what_the_file_lacks_is_not_drawn():
    bare = aircraft_of(VESSANDRY)
    missing = {name for name in FIGURES if figure(bare, name) is None}
    assert missing == {"power", "loads", "bleed", "oxygen"}
    assert {name for name in FIGURES if figure(SHIPPED["second"], name) is None} == {"oxygen"}
    assert all(figure(SHIPPED["ours"], name) for name in FIGURES)


@pytest.mark.parametrize("name", FIGURES)
def test_every_figure_is_drawn_with_its_title_in_words_and_as_a_table(which, name):
    found = figure(SHIPPED[which], name)
    if name == "oxygen" and which == "second":
        assert found is None
        return
    picture = draw(found.picture)
    if name != "gauge":  # which is titled as an instrument is anywhere else
        assert f">{found.title}</title>" in picture.replace(">Profile ", ">")
    assert 'role="img"' in picture
    assert " style=" not in picture, "the pages' policy allows no inline style"
    heading, *rows = table(found.picture)
    assert rows and all(len(row) == len(heading) for row in rows)
    assert len(describe(found.picture)) > 20

"""The figures printed in the handbook's limits and altitude ladder, held against the fields of the aircraft file.

Source of every expected value: the description of the invented aircraft, typed from its paragraph "Limits to know
cold"; where that paragraph is silent, from its sections 21-10 (CABIN DIFF, red line, door interlock, limiter), 21-50
(thumbwheel), 35 (unusable oxygen, masks) and 36 (duct), and for the ladder from the line "Altitude ladder" of its
section 21-30. The handbook must print them in this order and no other number besides.
"""

import re

import pytest
import yaml

from tests.bank.bank_texts import AIRCRAFT_TEXT, SHIPPED

HANDBOOK = SHIPPED / "tolquenny-19" / "handbook"
AIRCRAFT = yaml.safe_load(AIRCRAFT_TEXT)  # not by quizsvc's own reader

# (as printed, value, *each way to make the value from the aircraft file: field paths with their signs)
LIMITS = [
    ("FL390", 39000, {"pressurisation.ceiling_ft": 1}),
    ("8.7", 8.7, {"pressurisation.diff_control_limit_psi": 1}),
    ("8.9", 8.9, {"pressurisation.relief_crack_diff_psi": 1}),
    ("9.0", 9.0, {"pressurisation.warn_diff_psi": 1}),
    ("9.1", 9.1, {"pressurisation.red_line_diff_psi": 1}, {"pressurisation.relief_full_open_diff_psi": 1}),
    ("0.3", 0.3, {"pressurisation.landing_diff_limit_psi": 1}),
    ("0.15", 0.15, {"pressurisation.door_interlock_diff_psi": 1}),
    ("10,000", 10000, {"safety_altitudes.cab_alt_warn_ft": 1}),
    ("13,400", 13400, {"high_field.warn_shifted_ft": 1}),
    ("7,200", 7200, {"high_field.switch_ldg_above_ft": 1}),
    ("FL230", 23000, {"high_field.gate_aircraft_below_ft": 1}),
    ("12,000", 12000, {"high_field.max_field_elevation_ft": 1}),
    ("9,500", 9500, {"crew_target.max_landing_elevation_ft": 1}),
    ("FL350", 35000, {"bleed.single_source_max_ft": 1}),
    ("FL290", 29000, {"bleed.emer_max_ft": 1}),
    ("265", 265, {"bleed.duct_overheat_c": 1}),
    ("300", 300, {"electrical.generators.rated_a": 1}),
    ("260", 260, {"electrical.generators.limit_high_a": 1}),
    ("FL300", 30000, {"electrical.generators.limit_high_above_ft": 1}),
    ("60", 60, {"electrical.battery.book_min": 1}),
    ("500", 500, {"oxygen.low_caution_psi": 1}),
    ("150", 150, {"oxygen.unusable_below_psi": 1}),
    ("13,700", 13700, {"safety_altitudes.limiter.nominal_ft": 1}),
    ("200", 200, {"safety_altitudes.limiter.tolerance_ft": 1}),
    ("14,300", 14300, {"safety_altitudes.pax_mask_auto.nominal_ft": 1}),
    ("300", 300, {"safety_altitudes.pax_mask_auto.tolerance_ft": 1}),
    ("1.0", 1.0, {"manual.min_diff_without_bleed_psi": 1}),
]
LIMITER = "safety_altitudes.limiter"
MASKS = "safety_altitudes.pax_mask_auto"
HIGHEST_FIELD = {"high_field.max_field_elevation_ft": 1}
LADDER = [
    ("10,000", 10000, {"safety_altitudes.cab_alt_warn_ft": 1}),
    ("12,300", 12300, {**HIGHEST_FIELD, "high_field.ldg_target_offset_ft": 1}),
    ("12,000", 12000, HIGHEST_FIELD),
    ("300", 300, {"high_field.ldg_target_offset_ft": 1}),
    ("13,400", 13400, {"high_field.warn_shifted_ft": 1}),
    ("13,500", 13500, {f"{LIMITER}.nominal_ft": 1, f"{LIMITER}.tolerance_ft": -1}),
    ("13,900", 13900, {f"{LIMITER}.nominal_ft": 1, f"{LIMITER}.tolerance_ft": 1}),
    ("14,000", 14000, {f"{MASKS}.nominal_ft": 1, f"{MASKS}.tolerance_ft": -1}),
    ("14,600", 14600, {f"{MASKS}.nominal_ft": 1, f"{MASKS}.tolerance_ft": 1}),
    ("15,000", 15000),  # the rule that masks come before here: no field of the aircraft
]
# a part of the handbook: file, the words before it, the words after it
LIMITS_TEXT = ("90-drills-and-limits.md", "## 90-20 Limits", "## 90-30")
LADDER_TEXT = ("21-pressurisation.md", "**The altitude ladder.**", "**What kills the regime.**")


def field(path):
    value = AIRCRAFT
    for word in path.split("."):
        value = value[word]
    return value


@pytest.mark.parametrize(("text", "figures"), [(LIMITS_TEXT, LIMITS), (LADDER_TEXT, LADDER)], ids=["limits", "ladder"])
def test_handbook_prints_the_figures_of_the_aircraft_file(text, figures):
    file, before, after = text
    whole = (HANDBOOK / file).read_text(encoding="utf-8")
    part = whole[whole.index(before) + len(before) : whole.index(after)]
    assert re.findall(r"FL\d+|\d[\d,]*(?:\.\d+)?", part) == [printed for printed, *_ in figures]
    for printed, value, *ways in figures:
        number = float(printed.removeprefix("FL").replace(",", "")) * (100 if printed.startswith("FL") else 1)
        assert number == value
        for fields in ways:
            assert sum(field(path) * sign for path, sign in fields.items()) == value, (printed, fields)

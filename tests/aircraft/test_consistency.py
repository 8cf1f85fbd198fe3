"""A file whose numbers contradict each other is refused with the two numbers; one edit of our file for each rule."""

from __future__ import annotations

import pytest

from tests.aircraft.files import TOLQUENNY, VESSANDRY, described, edited

FLOW_ROW = "{cabin_ft: 10000, flow_l_per_min: 11.8}"
LADDER = "aircraft-altitude-ladder"

# What is edited, the reference, and what the finding must say: both numbers.
RULES = [
    # schedule against itself and the atmosphere
    (
        "rows do not rise",
        [("[25000, 2400]", "[25000, 900]")],
        "aircraft-rows-not-rising",
        "'schedule_ft' does not rise from 20,000 ft -> 900 ft to 25,000 ft -> 900 ft",
    ),
    (
        "rows out of order",
        [("[20000, 900]", "[14000, 900]")],
        "aircraft-rows-not-rising",
        "'schedule_ft' does not rise from 15,000 ft -> 0 ft to 14,000 ft -> 900 ft",
    ),
    (
        "schedule ends below the ceiling",
        [("  ceiling_ft: 39000", "  ceiling_ft: 41000")],
        "aircraft-table-top",
        "the top row of 'schedule_ft' is at 39,000 ft, the ceiling at 41,000 ft",
    ),
    (
        "placard ends below the ceiling",
        [("    - [39000, 7100]\n", "")],
        "aircraft-table-top",
        "the top row of 'placard_ft' is at 35,000 ft, the ceiling at 39,000 ft",
    ),
    (
        "schedule asks for more than the control limit",
        [("[35000, 5600]", "[35000, 5000]")],
        "aircraft-schedule-differential",
        "at 35,000 ft the schedule asks for 8.77 psi, the control limit is 8.70 psi",
    ),
    (
        "between rows, every 250 ft",
        # Each row is below the limit, 8.69 psi at FL300 and 8.66 at FL390; the straight line between is not.
        [
            ("[30000, 4000]", "[30000, 3250]"),
            ("    - [35000, 5600]\n", ""),
            ("    - [35000, 5800]\n", ""),
            ("[39000, 6900]", "[39000, 6600]"),
        ],
        "aircraft-schedule-differential",
        "at 33,750 ft the schedule asks for 8.72 psi, the control limit is 8.70 psi",
    ),
    (
        "stated differential at the ceiling",
        [("schedule_diff_at_ceiling_psi: 8.53", "schedule_diff_at_ceiling_psi: 8.51")],
        "aircraft-schedule-differential",
        "the file gives 8.51 psi at the ceiling, its schedule gives 8.53 psi",
    ),
    (
        "cabin at the ceiling",
        [("[39000, 6900]", "[39000, 8100]")],
        "aircraft-cabin-at-ceiling",
        "the cabin at the ceiling is 8,100 ft, more than 8,000 ft",
    ),
    (
        "cabin above the aircraft",
        [("[15000, 0]", "[500, 600]")],
        "aircraft-schedule-above-aircraft",
        "at 500 ft the schedule asks for a cabin of 600 ft, above the aircraft",
    ),
    (
        "hold and schedule end apart",
        [("max_field_ft: 6900", "max_field_ft: 7000")],
        "aircraft-hold-top",
        "the hold ends for fields above 7,000 ft, the schedule at a cabin of 6,900 ft",
    ),
    # limits in their order
    (
        "relief below control",
        [("relief_crack_diff_psi: 8.9", "relief_crack_diff_psi: 8.6")],
        "aircraft-relief-order",
        "the control limit (8.70 psi) is not below the relief crack (8.60 psi)",
    ),
    (
        "full open below crack",
        [("relief_full_open_diff_psi: 9.1", "relief_full_open_diff_psi: 8.9")],
        "aircraft-relief-order",
        "the relief crack (8.90 psi) is not below relief full open (8.90 psi)",
    ),
    (
        "full open above the red line",
        [("relief_full_open_diff_psi: 9.1", "relief_full_open_diff_psi: 9.3")],
        "aircraft-relief-order",
        "relief full open (9.30 psi) is more than the red line (9.10 psi)",
    ),
    (
        "warning below relief",
        [("warn_diff_psi: 9.0", "warn_diff_psi: 8.8")],
        "aircraft-relief-order",
        "the relief crack (8.90 psi) is not below the CABIN DIFF warning (8.80 psi)",
    ),
    (
        "warning above the red line",
        [("warn_diff_psi: 9.0", "warn_diff_psi: 9.2")],
        "aircraft-relief-order",
        "the CABIN DIFF warning (9.20 psi) is more than the red line (9.10 psi)",
    ),
    (
        "negative relief above zero",
        [("negative_relief_psi: -0.25", "negative_relief_psi: 0.25")],
        "aircraft-negative-relief",
        "the negative relief (0.25 psi) is not below zero (0.00 psi)",
    ),
    (
        "door interlock above the landing limit",
        [("door_interlock_diff_psi: 0.15", "door_interlock_diff_psi: 0.4")],
        "aircraft-landing-limit",
        "the door interlock (0.40 psi) is not below the landing limit (0.30 psi)",
    ),
    (
        "target leaves more than the landing limit",
        [("  ldg_target_offset_ft: -150", "  ldg_target_offset_ft: -600")],
        "aircraft-landing-limit",
        "a landing at -1,000 ft with the target -600 ft off leaves 0.33 psi, the landing limit is 0.30 psi",
    ),
    # placard
    (
        "placard is not schedule plus offset",
        [("[30000, 4200]", "[30000, 4250]")],
        "aircraft-placard",
        "at 30,000 ft the placard says 4,250 ft, schedule and offset make 4,200 ft",
    ),
    (
        "placard asks the relief heads to blow",
        [("[35000, 5800]", "[35000, 4500]")],
        "aircraft-placard-differential",
        "at 35,000 ft the placard asks for 9.00 psi, the relief heads crack at 8.90 psi",
    ),
    # ladder of altitudes
    (
        "cabin at the ceiling above the warning",
        [("cab_alt_warn_ft: 10000", "cab_alt_warn_ft: 6800")],
        LADDER,
        "the cabin at the ceiling (6,900 ft) is not below CABIN ALT (6,800 ft)",
    ),
    (
        "highest target below the warning",
        [("max_field_elevation_ft: 12000", "max_field_elevation_ft: 9600")],
        LADDER,
        "CABIN ALT (10,000 ft) is not below the highest target (9,900 ft)",
    ),
    (
        "shifted warning below the highest target",
        [("warn_shifted_ft: 13400", "warn_shifted_ft: 12200")],
        LADDER,
        "the highest target (12,300 ft) is not below the shifted CABIN ALT (12,200 ft)",
    ),
    (
        "limiter overlaps the shifted warning",
        [("{nominal_ft: 13700, tolerance_ft: 200}", "{nominal_ft: 13700, tolerance_ft: 400}")],
        LADDER,
        "the shifted CABIN ALT (13,400 ft) is not below the limiter's low end (13,300 ft)",
    ),
    (
        "masks overlap the limiter",
        [("{nominal_ft: 14300, tolerance_ft: 300}", "{nominal_ft: 14300, tolerance_ft: 450}")],
        LADDER,
        "the limiter's high end (13,900 ft) is not below the masks' low end (13,850 ft)",
    ),
    (
        "masks above 15,000 ft",
        [("{nominal_ft: 14300, tolerance_ft: 300}", "{nominal_ft: 14800, tolerance_ft: 300}")],
        LADDER,
        "the masks' high end (15,100 ft) is not below the mask rule (15,000 ft)",
    ),
    (
        "normal target above the warning",
        [("switch_ldg_above_ft: 7200", "switch_ldg_above_ft: 10200")],
        LADDER,
        "the highest normal target (10,050 ft) is not below CABIN ALT (10,000 ft)",
    ),
    (
        "crew-target landing above the warning that does not shift there",
        [("max_landing_elevation_ft: 9500", "max_landing_elevation_ft: 10500")],
        LADDER,
        "the crew-target landing limit (10,500 ft) is not below CABIN ALT (10,000 ft)",
    ),
    (
        "departure shift ends above the warning",
        [("cabin_below_ft: 9700", "cabin_below_ft: 10100")],
        "aircraft-departure-shift",
        "the end of the departure shift (10,100 ft) is not below CABIN ALT (10,000 ft)",
    ),
    (
        "no field above the switch",
        [("max_field_elevation_ft: 12000", "max_field_elevation_ft: 7000")],
        "aircraft-high-field",
        "the high-field switch (7,200 ft) is not below the highest field (7,000 ft)",
    ),
    (
        "gate above the ceiling",
        [("gate_aircraft_below_ft: 23000", "gate_aircraft_below_ft: 40000")],
        "aircraft-high-field",
        "the gate (40,000 ft) is not below the ceiling (39,000 ft)",
    ),
    (
        "gate below the shifted warning",
        [("gate_aircraft_below_ft: 23000", "gate_aircraft_below_ft: 13000")],
        "aircraft-high-field",
        "the shifted CABIN ALT (13,400 ft) is not below the gate (13,000 ft)",
    ),
    # knob and airfields
    (
        "knob upside down",
        [("{min_ft: -1000, max_ft: 12000", "{min_ft: 12500, max_ft: 12000")],
        "aircraft-knob",
        "the knob's lowest setting (12,500 ft) is not below the knob's highest setting (12,000 ft)",
    ),
    (
        "knob too short for the highest field",
        [("{min_ft: -1000, max_ft: 12000", "{min_ft: -1000, max_ft: 11000")],
        "aircraft-knob",
        "the highest field (12,000 ft) is more than the knob's highest setting (11,000 ft)",
    ),
    (
        "airfield above the highest field",
        [("elevation_ft: 10641", "elevation_ft: 12641")],
        "aircraft-airfield-range",
        "Sant Orrin lies at 12,641 ft, the highest field is 12,000 ft",
    ),
    (
        "airfield below the knob",
        [("elevation_ft: -168", "elevation_ft: -1168")],
        "aircraft-airfield-range",
        "Hollin Sink lies at -1,168 ft, the knob ends at -1,000 ft",
    ),
    (
        "two airfields of one id",
        [("id: XQLV", "id: XQDQ")],
        "aircraft-airfield-twice",
        "airfield 2 is called 'XQDQ' as airfield 1 is",
    ),
    # bleed and descent
    (
        "single source above the ceiling",
        [("single_source_max_ft: 35000", "single_source_max_ft: 41000")],
        "aircraft-bleed",
        "the single-source limit (41,000 ft) is more than the ceiling (39,000 ft)",
    ),
    (
        "leak beyond one side",
        [("{flow_lb_per_min: 1.6,", "{flow_lb_per_min: 9.6,")],
        "aircraft-bleed",
        "the largest leak (9.6 lb/min) is not below the flow of one side (9.0 lb/min)",
    ),
    (
        "faster without speedbrakes",
        [("no_speedbrake_avg_fpm: 3100", "no_speedbrake_avg_fpm: 5300")],
        "aircraft-descent",
        "the descent without speedbrakes (5,300 fpm) is more than the descent (5,200 fpm)",
    ),
    (
        "descent ends above the warning",
        [("emergency_descent_level_ft: 10000", "emergency_descent_level_ft: 11000")],
        "aircraft-descent",
        "the descent's level (11,000 ft) is more than CABIN ALT (10,000 ft)",
    ),
    # oxygen
    (
        "a cabin in which nobody breathes",
        [("{cabin_ft: 35000, flow_l_per_min: 3.3}", "{cabin_ft: 64000, flow_l_per_min: 3.3}")],
        "gas-body-fluids-boil",
        "at 64,000 ft the outside pressure is that of water vapour in the body",
    ),
    (
        "flow against the breathed volume",
        [(FLOW_ROW, "{cabin_ft: 10000, flow_l_per_min: 11.7}")],
        "aircraft-oxygen-flow",
        "at 10,000 ft the table says 11.7 L/min, the breathed volume makes 11.8 L/min",
    ),
    (
        "minute volume against the table",
        [("crew_minute_volume_l_per_min: 20 ", "crew_minute_volume_l_per_min: 21 ")],
        "aircraft-oxygen-flow",
        "at 8,000 ft the table says 12.9 L/min, the breathed volume makes 13.5 L/min",
    ),
    (
        "NORM above 100 %",
        [("flow_l_per_min: 2.6}", "flow_l_per_min: 12.6}")],
        "aircraft-oxygen-flow",
        "the NORM flow at 10,000 ft (12.6 L/min) is more than the 100 % flow (11.8 L/min)",
    ),
    (
        "caution below the unusable",
        [("low_caution_psi: 500", "low_caution_psi: 100")],
        "aircraft-oxygen-pressures",
        "the unusable pressure (150.00 psi) is not below OXY LOW (100.00 psi)",
    ),
    (
        "green disc below a full bottle",
        [("green_disc_psi: 2750", "green_disc_psi: 1750")],
        "aircraft-oxygen-pressures",
        "a full bottle (1,850.00 psi) is not below the green disc (1,750.00 psi)",
    ),
    (
        "more seats than masks",
        [("seats_pax: 6", "seats_pax: 8")],
        "aircraft-oxygen-masks",
        "the passenger seats (8) is more than the passenger masks (6)",
    ),
    # electrical
    (
        "stated load against the sum of the graph",
        [("emergency_load_a: 33.0", "emergency_load_a: 32.0")],
        "aircraft-emergency-load",
        "the file gives 32.0 A, the loads on ESS and HOT make 33.0 A",
    ),
    (
        "a component that draws more",
        [("amps: 2.4}", "amps: 4.4}")],
        "aircraft-emergency-load",
        "the file gives 33.0 A, the loads on ESS and HOT make 35.0 A",
    ),
    (
        "book time beyond the battery",
        [("book_min: 60", "book_min: 70")],
        "aircraft-battery",
        "the battery's book time (70 min) is more than what capacity and load allow (64 min)",
    ),
    (
        "book time below the rule",
        [("book_min: 60", "book_min: 45")],
        "aircraft-battery",
        "the battery rule (60 min) is more than the battery's book time (45 min)",
    ),
    (
        "more than the whole battery",
        [("usable_fraction: 0.8", "usable_fraction: 1.2")],
        "aircraft-battery",
        "the usable fraction in percent (120) is more than the whole (100)",
    ),
    (
        "one generator overloaded",
        [("load_shed_on_single_gen_a: 96", "load_shed_on_single_gen_a: 60")],
        "aircraft-generator",
        "the load left on one generator (278.0 A) is more than its limit high up (260.0 A)",
    ),
    (
        "limit above the rating",
        [("limit_high_a: 260", "limit_high_a: 360")],
        "aircraft-generator",
        "its limit high up (360.0 A) is more than the generator's rating (300.0 A)",
    ),
    (
        "emergency bus that is no node",
        [("emergency_buses: [ESS, HOT]", "emergency_buses: [ESS, HOTT]")],
        "aircraft-name-unknown",
        "'HOTT' is no node of this file",
    ),
    # graph
    (
        "bus that the needs do not name",
        [("needs: [ESS], bus: ESS, amps: 6.5", "needs: [ESS], bus: L_MAIN, amps: 6.5")],
        "aircraft-bus",
        "PFD_1 draws its current from L_MAIN, but its needs name ESS",
    ),
    (
        "load without a bus",
        [("needs: [L_MAIN], bus: L_MAIN, amps: 60", "needs: [L_MAIN], amps: 60")],
        "aircraft-bus",
        "WSHLD has 'amps' and lacks 'bus'",
    ),
    (
        "nodes in a circle",
        [("left generator, ata: 24, needs: [L_ENG]}", "left generator, ata: 24, needs: [L_MAIN]}")],
        "aircraft-graph-circle",
        "nodes need each other in a circle: L_GEN needs L_MAIN, which needs L_GEN",
    ),
    (
        "a circle that starts behind the first node left over",
        [
            ("TIE: {name: bus tie (AUTO), ata: 24}", "TIE: {name: bus tie (AUTO), ata: 24, needs: [BATT]}"),
            ("BATT: {name: battery, ata: 24}", "BATT: {name: battery, ata: 24, needs: [CLOCK]}"),
            ("clock, ata: 31, needs: [HOT], bus: HOT, amps: 0.1", "clock, ata: 31, needs: [BATT]"),
        ],
        "aircraft-graph-circle",
        "nodes need each other in a circle: BATT needs CLOCK, which needs BATT",
    ),
    (
        "bus that draws from a bus itself",
        [("needs: [L_MAIN], bus: L_MAIN, amps: 60", "needs: [MFD], bus: MFD, amps: 60")],
        "aircraft-bus",
        "WSHLD draws its current from MFD, which draws its own from L_MAIN",
    ),
    (
        "bus without a load",
        [("needs: [L_MAIN], bus: L_MAIN, amps: 60", "needs: [L_MAIN], bus: L_MAIN")],
        "aircraft-bus",
        "WSHLD has 'bus' and lacks 'amps'",
    ),
    (
        "switch that moves nothing",
        [("BATT_CTR: {name: battery contactor, ata: 24, needs: [{switch: BATT, at: \"ON\"}]}",
          "BATT_CTR: {name: battery contactor, ata: 24}")],
        "aircraft-switch-idle",
        "moving BATT changes nothing, with all well or any one node failed; no need names it",
    ),
    (
        "switch whose every position does",
        [
            (
                "needs: [{switch: BATT, at: \"ON\"}]}",
                "needs: [{any: [{switch: BATT, at: \"ON\"}, {switch: BATT, at: \"OFF\"}]}]}",
            )
        ],
        "aircraft-switch-idle",
        "moving BATT changes nothing, with all well or any one node failed; needs of BATT_CTR name it",
    ),
    (
        "role that is no node",
        [("  muscle: EJECTOR", "  muscle: SUCTION")],
        "aircraft-name-unknown",
        "'SUCTION' is no node of this file",
    ),
    (
        "dump in two places",
        [("  dump: DUMP\n", "  dump: RELIEF\n")],
        "aircraft-role",
        "'dump' says that it is DUMP, 'roles' that it is RELIEF",
    ),
    (
        "dump that is no node",
        [("  node: DUMP ", "  node: DUMPS ")],
        "aircraft-name-unknown",
        "'DUMPS' is no node of this file",
    ),
    (
        "claim of something kept",
        [("expect_kept: [CPC, ESS, CREW_TGT]", "expect_kept: [CPC, ESS, CREW_TGT, AP]")],
        "aircraft-failure-claim",
        "F08 claims that AP works, the graph says that it is lost, whatever single action",
    ),
    (
        "claim of something lost",
        [("fail: [L_GEN], expect_lost: []", "fail: [L_GEN], expect_lost: [L_MAIN]")],
        "aircraft-failure-claim",
        "F05 claims that L_MAIN is lost, the graph says that it works",
    ),
    (
        "lost, but an action brings it back",
        [("[ADC_1, MFD, SPDBRK, CAB_DIGITS], expect_after: {AUTO: \"AIR_DATA 2\"}", "[ADC_1, AUTO]")],
        "aircraft-failure-claim",
        "F08 claims that AUTO is lost, the graph says that it works after AIR_DATA 2",
    ),
    (
        "claim of the wrong action",
        [("{AUTO: \"AIR_DATA 2\", WARN_SHIFT: \"AIR_DATA 2\"}", "{AUTO: \"BATT OFF\", WARN_SHIFT: \"AIR_DATA 2\"}")],
        "aircraft-failure-claim",
        "F01 claims that AUTO works after BATT OFF and not before, the graph says that it works after AIR_DATA 2",
    ),
    (
        "graph that lets a claim down",
        [("needs: [R_MAIN], bus: R_MAIN, amps: 3.0", "needs: [R_MAIN, MFD], bus: R_MAIN, amps: 3.0")],
        "aircraft-failure-claim",
        "F08 claims that CPC works, the graph says that it is lost, whatever single action",
    ),
    (
        "number that the file does not have",
        [("{relief_crack_diff:psi:1}", "{relief_diff:psi:1}")],
        "aircraft-placeholder-unreadable",
        "'{relief_diff:psi:1}' cannot be filled in",
    ),
    (
        "number in a unit of another dimension",
        [("{relief_crack_diff:psi:1}", "{relief_crack_diff:ft:1}")],
        "aircraft-placeholder-unreadable",
        "'{relief_crack_diff:ft:1}' cannot be filled in",
    ),
    (
        "number in no unit",
        [("{relief_crack_diff:psi:1}", "{relief_crack_diff:pssi:1}")],
        "aircraft-unit-unknown",
        "'pssi' is not a unit",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "reference", "says"), [rule[1:] for rule in RULES], ids=[rule[0] for rule in RULES]
)
def test_contradiction_is_refused_with_both_numbers(changes, reference, says):
    """The finding is a fault, has a place, and its text says what disagrees with what."""
    aircraft, findings = described(edited(*changes))
    found = [finding for finding in findings if finding.reference == reference and says in finding.what]

    assert found, [finding.what for finding in findings]
    assert all(finding.severity == "fault" and finding.line > 1 and finding.mend for finding in found)
    assert aircraft is not None, "what uses the aircraft is still checked in the same run"


def test_finding_stands_at_the_number():
    """The place of a finding is the line of the number that it is about."""
    text = edited(("[30000, 4200]", "[30000, 4250]"))
    (finding,) = described(text)[1]

    assert text.splitlines()[finding.line - 1].strip() == "- [30000, 4250]"
    assert finding.column == text.splitlines()[finding.line - 1].index("4250") + 1


@pytest.mark.parametrize(
    ("changes", "reference", "line"),
    [
        ([("[25000, 2400]", "[25000, 900]")], "aircraft-rows-not-rising", "- [25000, 900]"),
        ([("[39000, 6900]", "[39000, 8100]")], "aircraft-cabin-at-ceiling", "- [39000, 8100]"),
        ([("    - [39000, 7100]\n", "")], "aircraft-table-top", "- [35000, 5800]"),
        ([("cab_alt_warn_ft: 10000", "cab_alt_warn_ft: 6800")], LADDER, "cab_alt_warn_ft: 6800"),
        ([("elevation_ft: 10641", "elevation_ft: 12641")], "aircraft-airfield-range", "- {name: Sant Orrin"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_finding_stands_on_the_line_of_the_row(changes, reference, line):
    """In a table the row that is meant, not its neighbour."""
    text = edited(*changes)
    found = [finding for finding in described(text)[1] if finding.reference == reference]

    assert any(text.splitlines()[finding.line - 1].strip().startswith(line) for finding in found)


def test_whole_finding():
    """What, where and how to mend it, word for word."""
    (finding,) = described(edited(("max_landing_elevation_ft: 9500", "max_landing_elevation_ft: 10500")))[1]

    assert finding.where.startswith("aircraft.yaml, line ")
    assert finding.what == "the crew-target landing limit (10,500 ft) is not below CABIN ALT (10,000 ft)"
    assert finding.mend == "lower the limit: the warning does not shift there"


def test_contradictions_of_all_kinds_come_in_one_run():
    """Five planted contradictions are five findings, in the order of the text."""
    _, findings = described(
        edited(
            ("warn_diff_psi: 9.0", "warn_diff_psi: 9.2"),
            ("max_field_ft: 6900", "max_field_ft: 7000"),
            ("emergency_load_a: 33.0", "emergency_load_a: 32.0"),
            ("fail: [L_GEN], expect_lost: []", "fail: [L_GEN], expect_lost: [L_MAIN]"),
            ("elevation_ft: 10641", "elevation_ft: 12641"),
        )
    )

    assert [finding.reference for finding in findings] == [
        "aircraft-relief-order",
        "aircraft-hold-top",
        "aircraft-emergency-load",
        "aircraft-failure-claim",
        "aircraft-airfield-range",
    ]


def test_plain_warning_above_the_usual_is_a_remark():
    """A warning above 10,000 ft is unusual, not contradictory: the file is not refused."""
    aircraft, findings = described(edited(("cab_alt_warn_ft: 9800", "cab_alt_warn_ft: 10100"), text=VESSANDRY))

    assert aircraft is not None
    assert [(finding.severity, finding.reference) for finding in findings] == [("remark", "aircraft-warning-high")]
    assert findings[0].what == "CABIN ALT at 10,100 ft is above the usual 10,000 ft"


def test_a_chain_of_five_thousand_nodes_is_read():
    """A long chain in the graph takes no recursion; it is in order and evaluated."""
    start = TOLQUENNY.index("failures:")
    chain = "".join(f"  Z{i}: {{name: link, ata: 24, needs: [Z{i + 1}]}}\n" for i in range(5000))
    chain += "  Z5000: {name: last link, ata: 24}\n\n"
    _, findings = described(TOLQUENNY[:start].rstrip("\n") + "\n" + chain + TOLQUENNY[TOLQUENNY.index("airfields:") :])

    assert findings == []

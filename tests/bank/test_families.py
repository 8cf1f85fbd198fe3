"""Each numeric family's printed sample, reproduced by item text through draw, key, traps and grading.

Source of every expected number: the sample and the misconceptions of the family in the domain paper on numeric
families, computed there by a script of its own from the aircraft's numbers and a standard-atmosphere formula. A value
must agree to half of its last printed digit.
"""

import random

import pytest

from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import issue
from quizsvc.physics.units import from_si
from tests.bank.bank_texts import check, compiled, number_text

# family: (item text, key as printed, {trap: value as printed}, accepted, not accepted)
FAMILIES = {
    "N01": (
        """
        stem: Level {level}, differential {diff}. Cabin altitude?
        draw: {level: {one-of: [FL330]}, diff: {one-of: [8.2 psi]}}
        answer: cabin_altitude(level, diff)
        unit: ft
        within: 150 ft
        round: nearest 100 ft
        traps:
          - {id: sea-level, value: isa_altitude(isa_pressure(0*ft) - diff), belief: took it off sea-level pressure}
          - {id: schedule, value: schedule(level), belief: read the schedule}
          - {id: reversed, belief: cabin thinner than outside}
        """,
        "5501",
        {"sea-level": "20924", "schedule": "4960"},
        ["5,501", "5500 ft", "5 400", "5,651", "FL055"],
        ["5,700", "20,900", "4,960"],
    ),
    "N02": (
        """
        stem: Level {level}, cabin {cabin}. Differential?
        draw: {level: {one-of: [FL370]}, cabin: {one-of: [6200 ft]}}
        answer: differential(level, cabin)
        unit: psi
        within: 0.1 psi
        round: nearest 0.1 psi
        traps:
          - {id: sea-level, value: "differential(level, 0*ft)", belief: cabin taken as sea level, when: "cabin > 0*ft"}
          - {id: absolute, value: isa_pressure(cabin), belief: gave the cabin's absolute pressure}
          - {id: flat, value: "(level - cabin)/(2000*ft)*psi", belief: one psi for 2000 ft all the way}
        """,
        "8.55",
        {"sea-level": "11.55", "absolute": "11.69", "flat": "15.40"},
        ["8.6", "8.5 psi", "8,55", "590 hPa"],
        ["9", "11.6"],
    ),
    "N03": (
        """
        stem: Cabin {cabin}. Highest level?
        draw: {cabin: {one-of: [4500 ft]}}
        answer: highest_altitude(cabin, diff_control_limit)
        unit: ft
        within: 300 ft
        round: down 1000 ft
        traps:
          - {id: relief, value: "highest_altitude(cabin, relief_crack_diff)", belief: used the relief}
          - {id: schedule, value: schedule_inverse(cabin), belief: read the schedule backwards}
          - {id: sea-level, value: "highest_altitude(0*ft, diff_control_limit)", belief: used a sea-level cabin}
        """,
        "33236",
        {"relief": "34398", "schedule": "31562", "sea-level": "22807"},
        ["33,236", "33,000", "33,500", "FL330"],
        ["32,000", "34,000", "34,400"],
    ),
    "N04": (
        """
        stem: Level {level}. What cabin does the schedule ask for?
        draw: {level: {one-of: [FL330]}}
        answer: schedule(level)
        unit: ft
        within: 50 ft
        round: nearest 50 ft
        traps:
          - {id: lower-row, value: schedule_row_below(level), belief: takes the lower row}
          - {id: upper-row, value: schedule_row_above(level), belief: takes the upper row}
          - {id: proportion, value: schedule(ceiling)*level/ceiling, belief: in proportion to the ceiling}
        """,
        "4960",
        {"lower-row": "4000", "upper-row": "5600", "proportion": "5838"},
        ["4,960", "4,950", "5,000"],
        ["4,000", "5,100"],
    ),
    "N05": (
        """
        stem: From {field} ({field_elevation}). Where does the cabin leave the hold?
        draw: {field: {one-of: airfields}}
        refuse: ["field_elevation < 2000*ft", "field_elevation > 4000*ft"]
        answer: hold_end(field_elevation)
        unit: ft
        within: 200 ft
        round: nearest 100 ft
        traps:
          - {id: first-row, value: 15000*ft, belief: first row whatever the field}
          - {id: added, value: 15000*ft + field_elevation, belief: first row plus the elevation}
        """,
        "24457",
        {"first-row": "15000", "added": "17237"},
        ["24,500", "FL245", "24,300"],
        ["15,000", "24,000"],
    ),
    "N06": (
        """
        stem: Cabin from {start} to {end}. Minutes?
        draw: {start: {one-of: [2237 ft]}, end: {one-of: [6900 ft]}}
        answer: climb_time(start, end)
        unit: min
        within: 0.3 min
        round: nearest 0.5 min
        traps:
          - {id: down-limit, value: (end - start)/cabin_down_limit, belief: used the down limit}
          - {id: sea-level, value: end/cabin_up_limit, belief: started from sea level}
        """,
        "8.48",
        {"down-limit": "13.32", "sea-level": "12.55"},
        ["8.5", "8,5 min", "8.48", "510 s"],
        ["8", "13.3"],
    ),
    "N07": (
        """
        stem: Cabin {cabin}, to {field} ({field_elevation}). Minutes for the cabin to come down?
        draw: {cabin: {one-of: [6900 ft]}, field: {one-of: airfields}}
        let: {ldg: landing_setting(field_elevation)}
        refuse: ["field_elevation != 412*ft"]
        answer: "descent_time(cabin, landing_target(field_elevation))"
        unit: min
        within: 0.2 min
        round: nearest 0.1 min
        traps:
          - {id: no-offset, value: (cabin - ldg)/cabin_down_limit, belief: forgot the offset}
          - {id: wrong-sign, value: (cabin - (ldg + 150*ft))/cabin_down_limit, belief: added the offset}
          - {id: up-limit, value: (cabin - (ldg - 150*ft))/cabin_up_limit, belief: used the up limit}
        """,
        "19.00",
        {"no-offset": "18.57", "wrong-sign": "18.14", "up-limit": "12.09"},
        ["19", "19.0", "19,2", "19 min"],
        ["18.6", "12.1"],
    ),
    "N08": (
        """
        stem: FL390, cabin {cabin}, ground speed {speed}, to Dunquerry (412 ft). Latest point?
        draw: {cabin: {one-of: [6900 ft]}, speed: {one-of: [400 kt]}, level: {one-of: [FL390]}}
        let: {down: "descent_time(cabin, landing_target(412*ft))"}
        answer: down*speed
        unit: NM
        within: 3 NM
        round: up 5 NM
        traps:
          - {id: by-100, value: down*speed*60/100, belief: divided by 100}
          - {id: hours, belief: used minutes as hours}
          - {id: three-to-one, value: level/(1000*ft)*3*NM, belief: three miles per thousand feet}
        """,
        "127",
        {"by-100": "76.00", "three-to-one": "117"},
        ["127", "130", "127 NM", "125"],
        ["117", "76", "140"],
    ),
    "N11": (
        """
        stem: Elevation {elevation}. LDG?
        draw: {elevation: {one-of: [7265 ft]}}
        answer: landing_setting(elevation)
        unit: ft
        within: exact
        traps:
          - {id: rounded-up, value: "round_up(elevation, 50*ft)", belief: rounded up}
          - {id: hundreds, value: "round_nearest(elevation, 100*ft)", belief: to the nearest 100}
          - {id: target, value: landing_setting(elevation) - 150*ft, belief: set the target}
        """,
        "7250",
        {"rounded-up": "7300", "hundreds": "7300", "target": "7100"},
        ["7,250", "7250 ft", "7 250"],
        ["7,300", "7,251", "7,100"],
    ),
    "N13": (
        """
        stem: LDG set for {field}. Cabin target?
        draw: {field: {one-of: airfields}}
        refuse: ["field_elevation != 8483*ft"]
        answer: landing_target(field_elevation)
        unit: ft
        within: exact
        traps:
          - {id: normal, value: landing_setting(field_elevation) - 150*ft, belief: the normal offset}
          - {id: unrounded, value: field_elevation + high_field_ldg_target_offset, belief: added to the elevation}
        """,
        "8800",
        {"normal": "8350", "unrounded": "8783"},
        ["8,800"],
        ["8,350", "8,783", "8,799"],
    ),
    "N17": (
        """
        stem: Climbing to {level} in CREW TGT. CAB?
        draw: {level: {one-of: [FL330]}}
        answer: placard(level)
        unit: ft
        within: exact
        traps:
          - {id: between, value: schedule(level) + crew_target_placard_offset, belief: interpolated}
          - {id: lower, value: schedule_row_below(level) + crew_target_placard_offset, belief: lower row}
          - {id: schedule-row, value: schedule_row_above(level), belief: schedule row without the 200}
        """,
        "5800",
        {"between": "5160", "lower": "4200", "schedule-row": "5600"},
        ["5,800"],
        ["5,160", "4,200", "5,600"],
    ),
    "N18": (
        """
        stem: CREW TGT, CAB {target} left set in a climb. Where do the relief heads start to blow?
        draw: {target: {one-of: [3700 ft]}}
        answer: relief_altitude(target)
        unit: ft
        within: 300 ft
        round: nearest 500 ft
        traps:
          - {id: control, value: "highest_altitude(target, diff_control_limit)", belief: used the control limit}
          - {id: full-open, value: "highest_altitude(target, relief_full_open_diff)", belief: used full open}
        """,
        "32254",
        {"control": "31181", "full-open": "33372"},
        ["32,254", "32,500", "32,000", "FL323"],
        ["31,200", "33,400"],
    ),
    "N19": (
        """
        stem: CPC FAIL at {level}, nobody acts. Cabin once settled?
        draw: {level: {one-of: [FL390]}}
        answer: valves_closed(level)
        unit: ft
        within: 150 ft
        round: nearest 100 ft
        traps:
          - {id: schedule, value: schedule(level), belief: stays on schedule}
          - {id: control, value: "cabin_altitude(level, diff_control_limit)", belief: used 8.7}
          - {id: warning, value: safety_altitudes_cab_alt_warn, belief: climbs to the warning}
        """,
        "6052",
        {"schedule": "6900", "control": "6506", "warning": "10000"},
        ["6,050", "6,100", "6,000"],
        ["6,500", "6,900", "10,000"],
    ),
    "N33": (
        """
        stem: "{pressure} in hPa?"
        draw: {pressure: {one-of: [8.7 psi]}}
        answer: pressure
        unit: hPa
        within: 1 %
        round: nearest 5 hPa
        traps:
          - {id: inhg, value: pressure/inHg*hPa, belief: used the factor of inHg}
          - {id: kpa, value: pressure/kPa*hPa, belief: gave kPa}
        """,
        "600",
        {"inhg": "17.71", "kpa": "59.98"},
        ["600", "600 hPa", "595", "8.7 psi"],
        ["60", "17.7"],
    ),
    "N40": (
        """
        stem: Elevation {elevation}, QNH {qnh}. Pressure altitude?
        draw: {elevation: {one-of: [412 ft]}, qnh: {one-of: [996 hPa]}}
        answer: elevation + 27.3*ft/hPa*(1013.25*hPa - qnh)
        unit: ft
        within: 40 ft
        round: nearest 50 ft
        traps:
          - {id: reversed, value: elevation - 27.3*ft/hPa*(1013.25*hPa - qnh), belief: sign reversed}
          - {id: one-foot, value: elevation + 1*ft/hPa*(1013.25*hPa - qnh), belief: one foot per hPa}
        """,
        "883",
        {"reversed": "-58.93", "one-foot": "429"},
        ["883", "900", "880"],
        ["-60", "430"],
    ),
}


def _half_digit(printed):
    return 0.5 * 10.0 ** -(len(printed.partition(".")[2]))


@pytest.fixture(scope="module")
def issued():
    """One question of each family."""
    found = {}
    for family, (text, *_) in FAMILIES.items():
        general = family in ("N33", "N40")
        body = number_text(text, concept="G-ISA" if general else "P-DIFF", handbook=None if general else "21-10")
        bank = check("", body) if general else check(body)
        found[family] = issue(compiled(bank), random.Random(1))
    return found


@pytest.mark.parametrize("family", FAMILIES)
def test_family_sample_is_reproduced_to_its_printed_digits(issued, family):
    """Key and misconceptions come out as the domain paper prints them."""
    _, key, traps, _, _ = FAMILIES[family]
    record = issued[family].record

    assert from_si(record["key"], record["unit"]) == pytest.approx(float(key), abs=_half_digit(key), rel=0)
    values = {trap["id"]: from_si(trap["value"], record["unit"]) for trap in record["traps"]}
    assert set(values) == set(traps)
    for trap, printed in traps.items():
        assert values[trap] == pytest.approx(float(printed), abs=_half_digit(printed), rel=0), trap


@pytest.mark.parametrize("family", FAMILIES)
def test_family_accepts_cockpit_answers_and_no_others(issued, family):
    """Inside the tolerance or rounded by the cockpit rule is full; a misconception or a far value is not."""
    _, _, _, accepted, refused = FAMILIES[family]
    record = issued[family].record

    outcomes = {text: grade(record, read_response(record, {"text": text})).outcome for text in accepted + refused}

    assert {text for text, outcome in outcomes.items() if outcome == "full"} == set(accepted)


def test_family_misconception_is_named(issued):
    """The first trap that fits is stored with its belief, for the class report."""
    record = issued["N19"].record

    graded = grade(record, read_response(record, {"text": "6,500"}))

    assert (graded.outcome, graded.credit, graded.trap, graded.belief) == ("miss", 0.0, "control", "used 8.7")

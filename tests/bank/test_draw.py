"""Draws: their forms, what each shows, what is refused, and the bounded number of tries."""

import random

import pytest

from quizsvc.bank.draw import DrawError
from quizsvc.bank.question import compile_item, issue, try_draw
from quizsvc.physics.units import from_si
from tests.bank.bank_texts import SHIPPED_AIRCRAFT, check, compiled, number_text

NUMBER = """
stem: "{stem}"
draw: {{{draw}}}
refuse: [{refuse}]
answer: {answer}
unit: {unit}
within: {within}
"""


def item(draw, stem="Now?", answer="level", unit="ft", within="exact", refuse="", **files):
    text = NUMBER.format(stem=stem, draw=draw, answer=answer, unit=unit, within=within, refuse=refuse)
    return compiled(check(number_text(text), **files))


def drawn(compiled_item, name, count=300):
    rng = random.Random(4)
    return {issue(compiled_item, rng).drawn[name]["shown"] for _ in range(count)}


class TestForms:
    """Range, one of, some of, and the aircraft's airfields."""

    def test_range_takes_both_ends_in_the_unit_it_is_written_in(self):
        """FL180 to FL210 by 1,000 ft: four levels, shown as levels."""
        assert drawn(item("level: {from: FL180, to: FL210, step: 1000 ft}"), "level") == {
            "FL180", "FL190", "FL200", "FL210",
        }  # fmt: skip

    def test_range_shows_as_many_decimals_as_are_written(self):
        """0.1 psi steps have no 8.200000001."""
        shown = drawn(item("d: {from: 8 psi, to: 8.5 psi, step: 0.1 psi}", answer="d", unit="psi"), "d")

        assert shown == {"8.0 psi", "8.1 psi", "8.2 psi", "8.3 psi", "8.4 psi", "8.5 psi"}

    @pytest.mark.parametrize(("first", "last", "count"), [("0.1", "0.7", 7), ("3.0", "8.7", 58), ("8.0", "8.3", 4)])
    def test_range_keeps_its_last_value_whatever_floats_lose(self, first, last, count):
        """(0.7 - 0.1)/0.1 is 5.999999999999999 in floats; seven values all the same."""
        draws = item(f"d: {{from: {first} psi, to: {last} psi, step: 0.1 psi}}", answer="d", unit="psi").draws
        shown = [entry["d"]["shown"] for entry in draws.all(100)]

        assert (len(shown), shown[0], shown[-1]) == (count, f"{first} psi", f"{last} psi")

    def test_range_values_are_the_same_floats_as_formulas_write(self):
        """A drawn FL200 is 20,000*ft, so that a switch point is met exactly."""
        compiled_item = item("level: {from: 500 ft, to: 39000 ft, step: 500 ft}")
        values = {entry["level"]["si"] for entry in compiled_item.draws.all(100)}

        assert values == {count * 500 * 0.3048 for count in range(1, 79)}

    def test_negative_range(self):
        """Elevations below sea level; the minus is a hyphen."""
        assert drawn(item("level: {from: -100 ft, to: 100 ft, step: 100 ft}"), "level") == {"-100 ft", "0 ft", "100 ft"}

    def test_one_of_quantities_shows_what_was_written(self):
        """Thousands get their comma."""
        assert drawn(item("level: {one-of: [412 ft, 2237 ft, -168 ft]}"), "level") == {"412 ft", "2,237 ft", "-168 ft"}

    def test_one_of_words_is_text(self):
        """Words can be shown and not computed with."""
        compiled_item = item("who: {one-of: [left, right]}, level: {one-of: [100 ft]}", stem="The {who} one?")

        assert drawn(compiled_item, "who") == {"left", "right"}
        assert "si" not in issue(compiled_item, random.Random(1)).drawn["who"]

    def test_airfields_give_name_id_role_and_elevation(self):
        """A record gives every word of it (Karsk Shelf is XQKS at 7,215 ft in the aircraft file)."""
        compiled_item = item(
            "field: {one-of: airfields}", answer="field_elevation", stem="At {field}, {field_elevation}?"
        )
        rng = random.Random(4)
        by_name = {
            question.drawn["field"]["shown"]: question.drawn
            for question in (issue(compiled_item, rng) for _ in range(200))
        }

        assert len(by_name) == 8
        karsk = by_name["Karsk Shelf"]
        assert (karsk["field_id"]["shown"], karsk["field_elevation"]["shown"]) == ("XQKS", "7,215 ft")
        assert from_si(karsk["field_elevation"]["si"], "ft") == pytest.approx(7215)

    def test_failures_give_title_id_and_consequence(self):
        """The handbook's 18 failures: a title for the stem, the consequence for the reason."""
        compiled_item = item(
            "failure: {one-of: failures}, level: {one-of: [1 ft]}", stem="Suppose {failure}?", aircraft=SHIPPED_AIRCRAFT
        )
        entries = list(compiled_item.draws.all(100))

        assert len(entries) == 18
        assert entries[4]["failure"] == {"shown": "left generator fails"}
        assert entries[4]["failure_id"] == {"shown": "F05"}
        assert entries[4]["failure_consequence"]["shown"].endswith("96 A is shed; pressurisation unaffected.")

    def test_ids_of_a_list_give_those_entries(self):
        """`[F05, F07]` is two of the failures, `[XQSO]` one of the airfields; other words stay words."""
        two = item(
            "failure: {one-of: [F07, F05]}, level: {one-of: [1 ft]}",
            stem="Suppose {failure}?",
            aircraft=SHIPPED_AIRCRAFT,
        )
        one = item("field: {one-of: [XQSO]}", answer="field_elevation", stem="At {field}?")
        words = item(
            "code: {one-of: [F05, F99]}, level: {one-of: [1 ft]}", stem="Code {code}?", aircraft=SHIPPED_AIRCRAFT
        )

        assert drawn(two, "failure") == {"both generators fail, BATT ON", "left generator fails"}
        assert drawn(one, "field") == {"Sant Orrin"}
        assert drawn(words, "code") == {"F05", "F99"}

    def test_airfield_elevation_alone(self):
        """`airfields.elevation` draws the number."""
        shown = drawn(item("elev: {one-of: airfields.elevation}", answer="elev"), "elev")

        assert {"412 ft", "-168 ft", "10,641 ft"} <= shown
        assert len(shown) == 8

    def test_some_of_words_keeps_the_order_of_the_list(self):
        """Two of three, joined."""
        shown = drawn(
            item("off: {some-of: [COM 1, PITOT, GEAR], count: 2}, level: {one-of: [1 ft]}", stem="{off} off?"), "off"
        )

        assert shown == {"COM 1 and PITOT", "COM 1 and GEAR", "PITOT and GEAR"}

    def test_some_of_quantities_gives_their_total(self):
        """`off_total` is the sum."""
        compiled_item = item(
            "off: {some-of: [2.5 A, 5.5 A, 1 A], count: 2}", answer="off_total", unit="A", within="1 A"
        )
        totals = {round(issue(compiled_item, random.Random(n)).record["key"], 9) for n in range(40)}

        assert totals == {8.0, 3.5, 6.5}

    def test_loads_by_id_give_their_amps_and_total(self):
        """`[COM_1, PITOT_L]`: the names, and 2.5 + 5.5 A (bus card of the domain paper on the aircraft)."""
        compiled_item = item(
            "off: {some-of: [COM_1, PITOT_L], count: 2}", stem="{off} off?", answer="off_amps_total", unit="A",
            within="1 A", aircraft=SHIPPED_AIRCRAFT,
        )  # fmt: skip
        issued = issue(compiled_item, random.Random(1))

        assert issued.record["key"] == pytest.approx(8.0)
        assert issued.drawn["off"] == {"shown": "COM 1 and left pitot heat"}
        assert issued.drawn["off_amps_total"]["shown"] == "8.0 A"

    def test_loads_of_some_buses(self):
        """`where: {bus: [HOT]}` leaves the three loads of the HOT bus that draw current."""
        some = item(
            "off: {some-of: loads, where: {bus: [HOT]}, count: 1}", stem="{off} off?", answer="off_amps_total",
            unit="A", within="0.01 A", aircraft=SHIPPED_AIRCRAFT,
        )  # fmt: skip
        one = item(
            "off: {one-of: loads, where: {bus: [HOT, L_MAIN]}}", stem="{off} ({off_bus}) off?", answer="off_amps",
            unit="A", within="0.01 A", aircraft=SHIPPED_AIRCRAFT,
        )  # fmt: skip
        alone = item(
            "amps: {one-of: loads.amps, where: {bus: [HOT]}}", answer="amps", unit="A", within="0.01 A",
            aircraft=SHIPPED_AIRCRAFT,
        )  # fmt: skip

        assert drawn(some, "off") == {"standby attitude and altimeter", "clock", "entry light"}
        assert drawn(one, "off_bus") == {"HOT", "L_MAIN"}
        assert "60.0 A" in drawn(one, "off_amps")
        assert drawn(alone, "amps") == {"0.5 A", "0.1 A", "0.2 A"}


class TestRefusals:
    """Draws that may not be asked are drawn again."""

    def test_draw_for_which_a_refuse_formula_is_true_is_never_asked(self):
        """Every draw that is left obeys."""
        compiled_item = item("level: {from: FL180, to: FL250, step: 1000 ft}", refuse='"level < 23000*ft"')

        assert drawn(compiled_item, "level") == {"FL230", "FL240", "FL250"}

    def test_draw_whose_refuse_formula_has_no_value_is_never_asked(self):
        """A cabin below the atmosphere is no cabin: no need to write a second formula."""
        compiled_item = item(
            "level: {from: FL020, to: FL250, step: 1000 ft}, d: {one-of: [8.7 psi]}",
            refuse='"cabin_altitude(level, d) > 8000*ft"', answer="cabin_altitude(level, d)", within="150 ft",
        )  # fmt: skip
        rng = random.Random(6)

        keys = [from_si(issue(compiled_item, rng).record["key"], "ft") for _ in range(100)]

        assert min(keys) >= -2000

    @pytest.mark.parametrize(("distance", "asked"), [(99, False), (100, False), (101, True)])
    def test_trap_within_two_tolerances_refuses_the_draw(self, distance, asked):
        """Two tolerances of 50 ft are 100 ft (design.md section 4)."""
        text = f"""
        stem: Now?
        draw: {{level: {{one-of: [10000 ft, 20000 ft]}}}}
        answer: level
        unit: ft
        within: 50 ft
        traps:
          - {{id: near, value: "level + {distance}*ft if level < 15000*ft else level + 5000*ft", belief: b}}
        """
        tried = try_draw(compiled(check(number_text(text))), {"level": {"shown": "10,000 ft", "si": 3048.0}})

        assert (tried.refusal is None) is asked

    def test_trap_that_rounds_like_the_key_refuses_the_draw(self):
        """33,236 and 33,900 are far apart, and both are 33,000 in the cockpit."""
        text = """
        stem: Now?
        draw: {level: {one-of: [33236 ft, 20000 ft]}}
        answer: level
        unit: ft
        within: 100 ft
        round: down 1000 ft
        traps: [{id: alike, value: "33900*ft if level > 30000*ft else 90000*ft", belief: b}]
        """
        compiled_item = compiled(check(number_text(text)))

        assert drawn(compiled_item, "level", 40) == {"20,000 ft"}

    def test_trap_exists_only_when_its_condition_is_true(self):
        """`when` keeps a trap out of the draws where the belief gives the right number."""
        text = """
        stem: LDG for {elev}?
        draw: {elev: {one-of: [7265 ft, 7285 ft]}}
        answer: landing_setting(elev)
        unit: ft
        within: exact
        traps:
          - {id: up, value: "round_up(elev, 50*ft)", when: "round_up(elev, 50*ft) != landing_setting(elev)", belief: b}
        """
        compiled_item = compiled(check(number_text(text)))
        rng = random.Random(3)
        traps = {
            q.drawn["elev"]["shown"]: [t["id"] for t in q.record["traps"]]
            for q in (issue(compiled_item, rng) for _ in range(40))
        }

        assert traps == {"7,265 ft": ["up"], "7,285 ft": []}

    def test_impossible_item_ends_with_an_error_after_bounded_tries(self):
        """500 tries and a sentence, not a loop."""
        body = dict(item("level: {from: FL180, to: FL390, step: 1000 ft}").body, refuse=["level > 0*ft"])

        with pytest.raises(DrawError) as caught:
            issue(compile_item(body, None), random.Random(1))

        assert str(caught.value) == (
            "item 'sample': no draw in 500 tries could be asked, most often: refused - "
            "widen 'draw', or loosen 'refuse' or the traps"
        )

    def test_same_generator_state_draws_the_same_question(self):
        """Drawing takes chance from the generator alone."""
        compiled_item = item("level: {from: FL180, to: FL390, step: 1000 ft}")

        assert issue(compiled_item, random.Random(8)) == issue(compiled_item, random.Random(8))


@pytest.mark.parametrize(
    ("draw", "reference", "what"),
    [
        ("level: FL180", "bank-draw", "draw 'level' is no map"),
        ("level: {}", "bank-draw", "draw 'level' has no form"),
        ("level: {from: FL180, to: FL390}", "bank-word-missing", "draw 'level' without 'step'"),
        ("level: {from: FL180, to: FL390, step: 0 ft}", "bank-draw-step", "step of 'level' is not above 0"),
        ("level: {from: FL390, to: FL180, step: 1000 ft}", "bank-draw-empty", "'to' of 'level' is below 'from'"),
        ("level: {from: 0 ft, to: 60000 ft, step: 0.1 ft}", "bank-draw-step", "'level' has more than 100,000 values"),
        ("level: {from: 8.0 psi, to: 9.0 ft, step: 1 psi}", "bank-draw-dimension",
         "'to' of 'level' is a length (ft), 'from' is a pressure"),
        ("level: {from: 8;5 psi, to: 9.0 psi, step: 1 psi}", "bank-quantity", "'8;5 psi' is not a quantity"),
        ("level: {from: 8.5 pssi, to: 9.0 psi, step: 1 psi}", "bank-unit-unknown", "'pssi' is not a unit"),
        ("level: {one-of: [412 ft, 8 psi]}", "bank-draw-dimension", "'level' lists a pressure beside a length"),
        ("level: {one-of: [412 ft, high]}", "bank-draw-mixed", "'level' mixes quantities and words ('high')"),
        ("level: {one-of: [412 ft, 412 ft]}", "bank-draw-twice", "'level' lists a value twice"),
        ("level: {one-of: runways}", "bank-draw-list", "'runways' is no list of the aircraft"),
        ("level: {one-of: airfields.length}", "bank-draw-list", "'length' is no number of airfields"),
        ("level: {some-of: [a, b], count: 3}", "bank-draw-count", "count 3 of a list of 2"),
        ("level: {some-of: airfields, count: 9}", "bank-draw-count", "count 9 of a list of 8"),
        ("level: {some-of: masks, count: 2}", "bank-draw-list", "'masks' is no list of the aircraft"),
        ("level: {one-of: airfields, where: [high]}", "bank-draw-where", "'where' is no map"),
        ("level: {one-of: airfields, where: {role: low}}", "bank-draw-where", "no entry of airfields has role low"),
        ("level: {one-of: airfields, where: {roof: high}}", "bank-draw-where", "no entry of airfields has roof high"),
        (
            "level: {one-of: airfields, where: {role: high, id: XQDQ}}",
            "bank-draw-where",
            "no entry of airfields has id XQDQ",
        ),
        ("level: {some-of: [a, b], count: few}", "bank-number", "'few' is not a whole number"),
        ("level: {from: FL180, to: FL390, step: 1000 ft, from-to: 3}", "bank-word-unknown",
         "unknown word 'from-to' of draw 'level'"),
        ("min: {one-of: [1 ft]}", "bank-name-taken", "'min' is a unit"),
        ("answer: {one-of: [1 ft]}", "bank-name-taken", "'answer' is the key"),
        ("schedule: {one-of: [1 ft]}", "bank-name-taken", "'schedule' is a function"),
        ("ceiling: {one-of: [1 ft]}", "bank-name-taken", "'ceiling' is a number of the aircraft"),
        ("Level: {one-of: [1 ft]}", "bank-name", "'Level' is no name for a draw"),
    ],
)  # fmt: skip
def test_faulty_draw_is_found(draw, reference, what):
    """Each with a place and a cure, and nothing else found because of it."""
    text = NUMBER.format(stem="Now?", draw=draw, answer="1*ft", unit="ft", within="exact", refuse="")

    (finding,) = check(number_text(text)).faults

    assert (finding.reference, finding.what) == (reference, what)
    assert finding.line == 8 and finding.item == "sample" and finding.mend


def test_range_that_misses_its_end_is_remarked():
    """FL180 to FL395 by 1,000 ft ends at FL390."""
    draw = "level: {from: FL180, to: FL395, step: 1000 ft}"
    text = NUMBER.format(stem="Above {level}?", draw=draw, answer="level", unit="ft", within="exact", refuse="")
    bank = check(number_text(text))

    assert [finding.reference for finding in bank.remarks if finding.item] == ["bank-draw-end"]

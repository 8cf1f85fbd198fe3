"""Grading: the rules of design.md section 4 on the examples of the domain papers."""

import functools
import json
import random

import pytest

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import issue, present
from quizsvc.bank.working import Rounding
from quizsvc.errors import InputError
from quizsvc.physics.units import to_si
from tests.bank.bank_texts import check, compiled, number_text


@functools.cache
def item_of(text):
    return compiled(check(text))


def question(text):
    return issue(item_of(number_text(text)), random.Random(5))


def graded(record, text):
    return grade(record, read_response(record, {"text": text}))


# Item S10 of the domain paper on items: key 1,252 psi within 25, plan 1,300; traps 1,102, 472, 786.
OXYGEN = """
stem: 2 crew, {pax} passengers. Least bottle pressure?
draw: {pax: {one-of: [4]}}
let:
  unusable: 150*psi
  need: pax*3.2*L/min*(10*min) + 2*5.8*L/min*(10*min) + 2*11.8*L/min*(25*min)
answer: unusable + need/(1400*L)*1850*psi
unit: psi
within: 25 psi
round: up 50 psi
traps:
  - {id: unusable, value: need/(1400*L)*1850*psi, belief: forgot the unusable}
  - {id: legal, value: unusable + (need - 2*11.8*L/min*(25*min))/(1400*L)*1850*psi, belief: ten minutes only}
  - id: one-mask
    belief: one crew mask
    value: unusable + (need - 2*5.8*L/min*(10*min) - 11.8*L/min*(25*min))/(1400*L)*1850*psi
"""

# N15 at Sant Orrin from a 6,900 ft cabin: 1,636 fpm within 20, down to the nearest 50; traps 1,678 and 3,809.
STEEPEST = """
stem: Sant Orrin, cabin {cabin}. Steepest average descent below the gate?
draw: {cabin: {one-of: [6900 ft]}}
let: {target: landing_target(10641*ft), minutes: "climb_time(cabin, landing_target(10641*ft))"}
answer: (high_field_gate_aircraft_below - target)/minutes
unit: fpm
within: 20 fpm
round: down 50 fpm
traps:
  - {id: field, value: (high_field_gate_aircraft_below - 10641*ft)/minutes, belief: down to the field}
  - {id: cruise, value: (39000*ft - target)/minutes, belief: from cruise level}
"""

N03 = """
stem: Cabin {cabin}. Highest level?
draw: {cabin: {one-of: [4500 ft]}}
answer: highest_altitude(cabin, diff_control_limit)
unit: ft
within: 300 ft
round: down 1000 ft
traps:
  - {id: relief, value: "highest_altitude(cabin, relief_crack_diff)", belief: used the relief}
"""


class TestNumber:
    """Full, then the traps in their order, then half."""

    def test_answer_rounded_up_by_the_cockpit_rule_is_full_without_a_remark(self):
        """S10: 1,300 psi is the plan, although 48 psi from the key (domain paper on items)."""
        record = question(OXYGEN).record

        assert (graded(record, "1,300").outcome, graded(record, "1,300").remark) == ("full", None)
        assert (graded(record, "1,252").outcome, graded(record, "1,252").remark) == ("full", None)

    def test_answer_rounded_the_unsafe_way_is_full_with_a_remark(self):
        """S10: 1,250 is full with the remark "round up" (domain paper on items)."""
        result = graded(question(OXYGEN).record, "1,250")

        assert (result.outcome, result.credit) == ("full", 1.0)
        assert result.remark == "Within the tolerance, but round up here: 1,300 psi."

    @pytest.mark.parametrize(("typed", "trap"), [("1,102", "unusable"), ("472", "legal"), ("1,100", "unusable")])
    def test_misconception_gets_no_credit_and_its_name(self, typed, trap):
        """S10: 1,102 forgot the unusable, 472 is the legal minimum; 1,100 is within a tolerance of the first."""
        result = graded(question(OXYGEN).record, typed)

        assert (result.outcome, result.credit, result.trap) == ("miss", 0.0, trap)

    def test_half_credit_reaches_to_twice_the_tolerance(self):
        """S10: the key is 1,252.07 by hand; 25 is full, 50 is half, beyond is a miss; 1,202 rounds to no trap."""
        record = question(OXYGEN).record

        outcomes = [graded(record, text).outcome for text in ("1277", "1278", "1302", "1303", "1203", "1202")]

        assert outcomes == ["full", "part", "part", "miss", "part", "miss"]
        assert graded(record, "1280").credit == 0.5

    def test_directed_rounding_outside_the_tolerance_is_full(self):
        """N03: 33,236 accepts 33,000; N15: 1,636 accepts 1,600 (domain paper on families)."""
        assert graded(question(N03).record, "33,000").outcome == "full"
        assert graded(question(STEEPEST).record, "1,600").outcome == "full"
        assert graded(question(STEEPEST).record, "1,610").outcome == "part"

    def test_rounding_up_where_down_is_safe_gets_the_remark(self):
        """N15: 1,650 is within 20 of 1,636, but steeper than the cabin can follow."""
        result = graded(question(STEEPEST).record, "1,650")

        assert (result.outcome, result.remark) == ("full", "Within the tolerance, but round down here: 1,600 fpm.")

    def test_sample_of_n15_is_reproduced(self):
        """N15: 1,636; 1,678 down to the field; 3,809 from cruise level (domain paper on families)."""
        record = question(STEEPEST).record

        assert record["key"] / to_si(1, "fpm") == pytest.approx(1636, abs=0.5)
        assert [trap["value"] / to_si(1, "fpm") for trap in record["traps"]] == pytest.approx([1678, 3809], abs=0.5)

    def test_trap_is_judged_before_half_credit(self):
        """A value inside twice the tolerance of the key and inside one of a trap is the trap's."""
        record = dict(question(N03).record, rounded=None)
        key = record["key"]
        record["traps"] = [{"id": "near", "value": key + 2.5 * record["within"], "rounded": None, "belief": "b"}]

        result = grade(record, {"typed": "x", "unit": "ft", "si": key + 1.9 * record["within"]})

        assert (result.outcome, result.trap) == ("miss", "near")

    def test_trap_rounded_by_the_cockpit_rule_is_the_trap(self):
        """N03: the relief trap is 34,398; 34,000 is it rounded down, and far outside its 300 ft."""
        result = graded(question(N03).record, "34,000")

        assert (result.outcome, result.trap) == ("miss", "relief")

    def test_tolerance_in_percent_is_of_the_magnitude_of_the_key(self):
        """Two per cent of -1,000 ft are 20 ft, whatever the sign."""
        record = question(
            """
            stem: From {x}?
            draw: {x: {one-of: [-1000 ft]}}
            answer: x
            unit: ft
            within: 2 %
            """
        ).record

        assert [graded(record, text).outcome for text in ("-1,020", "-980", "-1,021", "-1,041")] == [
            "full", "full", "part", "miss",
        ]  # fmt: skip

    def test_first_matching_trap_decides(self):
        """Traps are judged in the order of the text."""
        record = dict(question(N03).record)
        value = record["key"] + 10 * record["within"]
        record["traps"] = [
            {"id": name, "value": value, "rounded": None, "belief": name} for name in ("first", "second")
        ]

        assert grade(record, {"typed": "x", "unit": "ft", "si": value}).trap == "first"

    def test_edge_of_the_tolerance_is_inside(self):
        """33,236.0 +/- 300 exactly."""
        record = question(N03).record

        for sign in (1, -1):
            at_edge = {"typed": "x", "unit": "ft", "si": record["key"] + sign * record["within"]}
            assert grade(record, at_edge).outcome == "full"

    def test_read_back_says_how_the_number_was_read(self):
        """What was read is shown, in the unit that was typed."""
        record = question(N03).record

        assert graded(record, "33 000").read_back == "33,000 ft"
        assert graded(record, "FL330").read_back == "FL330"
        assert graded(record, "10,1 km").read_back == "10.1 km"

    def test_comma_before_three_digits_is_a_decimal_comma_only_where_answers_stay_below_100(self):
        """A differential stays below 100 psi, an altitude does not."""
        differential = question(
            """
            stem: Level {level}. Differential at {cabin}?
            draw: {level: {one-of: [FL370]}, cabin: {one-of: [6200 ft]}}
            answer: differential(level, cabin)
            unit: psi
            within: 0.1 psi
            """
        ).record

        assert differential["answers_below_100"]
        assert graded(differential, "8,550").outcome == "full"
        assert not question(N03).record["answers_below_100"]
        assert graded(question(N03).record, "33,200").outcome == "full"

    @pytest.mark.parametrize(
        "typed", ["", "  ", "about 500", "33 minutes", "8.7 psi", "1e5", "\u0663\u0663", "x" * 61, "9" * 59]
    )
    def test_what_cannot_be_read_is_no_answer(self, typed):
        """Nothing is graded; the sentence says what to do."""
        with pytest.raises(InputError) as caught:
            read_response(question(N03).record, {"text": typed})

        assert caught.value.reference == "response-unreadable"
        assert caught.value.what[0].isupper() or caught.value.what[0] == "'"
        assert caught.value.what.endswith(".") and caught.value.mend.endswith(".")

    @pytest.mark.parametrize("raw", [{}, {"text": None}, {"text": 33000}, {"option": "a"}, [], "33000", None])
    def test_response_of_another_shape_is_no_answer(self, raw):
        """The client's JSON may hold anything."""
        with pytest.raises(InputError):
            read_response(question(N03).record, raw)

    def test_pass_is_no_miss(self):
        """Left unanswered on purpose."""
        record = question(N03).record

        result = grade(record, read_response(record, {"pass": True}))

        assert (result.outcome, result.credit, result.trap) == ("pass", 0.0, None)


ONE = """\
- item: gate
  kind: one
  concept: P-LDG
  demand: application
  handbook: 21-10
  stem: At {level}, when does CABIN ALT sound?
  draw: {level: {from: FL250, to: FL390, step: 1000 ft}}
  options:
    - {id: ten, text: "10,000 ft cabin", key: true}
    - {id: shifted, text: "13,400 ft cabin", belief: the setting alone moves it}
    - {id: never, text: not before the masks, belief: no warning}
  why: At {level} it stands at 10,000 ft.
  author: first author
  status: draft
"""

# Item S02 of the domain paper on items: three keys, two others.
SOME = """\
- item: lost
  kind: some
  concept: P-LDG
  demand: understanding
  handbook: 21-10
  stem: Both air data sources are invalid. What is gone?
  options:
    - {id: limit, text: control limit, key: true}
    - {id: return, text: return to field, key: true}
    - {id: shift, text: warning shift, key: true}
    - {id: rates, text: cabin rate limits, belief: no air data no controller}
    - {id: relief, text: relief heads, belief: everything is gone}
  why: Whatever needs outside pressure is lost.
  author: first author
  status: draft
"""


class TestChoices:
    """`one` is all or nothing; `some` judges option by option."""

    def test_one_key_is_full_and_another_option_names_its_belief(self):
        """The chosen option's belief is what is stored."""
        record = issue(item_of(ONE), random.Random(1)).record

        right = grade(record, read_response(record, {"option": "ten"}))
        wrong = grade(record, read_response(record, {"option": "shifted"}))

        assert (right.outcome, right.credit, right.trap) == ("full", 1.0, None)
        assert (wrong.outcome, wrong.credit, wrong.trap) == ("miss", 0.0, "shifted")
        assert wrong.belief == "the setting alone moves it"
        assert {(mark.id, mark.picked, mark.key) for mark in wrong.marks} == {
            ("ten", False, True), ("shifted", True, False), ("never", False, False),
        }  # fmt: skip

    @pytest.mark.parametrize(
        ("picked", "outcome", "credit"),
        [
            (["limit", "return", "shift"], "full", 1.0),
            (["limit", "return"], "part", 2 / 3),
            (["limit", "return", "shift", "rates"], "part", 2 / 3),
            (["limit", "rates"], "miss", 0.0),
            (["limit", "return", "shift", "rates", "relief"], "part", 1 / 3),
            (["rates", "relief"], "miss", 0.0),
            ([], "miss", 0.0),
        ],
    )
    def test_some_is_hits_less_false_picks_over_keys(self, picked, outcome, credit):
        """(hits - false picks)/keys, floor 0; full only if exact (domain paper on items; worked by hand)."""
        record = issue(item_of(SOME), random.Random(1)).record

        result = grade(record, read_response(record, {"options": picked}))

        assert (result.outcome, result.credit) == (outcome, pytest.approx(credit))

    @pytest.mark.parametrize(
        "raw", [{}, {"option": ""}, {"option": "other"}, {"option": ["ten"]}, {"options": ["ten"]}]
    )
    def test_one_without_a_known_option_is_no_answer(self, raw):
        """Nothing chosen, or something that is not there."""
        record = issue(item_of(ONE), random.Random(1)).record

        with pytest.raises(InputError, match="option"):
            read_response(record, raw)

    @pytest.mark.parametrize(
        "raw", [{}, {"options": None}, {"options": "limit"}, {"options": ["other"]}, {"options": [1]}]
    )
    def test_some_needs_an_explicit_list(self, raw):
        """An empty list counts only where it was sent."""
        record = issue(item_of(SOME), random.Random(1)).record

        with pytest.raises(InputError, match="option"):
            read_response(record, raw)

    def test_some_picked_twice_counts_once(self):
        """A doubled id is no second hit."""
        record = issue(item_of(SOME), random.Random(1)).record

        assert read_response(record, {"options": ["limit", "limit"]}) == {"options": ["limit"]}


class TestWorked:
    """The solution holds this person's numbers."""

    def test_worked_solution_of_a_number(self):
        """Key, what was accepted, the working line by line (numbers by hand from S10)."""
        solution = worked(question(OXYGEN).record)

        assert solution.key_shown == "1,252 psi"
        assert solution.accepted_shown == "1,227 psi to 1,277 psi, or 1,300 psi as in the cockpit"
        assert solution.why == "It is 1,252 psi."
        assert solution.lines == (
            "unusable = 150 psi",
            "need = 4 \u00d7 3.2 L/min \u00d7 (10 min) + 2 \u00d7 5.8 L/min \u00d7 (10 min)"
            " + 2 \u00d7 11.8 L/min \u00d7 (25 min) = 834 L",
            "answer = 150 psi + 834 L/(1400 L) \u00d7 1850 psi = 1,252 psi",
        )  # fmt: skip

    def test_working_leaves_out_what_serves_only_traps(self):
        """A let of a trap or a refusal is no step of the answer; an answer that is a let is not written twice."""
        record = question(
            """
            stem: Elevation {elevation}. LDG?
            draw: {elevation: {one-of: [7265 ft]}}
            let: {setting: landing_setting(elevation), wrong: "round_up(elevation, 50*ft)"}
            answer: setting
            unit: ft
            within: exact
            traps: [{id: up, value: wrong, belief: rounded up}]
            """
        ).record

        assert record["lines"] == ["setting = landing setting(7,265 ft) = 7,250 ft", "answer = 7,250 ft"]

    @pytest.mark.parametrize(
        ("within", "shown"),
        [("0.05", "2.14"), ("0.1", "2.14"), ("0.3", "2.14"), ("0.01", "2.138"), ("1", "2"), ("2 %", "2.14")],
    )
    def test_key_is_shown_finer_than_its_tolerance(self, within, shown):
        """N34 prints 2.14 for a tolerance of 0.05, N06 two decimals for 0.3 (domain paper on families)."""
        record = question(
            f"""
            stem: From {{x}}?
            draw: {{x: {{one-of: [2.138]}}}}
            answer: x
            within: {within}
            """
        ).record

        assert worked(record).key_shown == shown

    def test_temperature_is_judged_by_differences(self):
        """ISA at FL300 is -44.4 C (15 - 1.9812 x 30, by hand); 2 C either way, rounded to the degree."""
        record = question(
            """
            stem: Standard temperature at {level}?
            draw: {level: {one-of: [FL300]}}
            answer: isa_temperature(level)
            unit: C
            within: 2 C
            round: nearest 1 C
            """
        ).record

        outcomes = {
            text: graded(record, text).outcome for text in ("-44", "-46.4", "-46.5", "-48.5", "-48", "229 K", "44")
        }
        assert outcomes == {
            "-44": "full", "-46.4": "full", "-46.5": "part", "-48": "part", "-48.5": "miss", "229 K": "full",
            "44": "miss",
        }  # fmt: skip
        assert worked(record).accepted_shown == "-46 C to -42 C, or -44 C as in the cockpit"

    def test_worked_solution_of_a_choice(self):
        """The key's text, and the drawn level in the reason."""
        issued = issue(item_of(ONE), random.Random(1))

        solution = worked(issued.record)

        assert solution.key_shown == "10,000 ft cabin"
        assert solution.why == f"At {issued.drawn['level']['shown']} it stands at 10,000 ft."

    def test_exact_answer_says_so(self):
        """No band is shown where there is none."""
        record = question(
            """
            stem: Elevation {elevation}. LDG?
            draw: {elevation: {one-of: [7265 ft]}}
            answer: landing_setting(elevation)
            unit: ft
            within: exact
            """
        ).record

        assert worked(record).accepted_shown == "exactly 7,250 ft"


class TestQuestion:
    """What is stored and what is shown."""

    def test_record_and_draw_survive_json(self):
        """Everything that is stored is JSON, and grading needs only the record."""
        issued = question(N03)

        record = json.loads(json.dumps(issued.record))

        assert record == issued.record
        assert json.loads(json.dumps(issued.drawn)) == issued.drawn
        assert grade(record, json.loads(json.dumps(read_response(record, {"text": "33,000"})))).outcome == "full"

    def test_present_shows_the_stored_draw_and_order_and_nothing_of_the_key(self):
        """The same draw gives the same text, whatever the generator does now."""
        item = item_of(ONE)
        issued = issue(item, random.Random(9))

        shown = present(item, json.loads(json.dumps(issued.drawn)), issued.order)

        assert shown.stem == f"At {issued.drawn['level']['shown']}, when does CABIN ALT sound?"
        assert [option.id for option in shown.options] == issued.order
        assert (shown.unit, shown.how, shown.pressure_card, shown.cautions) == (None, None, False, ("C2",))
        assert "true" not in repr(shown) and "belief" not in repr(shown)

    def test_table_items_show_the_pressure_card_and_its_caution(self):
        """C10 is owed by the card."""
        item = item_of(number_text(N03, how="table"))
        issued = issue(item, random.Random(9))

        shown = present(item, issued.drawn, issued.order)

        assert (shown.pressure_card, shown.unit, shown.how, shown.cautions) == (True, "ft", "table", ("C2", "C10"))

    def test_options_are_shuffled(self):
        """Every order comes up (6 orders, 200 draws: missing one has a chance of 1e-15)."""
        item, rng = item_of(ONE), random.Random(2)

        assert len({tuple(issue(item, rng).order) for _ in range(200)}) == 6


class TestRounding:
    """The cockpit rule works on the shown number, and keeps what stands on a step."""

    @pytest.mark.parametrize(
        ("direction", "step", "number", "rounded"),
        [
            ("down", 0.1, 0.7, 0.7), ("up", 0.1, 1.1000000000000003, 1.1), ("nearest", 50, 7274.9, 7250),
            ("nearest", 50, 7275, 7300), ("nearest", 50, -7275, -7300), ("nearest", 0.1, 0.45, 0.5),
            ("down", 1000, 33236, 33000), ("up", 50, 1251.8, 1300), ("down", 50, -10, -50), ("up", 50, -10, 0),
            ("nearest", 1, 0.4, 0),
        ],
    )  # fmt: skip
    def test_step(self, direction, step, number, rounded):
        """By hand; 0.7/0.1 is 6.999999999999999 in floats, and 0.7 stands on the step."""
        value = Rounding(direction, step).apply(to_si(number, "psi"), "psi")

        assert value == pytest.approx(to_si(rounded, "psi"), rel=1e-12, abs=1e-9)

"""Kind `gauge`: two readings at 0.4 of the credit, the judgement at 0.6; a reading that cannot be read refuses all.

The case is sample S06 of the item design: FL350, cabin 4,700 ft within 100, differential 8.9 psi within 0.1, held by
the relief heads.
"""

import random

import pytest

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import compile_item, issue, present, try_draw
from quizsvc.errors import InputError
from quizsvc.physics.units import from_si
from tests.bank.bank_texts import SHIPPED_AIRCRAFT, check, only_item

BOTH = "{cabin: {within: 100 ft}, differential: {within: 0.1 psi}}"
ITEM = """\
- item: sample
  kind: gauge
  concept: P-DIFF
  demand: application
  handbook: 21-10
  stem: Level FL350, AUTO. Read both pointers.
  picture: {gauge: {cabin: 4700 ft, differential: 8.9 psi}}
  readings: {cabin: {within: 100 ft}, differential: {within: 0.1 psi}}
  ask:
    stem: What holds the cabin?
    options:
      - {id: relief, text: the relief heads, key: true}
      - {id: schedule, text: the schedule, belief: lower is better}
      - {id: limit, text: the control limit, belief: any high differential}
  why: At 8.9 psi the relief heads crack.
  author: first author
  status: draft
"""


def text(*changes):
    """The sample with each old part, which stands in it once, replaced."""
    found = ITEM
    for old, new in changes:
        assert found.count(old) == 1, old
        found = found.replace(old, new)
    return found


def bank(*changes, **files):
    return check(text(*changes), **files)


def item(*changes, **files):
    checked = bank(*changes, **files)
    return compile_item(only_item(checked).body, checked.aircraft["tolquenny-19"])


def record(*changes, **files):
    return issue(item(*changes, **files), random.Random(3)).record


def graded(cabin="4,700", differential="8.9", option="relief", found=None):
    found = found or record()
    raw = {"readings": {"cabin": cabin, "differential": differential}, "option": option}
    return grade(found, read_response(found, raw))


class TestGrading:
    """Readings in equal shares of 0.4, judgement 0.6."""

    @pytest.mark.parametrize(
        ("cabin", "differential", "option", "outcome", "credit"),
        [
            ("4,700", "8.9", "relief", "full", 1.0),
            ("4,700", "8.9", "schedule", "part", 0.4),
            ("4,700", "8.5", "relief", "part", 0.8),
            ("5,600", "8.9", "relief", "part", 0.8),
            ("5,600", "8.5", "relief", "part", 0.6),
            ("4,700", "8.5", "limit", "part", 0.2),
            ("5,600", "8.5", "schedule", "miss", 0.0),
        ],
    )
    def test_shares(self, cabin, differential, option, outcome, credit):
        """Each combination, by hand."""
        found = graded(cabin, differential, option)

        assert found.outcome == outcome
        assert found.credit == pytest.approx(credit)

    @pytest.mark.parametrize(
        ("cabin", "right"), [("4,600", True), ("4,800", True), ("4,599", False), ("4,801", False), ("4700 ft", True)]
    )
    def test_edge_of_the_resolution_counts(self, cabin, right):
        """100 ft either way, the edge inside."""
        assert graded(cabin=cabin).rows[0].right is right

    @pytest.mark.parametrize(
        ("differential", "right"), [("8.8", True), ("9.0", True), ("8.79", False), ("9.01", False), ("8,9", True)]
    )
    def test_differential_edge(self, differential, right):
        """0.1 psi either way; a decimal comma is one here."""
        assert graded(differential=differential).rows[1].right is right

    @pytest.mark.parametrize("cabin", ["4.7", "4,7", "4700", "4 700", "1432.6 m", "4.7 thousand"])
    def test_the_scale_counts_in_thousands(self, cabin):
        """A bare 4.7 is what stands on the scale; metres are converted; another unit is refused."""
        if "thousand" in cabin:
            with pytest.raises(InputError):
                graded(cabin=cabin)
            return
        assert graded(cabin=cabin).rows[0].right
        assert graded(cabin=cabin).rows[0].given in ("4,700 ft",)

    def test_feet_that_are_typed_as_feet_stay_feet(self):
        """4.7 ft is read as four feet and more: wrong, and shown so."""
        row = graded(cabin="4.7 ft").rows[0]

        assert (row.right, row.given) == (False, "5 ft")

    def test_belief_of_the_option(self):
        """As in a single choice; none where it is right."""
        wrong, right = graded(option="schedule"), graded(cabin="9,000")

        assert (wrong.trap, wrong.belief) == ("schedule", "lower is better")
        assert (right.trap, right.belief) == (None, None)

    def test_what_was_read_is_shown_back(self):
        """Both, in the dial's units."""
        assert graded(cabin="4.7").read_back == "CABIN ALT 4,700 ft; DIFF 8.90 psi"

    def test_one_dial_alone_has_the_whole_share(self):
        """Only the differential is asked: right is 0.4."""
        found = record(
            ("{cabin: {within: 100 ft}, differential: {within: 0.1 psi}}", "{differential: {within: 0.1 psi}}")
        )
        raw = {"readings": {"differential": "8.9"}, "option": "limit"}

        assert grade(found, read_response(found, raw)).credit == pytest.approx(0.4)

    def test_pass(self):
        """No credit; keys of options and readings are told."""
        found = grade(record(), read_response(record(), {"pass": True}))

        assert (found.outcome, found.credit) == ("pass", 0.0)
        assert [row.key for row in found.rows] == ["4,700 ft", "8.90 psi"]
        assert {mark.id for mark in found.marks if mark.key} == {"relief"}


class TestResponse:
    """What is open or cannot be read is named; nothing is half accepted."""

    @pytest.mark.parametrize(
        ("raw", "sentence"),
        [
            ({}, "The CABIN ALT reading is open."),
            ({"readings": {"cabin": "4,700"}, "option": "relief"}, "The DIFF reading is open."),
            (
                {"readings": {"cabin": "  ", "differential": "8.9"}, "option": "relief"},
                "The CABIN ALT reading is open.",
            ),
            ({"readings": {"cabin": "4,700", "differential": "8.9"}}, "No option was chosen."),
            (
                {"readings": {"cabin": "4,700", "differential": "8.9"}, "option": "other"},
                "The chosen option is none of this question's.",
            ),
            (
                {"readings": {"cabin": 4700, "differential": "8.9"}, "option": "relief"},
                "The CABIN ALT reading is open.",
            ),
        ],
    )
    def test_unreadable(self, raw, sentence):
        """A sentence each."""
        with pytest.raises(InputError) as error:
            read_response(record(), raw)
        assert error.value.reference == "response-unreadable"
        assert error.value.what == sentence

    @pytest.mark.parametrize("typed", ["high", "8.9 ft", "8.9.1", "9" * 70])
    def test_a_reading_that_cannot_be_read_names_its_dial(self, typed):
        """Words, another dimension, two points, too many digits."""
        with pytest.raises(InputError) as error:
            graded(differential=typed)
        assert error.value.what.startswith("The DIFF reading ")
        assert error.value.mend

    def test_canonical(self):
        """What was typed, its value in SI, the option."""
        response = read_response(record(), {"readings": {"cabin": " 4.7 ", "differential": "8.9"}, "option": "relief"})

        assert response["readings"]["cabin"] == {"typed": "4.7", "si": pytest.approx(4700 * 0.3048)}
        assert response["option"] == "relief"


class TestPicture:
    """The instrument of the item's aircraft."""

    def test_shown_without_readings(self):
        """Pointers at 4.7 and 8.9, scale and bands of the file; the picture does not say what they read."""
        compiled = item()
        question = issue(compiled, random.Random(1))
        shown = present(compiled, question.drawn, question.order)

        assert [dial["value"] for dial in shown.picture["dials"]] == [4.7, 8.9]
        assert shown.picture["readings"] is False
        assert shown.picture["dials"][0]["bands"][0]["from"] == 10.0
        assert [(reading.label, reading.unit) for reading in shown.readings] == [("CABIN ALT", "ft"), ("DIFF", "psi")]
        assert shown.ask == "What holds the cabin?"
        assert {option.id for option in shown.options} == {"relief", "schedule", "limit"}

    def test_feedback_points_the_readings_out(self):
        """From the record alone."""
        found = worked(record())

        assert found.pictures[0]["readings"] is True
        assert found.key_shown == "CABIN ALT 4,700 ft; DIFF 8.90 psi; the relief heads"
        assert found.accepted_shown == "CABIN ALT within 100 ft, DIFF within 0.10 psi"

    def test_scale_follows_the_aircraft(self):
        """A school that changes its masks changes the red band."""
        other = SHIPPED_AIRCRAFT.replace(
            "{nominal_ft: 14300, tolerance_ft: 300}", "{nominal_ft: 14300, tolerance_ft: 250}"
        )
        compiled = item(aircraft=other)
        question = issue(compiled, random.Random(1))
        bands = present(compiled, question.drawn, question.order).picture["dials"][0]["bands"]

        assert bands[-1]["from"] == 14.05


class TestDrawnValues:
    """Formulas, lets and drawn names as values of the picture."""

    DRAWN = (
        ("  picture:", "  draw: {level: {from: FL300, to: FL390, step: 1000 ft}}\n  picture:"),
        ("cabin: 4700 ft", 'cabin: "cabin_altitude(level, relief_crack_diff)"'),
        ("differential: 8.9 psi}}", "differential: relief_crack_diff}}"),
        ("Level FL350", "Level {level}"),
    )

    def test_picture_and_key_follow_the_draw(self):
        """FL390 at 8.9 psi: 6,052 ft (handbook, section 21-10)."""
        compiled = item(*self.DRAWN)
        by_level = {}
        for seed in range(80):
            question = issue(compiled, random.Random(seed))
            shown = present(compiled, question.drawn, question.order)
            reading = question.record["readings"][0]
            assert shown.picture["dials"][0]["value"] == pytest.approx(from_si(reading["key"], "ft") / 1000)
            by_level[question.drawn["level"]["shown"]] = from_si(reading["key"], "ft")

        assert len(by_level) == 10
        assert by_level["FL390"] == pytest.approx(6052, abs=0.5)

    def test_a_draw_off_the_dial_is_refused(self):
        """20,000 ft of cabin altitude stand on no dial; the rest is asked."""
        compiled = item(
            ("  picture:", "  draw: {cabin: {one-of: [4000 ft, 20000 ft]}}\n  picture:"),
            ("cabin: 4700 ft", "cabin: cabin"),
        )
        refusals = [try_draw(compiled, drawn).refusal for drawn in compiled.draws.all(10)]

        assert refusals == [None, "20,000 ft is off the CABIN ALT dial, which runs from -2 to 16 x 1,000 ft"]

    def test_brace_in_the_second_question(self):
        """`ask` may use draws, and is checked like a stem."""
        compiled = item(*self.DRAWN, ("What holds the cabin?", "What holds the cabin at {level}?"))
        question = issue(compiled, random.Random(1))

        assert question.record["ask"] == f"What holds the cabin at {question.drawn['level']['shown']}?"
        found = [finding.what for finding in bank(("What holds the cabin?", "What at {level}?")).faults]
        assert len(found) == 1
        assert "level" in found[0]


class TestFaults:
    """What an author may get wrong."""

    @pytest.mark.parametrize(
        ("old", "new", "reference", "what"),
        [
            ("4700 ft", "17000 ft", "bank-no-draw", "17,000 ft is off the CABIN ALT dial"),
            ("8.9 psi}}", "11 psi}}", "bank-no-draw", "11.00 psi is off the DIFF dial"),
            ("4700 ft", "8.9 psi", "", "a pressure"),
            ("4700 ft", "level", "", "level"),
            ("within: 0.1 psi", "within: 100 ft", "bank-within", "'100 ft' is a length, the dial shows a pressure"),
            ("within: 100 ft", "within: 0 ft", "bank-within", "'0 ft' is not above 0"),
            ("cabin: {within: 100 ft}, ", "altitude: {within: 100 ft}, ", "bank-word-unknown", "'altitude'"),
            ("{cabin: {within: 100 ft}, differential: {within: 0.1 psi}}", "{}", "bank-gauge-readings", "no dial"),
            (", differential: 8.9 psi", "", "bank-word-missing", "gauge without 'differential'"),
            ("key: true", "belief: none", "bank-keys", "0 keys"),
            ("    stem: What holds the cabin?\n", "", "bank-word-missing", "ask without 'stem'"),
        ],
    )
    def test_one_fault(self, old, new, reference, what):
        """One planted fault, one finding about it."""
        found = bank((old, new)).faults

        assert len(found) == 1, found
        assert reference in found[0].reference
        assert what in found[0].what
        assert found[0].line > 1

    def test_too_fine_a_reading_is_remarked(self):
        """A quarter of the smallest mark (200 ft, 0.2 psi) can be told, no less."""
        found = [finding.reference for finding in bank(("within: 100 ft", "within: 20 ft")).remarks]

        assert "bank-gauge-fine" in found
        assert "bank-gauge-fine" not in [finding.reference for finding in bank().remarks]

    def test_an_aircraft_is_needed(self):
        """In `general` there is no instrument."""
        general = ITEM.replace("  concept: P-DIFF\n", "  concept: G-ISA\n").replace("  handbook: 21-10\n", "")
        found = check(general=general).faults

        assert [finding.reference for finding in found] == ["bank-no-aircraft"]


def test_an_aircraft_file_that_cannot_be_read_is_one_finding():
    """The item is not blamed for it."""
    broken = bank(aircraft=SHIPPED_AIRCRAFT.replace("ceiling_ft: 39000", "ceiling: 39000"))

    assert {finding.file for finding in broken.faults} == {"tolquenny-19/aircraft.yaml"}


def test_fit_for_a_short_set():
    """A gauge is quickly read (item design)."""
    assert only_item(bank()).ramp is True
    assert only_item(bank()).uses_aircraft is True


def test_a_draw_that_only_the_pointers_show_is_seen():
    """What the picture shows needs no brace in the stem; what nothing shows is remarked."""
    draws = ("  picture:", "  draw: {high: {from: 4000 ft, to: 5000 ft, step: 100 ft}}\n  picture:")
    shown = [finding.reference for finding in bank(draws, ("cabin: 4700 ft", "cabin: high")).remarks]
    unused = [finding.reference for finding in bank(draws).remarks]

    assert "bank-draw-unused" not in shown
    assert "bank-draw-unused" in unused


@pytest.mark.parametrize(
    ("change", "reference", "line"),
    [
        (("What holds the cabin?", "What does not hold the cabin?"), "style-negative", 10),
        (("What holds the cabin?", "word " * 60 + "what?"), "style-stem-long", 10),
        (
            ("the relief heads, key", "the relief heads which crack by a spring and need nothing, key"),
            "style-key-longest",
            12,
        ),
    ],
)
def test_the_second_question_gets_the_remarks_of_style_too(change, reference, line):
    """items.md: rules 6 and 10, and what makes a bad choice."""
    assert (reference, line) in [(finding.reference, finding.line) for finding in bank(change).remarks]
    assert reference not in [finding.reference for finding in bank().remarks]

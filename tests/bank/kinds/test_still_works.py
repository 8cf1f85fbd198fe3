"""Kind `still-works`: keys from the graph, hand-written keys held against it, and the grading of rows.

The state of F15 (left generator, tie open) is that of sample S08 of the item design: AUTO after AIR DATA to 2, CABIN
ALT, dump and the right shut-off work, speedbrakes and cabin digits are lost. Grading: rows weigh equally; works taken
for lost or lost for works on a grave row caps the credit at one half.
"""

import random
import re

import pytest

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import compile_item, issue, present, try_draw
from quizsvc.errors import InputError
from tests.bank.bank_texts import CONCEPTS, SHIPPED_AIRCRAFT, check, only_item

ROWS = "AUTO, CAB_ALT_WARN, DUMP, SPDBRK, CAB_DIGITS, R_BLEED_SHUT"
S08 = {
    "AUTO": "after AIR_DATA 2",
    "CAB_ALT_WARN": "works",
    "DUMP": "works",
    "SPDBRK": "lost",
    "CAB_DIGITS": "lost",
    "R_BLEED_SHUT": "works",
}
ITEM = """\
- item: sample
  kind: still-works
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: The left generator fails, the tie stays open. What is left?
  fail: [L_GEN, TIE]
  rows: [AUTO, CAB_ALT_WARN, DUMP, SPDBRK, CAB_DIGITS, R_BLEED_SHUT]
  why: L MAIN dies.
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
    return check(text(*changes), aircraft=SHIPPED_AIRCRAFT, **files)


def item(*changes, **files):
    checked = bank(*changes, **files)
    return compile_item(only_item(checked).body, checked.aircraft["tolquenny-19"])


def record(*changes, **files):
    return issue(item(*changes, **files), random.Random(3)).record


def graded(found, **answers):
    return grade(found, read_response(found, {"rows": S08 | answers}))


def fault(*changes, **files):
    """The one fault of a changed sample: reference, what, the line it stands on."""
    source = text(*changes)
    (finding,) = bank(*changes, **files).faults
    return finding.reference, finding.what, source.splitlines()[finding.line - 1].strip()


class TestKey:
    """The key of each row is the graph's."""

    def test_sample_of_the_item_design(self):
        """S08, with nothing written by hand."""
        found = record()

        assert {row["id"]: row["keys"] for row in found["rows"]} == {row: [key] for row, key in S08.items()}

    def test_rows_are_shuffled_and_named(self):
        """The order is stored; rows are shown by their names in the aircraft file, without a hint in brackets."""
        compiled = item()
        orders = {tuple(issue(compiled, random.Random(seed)).order) for seed in range(12)}
        question = issue(compiled, random.Random(1))
        shown = present(compiled, question.drawn, question.order)

        assert len(orders) > 6
        assert [row.id for row in shown.rows] == question.order
        assert {row.id: row.text for row in shown.rows}["SPDBRK"] == "speedbrakes"
        assert {row.id: row.text for row in shown.rows}["CAB_ALT_WARN"] == "CABIN ALT warning"

    def test_choices_are_the_actions_that_would_move_a_switch(self):
        """With AIR DATA at 1 and BATT ON: the other positions, in the crew's words; and those listed, if any are."""
        ids = [choice["id"] for choice in record()["choices"]]
        listed = [
            choice["text"] for choice in record(("  why:", "  actions: [AIR_DATA 2, PRESS MAN]\n  why:"))["choices"]
        ]

        assert ids[:3] == ["works", "lost", "after AIR_DATA 2"]
        assert "after AIR_DATA 1" not in ids
        assert "after BATT OFF" in ids
        assert listed == ["works", "lost", "works after AIR DATA to 2", "works after pressurisation to MAN"]

    def test_nothing_of_the_key_is_shown_before_the_answer(self):
        """No note, no state, no picture."""
        compiled = item()
        question = issue(compiled, random.Random(1))
        shown = repr(present(compiled, question.drawn, question.order))

        assert "failed" not in shown
        assert "L MAIN" not in shown

    def test_switches_change_the_key(self):
        """AIR DATA at 2 already: AUTO works."""
        found = record(("  rows:", '  switches: {AIR_DATA: "2"}\n  rows:'))

        assert next(row["keys"] for row in found["rows"] if row["id"] == "AUTO") == ["works"]

    def test_every_action_that_does_it_alone_is_right(self):
        """BLEED OFF, nothing failed but a clock: inflow comes back with L, BOTH, R or EMER."""
        changes = (
            ("[L_GEN, TIE]", "[CLOCK]"),
            (f"[{ROWS}]", "[INFLOW, MAN]"),
            ("  why:", '  switches: {BLEED: "OFF"}\n  why:'),
        )
        found = record(*changes)
        for action in ("BLEED L", "BLEED BOTH", "BLEED R", "BLEED EMER"):
            response = read_response(found, {"rows": {"INFLOW": f"after {action}", "MAN": "works"}})
            assert grade(found, response).outcome == "full"


class TestHandWrittenKey:
    """A key beside the graph's must agree, or the item is refused."""

    def test_agreeing_key(self):
        """S08's own."""
        key = ", ".join(f"{row}: {answer}" for row, answer in S08.items())

        assert bank(("  why:", f"  key: {{{key}}}\n  why:")).faults == []

    @pytest.mark.parametrize(
        ("row", "claim", "graph"),
        [
            ("SPDBRK", "works", "lost"),
            ("DUMP", "lost", "works"),
            ("AUTO", "lost", "after AIR_DATA 2"),
            ("AUTO", "works", "after AIR_DATA 2"),
            ("AUTO", "after PRESS MAN", "after AIR_DATA 2"),
            ("CAB_DIGITS", "after AIR_DATA 2", "lost"),
        ],
    )
    def test_disagreeing_key_names_the_row_and_both_sides(self, row, claim, graph):
        """What the key says, what the graph says, at its line."""
        reference, what, line = fault(("  why:", f"  key:\n    {row}: {claim}\n  why:"))

        assert reference == "bank-key-disagrees"
        assert what == f"row '{row}': the key says '{claim}', the graph says '{graph}'"
        assert line == f"{row}: {claim}"

    def test_changed_graph_lets_a_key_down(self):
        """Speedbrakes moved to ESS in the aircraft file: the same item is refused."""
        moved = SHIPPED_AIRCRAFT.replace(
            "speedbrakes, ata: 27, needs: [L_MAIN], bus: L_MAIN", "speedbrakes, ata: 27, needs: [ESS], bus: ESS"
        )
        found = check(text(("  why:", "  key: {SPDBRK: lost}\n  why:")), aircraft=moved).faults

        assert "row 'SPDBRK': the key says 'lost', the graph says 'works'" in [finding.what for finding in found]


class TestFaults:
    """What an author may get wrong, each with its place."""

    @pytest.mark.parametrize(
        ("old", "new", "reference", "what"),
        [
            ("[L_GEN, TIE]", "[L_GENN, TIE]", "bank-node-unknown", "'L_GENN' is no node of the aircraft"),
            ("DUMP,", "DUMPS,", "bank-node-unknown", "'DUMPS' is no node of the aircraft"),
            ("DUMP,", "AUTO,", "bank-row-twice", "row 'AUTO' stands twice"),
            ("DUMP,", "TIE,", "bank-row-failed", "'TIE' is asked, and it is what fails"),
            (f"[{ROWS}]", "[AUTO]", "bank-rows", "1 row(s)"),
            ("[L_GEN, TIE]", "failure", "bank-still-fail", "'failure' is neither a node nor a draw of failures"),
            ("  why:", "  switches: {AIR: \"2\"}\n  why:", "bank-switch-unknown", "'AIR' is no switch of the aircraft"),
            ("  why:", "  switches: {BATT: \"3\"}\n  why:", "bank-switch-unknown", "'3' is no position of BATT"),
            ("  why:", "  actions: [AIR_DATA 3]\n  why:", "bank-action-unknown", "'AIR_DATA 3' is no action"),
            (
                "  why:", "  actions: [PRESS MAN]\n  why:", "bank-action-missing",
                "row 'AUTO' is right with 'after AIR_DATA 2', and 'actions' does not offer that",
            ),
            ("  why:", "  key: {FLAPS: lost}\n  why:", "bank-row-unknown", "'FLAPS' under 'key' is no row"),
            ("  why:", "  key: {DUMP: alive}\n  why:", "bank-row-answer", "'alive' is no answer to a row"),
            ("  why:", "  grave: [FLAPS]\n  why:", "bank-row-unknown", "'FLAPS' under 'grave' is no row of the item"),
            (
                "  why:", "  beliefs: [{row: FLAPS, taken: lost, belief: b}]\n  why:", "bank-row-unknown",
                "'FLAPS' is no row",
            ),
            (
                "  why:", "  beliefs: [{row: DUMP, taken: dead, belief: b}]\n  why:", "bank-row-answer",
                "'dead' is no answer to a row",
            ),
        ],
    )  # fmt: skip
    def test_one_fault(self, old, new, reference, what):
        """One planted fault, one finding, at its line."""
        found = fault((old, new))

        assert found[:2] == (reference, what)
        assert found[2] in [line.strip() for line in new.splitlines()] or new.strip(" ,") in found[2]

    def test_an_aircraft_is_needed(self):
        """In `general` there is no graph."""
        general = re.sub(r"  (concept|handbook): .*\n", "", ITEM).replace("  demand", "  concept: G-ISA\n  demand")
        found = check(general=general, aircraft=SHIPPED_AIRCRAFT).faults

        assert [finding.reference for finding in found] == ["bank-no-aircraft"]

    def test_an_aircraft_file_that_cannot_be_read_is_one_finding(self):
        """The item is not blamed for it: what is wrong stands in aircraft.yaml."""
        broken = check(text(), aircraft=SHIPPED_AIRCRAFT.replace("ceiling_ft: 39000", "ceiling: 39000"))

        assert {finding.file for finding in broken.faults} == {"tolquenny-19/aircraft.yaml"}
        assert "bank-aircraft-broken" in [finding.reference for finding in broken.remarks]

    def test_a_graph_that_goes_round_is_no_traceback(self):
        """The circle has its finding in the aircraft file, and the item says why it has no key."""
        round_ = SHIPPED_AIRCRAFT.replace(
            "left generator, ata: 24, needs: [L_ENG]}", "left generator, ata: 24, needs: [L_MAIN]}"
        )
        found = {(finding.file, finding.reference) for finding in check(text(), aircraft=round_).faults}

        assert ("tolquenny-19/aircraft.yaml", "aircraft-graph-circle") in found
        assert ("tolquenny-19/21-items.yaml", "graph-circle") in found

    @pytest.mark.parametrize(
        ("switches", "idle"),
        [
            ("", ["AIR_DATA 1"]),
            ("  switches: {AIR_DATA: 2}\n", ["AIR_DATA 2"]),
            ("  switches: {BATT: OFF}\n", ["AIR_DATA 1"]),
        ],
    )
    def test_action_that_changes_nothing(self, switches, idle):
        """AIR DATA stands at 1 where nothing else is said; BATT ON stands for a normal switch unless it is OFF.

        Digits and OFF are written without quotes.
        """
        offered = "  actions: [AIR_DATA 1, AIR_DATA 2, BATT ON]\n"
        checked = bank(("  why:", f"{switches}{offered}  why:"))

        found = [f for f in checked.remarks if f.reference == "bank-action-idle"]
        assert [f.what.split("'")[1] for f in found if "AIR_DATA" in f.what] == idle
        assert bool([f for f in found if "BATT" in f.what]) == ("BATT" not in switches)

    def test_rows_alike(self):
        """Nothing to tell apart is remarked."""
        found = bank((f"[{ROWS}]", "[DUMP, MAN, CAB_GAUGE]")).remarks

        assert "every row has the same answer" in [finding.what for finding in found]


class TestGrading:
    """Rows weigh equally."""

    def test_all_right(self):
        """Six of six."""
        found = graded(record())

        assert (found.outcome, found.credit, found.trap) == ("full", 1.0, None)
        assert all(row.right for row in found.rows)

    @pytest.mark.parametrize(("wrong", "credit"), [(1, 5 / 6), (2, 4 / 6), (3, 3 / 6)])
    def test_each_wrong_row_costs_its_share(self, wrong, credit):
        """Speedbrakes, digits, AUTO taken wrong in turn."""
        answers = dict(list({"SPDBRK": "works", "CAB_DIGITS": "works", "AUTO": "lost"}.items())[:wrong])
        found = graded(record(), **answers)

        assert found.outcome == "part"
        assert found.credit == pytest.approx(credit)

    def test_after_needs_the_action(self):
        """Another action is as wrong as none."""
        for answer in ("works", "lost", "after PRESS MAN"):
            assert graded(record(), AUTO=answer).credit == pytest.approx(5 / 6)

    def test_swap_in_a_grave_row_caps_at_one_half(self):
        """Five of six would be .83: speedbrakes taken for alive."""
        found = graded(record(("  why:", "  grave: [SPDBRK]\n  why:")), SPDBRK="works")

        assert (found.outcome, found.credit) == ("part", 0.5)
        assert "speedbrakes" in found.remark

    def test_no_cap_for_another_mistake(self):
        """An action that does not help is no swap of works and lost; neither is AUTO, which is neither."""
        grave = ("  why:", "  grave: [SPDBRK, AUTO]\n  why:")

        assert graded(record(grave), SPDBRK="after PRESS MAN").credit == pytest.approx(5 / 6)
        assert graded(record(grave), AUTO="works").credit == pytest.approx(5 / 6)

    def test_cap_lifts_nothing(self):
        """One of six stays one of six."""
        answers = dict.fromkeys(S08, "lost") | {"SPDBRK": "works", "CAB_DIGITS": "works", "DUMP": "works"}
        found = graded(record(("  why:", "  grave: [SPDBRK]\n  why:")), **answers)

        assert found.credit == pytest.approx(1 / 6)

    @pytest.mark.parametrize(("consequence", "credit"), [(3, 0.5), (2, 5 / 6)])
    def test_a_concept_that_can_hurt_makes_every_row_grave(self, consequence, credit):
        """Unless `grave` says which: consequence 3 of the concept."""
        concepts = CONCEPTS.replace("consequence: 1", f"consequence: {consequence}")

        assert graded(record(concepts=concepts), SPDBRK="works").credit == pytest.approx(credit)

    def test_nothing_right_is_a_miss(self):
        """Every row taken wrong."""
        answers = {row: "lost" if key == "works" else "works" for row, key in S08.items()}
        found = graded(record(), **answers)

        assert (found.outcome, found.credit) == ("miss", 0.0)

    def test_belief_of_the_wrong_answer(self):
        """Named on the row and on the grade; none where the answer is right."""
        changes = ("  why:", "  beliefs: [{row: AUTO, taken: lost, belief: CREW TGT is where it ends}]\n  why:")
        wrong, right = graded(record(changes), AUTO="lost"), graded(record(changes))

        assert (wrong.trap, wrong.belief) == ("AUTO lost", "CREW TGT is where it ends")
        assert {row.id: row.belief for row in wrong.rows}["AUTO"] == "CREW TGT is where it ends"
        assert all(row.belief is None for row in right.rows)

    def test_pass(self):
        """No credit; the keys are told."""
        found = grade(record(), read_response(record(), {"pass": True}))

        assert (found.outcome, found.credit) == ("pass", 0.0)
        assert {row.id: row.key for row in found.rows}["AUTO"] == "works after AIR DATA to 2"


class TestFeedback:
    """Why each row is so, from the graph."""

    def test_notes(self):
        """The bus table of section 24: what failed, and the way from there."""
        notes = {row.id: row.note for row in graded(record()).rows}

        assert notes["SPDBRK"] == "left generator and bus tie failed → L MAIN DC → speedbrakes"
        assert notes["AUTO"].endswith("air data computer 1 → AUTO on the selected air data; back after AIR DATA to 2")
        assert notes["DUMP"] == "fed by right engine → right generator → R MAIN DC → ESS DC"

    def test_note_of_a_valve_that_cannot_be_shut(self):
        """R MAIN lost: the right bleed flows because nothing can shut it."""
        found = record(
            ("[L_GEN, TIE]", "[R_BAR]"), (f"[{ROWS}]", "[R_BLEED, MAN]"), ("  why:", "  switches: {BLEED: L}\n  why:")
        )
        notes = {row["id"]: row["note"] for row in found["rows"]}

        assert notes["R_BLEED"].startswith("ability to shut right bleed is lost, so it goes on: R MAIN bus bar")
        assert notes["MAN"] == "needs nothing that failed"

    def test_pictures_of_what_does_not_work(self):
        """Three rows: the way to each, with its break; they are in the record, not in what is shown."""
        found = worked(record())

        assert sorted(picture["path"][-1] for picture in found.pictures) == ["AUTO", "CAB_DIGITS", "SPDBRK"]
        assert all(picture["type"] == "graph" and picture["break"] == "L_GEN" for picture in found.pictures)

    def test_worked_keys(self):
        """Each row in words."""
        assert "speedbrakes: lost" in worked(record()).key_shown


class TestResponse:
    """Every row must be answered, with one of the choices."""

    @pytest.mark.parametrize(
        ("raw", "sentence"),
        [
            ({}, "No row was answered."),
            ({"rows": "works"}, "No row was answered."),
            ({"rows": S08 | {"DUMP": ""}}, "The row 'cabin dump' is open."),
            ({"rows": {row: "works" for row in S08 if row != "DUMP"}}, "The row 'cabin dump' is open."),
            ({"rows": S08 | {"DUMP": "maybe"}}, "The answer to 'cabin dump' is none of this question's."),
            ({"rows": S08 | {"DUMP": ["works"]}}, "The answer to 'cabin dump' is none of this question's."),
        ],
    )
    def test_unreadable(self, raw, sentence):
        """A sentence that says which row."""
        with pytest.raises(InputError) as error:
            read_response(record(), raw)
        assert error.value.reference == "response-unreadable"
        assert error.value.what == sentence

    def test_canonical(self):
        """Rows of the question alone."""
        response = read_response(record(), {"rows": S08 | {"OTHER": "x"}})

        assert response == {"rows": S08}


class TestDrawnFailure:
    """A failure of the aircraft's list: its title in the stem, its nodes and switches in the graph."""

    DRAWN = (
        ("stem: The left generator fails, the tie stays open. What is left?", 'stem: "Then: {failure}. What is left?"'),
        ("  fail: [L_GEN, TIE]", "  draw: {failure: {one-of: [F11, F15, F18]}}\n  fail: failure"),
    )

    def _item(self, *changes):
        return item(*self.DRAWN, *changes)

    def test_each_draw_has_its_own_key(self):
        """F11 both generators with BATT OFF, F15 the tie open, F18 ADC 2 and a generator (handbook table)."""
        compiled = self._item()
        records = {}
        for seed in range(40):
            question = issue(compiled, random.Random(seed))
            rows = {row["id"]: row["keys"] for row in question.record["rows"]}
            records[question.drawn["failure_id"]["shown"]] = rows

        assert set(records) == {"F11", "F15", "F18"}
        assert records["F11"]["DUMP"] == ["after BATT ON"]
        assert records["F15"]["AUTO"] == ["after AIR_DATA 2"]
        assert records["F18"]["AUTO"] == records["F18"]["SPDBRK"] == ["works"]

    def test_title_stands_in_the_stem(self):
        """As the aircraft file words it."""
        compiled = self._item()
        stems = set()
        for seed in range(20):
            question = issue(compiled, random.Random(seed))
            stems.add(present(compiled, question.drawn, question.order).stem)

        assert "Then: left generator fails and tie stays open. What is left?" in stems
        assert len(stems) == 3

    def test_a_row_that_fails_itself_is_not_asked(self):
        """ADC 2 is what fails in F18: that draw is refused, the others are asked."""
        compiled = self._item(("DUMP,", "ADC_2,"))
        refusals = {drawn["failure_id"]["shown"]: try_draw(compiled, drawn).refusal for drawn in compiled.draws.all(10)}

        assert refusals == {"F11": None, "F15": None, "F18": "row ADC_2 fails itself"}

    def test_key_must_hold_in_every_draw(self):
        """DUMP works in F15 and F18 only; the fault names the failure."""
        found = fault(*self.DRAWN, ("  why:", "  key: {DUMP: works}\n  why:"))

        assert found[1] == "row 'DUMP': the key says 'works', the graph says 'after BATT ON' in F11"


@pytest.mark.parametrize(("rows", "ramp"), [("AUTO, SPDBRK, DUMP, MAN", True), ("AUTO, SPDBRK, DUMP, MAN, CPC", False)])
def test_four_rows_are_fit_for_a_short_set(rows, ramp):
    """More are not (item design)."""
    assert only_item(bank((f"[{ROWS}]", f"[{rows}]"))).ramp is ramp


def test_a_changed_aircraft_makes_a_new_revision():
    """The hash covers the aircraft, whatever the item's text."""
    other = SHIPPED_AIRCRAFT.replace("book_min: 60", "book_min: 61")

    assert only_item(bank()).uses_aircraft
    assert only_item(bank()).hash != only_item(check(text(), aircraft=other)).hash


def test_a_drawn_failure_brings_its_own_switches():
    """F11 has BATT at OFF: ESS is dead whatever the item says of BATT, and BATT ON brings COM 1 back."""
    found = record(
        ("  fail: [L_GEN, TIE]", '  draw: {failure: {one-of: [F11]}}\n  fail: failure\n  switches: {BATT: "ON"}'),
        ("  stem: The left", "  stem: Suppose {failure}. The left"),
        (f"[{ROWS}]", "[COM_1, STBY]"),
    )

    assert {row["id"]: row["keys"] for row in found["rows"]} == {"COM_1": ["after BATT ON"], "STBY": ["works"]}


def test_a_drawn_failure_that_the_stem_does_not_show():
    """The key would hang on what nobody is told."""
    changes = (TestDrawnFailure.DRAWN[1],)
    found = {finding.reference: finding.what for finding in bank(*changes).remarks}

    assert "the answer depends on 'failure', and the stem does not show it" in found["bank-draw-unseen"]
    assert not {"bank-draw-unseen", "bank-draw-unused"} & {
        finding.reference for finding in bank(*TestDrawnFailure.DRAWN).remarks
    }

"""The check as a whole: variants, dimensions of texts, style, coverage, hashes, cautions, order."""

import json
import random
import re

import pytest

from quizsvc.bank.check import BankText, canonical_json, check_bank
from quizsvc.bank.concept import find_cycles
from quizsvc.bank.question import compile_item, issue, present
from tests.bank.bank_texts import AIRCRAFT_TEXT, CAUTIONS, CONCEPTS, check, number_text, only_item, texts

ONE = """\
- item: {item}
  kind: {kind}
  concept: P-LDG
  demand: rote
  handbook: 21-10
  stem: {stem}
  options:
    - {{id: a, text: {a}, key: true}}
    - {{id: b, text: {b}, belief: thinks so}}
    - {{id: c, text: {c}, belief: thinks otherwise}}
  why: Because.
  author: first author
  status: {status}
"""


def one(item="sample", kind="one", stem="Which?", a="it climbs", b="it sinks", c="it stays", status="draft"):
    return ONE.format(item=item, kind=kind, stem=stem, a=a, b=b, c=c, status=status)


def found(bank, severity="fault"):
    return [(f.reference, f.what) for f in bank.findings if f.severity == severity and f.item == "sample"]


SCHEDULE = """
stem: Level {level}. Schedule?
draw: {level: {from: FL155, to: FL385, step: 500 ft}}
answer: schedule(level)
unit: ft
within: 50 ft
"""


class TestVariants:
    """Every item is drawn 200 times, or in all its draws."""

    def test_small_share_of_refused_draws_is_silent(self):
        """A third of the draws refused is ordinary."""
        assert found(check(number_text(SCHEDULE + 'refuse: ["level < 20000*ft"]')), "remark") == []

    def test_large_share_of_refused_draws_is_remarked(self):
        """Counted by hand: FL155 to FL340 are 38 of 47 draws."""
        bank = check(number_text(SCHEDULE + 'refuse: ["level < 34500*ft"]'))

        assert found(bank) == []
        assert found(bank, "remark") == [("bank-refused-share", "81% of 47 draws are refused (refused 38)")]

    def test_nearly_all_draws_refused_is_a_fault(self):
        """43 of 47 draws, by hand."""
        bank = check(number_text(SCHEDULE + 'refuse: ["level < 37000*ft"]'))

        assert found(bank) == [("bank-refused-share", "91% of 47 draws are refused (refused 43)")]

    def test_trap_that_often_collides_is_remarked(self):
        """The trap adds 60 ft up to FL350, which two tolerances of 50 ft cannot tell apart: 39 and one more draws."""
        trap = 'traps: [{id: near, value: "schedule(level) + 60*ft if level <= 35000*ft else 0*ft", belief: b}]'
        bank = check(number_text(SCHEDULE + trap))

        reference, what = found(bank, "remark")[1]
        assert reference == "bank-trap-collides"
        assert what.startswith("trap 'near' cannot be told from the key in 40 of 47 draws, for instance level FL155: ")
        value, key = re.search(r"the trap is ([0-9,]+) ft, the key ([0-9,]+) ft, within two tolerances", what).groups()
        assert int(value.replace(",", "")) - int(key.replace(",", "")) == 60
        assert what.endswith(" (100 ft)")

    def test_trap_that_never_exists_is_remarked(self):
        """A trap with a value in no draw says nothing about anybody."""
        bank = check(number_text(SCHEDULE + 'traps: [{id: dead, value: 0*ft, when: "level > 50000*ft", belief: b}]'))

        assert found(bank, "remark") == [("bank-trap-dead", "trap 'dead' exists in none of 47 draws")]

    def test_answer_outside_the_atmosphere_is_a_fault(self):
        """An altitude of 78,000 ft is none."""
        bank = check(number_text(SCHEDULE.replace("schedule(level)", "level*2 + 1000*ft")))

        assert found(bank) == [("bank-answer-range", "the answer is 66,000 ft in the draw level FL325")]

    def test_distance_may_be_longer_than_the_atmosphere_is_high(self):
        """127 NM are 771,654 ft, and are no altitude."""
        bank = check(
            number_text(
                SCHEDULE.replace("schedule(level)", "3*level*20").replace("ft\nwithin: 50 ft", "NM\nwithin: 3 NM")
            )
        )

        assert found(bank) == []

    def test_options_that_read_the_same_in_some_draw_are_a_fault(self):
        """Two texts that differ only by a drawn value."""
        text = one(a="'{x}'", b="'{x}'", c="it stays").replace("  stem", "  draw: {x: {one-of: [1 ft, 2 ft]}}\n  stem")

        assert found(check(text))[0][0] == "bank-option-twice"


class TestDimensions:
    """pint walks every formula, also those in braces."""

    @pytest.mark.parametrize(
        ("change", "reference", "what"),
        [
            (("answer: schedule(level)", "answer: isa_pressure(level)"), "bank-answer-dimension",
             "the answer is a pressure, but its unit 'ft' is of length"),
            (("answer: schedule(level)", "answer: schedule(level)/ft"), "bank-answer-dimension",
             "the answer is a number, but its unit 'ft' is of length"),
            (("answer: schedule(level)", "answer: schedule(level) + 1"), "formula-dimension",
             "'+' with a length and a bare number (column 19 of 'schedule(level) + 1')"),
            (("answer: schedule(level)", "answer: level > 3*ft"), "formula-truth",
             "'level > 3*ft' is the wrong sort of formula"),
            (("Schedule?", "Above {level:psi:0}?"), "bank-brace-dimension", "'{level:psi}' shows a length in 'psi'"),
            (("Schedule?", "Is it {answer}?"), "formula-name-unknown", None),
            (("Schedule?", "Is it {level}{?"), "bank-brace", None),
            (("Schedule?", "Is it {level:ft:9}?"), "bank-brace", None),
            (("Schedule?", "Is it {schedule(level)}?"), "bank-brace", None),
        ],
    )  # fmt: skip
    def test_wrong_dimension_or_brace_is_found(self, change, reference, what):
        """One fault each, at the formula's place."""
        assert change[0] in SCHEDULE
        faults = found(check(number_text(SCHEDULE.replace(*change))))

        assert len(faults) == 1
        assert faults[0][0] == reference
        assert what is None or faults[0][1] == what

    def test_let_with_an_odd_dimension_is_found(self):
        """A product too many."""
        faults = found(check(number_text(SCHEDULE + "let: {odd: level*level*level*level}")))

        assert faults == [("formula-dimension", "'odd' has the dimension length ** 4")]

    def test_refuse_takes_comparisons_only(self):
        """A bare number refuses everything or nothing."""
        faults = found(check(number_text(SCHEDULE + 'refuse: ["level - 3*ft"]')))

        assert faults == [("formula-truth", "'level - 3*ft' is the wrong sort of formula")]


class TestStyle:
    """Remarks never refuse a bank."""

    def test_plain_item_has_no_remark(self):
        """Nothing to say."""
        bank = check(one())

        assert (found(bank), found(bank, "remark")) == ([], [])

    @pytest.mark.parametrize(
        ("changed", "reference"),
        [
            ({"stem": "word " * 61 + "?"}, "style-stem-long"),
            ({"stem": "Which does not move?"}, "style-negative"),
            ({"a": "it climbs because the valve is driven open by the torque motor"}, "style-key-longest"),
            ({"c": "all of these"}, "style-option-lazy"),
            ({"c": "it always stays"}, "style-option-lazy"),
        ],
    )
    def test_bad_habit_is_remarked(self, changed, reference):
        """One remark, no fault."""
        bank = check(one(**changed))

        assert found(bank) == []
        assert [name for name, _ in found(bank, "remark")] == [reference]

    def test_negative_word_in_capitals_is_accepted(self):
        """The reader sees it."""
        assert found(check(one(stem="Which does NOT move?")), "remark") == []

    def test_negative_word_outside_the_question_is_accepted(self):
        """The state may hold a negation."""
        assert found(check(one(stem="Air data is not valid. Which moves?")), "remark") == []

    def test_sixty_words_are_accepted(self):
        """The limit itself is fine."""
        assert found(check(one(stem="word " * 60 + "?")), "remark") == []

    def test_ramp_is_computed_and_may_be_set(self):
        """Long stems and long options are for a Long set; the author may say otherwise."""
        assert only_item(check(one())).ramp
        assert not only_item(check(one(stem="word " * 61 + "?"))).ramp
        assert not only_item(check(one(b="w " * 13))).ramp
        assert not only_item(check(number_text(SCHEDULE))).ramp
        assert only_item(check(number_text(SCHEDULE, how="mental"))).ramp
        assert only_item(check(number_text(SCHEDULE + "ramp: true"))).ramp

    @pytest.mark.parametrize(
        ("text", "seconds"),
        [
            (one(), 30), (one(kind="some"), 40), (number_text(SCHEDULE, how="mental"), 45),
            (number_text(SCHEDULE, how="table"), 75), (number_text(SCHEDULE, how="calc"), 90),
            (number_text(SCHEDULE + "seconds: 20"), 20),
        ],
    )  # fmt: skip
    def test_seconds_by_kind(self, text, seconds):
        """As the contract of the parts says; an author may set them."""
        assert only_item(check(text)).seconds == seconds


class TestHash:
    """A revision is new when what is asked, worked or judged may be new."""

    def test_hash_is_of_the_canonical_body(self):
        """Sorted keys, no blanks; the same text gives the same hash."""
        first, second = only_item(check(one())), only_item(check(one()))

        assert first.hash == second.hash
        assert json.loads(canonical_json(first.body)) == first.body

    def test_body_alone_is_enough_to_ask(self):
        """What comes back from the database compiles and draws."""
        bank = check(number_text(SCHEDULE))
        body = json.loads(canonical_json(only_item(bank).body))
        aircraft = bank.aircraft["tolquenny-19"]
        again = type(aircraft).from_canonical(json.loads(canonical_json(aircraft.canonical())))

        issued = issue(compile_item(body, again), random.Random(2))

        assert issued == issue(compile_item(body, aircraft), random.Random(2))

    def test_text_changes_the_hash_and_reading_does_not(self):
        """A second reader's name and the status are no part of the revision."""
        draft = only_item(check(one()))
        live = only_item(check(one(status="live") + "  read-by: second reader\n"))

        assert live.status == "live"
        assert live.hash == draft.hash
        assert only_item(check(one(stem="Which one?"))).hash != draft.hash

    def test_changed_aircraft_changes_the_items_that_use_it_only(self):
        """One number of the aircraft file: the formula's item is new, the written one is not."""
        changed = AIRCRAFT_TEXT.replace("cabin_temp_c: 22", "cabin_temp_c: 23")
        assert changed != AIRCRAFT_TEXT
        before, after = (
            {item.id: item for item in check(number_text(SCHEDULE) + one("written"), aircraft=text).items}
            for text in (AIRCRAFT_TEXT, changed)
        )

        assert before["sample"].uses_aircraft and not before["written"].uses_aircraft
        assert before["sample"].hash != after["sample"].hash
        assert before["written"].hash == after["written"].hash
        assert before["written"].body["aircraft"] is None

    def test_drawing_an_airfield_uses_the_aircraft(self):
        """The list comes from the aircraft file."""
        text = SCHEDULE.replace("draw: {", "draw: {field: {one-of: airfields}, ").replace("Level", "At {field}, level")

        assert only_item(check(number_text(text.replace("schedule(level)", "level")))).uses_aircraft

    def test_canonical_json_refuses_what_is_not_finite(self):
        """NaN is no JSON."""
        with pytest.raises(ValueError, match="JSON compliant"):
            canonical_json({"a": float("nan")})


class TestCautions:
    """What an item owes is computed."""

    def test_by_folder_card_regulation_and_own(self):
        """C2 for the aircraft's items, C10 for the card, C12 for a regulation, and its own."""
        cite = "cite: {source: 14 CFR 91.211, read-on: 2026-11-20}\ncaution: [C6]"

        assert only_item(check(number_text(SCHEDULE + cite, how="table"))).body["cautions"] == [
            "C2",
            "C6",
            "C10",
            "C12",
        ]

    def test_general_item_owes_no_aircraft_caution(self):
        """No invented aircraft is in it."""
        general = one().replace("P-LDG", "G-ISA").replace("  handbook: 21-10\n", "")

        assert only_item(check("", general)).body["cautions"] == []

    def test_owed_caution_that_nobody_wrote_is_a_fault(self):
        """The texts live in one file."""
        bank = check(one(), cautions=CAUTIONS.replace("caution: C2\n", "caution: C13\n"))

        assert [(f.file, f.reference) for f in bank.faults] == [("cautions.yaml", "bank-caution-missing")]

    @pytest.mark.parametrize("source", ["14 CFR 91.211(b)", "FAR 91", "EASA CAT.OP", "CS-25.841", "Annex 6"])
    def test_regulation_not_yet_read_stays_draft(self, source):
        """A live item needs the date on which the text was opened."""
        live = one(status="live") + f'  read-by: second reader\n  cite: {{source: "{source}"}}\n'

        assert found(check(live)) == [("bank-regulation-unread", f"'{source}' is cited without 'read-on'")]
        assert found(check(live.replace("status: live", "status: draft"))) == []

    def test_concept_of_regulation_makes_any_source_a_regulation(self):
        """Concepts Z-... are regulation and duty, whatever the source is called."""
        live = (
            one(status="live").replace("P-LDG", "Z-211B")
            + "  read-by: second reader\n  cite: {source: Operating rules}\n"
        )

        assert found(check(live)) == [("bank-regulation-unread", "'Operating rules' is cited without 'read-on'")]

    def test_published_fact_needs_no_date(self):
        """A standard does not change under one's feet."""
        live = one(status="live") + "  read-by: second reader\n  cite: [{source: ISO 2533}, {source: NIST SP 811}]\n"

        assert found(check(live)) == []


class TestConcepts:
    """What can be known, and in which order."""

    def test_concepts_come_out_typed(self):
        """Ids, consequence, prerequisites across folders."""
        concepts = {concept.id: concept for concept in check().concepts}

        assert concepts["P-DIFF"].first == ("G-ISA",)
        assert (concepts["P-LDG"].consequence, concepts["P-LDG"].what) == (2, ("recall", "compute"))
        assert concepts["G-ISA"].handbook is None

    @pytest.mark.parametrize(
        ("old", "new", "reference"),
        [
            ("consequence: 2", "consequence: 4", "bank-word-value"),
            ("what: compute", "what: guess", "bank-word-value"),
            ("first: [G-ISA]", "first: [G-ISO]", "bank-concept-unknown"),
            ("concept: P-LDG", "concept: P-DIFF", "bank-concept-twice"),
            ("concept: P-LDG", "concept: ldg", "bank-id"),
            ("handbook: 21-10\n  what: compute", "what: compute", "bank-word-missing"),
            ("handbook: 21-10\n  what: compute", "handbook: 99\n  what: compute", "bank-section-unknown"),
        ],
    )
    def test_faulty_concept_is_found(self, old, new, reference):
        """One fault each."""
        assert old in CONCEPTS

        assert [f.reference for f in check(concepts=CONCEPTS.replace(old, new)).faults] == [reference]

    def test_concept_of_another_aircraft_is_unknown(self):
        """Folders share only `general`."""
        concepts = CONCEPTS.replace("[G-ISA]", "[P-LDG]").replace("P-LDG\n", "V-LDG\n").replace("P-DIFF", "V-DIFF")
        other = [
            BankText("vessandry-40/concepts.yaml", "vessandry-40", concepts),
            BankText("vessandry-40/handbook/21.md", "vessandry-40", "## 21-10 Layout\n\nText.\n"),
        ]  # fmt: skip
        bank = check_bank([*texts(), *other], rng=random.Random(1))

        assert [(f.file, f.reference, f.what) for f in bank.faults] == [
            ("vessandry-40/concepts.yaml", "bank-concept-unknown", "unknown concept 'P-LDG' under 'first'")
        ]

    @pytest.mark.parametrize(
        ("first", "cycles"),
        [
            ({"a": ["b"], "b": ["c"], "c": []}, 0),
            ({"a": ["b", "c"], "b": ["d"], "c": ["d"], "d": []}, 0),
            ({"a": ["a"]}, 1),
            ({"a": ["b"], "b": ["c"], "c": ["a"]}, 1),
            ({"a": ["b"], "b": ["a"], "c": ["d"], "d": ["c"]}, 2),
            ({"a": ["unknown"]}, 0),
            ({str(n): [str(n + 1)] for n in range(5000)}, 0),
        ],
    )
    def test_cycles(self, first, cycles):
        """Each once, however long the chain (5,000 is deeper than any recursion)."""
        assert len(find_cycles(first)) == cycles

    def test_thin_concepts_are_one_remark_a_file(self):
        """Fewer than three items, or of one kind only."""
        items = "".join(one(f"item-{n}") for n in range(3)) + number_text(SCHEDULE, "n-1", concept="P-LDG")
        bank = check(items)

        (remark,) = [f for f in bank.remarks if f.file == "tolquenny-19/concepts.yaml"]
        assert remark.what == "1 concept has fewer than three items of two kinds"


class TestSummary:
    """Counts by concept, kind, demand and status."""

    def test_counts(self):
        """Withdrawn items count by status only."""
        items = one("a") + one("b", kind="some") + one("c", status="withdrawn") + number_text(SCHEDULE, "d")
        summary = check(items).summary

        assert summary.items == 4
        assert summary.by_status == {"draft": 3, "withdrawn": 1}
        assert summary.by_kind == {"number": 1, "one": 1, "some": 1}
        assert summary.by_demand == {"application": 1, "rote": 2}
        assert summary.by_concept["P-LDG"] == {"draft": 2}
        assert summary.unasked == ("P-DIFF", "P-LDG", "G-ISA", "Z-211B")
        assert summary.lines()[0] == "4 items"

    def test_progress_is_told(self):
        """From none to all."""
        calls = []
        check_bank(texts(one("a") + one("b")), rng=random.Random(1), progress=lambda *done: calls.append(done))

        assert calls == [(0, 2), (1, 2), (2, 2)]


class TestOtherFiles:
    """What is no bank text is passed over; what is broken is said."""

    def test_demo_school_and_readme_are_passed_over(self):
        """They are read by others."""
        extra = [
            BankText("demo-school.yaml", "", "school: {name: x}\n"),
            BankText("tolquenny-19/README.md", "tolquenny-19", "## x\n"),
        ]

        assert check_bank([*texts(), *extra], rng=random.Random(1)).faults == []

    @pytest.mark.parametrize("text", ["", "a: 1\n", "just text\n", "- 3\n"])
    def test_item_file_that_is_no_list_of_items(self, text):
        """An empty file is fine, anything else is said."""
        references = [f.reference for f in check(text).faults]

        assert references == ([] if text == "" else ["bank-file"])

    def test_unreadable_aircraft_leaves_items_unchecked_and_says_so(self):
        """Formulas cannot be judged without it; the words of the items still are."""
        bank = check(number_text(SCHEDULE) + one("other").replace("P-LDG", "P-LGD"), aircraft="format: 1\n")

        assert {f.file for f in bank.faults} == {"tolquenny-19/aircraft.yaml", "tolquenny-19/21-items.yaml"}
        assert [f.item for f in bank.faults if f.reference == "bank-concept-unknown"] == ["other"]
        assert [f.item for f in bank.remarks if f.reference == "bank-aircraft-broken"] == ["sample", "other"]

    def test_sections_keep_their_order_and_text(self):
        """Headings inside a code fence are text."""
        handbook = "# H\n\n## 21-10 Layout\n\nFirst.\n\n```\n## no heading\n```\n\n## 21-20 AUTO\n\nSecond.\n"
        sections = check(handbook=handbook).sections

        assert [(section.id, section.title, section.position) for section in sections] == [
            ("21-10", "Layout", 0), ("21-20", "AUTO", 1),
        ]  # fmt: skip
        assert sections[0].body == "First.\n\n```\n## no heading\n```"


def test_doubled_braces_are_braces():
    """For the rare text that needs one."""
    item = only_item(check(one(stem="'The set {{a, b}}: which?'")))
    issued = issue(compile_item(item.body, None), random.Random(1))

    assert present(compile_item(item.body, None), issued.drawn, issued.order).stem == "The set {a, b}: which?"


class TestDrawsInTheQuestion:
    """Numbers must be seen and must matter."""

    def test_answer_that_depends_on_an_unseen_draw_is_remarked(self):
        """Nobody can work with a level that is not told."""
        bank = check(number_text(SCHEDULE.replace("Level {level}. Schedule?", "Schedule?")))

        assert found(bank, "remark") == [
            ("bank-draw-unseen", "the answer depends on 'level', and the stem does not show it")
        ]

    def test_draw_shown_through_a_formula_or_let_is_seen(self):
        """A let of the draw tells it too."""
        text = SCHEDULE.replace("Level {level}", "Level {half:ft:0}") + "let: {half: level/2}"

        assert found(check(number_text(text)), "remark") == []

    def test_draw_that_changes_nothing_is_remarked(self):
        """It would make the same question look new."""
        text = SCHEDULE.replace("draw: {", "draw: {n: {one-of: [1 ft, 2 ft]}, ")

        assert found(check(number_text(text)), "remark") == [
            ("bank-draw-unused", "draw 'n' changes neither the question nor the answer")
        ]

    def test_text_without_a_value_in_some_draw_is_a_fault(self):
        """The working divides by zero at FL200 (by hand: the schedule is 900 ft there)."""
        text = number_text(SCHEDULE).replace("It is {answer}.", "'It is {1*ft/(level - 20000*ft)::2}.'")

        assert found(check(text)) == [
            ("bank-no-value", "'{1*ft/(level - 20000*ft)...}' has no value in the draw level FL200: division by zero")
        ]

    def test_question_is_drawn_again_where_a_text_has_no_value(self):
        """A learner never meets the error, even in a bank that was not checked."""
        item = only_item(check(number_text(SCHEDULE)))
        body = dict(item.body, why="{1*ft/(level - 20000*ft)::2}")
        body["draw"] = [dict(body["draw"][0], **{"from": 200.0, "count": 2})]
        compiled_item = compile_item(body, check().aircraft["tolquenny-19"])

        assert {issue(compiled_item, random.Random(n)).drawn["level"]["shown"] for n in range(20)} == {"FL205"}


class TestCaps:
    """No item text makes checking, drawing or showing long."""

    @pytest.mark.parametrize(
        ("text", "reference"),
        [
            (one(stem="x" * 4001), "bank-text-long"),
            (one(b="x" * 4001), "bank-text-long"),
            (number_text(SCHEDULE + "refuse: [" + ", ".join(["level < 3*ft"] * 26) + "]"), "bank-too-many"),
            (number_text(SCHEDULE + "let: {" + ", ".join(f"x{n}: 3*ft" for n in range(26)) + "}"), "bank-too-many"),
        ],
        ids=["stem", "option", "refuse", "let"],
    )
    def test_too_much_is_refused(self, text, reference):
        """With the number that is allowed."""
        faults = found(check(text))

        assert [name for name, _ in faults] == [reference]

    @pytest.mark.parametrize(
        ("formula", "column", "what"),
        [
            ("level.__class__", 16, "'.' reaches into a value (column 6 of 'level.__class__')"),
            ("'__import__(\"os\")'", 23, "text in quotes (column 12 of '__import__(\"os\")')"),
            ('"[x for x in level]"', 12, "'[' takes a part of a value (column 1 of '[x for x in level]')"),
            ("(level := 3)", 18, "':' does not belong into a formula (column 8 of '(level := 3)')"),
            ("9**9**9**9", 15, "no finite value (column 5 of '9**9**9**9')"),
        ],
    )
    def test_formula_attack_in_an_item_is_found_with_the_column_of_the_file(self, formula, column, what):
        """`  answer: ` takes ten columns; a quote one more."""
        (finding,) = check(number_text(SCHEDULE.replace("schedule(level)", formula))).faults

        assert (finding.line, finding.column, finding.item, finding.what) == (9, column, "sample", what)

"""Slips of a fresh author, as they were made with the guide in hand: one finding each, at its line, with its cure."""

from __future__ import annotations

import textwrap

import pytest

from tests.bank.bank_texts import check, number_text

LEG = """
stem: From {cabin} up at the limit for {minutes}. Where is the cabin then?
draw:
  cabin: {from: 2000 ft, to: 4000 ft, step: 100 ft}
  minutes: {from: 2 min, to: 6 min, step: 1 min}
answer: cabin + cabin_up_limit*minutes
unit: ft
within: 50 ft
"""

SCENARIO = """\
- item: sample
  kind: scenario
  concept: P-DIFF
  demand: application
  handbook: 21-10
  draw: {level: {from: FL300, to: FL340, step: 1000 ft}}
  let: {held: level/4}
  stem: Level at {level}.
  why: So it is.
  parts:
    - id: a
      concept: P-DIFF
      kind: number
      how: mental
      stem: Where is the cabin?
      answer: held
      unit: ft
      within: 50 ft
      why: It is at {held:ft}.
    - id: b
      concept: P-LDG
      kind: number
      how: mental
      follow: a
      stem: How long does it take down?
      answer: a/cabin_down_limit
      unit: min
      within: 0.3 min
      why: It takes {answer:min:1}.
  author: first author
  status: draft
"""


def faults(bank, item="sample"):
    """Line, column, reference, what and mend of each fault."""
    return [(f.line, f.column, f.reference, f.what, f.mend) for f in bank.faults if f.item == item]


def changed(old, new, text=LEG):
    """The item with one slip."""
    assert text.count(old) == 1
    return number_text(text.replace(old, new))


def line_of(text, piece):
    """Line and column of a piece of a text, counted from 1."""
    before = text[: text.index(piece)]
    return before.count("\n") + 1, len(before) - before.rfind("\n")


class TestPlacesInLongTexts:
    """Texts over several lines: the finding says the line where the slip stands, not the line of the word."""

    @pytest.mark.parametrize("head", [">-", ">", "|"])
    def test_brace_of_a_folded_text(self, head):
        """The brace stands in the third line of the text, after an empty one."""
        text = number_text(LEG).replace(
            "  why: It is {answer}.\n",
            f"  why: {head}\n    Up the cabin may go fast.\n\n    From here it takes {{minutess}} to go.\n",
        )
        bank = check(text)

        assert [fault[:3] for fault in faults(bank)] == [(*line_of(text, "minutess"), "formula-name-unknown")]
        assert "(column" not in faults(bank)[0][3]

    def test_formula_in_a_folded_text(self):
        """The second line of a formula that goes over two."""
        text = changed("answer: cabin + cabin_up_limit*minutes", "answer: >-\n  cabin +\n  cabin_up_limit*minuts")

        assert [fault[:3] for fault in faults(check(text))] == [(*line_of(text, "minuts"), "formula-name-unknown")]

    @pytest.mark.parametrize("quote", ['"', "'", ""])
    def test_text_that_goes_on_without_a_word(self, quote):
        """Quoted or bare, continued in the next line."""
        why = f"  why: {quote}Up the cabin goes,\n    and it takes {{minutess}} to go.{quote}\n"
        text = number_text(LEG).replace("  why: It is {answer}.\n", why)

        assert [fault[:3] for fault in faults(check(text))] == [(*line_of(text, "minutess"), "formula-name-unknown")]

    def test_escapes_leave_the_line_of_the_value(self):
        """A quoted text with escapes has other characters than its source: its start, and no false column."""
        why = '  why: "Up \\u2191 the cabin goes,\n    and it takes {minutess} to go."\n'
        text = number_text(LEG).replace("  why: It is {answer}.\n", why)

        assert [fault[:2] for fault in faults(check(text))] == [line_of(text, '"Up')]


class TestBareNames:
    """A drawn number without its unit: the cure names it, and not the formula around it."""

    def test_sum_of_a_length_and_a_speed(self):
        """A speed times a time is a length, so the bare name lacks a time."""
        ((_, _, reference, what, mend),) = faults(
            check(changed("{from: 2 min, to: 6 min, step: 1 min}", "{one-of: [2]}"))
        )

        assert (reference, mend) == ("formula-dimension", "'minutes' has no unit; write '2 min' in its draw")
        assert what.startswith("'+' with a length and a speed")

    def test_difference_with_the_name_itself(self):
        """A length and a bare number: it lacks a length."""
        slip = LEG.replace("cabin + cabin_up_limit*minutes", "minutes - cabin").replace("2 min, to: 6 min", "2, to: 6")
        ((_, _, _, _, mend),) = faults(check(number_text(slip.replace("step: 1 min", "step: 4"))))

        assert mend in [f"'minutes' has no unit; write '{drawn} ft' in its draw" for drawn in (2, 6)]

    def test_number_in_the_formula_has_its_own_cure(self):
        """No name takes part: the number itself gets the unit."""
        ((_, _, _, _, mend),) = faults(check(changed("cabin_up_limit*minutes", "150")))

        assert mend == "give the bare number its unit, such as 150*ft"

    def test_answer_without_the_unit_of_a_name(self):
        """Not the unit of the answer is wrong: a speed and a bare number make no length."""
        slip = LEG.replace("{from: 2 min, to: 6 min, step: 1 min}", "{one-of: [2]}").replace("cabin + cabin", "cabin")
        ((_, _, reference, _, mend),) = faults(check(number_text(slip)))

        assert (reference, mend) == ("bank-answer-dimension", "'minutes' has no unit; write '2 min' in its draw")

    def test_count_that_is_rightly_bare(self):
        """No unit of 'minutes' makes a length and a mass alike: the name is not blamed."""
        slip = LEG.replace("{from: 2 min, to: 6 min, step: 1 min}", "{one-of: [2]}")
        ((_, _, _, _, mend),) = faults(check(number_text(slip.replace("cabin_up_limit*minutes", "5*lb*minutes"))))

        assert mend == "both sides must measure the same"

    def test_let_without_unit(self):
        """A let gets its unit where it is worked out."""
        slip = LEG.replace("answer:", "let: {steps: minutes/min}\nanswer:").replace("limit*minutes", "limit*steps")
        ((_, _, _, _, mend),) = faults(check(number_text(slip)))

        assert mend == "'steps' has no unit; give it one in its formula, such as *min"


class TestOneSlipOneFault:
    """What follows from a slip is not found again."""

    @pytest.mark.parametrize("taken", ["min", "answer", "cabin_up_limit", "schedule", "if"])
    def test_draw_with_a_taken_name(self, taken):
        """Its braces and formulas are left alone."""
        text = LEG.replace("minutes", taken)
        found = faults(check(number_text(text)))

        assert [fault[2] for fault in found][0] == "bank-name-taken"
        assert [fault[2] for fault in found][1:] == (["formula-unreadable"] if taken == "if" else [])

    def test_let_with_a_taken_name(self):
        """The answer and a brace that use it are left alone."""
        text = number_text(LEG.replace("answer: cabin +", "let: {min: cabin*2}\nanswer: min +"))
        found = faults(check(text.replace("{answer}", "{min:ft}")))

        assert [(fault[2], fault[3]) for fault in found] == [("bank-name-taken", "'min' is a unit")]

    def test_what_a_broken_draw_gives_beside_its_name(self):
        """A draw 'field' of airfields gives field_elevation: not found again where the draw is broken."""
        draw = "draw: {field: {one-of: airfeelds}}\nstem: At {field}?\n"
        found = faults(check(number_text(draw + "answer: field_elevation\nunit: ft\nwithin: 50 ft\n")))

        assert len(found) == 1
        assert "airfeelds" in found[0][3]

    def test_let_of_a_scenario_is_found_once(self):
        """Its parts use it too; the finding stands where it is written."""
        text = SCENARIO.replace("held: level/4", "held: levvel/4")

        assert [fault[:3] for fault in faults(check(text))] == [(*line_of(text, "levvel"), "formula-name-unknown")]

    @pytest.mark.parametrize(
        ("old", "new", "whole"),
        [
            ("from: 2000 ft", "from: 2,000 ft", "2000 ft"),
            ("to: 4000 ft", "to: 4,000 ft", "4000 ft"),
        ],
    )
    def test_comma_in_a_number_of_a_map(self, old, new, whole):
        """One fault, at the number, and the range is read as meant."""
        text = changed(old, new)
        ((line, column, reference, what, mend),) = faults(check(text))

        assert (line, column, reference) == (*line_of(text, new.split(": ")[1]), "bank-number-comma")
        assert mend == f"leave the comma out: {whole}; a text goes into quotes"

    def test_two_commas_are_two(self):
        """Each number has its own; 000 ft twice is no doubled word."""
        text = LEG.replace("from: 2000 ft, to: 4000 ft", "from: 2,000 ft, to: 4,000 ft")

        assert [fault[2] for fault in faults(check(number_text(text)))] == ["bank-number-comma"] * 2

    def test_comma_in_a_formula_of_a_map(self):
        """A trap's value: the number is put together without the comma."""
        trap = "traps: [{id: t, value: 39,000*ft, belief: b}]"

        assert [fault[2] for fault in faults(check(number_text(LEG + trap)))] == ["bank-number-comma"]


class TestParts:
    """A formula of a scenario that names a part."""

    def test_number_part_without_follow(self):
        """It says which word is missing, and with it the item passes."""
        text = SCENARIO.replace("      follow: a\n", "")
        ((_, _, _, what, mend),) = faults(check(text))

        assert what.startswith("'a' is a part")
        assert mend == "add 'follow: a'"
        assert faults(check(SCENARIO)) == []

    def test_let_of_the_whole(self):
        """Only a part can follow."""
        ((_, _, _, what, mend),) = faults(check(SCENARIO.replace("held: level/4", "held: level/4 + a")))

        assert what.startswith("'a' is a part")
        assert mend == "only a number part with 'follow: a' may use it"

    @pytest.mark.parametrize("word", ["draw: {x: {one-of: [1 ft]}}", "author: a", "read-by: b", "status: draft"])
    def test_word_of_the_whole_in_a_part(self, word):
        """The words that the guide keeps out of a part."""
        found = faults(check(SCENARIO.replace("      follow: a\n", f"      follow: a\n      {word}\n")))

        assert [fault[2] for fault in found] == ["bank-word-unknown"]

    def test_later_part_is_an_unknown_name(self):
        """What is not answered yet cannot be followed."""
        ((_, _, reference, what, mend),) = faults(check(SCENARIO.replace("answer: held\n", "answer: held + b\n")))

        assert (reference, what.split(" (")[0]) == ("formula-name-unknown", "unknown name 'b'")
        assert "follow" not in mend


class TestTrapsNearTheKey:
    """A draw in which a trap cannot be told from the key says which trap, which two numbers, and what helps."""

    @pytest.mark.parametrize(
        ("value", "words", "says"),
        [
            ("cabin + 80*ft", "", "the trap is 3,080 ft, the key 3,000 ft, within two tolerances (100 ft)"),
            ("cabin", "", "trap and key are 3,000 ft"),
            (
                "cabin + 140*ft",
                "round: nearest 500 ft\n",
                "the trap is 3,140 ft, the key 3,000 ft, and both round alike",
            ),
        ],
    )
    def test_every_draw(self, value, words, says):
        """Two tolerances are 100 ft; 3,140 ft rounds to 3,000 ft."""
        text = "stem: At {cabin}?\ndraw: {cabin: {one-of: [3000 ft]}}\nanswer: cabin\nunit: ft\nwithin: 50 ft\n"
        trap = f"traps: [{{id: near, value: {value}, belief: b}}]\n"
        text = number_text(text + words + trap)
        ((line, column, reference, what, mend),) = faults(check(text))

        assert (line, column, reference) == (*line_of(text, f"{value}, belief"), "bank-no-draw")
        assert what == f"none of 1 draws can be asked (trap near 1), for instance cabin 3,000 ft: {says}"
        assert "'when'" in mend and "'within'" in mend

    def test_refused_by_the_author(self):
        """No trap has to do with it, and none is named in the cure."""
        ((_, _, reference, what, mend),) = faults(check(number_text(LEG + 'refuse: ["cabin > 1000*ft"]')))

        assert (reference, mend) == ("bank-no-draw", "widen 'draw', or loosen 'refuse'")
        assert "trap" not in what

    def test_part_of_a_scenario(self):
        """The finding stands at the part's trap."""
        trap = "      traps: [{id: near, value: held + 60*ft, belief: b}]\n"
        text = SCENARIO.replace("      why: It is at", trap + "      why: It is at")
        ((line, column, reference, what, _),) = faults(check(text))

        assert (line, column, reference) == (*line_of(text, "held + 60"), "bank-no-draw")
        assert what.endswith("the trap is 7,560 ft, the key 7,500 ft, within two tolerances (100 ft)")

    def test_part_without_a_value(self):
        """Some draws of a part have no value: as much a fault as in an item of its own."""
        text = SCENARIO.replace(
            "answer: a/cabin_down_limit", "answer: a/cabin_down_limit/(1 if level > 31000*ft else 0)"
        )
        ((line, column, reference, what, _),) = faults(check(text))

        assert (line, column, reference) == (*line_of(text, "a/cabin_down"), "bank-no-value")
        assert what.startswith("2 of 5 draws have no value, for instance level FL300: division by zero")


class TestCures:
    """What the cure says can be typed."""

    @pytest.mark.parametrize(
        ("brace", "cure"),
        [
            ("{cabin:min}", "write '{cabin:ft}', or mend the formula"),
            ("{cabin/cabin_up_limit:ft:1}", "write '{cabin/cabin_up_limit:min}', or mend the formula"),
            ("{cabin/cabin:ft}", "write '{cabin/cabin:number}', or mend the formula"),
        ],
    )
    def test_brace_with_a_unit_of_another_dimension(self, brace, cure):
        """The same braces with a unit that fits; nothing about the unit of an answer."""
        text = number_text(LEG).replace("It is {answer}.", f"It is {brace}.")
        ((_, _, reference, _, mend),) = faults(check(text))

        assert (reference, mend) == ("bank-brace-dimension", cure)
        assert faults(check(text.replace(brace, cure.split("'")[1]))) == []

    @pytest.mark.parametrize(
        ("name", "cure"),
        [
            ("cabin_up_limit", "write '{cabin_up_limit:fpm}'"),
            ("relief_crack_diff", "write '{relief_crack_diff:psi:1}'"),
        ],
    )
    def test_number_of_the_aircraft_without_its_unit(self, name, cure):
        """The unit is known, and so is how many decimals it takes; what is advised passes."""
        text = number_text(LEG).replace("It is {answer}.", f"It is {{{name}}}.")
        ((_, _, reference, _, mend),) = faults(check(text))

        assert (reference, mend) == ("bank-brace", cure)
        advised = text.replace(f"{{{name}}}", cure.removeprefix("write '").removesuffix("'"))
        assert faults(check(advised)) == []


class TestLeftOut:
    """The sum says how many items did not get through."""

    def test_items_with_faults_are_counted(self):
        """One sound, one with a fault, one whose text cannot be read."""
        sound, faulty = number_text(LEG, "sound"), number_text(LEG.replace("within: 50 ft", "within: 50"), "faulty")
        unreadable = textwrap.dedent("""\
            - item: unreadable
              stem: two: colons
            """)
        bank = check(sound + faulty + unreadable)

        assert ([item.id for item in bank.items], bank.left_out) == (["sound"], 2)

    def test_none_is_left_out_of_a_sound_bank(self):
        """Nothing is counted twice."""
        assert check(number_text(LEG)).left_out == 0

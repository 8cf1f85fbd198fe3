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


class TestOneSlipOneFault:
    """What follows from a slip is not found again."""

    @pytest.mark.parametrize("taken", ["min", "answer", "cabin_up_limit", "schedule", "if"])
    def test_draw_with_a_taken_name(self, taken):
        """Its braces and formulas are left alone."""
        text = LEG.replace("minutes", taken)
        found = faults(check(number_text(text)))

        assert [fault[2] for fault in found][0] == "bank-name-taken"
        assert [fault[2] for fault in found][1:] == (["formula-unreadable"] if taken == "if" else [])

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


class TestCures:
    """What the cure says can be typed."""

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

"""The strict reader: nothing is guessed, everything has a place."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.text import plain, read_text


def read(text):
    document = read_text("file.yaml", text)
    return plain(document.root), [(f.line, f.column, f.reference) for f in document.findings]


class TestScalars:
    """The traps of the platform paper, section 1 (YAML): what a usual loader turns into something else."""

    @pytest.mark.parametrize(
        "written",
        ["no", "yes", "on", "off", "No", "010", "0123", "1:30", "12:30:45", "2026-11-25", "0x1F", "1_000", "+5", ".5",
         "1e3", "0o17", "True", "NULL", "FL390", "8.7 psi", "39,000 ft"],
    )  # fmt: skip
    def test_is_the_text_that_was_written(self, written):
        """Switch positions, sexagesimals, octals, dates stay text."""
        assert read(f"- a: {written}\n") == ([{"a": written}], [])

    @pytest.mark.parametrize(
        ("written", "meant"),
        [("8", 8), ("-8", -8), ("8.70", 8.7), ("0", 0), ("true", True), ("false", False), ("", None), ("null", None)],
    )
    def test_is_a_number_or_yes_word_only_where_it_looks_like_nothing_else(self, written, meant):
        """Decimal numbers and the two yes-words."""
        values, findings = read(f"- a: {written}\n")

        assert (values, findings) == ([{"a": meant}], [])
        assert type(values[0]["a"]) is type(meant)

    @pytest.mark.parametrize("written", ["'8'", '"true"', "'null'"])
    def test_is_text_where_it_is_quoted(self, written):
        """A quoted number is a text."""
        assert read(f"- a: {written}\n") == ([{"a": written[1:-1]}], [])


class TestRefusals:
    """What the format has no use for."""

    def test_duplicate_key(self):
        """The usual loader keeps the last one without a word."""
        assert read("- a: 1\n  b: 2\n  a: 3\n")[1] == [(3, 3, "bank-duplicate-key")]

    def test_alias_and_anchor(self):
        """Aliases grow without bound when walked."""
        assert read("- a: &x 1\n- b: *x\n- c: 3\n") == (
            [{"c": 3}], [(1, 6, "bank-anchor"), (2, 6, "bank-alias")],
        )  # fmt: skip

    def test_alias_bomb_is_found_at_once(self):
        """Nine levels of nine: 387 million values if anyone walked it."""
        bomb = "a0: &a0 [x,x,x,x,x,x,x,x,x]\n" + "".join(
            f"a{n}: &a{n} [{','.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 9)
        )

        values, findings = read(bomb)

        assert values is None
        assert len(findings) == 81

    @pytest.mark.parametrize("written", ["!!python/object/apply:os.system [x]", "!!int 3", "!own 3", "! 3"])
    def test_type_word(self, written):
        """No type is chosen by the text."""
        assert read(f"- a: {written}\n")[1] == [(1, 6, "bank-tag")]

    def test_merge_key_is_an_ordinary_word(self):
        """`<<` merges nothing; as an unknown word it becomes a finding of the block."""
        assert read("- {<<: {a: 1}}\n") == ([{"<<": {"a": 1}}], [])

    def test_second_document(self):
        """One text a file."""
        assert read("a: 1\n---\nb: 2\n")[1] == [(2, 1, "bank-second-document")]

    def test_deep_nesting(self):
        """41 brackets are refused before anything is built; 2,000 before the reader itself gives up."""
        assert read("[" * 41 + "]" * 41)[1] == [(1, 41, "bank-nesting")]
        assert [reference for _, _, reference in read("[" * 2000 + "]" * 2000)[1]] == ["bank-text-unreadable"]

    def test_list_as_a_key(self):
        """A word is a text."""
        assert read("- {[a, b]: 1}\n")[1] == [(1, 4, "bank-key")]

    def test_control_character(self):
        """A NUL is no text; the line is counted."""
        values, findings = read("- a: 1\n- b: x\x00y\n")

        assert findings[0][2] == "bank-text-unreadable"
        assert findings[0][0] == 2

    def test_size(self):
        """More than two million characters are no item file."""
        assert read("x" * 2_000_001)[1] == [(0, 0, "bank-text-too-long")]


class TestRecovery:
    """A fault of the writing hides only its own block."""

    def test_other_blocks_are_read(self):
        """The unclosed quote is shown where it opens."""
        values, findings = read("- a: 1\n- b: 'open\n- c: 3\n- d: [1, 2\n- e: 5\n")

        assert values == [{"a": 1}, {"c": 3}, {"e": 5}]
        assert [(line, reference) for line, _, reference in findings] == [
            (2, "bank-text-unreadable"), (4, "bank-text-unreadable"),
        ]  # fmt: skip

    def test_places_stay_those_of_the_file(self):
        """Values after a faulty block keep their lines."""
        document = read_text("f", "- a: 1\n- b: 'open\n- c:\n    - {d: 3}\n")

        assert document.place((1, "c", 0, "d")) == (4, 11)

    def test_findings_name_the_block_they_stand_in(self):
        """The id of the item, as far as the lines show it."""
        document = read_text("f", "- item: one-thing\n  a: 1\n- item: other-thing\n  a: 1\n  a: 2\n")

        assert [finding.item for finding in document.findings] == ["other-thing"]


def test_place_of_a_missing_path_is_its_nearest_parent():
    """Findings about what is not there point at what is."""
    document = read_text("f", "a:\n  b: [1, 2]\n")

    assert document.place(()) == (1, 1)
    assert document.place(("a", "b", 1)) == (2, 10)
    assert document.place(("a", "c")) == (2, 3)
    assert document.place(("a", "b", 7)) == (2, 6)


def test_block_texts_keep_their_folding():
    """`>-` folds lines, `|` keeps them."""
    assert read("- a: >-\n    one\n    two\n  b: |\n    three\n    four\n")[0] == [
        {"a": "one two", "b": "three\nfour\n"}
    ]


@given(st.text(max_size=200))
def test_any_text_is_read_or_found_faulty(text):
    """No text raises."""
    document = read_text("f", text)

    assert all(finding.what and finding.mend for finding in document.findings)
    plain(document.root)


@given(st.text(alphabet="- :[]{}#&*!|>'\"%@`,ab\n0", max_size=80))
def test_any_text_of_yaml_s_own_signs_is_read_or_found_faulty(text):
    """No text raises, and every finding stands inside the text."""
    document = read_text("f", text)

    plain(document.root)
    assert all(0 <= finding.line <= text.count("\n") + 2 for finding in document.findings)

"""Two texts of the bank desk beside each other, line by line."""

from quizsvc.services.desk_text import MOST_COMPARED, compared, kind_of, stamped

OLD = "- item: a\n  kind: one\n  stem: Which?\n  why: It is.\n  read-by: somebody\n  status: live\n"
NEW = "- item: a\n  kind: one\n  also: [B]\n  stem: Which one?\n  status: draft\n"


def test_every_line_says_whose_it_is():
    """Written by hand from the two texts above; `read-by` and `status` are the desk's own and no difference."""
    assert compared(OLD, NEW) == (
        ("", "- item: a"),
        ("", "  kind: one"),
        ("-", "  stem: Which?"),
        ("-", "  why: It is."),
        ("+", "  also: [B]"),
        ("+", "  stem: Which one?"),
        ("", "  status: draft"),
    )
    assert {mark for mark, _ in compared(OLD, stamped(OLD, "withdrawn"))} == {""}


def test_very_long_texts_stand_one_after_the_other():
    """Nothing is left out."""
    long = OLD + "# the same\n" * MOST_COMPARED
    marks = [mark for mark, _ in compared(long, long)]
    assert marks == sorted(marks, reverse=True) and set(marks) == {"-", "+"}
    assert marks.count("-") == marks.count("+") == MOST_COMPARED + 5


def test_the_kind_that_a_text_names():
    """With quotes or without; none where none is named."""
    assert [kind_of(text) for text in (OLD, '- item: a\n  kind: "still-works"\n', "- item: a\n")] == [
        "one", "still-works", "",
    ]  # fmt: skip

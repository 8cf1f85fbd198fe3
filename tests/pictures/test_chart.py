"""Bars: lengths in proportion, ranges as brackets, numbers written out."""

from __future__ import annotations

import re

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import bars


def _lengths(text):
    found = re.findall(r'class="pic-bar" d="M([\d.]+) [\d.]+H([\d.]+)V', text)
    return [float(right) - float(left) for left, right in found]


def test_bars_are_as_long_as_their_values():
    """From one zero, those below it to the left."""
    sixteen, four, nothing = _lengths(draw(bars()))

    assert sixteen / four == pytest.approx(16 / 4, rel=1e-3)
    assert nothing == 0


def test_ranges_are_drawn_and_written():
    """A bracket where there is a range, none where there is not."""
    text = draw(bars())

    assert len(re.findall(r'stroke-width="3.4"', text)) == 2
    assert ">16 (13.5 to 18) items</text>" in text
    assert ">\N{MINUS SIGN}4 items</text>" in text


def test_the_text_and_the_table_tell_the_same():
    """Value, low and high."""
    assert describe(bars()).startswith("Right of 20 fresh items: 16 (13.5 to 18) items. Below: \N{MINUS SIGN}4 items.")
    assert table(bars())[:3] == (
        ("", "items", "from", "to"),
        ("Right of 20 fresh items", "16", "13.5", "18"),
        ("Below", "\N{MINUS SIGN}4", "", ""),
    )


@pytest.mark.parametrize(
    "row",
    [{"label": "a", "value": float("nan")}, {"label": "a", "value": 1, "low": 2, "high": 3},
     {"label": "a", "value": 5, "low": 2, "high": 3}],
)  # fmt: skip
def test_a_row_that_makes_no_sense_is_refused(row):
    """Not a number, or outside its own range."""
    with pytest.raises(InputError) as refused:
        draw({"type": "bars", "rows": [row]})
    assert refused.value.reference == "picture-unreadable"


def test_no_rows_are_refused():
    """Nothing to draw."""
    with pytest.raises(InputError, match="without a row"):
        draw({"type": "bars", "rows": []})


def test_all_zero_is_drawn():
    """No division by nothing."""
    assert _lengths(draw({"type": "bars", "rows": [{"label": "a", "value": 0}]})) == [0]

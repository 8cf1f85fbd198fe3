"""One quantity against another. Places are counted by hand: the frame is 70 to 392 across, 12 to 204 down."""

from __future__ import annotations

import re

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import curve


def test_a_point_stands_where_both_scales_say():
    # Scales 0 to 400 in steps of 100 and 0 to 8,000 in steps of 2,000: (200, 4,000) is the middle of both.
    drawn = draw(curve([[0, 0], [200, 4000], [400, 8000]]))
    path = re.search(r'data-line="cabin" d="([^"]*)"', drawn).group(1)
    assert path == "M70 204L231 108L392 12"


def test_a_picture_of_small_numbers_keeps_a_decimal():
    assert table(curve([[8, 12.9], [35, 3.3]]))[1] == ("8", "12.9")


def test_the_table_has_the_corners_of_the_first_line():
    other = {"id": "limit", "label": "8.7 psi", "points": [[100, 500], [300, 2500]]}
    described = curve([[0, 0], [200, 4000], [400, 8000]], other)
    assert table(described) == (
        ("level", "schedule, ft", "8.7 psi, ft"), ("0", "0", ""), ("200", "4,000", "1,500"), ("400", "8,000", ""),
    )  # fmt: skip
    assert describe(described) == (
        "schedule, ft against level: 0 at 0, 4,000 at 200, 8,000 at 400. 8.7 psi, ft against level: 1,500 at 200."
    )


def test_lines_are_told_apart_without_colour():
    drawn = draw(curve([[0, 0], [400, 8000]], {"id": "limit", "label": "limit", "points": [[0, 1000], [400, 2000]]}))
    first, second = re.findall(r'class="pic-line" data-line="\w+"[^>]*>', drawn)
    assert "stroke-dasharray" not in first
    assert "stroke-dasharray" in second


@pytest.mark.parametrize(
    "points", [[[0, 0]], [[1, 0], [0, 1]], [[1, 0], [1, 1]], [[0, float("nan")], [1, 1]], [[0, 0], [float("inf"), 1]]]
)
def test_what_is_no_curve_is_refused(points):
    with pytest.raises(InputError, match="line 'cabin'"):
        draw(curve(points))


def test_without_a_line_there_is_nothing():
    with pytest.raises(InputError, match="without a line"):
        draw(curve() | {"lines": []})

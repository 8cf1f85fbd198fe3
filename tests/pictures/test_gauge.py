"""The instrument: pointers where a hand with a protractor puts them, and a text that gives angles, not readings."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import gauge

ANGLE = re.compile(r'class="pic-pointer pic-(\w+)" data-dial="(\w+)"[^>]*rotate\(([-\d.]+)\)')


def _angles(description):
    return {dial: float(angle) for _, dial, angle in ANGLE.findall(draw(description))}


# By hand: the scale runs over 280 degrees, from 140 left of the top to 140 right of it.
# Cabin -2 to 16: a unit is 280/18 = 15.556 degrees, 7.0 stands at the top. Differential 0 to 10: 28 degrees, 5.0.
@pytest.mark.parametrize(
    ("cabin", "differential", "left", "right"),
    [
        (7.0, 5.0, 0.0, 0.0),
        (-2.0, 0.0, -140.0, -140.0),
        (16.0, 10.0, 140.0, 140.0),
        (4.7, 8.9, -2.3 * 280 / 18, 3.9 * 28),
        (10.0, 8.7, 3 * 280 / 18, 3.7 * 28),
        # The outer scale has no mark for this; the pointer rests at the end.
        (25.0, -0.3, 140.0, -140.0),
    ],
)
def test_pointers_stand_at_their_angles(cabin, differential, left, right):
    """Computed by hand from the ends of the scales."""
    angles = _angles(gauge(cabin, differential))

    assert angles["cabin"] == pytest.approx(left, abs=0.006)  # printed to two decimals
    assert angles["differential"] == pytest.approx(right, abs=0.006)


def test_a_mark_and_a_pointer_at_its_value_point_the_same_way():
    """The numbered mark 8 of the inner scale lies on the line from the centre through the pointer's tip."""
    text = draw(gauge(7.0, 8.0))
    scale = text[text.index('data-dial="differential"') :]
    major = re.search(r'd="([^"]*)"[^>]*stroke-width="3.6"', scale)[1]
    ends = [tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", major)]
    x, y = ends[2 * 8]  # the ninth mark: 0, 1, ... 8

    assert math.degrees(math.atan2(x - 200, 200 - y)) == pytest.approx(
        _angles(gauge(7.0, 8.0))["differential"], abs=0.01
    )


def test_every_numeral_is_there_and_inside_the_instrument():
    """-2 to 16 in twos outside, 0 to 10 inside, none beyond the rim and no two on one another."""
    found = re.findall(r'x="([\d.]+)" y="([\d.]+)" font-size="(\d+)" font-weight="600"[^>]*>([^<]+)<', draw(gauge()))

    assert [text for *_, text in found] == [
        *("\N{MINUS SIGN}2 0 2 4 6 8 10 12 14 16".split()),
        *map(str, range(11)),
    ]
    spots = [(float(x), float(y) - 0.35 * float(size), float(size)) for x, y, size, _ in found]
    for x, y, size in spots:
        assert math.hypot(x - 200, y - 200) + 0.6 * size < 197
    for place, (x, y, size) in enumerate(spots):
        for other_x, other_y, other in spots[:place]:
            assert math.hypot(x - other_x, y - other_y) > (size + other) / 2


def test_two_pointers_differ_in_shape_and_length():
    """So that they can be told apart where both stand alike, without colour."""
    shapes = re.findall(r'class="pic-pointer pic-(\w+)"[^>]* d="([^"]+)"', draw(gauge(7.0, 5.0)))
    lengths = {shape: max(-float(y) for y in re.findall(r"[ML][-\d.]+ ([-\d.]+)", d)) for shape, d in shapes}

    assert lengths["long"] - lengths["short"] > 40


def test_the_text_gives_angles_and_marks_but_no_reading():
    """The numbers that are asked for stand nowhere in the text, title or table."""
    description = gauge(4.7, 8.6)
    words = describe(description)

    # -2.3 * 15.556 = -35.8 and 3.6 * 28 = 100.8
    assert "long thin pointer stands at 324 degrees" in words
    assert "short broad pointer stands at 101 degrees" in words
    assert "numbered \N{MINUS SIGN}2 at 220 degrees to 16 at 140 degrees, every 2 is 31.1 degrees" in words
    assert "Amber band from 10 to 16." in words and "Red line at 9.1." in words
    written = " ".join(ElementTree.fromstring(draw(description)).itertext())
    for shown in (words, str(table(description)), written):
        assert "4.7" not in shown and "4,700" not in shown and "8.6" not in shown


def test_readings_are_told_where_they_are_asked_for():
    """In the feedback: beside the pointers, in the text and in the table."""
    description = gauge(8.0, 5.7, readings=True)
    text = draw(description)

    assert ">8.0</text>" in text and ">5.7</text>" in text
    assert "It reads 8.0 x 1,000 ft." in describe(description)
    assert table(description)[1:] == (
        ("CABIN ALT", "16 degrees", "8.0 x 1,000 ft"),
        ("DIFF", "20 degrees", "5.7 psi"),
    )


@pytest.mark.parametrize(
    ("value", "shown"), [(8.9, "8.9"), (8.532, "8.53"), (8.51, "8.5"), (0.25, "0.25"), (3.0, "3.0")]
)
def test_a_reading_has_the_decimals_that_an_eye_can_tell(value, shown):
    """Marks stand 0.2 apart: a tenth is a place between two, and half a tenth is told where it is one."""
    assert f"It reads {shown} psi." in describe(gauge(4.7, value, readings=True))


@pytest.mark.parametrize(("cabin", "differential"), [(8.0, 5.7), (7.0, 5.0), (16.0, 10.0), (-2.0, 0.0), (4.7, 8.9)])
def test_reading_boxes_do_not_lie_on_one_another_nor_outside(cabin, differential):
    """Also where both pointers stand alike."""
    text = draw(gauge(cabin, differential, readings=True))
    left, top, width, height = map(float, re.search(r'viewBox="([^"]+)"', text)[1].split())
    boxes = [
        tuple(map(float, found))
        for found in re.findall(r'<rect class="pic-face" x="([-\d.]+)" y="([-\d.]+)" width="([\d.]+)"', text)
    ]

    assert len(boxes) == 2
    for x, y, wide in boxes:
        assert left <= x and x + wide <= left + width and top <= y and y + 36 <= top + height
    (x1, y1, wide, _), (x2, y2, _, _) = [(*box, 0) for box in boxes]
    assert x1 + wide <= x2 or x2 + boxes[1][2] <= x1 or abs(y1 - y2) >= 36


@pytest.mark.parametrize(
    "change",
    [{"low": 5, "high": 5}, {"low": 9, "high": 1}, {"minor": 0}, {"major": 0}, {"value": float("nan")},
     {"bands": [{"from": 1, "to": 2, "colour": "green"}]}],
)  # fmt: skip
def test_a_dial_that_cannot_be_drawn_is_refused(change):
    """With a sentence about what is wrong."""
    description = gauge()
    description["dials"][0] |= change

    with pytest.raises(InputError) as refused:
        draw(description)
    assert refused.value.reference == "picture-unreadable"


def test_three_dials_are_refused():
    """One instrument has two scales."""
    description = gauge()
    description["dials"] = description["dials"] * 2

    with pytest.raises(InputError, match="4 dials"):
        draw(description)

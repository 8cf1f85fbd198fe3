"""The plot of altitude over time: the run in words against S07, and labels that lie on nothing."""

from __future__ import annotations

import copy
import re

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import AIRCRAFT, CABIN, CRUISE, DOWN, EARLY, overlay, profile

NUMBER = r"(-?[\d.]+)"


def _line(text, key):
    d = re.search(rf'data-line="{key}" d="M([^"]+)"', text)[1]
    return [tuple(map(float, point.split())) for point in d.split("L")]


def _texts(text):
    found = re.findall(
        rf'<text class="([^"]+)" x="{NUMBER}" y="{NUMBER}" font-size="17"[^>]*?(text-anchor="\w+")?[^>]*>([^<]+)<', text
    )
    return [(kind, float(x), float(y), words) for kind, x, y, _, words in found]


# The key of S07 (domain/items.md): 412 flat to minute 10.5, the schedule to 6,900 at 24.1, flat to 68, up 550 fpm to
# 10,950 at 75.4. Read out to the nearest 50 ft.
def test_the_run_of_the_cabin_in_words():
    """Level, up and down in the order of time."""
    words = describe(profile(CABIN, marks=[]))

    assert words.startswith(
        "cabin: 400 ft, level to minute 10.5, up to 6,900 ft at minute 24.1, level to minute 68, "
        "up to 10,950 ft at minute 75.4, level to minute 76, down to 10,650 ft at minute 76.3, level to minute 80."
    )


@pytest.mark.parametrize("points", [CABIN, EARLY, CRUISE, DOWN])
def test_each_of_four_plots_is_described_in_the_same_manner(points):
    """No word beside the run: nothing says which is the key."""
    words = describe(profile(points, marks=[]))

    assert re.fullmatch(
        r"(\w+: [\d,]+ ft(, (level to minute|up to|down to) [\d,.]+( ft at minute [\d.]+)?)+\. ?){2}", words
    )


def test_a_corner_that_nobody_sees_is_not_told():
    """Fifty feet off a straight climb is no corner; five hundred are."""
    straight = [[0, 0], [10, 5050], [20, 10000]]
    bent = [[0, 0], [10, 5500], [20, 10000]]

    assert describe(profile(straight, marks=[])).startswith("cabin: 0 ft, up to 10,000 ft at minute 20.")
    assert "up to 5,500 ft at minute 10," in describe(profile(bent, marks=[]))


def test_the_table_has_every_minute_where_a_line_turns():
    """With both lines at each; between its own corners a line is straight."""
    rows = dict((minute, rest) for minute, *rest in table(profile()))

    assert rows["Minute"] == ["cabin, ft", "aircraft, ft"]
    assert rows["68"] == ["6,900", "23,000"]
    # At minute 10.5 the aircraft is 10.5/24.1 of the way from 412 to 39,000: 17,224.
    assert rows["10.5"] == ["400", "17,200"]


def test_lines_keep_their_shape_in_the_picture():
    """Level stays level, up is up, and equal times lie under each other."""
    text = draw(profile())
    cabin, aircraft = _line(text, "cabin"), _line(text, "aircraft")

    assert cabin[0][1] == cabin[1][1] and cabin[2][1] == cabin[3][1] < cabin[1][1]
    assert cabin[4][1] < cabin[3][1]
    assert cabin[0][0] == aircraft[0][0] and cabin[-1][0] == aircraft[-1][0]
    # They meet at minute 76.3, at 10,641 ft: one place of the picture.
    assert cabin[-2] == pytest.approx(aircraft[-2], abs=0.02)


def test_the_scale_is_said_and_even_below_the_fold():
    """Round marks at even steps; above the fold the level of the aircraft."""
    found = {words: y for kind, x, y, words in _texts(draw(profile())) if x < 70 and y < 240}
    feet = sorted((float(words.replace(",", "")), y) for words, y in found.items() if words.replace(",", "").isdigit())
    steps = {round((b[1] - a[1]) / (b[0] - a[0]), 4) for a, b in zip(feet, feet[1:], strict=False)}

    assert len(feet) >= 3 and len(steps) == 1
    assert found["FL390"] < min(y for _, y in feet)


def test_minutes_have_few_round_marks():
    """At most eight, for any length of flight."""
    for last in (1, 7, 33, 80, 146, 600):
        line = {"id": "cabin", "label": "cabin", "style": "cabin", "points": [[0, 0], [last, 900]]}
        text = draw({"type": "profile", "lines": [line]})
        marks = [words for _, x, y, words in _texts(text) if 220 < y < 240]

        assert 2 <= len(marks) <= 9, (last, marks)


def _boxes(text):
    """Generous boxes of the labels at the lines."""
    found = []
    for kind, x, y, words in _texts(text):
        if "pic-halo" in kind:
            half = len(words) * 4.3
            found.append((words, x - half, y - 12, x + half, y + 3))
    return found


@pytest.mark.parametrize(
    "description", [profile(CABIN), profile(EARLY), profile(CRUISE), profile(DOWN), overlay()],
    ids=["A", "B", "C", "D", "overlay"],
)  # fmt: skip
def test_labels_lie_on_no_line_and_no_label(description):
    """Each line's label is clear of all the lines, sampled densely, and of the other labels."""
    text = draw(description)
    boxes = _boxes(text)

    assert len(boxes) == len(description["lines"]) + len(description["marks"])
    for place, (_, left, top, right, bottom) in enumerate(boxes):
        assert left >= 0 and right <= 400
        for _, other_left, other_top, other_right, other_bottom in boxes[:place]:
            assert right <= other_left or other_right <= left or bottom <= other_top or other_bottom <= top
        for line in description["lines"]:
            path = _line(text, line["id"])
            for (x1, y1), (x2, y2) in zip(path, path[1:], strict=False):
                for part in range(101):
                    x, y = x1 + (x2 - x1) * part / 100, y1 + (y2 - y1) * part / 100
                    assert not (left < x < right and top < y < bottom), (line["id"], x, y)


def test_compared_lines_differ_without_colour():
    """Dashes and letters: no two alike."""
    text = draw(overlay())
    dashes = re.findall(r'data-line="([A-D])"[^>]*?stroke-width="([\d.]+)"(?: stroke-dasharray="([^"]+)")?', text)

    assert len({dash for *_, dash in dashes}) == len(dashes) == 4
    assert {words for words, *_ in _boxes(text)} == {"A", "B", "C", "D", "aircraft"}


def test_many_marks_take_rows_of_their_own():
    """Labels of marks close together do not lie on one another, and stay inside the picture."""
    marks = [{"at": at, "label": f"event number {at}"} for at in (60, 61, 62, 79)]
    text = draw(profile(marks=marks))
    top = float(re.search(r'viewBox="0 (-?[\d.]+)', text)[1])
    boxes = [box for box in _boxes(text) if box[0].startswith("event")]

    assert len(boxes) == 4
    for place, (_, left, upper, right, lower) in enumerate(boxes):
        assert left >= -1 and right <= 401 and upper >= top
        for _, l2, u2, r2, b2 in boxes[:place]:
            assert right <= l2 or r2 <= left or lower <= u2 or b2 <= upper


@pytest.mark.parametrize(
    "points", [[], [[0, 1]], [[0, 1], [1, float("nan")]], [[5, 1], [1, 1]], [[0, 1], [float("inf"), 2]]]
)
def test_a_line_that_cannot_be_drawn_is_refused(points):
    """Too short, not finite, backwards in time."""
    with pytest.raises(InputError) as refused:
        draw(profile(points))
    assert refused.value.reference == "picture-unreadable" and "cabin" in refused.value.what


def test_an_unknown_style_is_refused():
    """And the known ones are named."""
    description = copy.deepcopy(profile())
    description["lines"][1]["style"] = "bold"

    with pytest.raises(InputError, match="bold"):
        draw(description)


def test_a_line_that_stands_still_is_drawn():
    """One level, one minute: no division by nothing."""
    level = {"id": "c", "label": "cabin", "style": "cabin", "points": [[5, 0], [5, 0]]}

    assert "0 ft, level to minute 5" in describe({"type": "profile", "lines": [level]})
    assert draw({"type": "profile", "lines": [level]}).count("<path") > 2


def test_negative_altitudes_are_drawn_below_the_zero():
    """A field below sea level, and a cabin driven further down."""
    low = {"id": "c", "label": "cabin", "style": "cabin", "points": [[0, -168], [10, -1760], [20, 500]]}
    text = draw({"type": "profile", "lines": [low], "marks": []})

    assert "\N{MINUS SIGN}2,000" in text
    assert max(y for _, y in _line(text, "c")) < 204.5


def test_the_aircraft_line_is_thin_and_dashed():
    """And the cabin's bold and plain."""
    text = draw(profile())
    found = dict(re.findall(r'data-line="(\w+)"[^>]*?stroke-width="([\d.]+)"', text))

    assert float(found["cabin"]) >= 2 * float(found["aircraft"])
    assert re.search(r'data-line="aircraft"[^>]*stroke-dasharray', text)
    assert not re.search(r'data-line="cabin"[^>]*stroke-dasharray', text)
    assert len(AIRCRAFT) == 6

"""A trend: places in proportion, past solid and future dashed, days that do not touch, the same in words and rows."""

from __future__ import annotations

import re

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from quizsvc.pictures.svg import text_width
from tests.pictures.descriptions import trend


def circles(text):
    """Centres of the points."""
    return [(float(x), float(y)) for x, y in re.findall(r'<circle class="[a-z -]+" cx="([\d.]+)" cy="([\d.]+)"', text)]


def test_points_stand_in_proportion():
    """Days to the right, values up from zero: twice the value stands twice as high."""
    found = circles(draw(trend()))
    base = float(re.findall(r'd="M40 ([\d.]+)H388"', draw(trend()))[-1])

    (x0, y0), (x1, _), *_, (x4, y4), (x5, y5) = found
    assert (x5 - x0) / (x1 - x0) == pytest.approx(49 / 7, rel=1e-3)
    assert y0 == pytest.approx(y5, abs=0.01)
    assert (base - found[3][1]) == pytest.approx(2 * (base - y0), rel=1e-3)
    assert (base - y4) == pytest.approx(1.5 * (base - y0), rel=1e-3)


def test_what_comes_is_dashed_and_hollow():
    """Not by colour: a dash and an open point; both lines meet at the last point that has been."""
    text = draw(trend())
    lines = re.findall(r'd="(M[^"]+)" stroke="[^"]+" stroke-width="3.2" fill="none"( stroke-dasharray="7 6")?', text)

    assert [bool(dash) for _, dash in lines] == [False, True]
    assert lines[0][0].rsplit("L", 1)[1] == lines[1][0][1:].split("L")[0]
    kinds = re.findall(r'<circle class="([^"]+)"[^>]+fill="([^"]+)"', text)
    # The page's style sheet fills pic-hub with ink and pic-body with paper, light and dark.
    assert kinds == [("pic-hub pic-ink", "#0f1419")] * 4 + [("pic-body", "#ffffff")] * 2


def test_days_under_the_line_do_not_touch():
    """However near they are; the last and the first go before the middle one."""
    near = trend()
    near["points"][3]["at"] = 14.2
    for description in (trend(), near):
        labels = re.findall(
            r'x="([\d.]+)" y="250" font-size="17" text-anchor="start" fill="[^"]+">([^<]+)<', draw(description)
        )
        spans = sorted((float(x), float(x) + text_width(text, 17)) for x, text in labels)

        assert [text for _, text in labels][:2] == ["24 Dec", "5 Nov"]
        assert all(end < begin for (_, end), (begin, _) in zip(spans, spans[1:], strict=False))
        assert spans[-1][1] <= 400


def test_the_text_and_the_table_tell_the_same():
    """Day, value, range, and what is only looked ahead to."""
    assert describe(trend()).startswith("5 Nov: 10 (7 to 13) of 20. 12 Nov: 12.5 (9 to 15) of 20.")
    assert "24 Dec, looking ahead: 10 (6 to 14) of 20." in describe(trend())
    assert table(trend())[0] == ("Day", "of 20", "from", "to")
    assert table(trend())[-1] == ("24 Dec (ahead)", "10", "6", "14")


@pytest.mark.parametrize("number", [1, 2])
def test_few_points_are_enough(number):
    """One day, or today and one look ahead."""
    few = trend()
    few["points"] = few["points"][3 : 3 + number]

    assert len(circles(draw(few))) == number


@pytest.mark.parametrize(
    "change",
    [{"value": 30}, {"low": 19}, {"high": float("nan")}, {"at": 99}, {"ahead": True}],
)
def test_what_cannot_be_drawn_is_refused(change):
    """Off the scale, out of order, no number, past after future."""
    broken = trend()
    broken["points"][1] |= change

    with pytest.raises(InputError):
        draw(broken)


def test_no_point_is_no_trend():
    """Refused, and so is a scale without a height."""
    for change in ({"points": []}, {"high": 0}):
        with pytest.raises(InputError):
            draw(trend() | change)

"""What feeds what: every part in its place, states told by border and word, the path and its break."""

from __future__ import annotations

import re

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import feeds

CHIP = re.compile(r'<g class="pic-chip pic-is-(\w+)" data-node="(\w+)">(.*?)</g>', re.S)
BODY = re.compile(r'<rect class="pic-body" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"')


def _chips(text):
    return {
        node: (state, *map(float, BODY.search(inner).groups()), " ".join(re.findall(r">([^<]+)</text>", inner)))
        for state, node, inner in CHIP.findall(text)
    }


@pytest.mark.parametrize("description", [feeds(), feeds(20), feeds(20, columns=6), feeds(55, columns=4)])
def test_no_two_parts_overlap_and_all_are_inside(description):
    """Whatever the number of columns."""
    text = draw(description)
    _, _, width, height = map(float, re.search(r'viewBox="([^"]+)"', text)[1].split())
    chips = list(_chips(text).values())

    assert len(chips) == len(description["nodes"])
    for place, (_, x, y, wide, high, _) in enumerate(chips):
        assert x >= 0 and y >= 0 and x + wide <= width and y + high <= height
        for _, x2, y2, wide2, high2, _ in chips[:place]:
            assert x + wide <= x2 or x2 + wide2 <= x or y + high <= y2 or y2 + high2 <= y


@pytest.mark.parametrize("description", [feeds(), feeds(20, columns=6)])
def test_what_is_fed_stands_below_what_feeds_it(description):
    """Sources on top."""
    chips = _chips(draw(description))
    for edge in description["edges"]:
        above, below = chips[edge["from"]], chips[edge["to"]]
        assert above[2] + above[4] <= below[2], edge


def test_states_differ_by_border_and_word():
    """Filled for failed, dashed and struck for lost, double for after an action, plain for working."""
    inner = {node: text for _, node, text in CHIP.findall(draw(feeds()))}

    assert re.search(r'class="pic-body"[^>]*fill="#0f1419"', inner["LEFT"])
    assert "stroke-dasharray" in inner["FAN"] and "pic-cross" in inner["FAN"]
    assert "pic-inner" in inner["LAMP"]
    assert not re.search("dasharray|pic-cross|pic-inner", inner["BELL"])
    words = {node: chip[-1] for node, chip in _chips(draw(feeds())).items()}
    assert words["LEFT"] == "left source failed"
    assert words["LAMP"] == "entry lamp with a long name after action"
    assert words["BELL"] == "bell works"


def test_a_large_graph_says_only_what_does_not_work():
    """Fifty times `works` would hide the three that do not; boxes are headed by their bus."""
    text = draw(feeds(20))
    words = {node: chip[-1] for node, chip in _chips(text).items()}

    assert words["P3"] == "part number 3" and words["FAN"] == "cabin fan lost"
    assert ">on side bus</text>" in text


def test_the_path_is_drawn_and_its_break_marked_once():
    """Two feeds on the way, one cross."""
    text = draw(feeds())

    assert len(re.findall(r'<path class="pic-way"', text)) == 2
    assert len(re.findall(r'class="pic-break"', text)) == 1
    assert "pic-break" not in draw(feeds(path=[], **{"break": None}))


def test_the_text_lists_states_and_the_way():
    """What an eye sees."""
    assert describe(feeds()) == (
        "Works: bell. Lost: main bus, cabin fan. Failed: left source, right source. "
        "After action: entry lamp with a long name. Path: left source to main bus to cabin fan. "
        "It breaks at left source."
    )
    assert describe(feeds(20)).startswith("22 of 27 work. Lost: main bus, cabin fan.")


def test_the_table_says_what_feeds_each_part():
    """`or` between feeds of which one is enough."""
    rows = {part: (state, fed) for part, state, fed in table(feeds())}

    assert rows["main bus"] == ("lost", "left source or right source")
    assert rows["cabin fan"] == ("lost", "main bus")
    assert rows["bell"] == ("works", "")


def test_parts_that_feed_each_other_in_a_circle_are_still_drawn():
    """A picture of a faulty description helps to mend it."""
    description = feeds()
    description["edges"].append({"from": "FAN", "to": "MAIN", "one-of": False})

    assert len(_chips(draw(description))) == 6


def _lone(**words):
    return {"nodes": [{"id": "A", "name": "a", "state": "lost", "kind": "part"} | words], "edges": [], "path": []}


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"nodes": []}, "without a node"),
        ({"path": ["NOWHERE"]}, "NOWHERE"),
        ({"break": "NOWHERE"}, "NOWHERE"),
        ({"edges": [{"from": "LEFT", "to": "NOWHERE"}]}, "NOWHERE"),
        (_lone(state="broken"), "broken"),
        (_lone(kind="pipe"), "pipe"),
    ],
)
def test_a_graph_that_cannot_be_drawn_is_refused(change, named):
    """The sentence names what is wrong."""
    with pytest.raises(InputError, match=named) as refused:
        draw(feeds() | change)
    assert refused.value.reference == "picture-unreadable"

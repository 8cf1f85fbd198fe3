"""What holds for every picture: well-formed, escaped in every slot, named, the same each time."""

from __future__ import annotations

import copy
import json
from xml.etree import ElementTree

import pytest

from quizsvc.errors import InputError
from quizsvc.pictures import describe, draw, table
from tests.pictures.descriptions import bars, curve, feeds, gauge, overlay, profile, trend

SVG = "{http://www.w3.org/2000/svg}"
MARK = "<script>alert(7)</script>\"'&<b onload=x>"

PICTURES = {
    "gauge": gauge(),
    "gauge with readings": gauge(readings=True),
    "profile": profile(),
    "overlay": overlay(),
    "small graph": feeds(),
    "large graph": feeds(20),
    "bars": bars(),
    "curve": curve(),
    "trend": trend(),
}


@pytest.fixture(params=PICTURES)
def description(request):
    """A fresh copy of each picture's description."""
    return copy.deepcopy(PICTURES[request.param])


def _slots(value, path=()):
    """The path of every text in a description but its type and the words that choose among ours."""
    if isinstance(value, dict):
        for key, one in value.items():
            if key not in ("type", "style", "colour", "state", "kind"):
                yield from _slots(one, (*path, key))
    elif isinstance(value, list):
        for place, one in enumerate(value):
            yield from _slots(one, (*path, place))
    elif isinstance(value, str):
        yield path


def _marked(description, path):
    marked = copy.deepcopy(description)
    inner = marked
    for key in path[:-1]:
        inner = inner[key]
    old = inner[path[-1]]
    inner[path[-1]] += MARK
    names_a_node = description["type"] == "graph" and (path[-1] in ("id", "from", "to") or path[0] in ("path", "break"))
    # A node keeps its name everywhere, or the graph would be refused.
    return _renamed(marked, old, old + MARK) if names_a_node else marked


def _renamed(value, old, new):
    if isinstance(value, dict):
        return {key: _renamed(one, old, new) if key != "name" else one for key, one in value.items()}
    if isinstance(value, list):
        return [_renamed(one, old, new) for one in value]
    return new if value == old else value


def test_markup_in_any_slot_stays_text(description):
    """One slot after the other: no new sort of tag, and the drawn text or an attribute holds the mark."""
    tags = {one.tag for one in ElementTree.fromstring(draw(description)).iter()}
    paths = list(_slots(description))

    assert len(paths) > 2
    for path in paths:
        root = ElementTree.fromstring(draw(_marked(description, path)))
        assert {one.tag for one in root.iter()} == tags, path
        for one in root.iter():
            assert not [name for name in one.attrib if name.startswith("on") or name == "style"]
        written = " ".join(root.itertext()) + " ".join(v for one in root.iter() for v in one.attrib.values())
        # A name in a small box is cut, so only the mark's beginning is sure to be seen.
        assert "<script" in written, path


def test_no_picture_needs_what_the_content_security_policy_forbids(description):
    """No style element or attribute, no script, no address outside the picture."""
    root = ElementTree.fromstring(draw(description))

    for one in root.iter():
        assert one.tag.startswith(SVG) and one.tag not in (f"{SVG}style", f"{SVG}script", f"{SVG}image")
        assert "style" not in one.attrib
        assert not [value for value in one.attrib.values() if "http" in value or "url(" in value]


def test_every_picture_has_a_name_and_a_description(description):
    """`role=img`, and a title and desc that it points to."""
    root = ElementTree.fromstring(draw(description))
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")

    assert root.get("role") == "img"
    assert root.get("aria-labelledby").split() == [title.get("id"), desc.get("id")]
    assert title.text and desc.text == describe(description)


def test_the_same_description_gives_the_same_picture_whatever_its_order(description):
    """To the last letter, also through JSON with its keys in another order."""
    turned = json.loads(json.dumps(description, sort_keys=True))

    assert draw(turned) == draw(description)


def test_ids_are_unique_and_follow_a_given_name(description):
    """Two pictures of a page that have different names share no id."""
    one, other = draw(description, name="a"), draw(description, name="b")
    ids = [found.get("id") for text in (one, other) for found in ElementTree.fromstring(text).iter() if found.get("id")]

    assert len(ids) == len(set(ids)) >= 4


def test_every_text_is_legible_at_360_px(description):
    """A picture is at least 312 px wide there: no letter under 12 px."""
    root = ElementTree.fromstring(draw(description))
    width = float(root.get("viewBox").split()[2])
    sizes = [float(one.get("font-size")) for one in root.iter(f"{SVG}text")]

    assert sizes and min(sizes) * 312 / width >= 11.9


def test_a_table_has_a_heading_and_rows_of_its_length(description):
    """The other text equivalent."""
    heading, *rows = table(description)

    assert rows and all(len(row) == len(heading) for row in rows)


@pytest.mark.parametrize("kind", ["pie", None, 7, MARK])
def test_an_unknown_type_is_refused_with_the_known_ones(kind):
    """And names what was given."""
    with pytest.raises(InputError) as refused:
        draw({"type": kind})
    assert str(kind) in refused.value.what and "gauge" in refused.value.mend

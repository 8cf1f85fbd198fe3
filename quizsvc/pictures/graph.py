"""What feeds what, and what of it works: states by border and word, a path from source to part, and where it breaks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from quizsvc.pictures import svg
from quizsvc.pictures.layout import LINE, SIZE, Chip, Places, arrange
from quizsvc.pictures.svg import number

__all__: list[str] = []

WORDS = {"works": "works", "lost": "lost", "failed": "failed", "after": "after action"}
"""The word for each state, in the picture and in its text."""

_HEADS = {"+": "fed by several", "-": "needs none of these"}
_SMALL = 14  # up to so many nodes the word stands on each chip, `works` too

_BODY = """\
{% for edge in edges %}
<path class="pic-edge" d="{{ edge.d }}" stroke="{{ SOFT }}" stroke-width="1.8"\
{% if edge.one_of %} stroke-dasharray="6 4"{% endif %} fill="none"/>
{% endfor %}
{% for d in path %}
<path class="pic-way" d="{{ d }}" stroke="{{ INK }}" stroke-width="6" fill="none"/>
{% endfor %}
{% for head in heads %}
<path class="pic-ink" d="M4 {{ head.y|n }}H{{ right|n }}" stroke="{{ INK }}" stroke-width="2" fill="none"/>
<text class="pic-text" x="5" y="{{ (head.y + 19)|n }}" font-size="16" font-weight="700" fill="{{ INK }}">\
{{ head.text }}</text>
{% endfor %}
{% for chip in chips %}
<g class="pic-chip pic-is-{{ chip.state }}" data-node="{{ chip.node }}">
{% if chip.on_way %}
<rect class="pic-way" x="{{ (chip.x - 4)|n }}" y="{{ (chip.y - 4)|n }}" width="{{ (chip.width + 8)|n }}" \
height="{{ (chip.height + 8)|n }}" fill="none" stroke="{{ INK }}" stroke-width="3"/>
{% endif %}
<rect class="pic-body" x="{{ chip.x|n }}" y="{{ chip.y|n }}" width="{{ chip.width|n }}" height="{{ chip.height|n }}" \
fill="{{ INK if chip.state == "failed" else PAPER }}" stroke="{{ INK }}" \
stroke-width="{{ 3 if chip.bus else 1.6 }}"{% if chip.state == "lost" %} stroke-dasharray="3 3"{% endif %}/>
{% if chip.state == "after" %}
<rect class="pic-inner" x="{{ (chip.x + 3)|n }}" y="{{ (chip.y + 3)|n }}" width="{{ (chip.width - 6)|n }}" \
height="{{ (chip.height - 6)|n }}" fill="none" stroke="{{ INK }}" stroke-width="1.6"/>
{% endif %}
{% if chip.state == "lost" %}
<path class="pic-cross" d="{{ chip.corners }}" stroke="{{ INK }}" stroke-width="2" fill="none"/>
{% endif %}
{% for line in chip.lines %}
<text class="pic-name" x="{{ chip.middle|n }}" y="{{ line.y|n }}" font-size="{{ size|n }}" text-anchor="middle" \
fill="{{ PAPER if chip.state == "failed" else INK }}"{% if line.strong %} font-weight="700"{% endif %}>\
{{ line.text }}</text>
{% endfor %}
</g>
{% endfor %}
{% if broken %}
<path class="pic-break pic-break-rim" d="{{ broken }}" stroke="{{ PAPER }}" stroke-width="11" fill="none"/>
<path class="pic-break" d="{{ broken }}" stroke="{{ INK }}" stroke-width="5" fill="none"/>
{% endif %}
"""
svg.add_template("graph", _BODY)


def draw(description: Mapping[str, Any], name: str) -> str:
    """The graph as SVG; `quizsvc.pictures.draw` says what a description holds."""
    nodes, edges = _nodes(description), _edges(description)
    small = len(nodes) <= _SMALL
    words = {key: WORDS[node["state"]] if small or node["state"] != "works" else "" for key, node in nodes.items()}
    places = arrange(
        {key: str(node["name"]) for key, node in nodes.items()},
        words,
        {key: node["kind"] for key, node in nodes.items()},
        [(edge["from"], edge["to"]) for edge in edges],
        int(description.get("columns") or 3),
    )
    way = [str(key) for key in description.get("path") or ()]
    boxed = {key for key, chip in places.chips.items() if places.heads and chip.top > places.heads[0][1]}
    return svg.render(
        "graph",
        name=name,
        box=(0.0, 0.0, places.width, places.height),
        title=str(description.get("title") or "What feeds what"),
        desc=describe(description),
        size=SIZE,
        right=places.width - 4.0,
        edges=[
            {"d": _line(places, edge["from"], edge["to"]), "one_of": bool(edge.get("one-of"))}
            for edge in edges
            if (places.clear or small) and edge["to"] not in boxed
        ],
        path=[_line(places, one, other) for one, other in zip(way, way[1:], strict=False) if other not in boxed],
        heads=[{"text": _head(head, nodes), "y": top} for head, top in places.heads],
        chips=[
            _chip(chip, nodes[key], words[key], key in way and len(way) < len(nodes))
            for key, chip in places.chips.items()
        ],
        broken=_broken(places, description.get("break")),
    )


def describe(description: Mapping[str, Any]) -> str:
    """Which parts are in which state, and the path with its break."""
    nodes = _nodes(description)
    words = []
    for state, word in WORDS.items():
        found = [str(node["name"]) for node in nodes.values() if node["state"] == state]
        if found and (state != "works" or len(nodes) <= _SMALL):
            words.append(f"{word.capitalize()}: {', '.join(found)}.")
        elif found:
            words.append(f"{len(found)} of {len(nodes)} work.")
    if description.get("feeds"):
        words += _fed(nodes, _edges(description))
    way = [str(nodes[key]["name"]) for key in description.get("path") or ()]
    if way:
        words.append(f"Path: {' to '.join(way)}.")
    if description.get("break"):
        words.append(f"It breaks at {nodes[description['break']]['name']}.")
    return " ".join(words)


def _fed(nodes: Mapping[str, Mapping[str, Any]], edges: Sequence[Mapping[str, Any]]) -> list[str]:
    """What each node feeds, for those that feed something."""
    fed: dict[str, list[str]] = {key: [] for key in nodes}
    for edge in edges:
        fed[edge["from"]].append(str(nodes[edge["to"]]["name"]))
    return [f"{nodes[key]['name']} feeds {', '.join(names)}." for key, names in fed.items() if names]


def table(description: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Each part, its state, and what feeds it. The first row is the heading."""
    nodes = _nodes(description)
    rows: list[tuple[str, ...]] = [("Part", "State", "Fed by")]
    for key, node in nodes.items():
        fed = [edge for edge in _edges(description) if edge["to"] == key]
        sure = ", ".join(str(nodes[edge["from"]]["name"]) for edge in fed if not edge.get("one-of"))
        either = " or ".join(str(nodes[edge["from"]]["name"]) for edge in fed if edge.get("one-of"))
        rows.append((str(node["name"]), WORDS[node["state"]], "; ".join(one for one in (sure, either) if one)))
    return tuple(rows)


def _nodes(description: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    nodes = {str(node["id"]): node for node in description["nodes"]}
    svg.wanted(nodes, "a graph without a node", "give one")
    for key, node in nodes.items():
        svg.wanted(node["state"] in WORDS, f"state '{node['state']}' of '{key}'", f"one of {', '.join(WORDS)}")
        svg.wanted(
            node["kind"] in ("source", "bus", "part"), f"kind '{node['kind']}' of '{key}'", "source, bus or part"
        )
    for key in (*(description.get("path") or ()), *filter(None, [description.get("break")])):
        svg.wanted(key in nodes, f"'{key}' on the path", "name nodes of the graph")
    return nodes


def _edges(description: Mapping[str, Any]) -> Sequence[Mapping[str, Any]]:
    edges: Sequence[Mapping[str, Any]] = description.get("edges", ())
    known = {str(node["id"]) for node in description["nodes"]}
    for edge in edges:
        svg.wanted({edge["from"], edge["to"]} <= known, f"a feed of '{edge['to']}' by '{edge['from']}'", "name nodes")
    return edges


def _head(head: str, nodes: Mapping[str, Mapping[str, Any]]) -> str:
    if head in _HEADS:
        return _HEADS[head]
    state = nodes[head]["state"]
    return f"on {nodes[head]['name']}" + ("" if state == "works" else f", {WORDS[state]}")


def _line(places: Places, one: str, other: str) -> str:
    """From a chip's lower edge to another's upper one, through the gaps of the rows between; sideways in one row."""
    start, end = places.chips[one], places.chips[other]
    if start.bottom > end.top:
        return (
            f"M{number(start.middle)} {number(start.top + start.height / 2)}"
            f"L{number(end.middle)} {number(end.top + end.height / 2)}"
        )
    corners = [(start.middle, start.bottom)]
    rows: dict[float, list[Chip]] = {}
    for chip in places.chips.values():
        if start.bottom < chip.top and chip.bottom < end.top:
            rows.setdefault(chip.top, []).append(chip)
    for top, row in sorted(rows.items()):
        x, y = corners[-1]
        straight = x + (end.middle - x) * (top - y) / (end.top - y)
        row.sort(key=lambda chip: chip.left)
        edges = [row[0].left - 4.0, *(chip.left + chip.width + 3.5 for chip in row)]
        if not any(chip.left - 3 < straight < chip.left + chip.width + 3 for chip in row):
            edges.append(straight)
        gap = min(edges, key=lambda place: (abs(place - straight), place))
        corners += [(gap, top - 3.0), (gap, row[0].bottom + 3.0)]
    corners.append((end.middle, end.top))
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in corners)


def _chip(chip: Chip, node: Mapping[str, Any], word: str, on_way: bool) -> dict[str, Any]:
    texts = [(line, node["kind"] == "bus") for line in chip.lines] + ([(word, True)] if word else [])
    first = chip.top + (chip.height - LINE * len(texts)) / 2 + 14.0
    left, right, top, bottom = chip.left, chip.left + chip.width, chip.top, chip.bottom
    return {
        "node": chip.node,
        "state": node["state"],
        "bus": node["kind"] == "bus",
        "on_way": on_way,
        "x": chip.left,
        "y": chip.top,
        "width": chip.width,
        "height": chip.height,
        "middle": chip.middle,
        "lines": [
            {"text": text, "strong": strong, "y": first + LINE * place} for place, (text, strong) in enumerate(texts)
        ],
        # Two corners struck off: seen as "not there" also where the dashes are too fine to see.
        "corners": f"M{number(left)} {number(top + 14)}L{number(left + 14)} {number(top)}"
        f"M{number(right - 14)} {number(bottom)}L{number(right)} {number(bottom - 14)}",
    }


def _broken(places: Places, at: str | None) -> str:
    """A cross on the left edge of the part where the path ends, clear of its name, or nothing."""
    if not at:
        return ""
    chip = places.chips[at]
    x, y = max(chip.left, 12.0), chip.top + chip.height / 2
    return f"M{number(x - 9)} {number(y - 9)}l18 18M{number(x + 9)} {number(y - 9)}l-18 18"

"""Where the parts of a graph stand: in layers from the sources down, those of one bus alone in a box under its name."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from quizsvc.pictures.svg import text_width

__all__ = ["Chip", "Places", "arrange", "wrapped"]

SIZE = 16.0  # of the letters
LINE = 18.0
_PAD, _GAP, _CHIP = 5.0, 7.0, 126.0
_BETWEEN_LAYERS, _WRAP = 30.0, 15.0
_HEAD = 25.0
_LEAST_COLUMNS = 3  # the letters of a narrower picture would grow
_LEAST_BOX = 3  # leaves of one bus that are worth a box of their own


@dataclass(frozen=True)
class Chip:
    """One part: its box in the picture and its name in lines."""

    node: str
    left: float
    top: float
    width: float
    height: float
    lines: tuple[str, ...]

    @property
    def middle(self) -> float:
        """Between left and right."""
        return self.left + self.width / 2

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.top + self.height


@dataclass(frozen=True)
class Places:
    """All chips by node, the heads of the boxes, the size of the whole.

    `clear` says that each layer stands in one row, so that a line from one to another runs behind no third.
    """

    chips: Mapping[str, Chip]
    heads: tuple[tuple[str, float], ...]
    width: float
    height: float
    clear: bool


def wrapped(text: str, width: float, size: float = SIZE, *, bold: bool = False, most: int = 3) -> tuple[str, ...]:
    """A text in lines that fit; a word that does not is cut, and so is what does not fit into the last line."""

    def fits(some: str) -> bool:
        return text_width(some, size, bold=bold) <= width

    lines: list[str] = []
    for word in text.split():
        while not fits(word) and len(word) > 1:
            keep = next((n for n in range(len(word), 1, -1) if fits(word[:n])), 1)
            lines.append(word[:keep])
            word = word[keep:]
        if lines and fits(f"{lines[-1]} {word}"):
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], lines[most - 1].rstrip() + "\N{HORIZONTAL ELLIPSIS}"]
    return tuple(lines) or ("",)


def arrange(
    names: Mapping[str, str],
    words: Mapping[str, str],
    kinds: Mapping[str, str],
    feeds: Collection[tuple[str, str]],
    columns: int,
) -> Places:
    """Places for all nodes.

    Parameters
    ----------
    names, words, kinds : mapping of str to str
        By node: its name, its state in a word (empty where it is not written), and `source`, `bus` or `part`.
    feeds : collection of (str, str)
        Which node feeds which.
    columns : int
        How many chips stand side by side at most.

    Returns
    -------
    Places
        No two chips overlap; each stands below those that feed it, but for those in boxes.
    """
    width = _GAP + max(columns, _LEAST_COLUMNS) * (_CHIP + _GAP)
    boxes = _boxes(kinds, feeds)
    boxed = {node for _, nodes in boxes for node in nodes}
    above = [node for node in names if node not in boxed]
    rows: list[tuple[float, list[str]]] = []
    layers = _layers(above, [feed for feed in feeds if not boxed & set(feed)])
    for place, layer in enumerate(layers):
        for part, row in enumerate(_split(layer, columns)):
            rows.append((_GAP if not place and not part else _WRAP if part else _BETWEEN_LAYERS, row))
    chips: dict[str, Chip] = {}
    heads: list[tuple[str, float]] = []
    top = 0.0
    for before, row in rows:
        top = _row(chips, row, names, words, kinds, top + before, width, len(row), most=240.0)
    for head, nodes in boxes:
        top += 9.0
        heads.append((head, top))
        top += _HEAD - _GAP
        for row in _split(nodes, columns, even=False):
            top = _row(chips, row, names, words, kinds, top + _GAP, width, columns, most=_CHIP)
    return Places(chips, tuple(heads), width, top + _GAP, all(len(layer) <= columns for layer in layers))


def _row(
    chips: dict[str, Chip],
    row: Sequence[str],
    names: Mapping[str, str],
    words: Mapping[str, str],
    kinds: Mapping[str, str],
    top: float,
    width: float,
    cells: int,
    most: float,
) -> float:
    """Put a row of chips of one height into `chips`; gives its lower edge."""
    cell = (width - _GAP) / cells
    wide = min(cell - _GAP, most)
    lines = {node: wrapped(names[node], wide - 2 * _PAD, bold=kinds[node] == "bus") for node in row}
    height = max(LINE * (len(lines[node]) + bool(words[node])) for node in row) + 7.0
    for place, node in enumerate(row):
        left = _GAP / 2 + cell * (place + 0.5) - wide / 2
        chips[node] = Chip(node, left, top, wide, height, lines[node])
    return top + height


def _boxes(kinds: Mapping[str, str], feeds: Collection[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """Boxes of the parts: by the bus that alone feeds them, then those fed by several, then those that need nothing.

    The head is the bus, `+` for several and `-` for nothing. A small graph has none: there every feed is drawn.
    """
    parents: dict[str, list[str]] = {node: [] for node in kinds}
    for one, other in feeds:
        parents[other].append(one)
    leaves: dict[str, list[str]] = {}
    for node, kind in kinds.items():
        if kind == "part":
            of = parents[node]
            head = "-" if not of else of[0] if len(of) == 1 and kinds[of[0]] == "bus" else "+"
            leaves.setdefault(head, []).append(node)
    if not any(len(nodes) >= _LEAST_BOX for head, nodes in leaves.items() if head not in "+-"):
        return []
    order = [node for node, kind in kinds.items() if kind == "bus"]
    return [(head, leaves[head]) for head in (*order, "+", "-") if head in leaves]


def _layers(nodes: Sequence[str], feeds: Sequence[tuple[str, str]]) -> list[list[str]]:
    """Each node below all that feed it, and a source just above the first that it feeds; few crossings."""
    children: dict[str, list[str]] = {node: [] for node in nodes}
    parents: dict[str, list[str]] = {node: [] for node in nodes}
    for one, other in feeds:
        children[one].append(other)
        parents[other].append(one)
    depth: dict[str, int] = {}
    waiting = list(nodes)
    while waiting:
        ready = [node for node in waiting if all(parent in depth for parent in parents[node])] or waiting[:1]
        for node in ready:
            depth[node] = max((depth.get(parent, -1) + 1 for parent in parents[node]), default=0)
        waiting = [node for node in waiting if node not in depth]
    for node in nodes:
        if not parents[node] and children[node]:
            depth[node] = max(0, min(depth[child] for child in children[node]) - 1)
    layers = [[node for node in nodes if depth[node] == level] for level in range(max(depth.values(), default=-1) + 1)]
    at = {node: (place + 0.5) / len(layer) for layer in layers for place, node in enumerate(layer)}
    for near in (parents, children, parents):
        for layer in layers if near is parents else reversed(layers):
            pull = {
                node: sum(at[one] for one in near[node]) / len(near[node]) if near[node] else at[node] for node in layer
            }
            layer.sort(key=lambda node: (round(pull[node], 6), nodes.index(node)))
            at.update({node: (place + 0.5) / len(layer) for place, node in enumerate(layer)})
    return layers


def _split(row: Sequence[str], columns: int, *, even: bool = True) -> list[list[str]]:
    """A row in as few rows as the columns allow."""
    if not row:
        return []
    count = -(-len(row) // columns)
    size = -(-len(row) // count) if even else columns
    return [list(row[start : start + size]) for start in range(0, len(row), size)]

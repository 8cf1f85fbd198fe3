"""Habits of a whole bank that give answers away: remarks over all items together, where no single item is to blame.

Options, steps, outcomes and rows are shuffled for every question, so their order in a file shows nowhere and is no
habit. What does show is length, how many keys an item of several keys has, and that each outcome serves once.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["Habit", "PlacedBody", "habits"]

FEWEST = 20
"""Below so many items of a sort, chance alone makes patterns."""
SIGMAS = 3.0
"""How far off chance a count must be, in standard deviations."""
MOST_ALIKE = 0.75
"""Largest share of items that may do the same without its being a hint."""
_NAMED = 6
_BRACES = re.compile(r"\{[^{}]*\}")

PlacedBody = tuple[str, int, str, Mapping[str, Any]]
"""File, line, id and body of an item."""


@dataclass(frozen=True)
class Habit:
    """A remark on the bank, placed at the first item that shows it."""

    file: str
    line: int
    item: str
    reference: str
    what: str
    mend: str


def habits(items: Iterable[PlacedBody]) -> list[Habit]:
    """What a test-wise person could use without knowing anything.

    Parameters
    ----------
    items : iterable of (str, int, str, mapping)
        File, line, id and checked body of every item that is not withdrawn.

    Returns
    -------
    list of Habit
        At most one of each sort.
    """
    asked = [entry for item in items for entry in _with_parts(item)]
    found = (_lengths(asked), _key_counts(asked), _outcomes(asked))
    return [habit for habit in found if habit is not None]


def _with_parts(item: PlacedBody) -> Iterator[PlacedBody]:
    file, line, item_id, body = item
    if body.get("parts"):
        for part in body["parts"]:
            yield file, line, item_id, part
    else:
        yield item


def _lengths(items: Sequence[PlacedBody]) -> Habit | None:
    """The key is the longest, or the shortest, of its options more often than chance has it."""
    for name, pick, mend in (
        ("longest", max, "shorten keys, or give wrong options as much detail"),
        ("shortest", min, "give keys as much detail as wrong options have"),
    ):
        hits, expected, variance, count = 0.0, 0.0, 0.0, 0
        showing: list[PlacedBody] = []
        for item in items:
            options = item[3].get("options") or []
            keys = [option for option in options if option["key"]]
            if len(keys) != 1 or len(options) < 2:
                continue
            lengths = [len(_BRACES.sub("1", option["text"])) for option in options]
            edge = pick(lengths)
            if len(_BRACES.sub("1", keys[0]["text"])) == edge:
                hits += 1 / lengths.count(edge)
                showing.append(item)
            chance = 1 / len(options)
            expected, variance, count = expected + chance, variance + chance * (1 - chance), count + 1
        if count >= FEWEST and hits - expected > SIGMAS * math.sqrt(variance):
            what = (
                f"the key is the {name} option in {hits:.0f} of {count} items with one key, by chance in "
                f"{expected:.0f}: {_names(showing)}"
            )
            return _habit(showing, f"style-keys-{name}", what, mend)
    return None


def _key_counts(items: Sequence[PlacedBody]) -> Habit | None:
    """Items of several keys nearly all have the same number of them, although it is not told."""
    several = [item for item in items if item[3]["kind"] == "some"]
    if len(several) < FEWEST:
        return None
    counts = Counter(sum(bool(option["key"]) for option in item[3]["options"]) for item in several)
    count, most = counts.most_common(1)[0]
    if most <= MOST_ALIKE * len(several):
        return None
    showing = [item for item in several if sum(bool(option["key"]) for option in item[3]["options"]) == count]
    what = f"{most} of {len(several)} items of kind 'some' have {count} keys, which people soon count on"
    return _habit(showing, "style-key-counts", what, "write some with one key, and some with all but one")


def _outcomes(items: Sequence[PlacedBody]) -> Habit | None:
    """Items of kind match nearly all use each outcome exactly once, so that the last pairs follow by elimination."""
    keyed = [item for item in items if item[3]["kind"] == "match" and item[3].get("pairs")]
    if len(keyed) < FEWEST:
        return None
    straight = [item for item in keyed if _straight(item[3])]
    if len(straight) <= MOST_ALIKE * len(keyed):
        return None
    what = f"{len(straight)} of {len(keyed)} items of kind 'match' use each outcome once, which people soon count on"
    return _habit(straight, "style-match-once", what, "let an outcome serve twice, or leave one over")


def _straight(body: Mapping[str, Any]) -> bool:
    return len(set(body["pairs"].values())) == len(body["pairs"]) == len(body["right"])


def _names(items: Sequence[PlacedBody]) -> str:
    names = list(dict.fromkeys(item[2] for item in items))
    return ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")


def _habit(showing: Sequence[PlacedBody], reference: str, what: str, mend: str) -> Habit:
    file, line, item, _ = showing[0]
    return Habit(file, line, item, reference, what, mend)

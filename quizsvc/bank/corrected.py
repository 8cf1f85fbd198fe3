"""A question that was asked already, as a corrected text of its item would judge it.

The corrected text is worked on the numbers and names that were drawn when the question was asked, in the order in which
its options stood. Where the two texts do not draw alike, or do not offer the same, nothing can be judged again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.bank.formula import FormulaError
from quizsvc.bank.kinds.base import Item, Tried
from quizsvc.bank.question import issue_tried, try_draw

__all__ = ["Corrected", "corrected", "why_not"]


@dataclass(frozen=True)
class Corrected:
    """The grading record that the corrected text makes of a question; None, and why there is none."""

    record: dict[str, Any] | None
    why_not: str | None = None


def why_not(old: Mapping[str, Any], new: Mapping[str, Any]) -> str | None:
    """Why no question of one text can be judged by another, in few words; None where it can.

    Parameters
    ----------
    old, new : mapping
        Bodies as `bank.check` made them.
    """
    if old["kind"] != new["kind"]:
        return f"it was a '{old['kind']}' and is a '{new['kind']}' now"
    if old["draw"] != new["draw"]:
        return "its 'draw' block has changed"
    if old.get("unit") != new.get("unit"):
        return "its unit has changed"
    parts = [[(part["part"], part["kind"], part.get("unit")) for part in body.get("parts", ())] for body in (old, new)]
    if parts[0] != parts[1]:
        return "its parts have changed"
    return None


def corrected(
    item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], part: str | None = None
) -> Corrected:
    """Work a corrected item on a stored draw.

    Parameters
    ----------
    item : Item
        Compiled from the corrected text; `why_not` has said nothing against it.
    drawn : mapping
        The stored draw.
    order : sequence of str
        The stored order of what was shuffled.
    part : str or None
        Which part of a scenario.

    Returns
    -------
    Corrected
        The record, worked with the keys of earlier parts where it follows them.
    """
    tried = try_draw(item, {name: dict(entry) for name, entry in drawn.items()})
    if tried.refusal is not None:
        return Corrected(None, "the corrected text would not ask these numbers")
    asked: Item = item.parts[part] if part is not None else item
    own: Tried = tried.parts[part] if part is not None else tried
    try:
        issued = issue_tried(asked, own, _AsShown(order))
    except FormulaError:
        return Corrected(None, "the corrected text has no value for these numbers")
    if issued.order != list(order):
        return Corrected(None, "the corrected text does not offer the same")
    return Corrected(issued.record)


class _AsShown:
    """In place of chance: puts into the order in which they were shown, what is new at the end."""

    def __init__(self, order: Sequence[str]) -> None:
        self._place = {one: place for place, one in enumerate(order)}

    def shuffle(self, x: list[str], /) -> None:
        x.sort(key=lambda one: self._place.get(one, len(self._place)))

    def randrange(self, stop: int, /) -> int:
        raise AssertionError("a stored draw is not drawn again")

    def sample(self, population: Sequence[int], /, k: int) -> list[int]:
        raise AssertionError("a stored draw is not drawn again")

"""A cell of the study: a world, a starting state, a horizon, and what all cells share."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

from quizsvc.errors import InputError

__all__ = ["BANK_CELLS", "CELLS", "SECONDS", "SITTING_AT", "Cell", "cells_named"]

SECONDS = 60.0
"""Time of an answer, s."""

SITTING_AT = 0.5
"""When the sitting of a day begins, days after midnight."""


@dataclass(frozen=True)
class Cell:
    """One setting of the study.

    Parameters
    ----------
    world : str
        A, B or C.
    start : str
        `sparse` or `rich` earlier training.
    days : int
        Days to the check, up to 180.
    items : int
        Size of the bank.
    answers : int
        Answers of a sitting.
    study_share : float
        Days with a sitting as a share of all days.
    bank : bool
        Whether items are concepts of a bank shaped as ours, and people have habits (`bank_shape`).
    """

    world: str
    start: str
    days: int
    items: int = 300
    answers: int = 20
    study_share: float = 5 / 7
    bank: bool = False

    @property
    def name(self) -> str:
        """As `--cells` takes it, such as `A-sparse-90`."""
        return f"{self.world}-{self.start}-{self.days}" + ("-bank" if self.bank else "")


CELLS = tuple(Cell(world, start, days) for start, days, world in product(("sparse", "rich"), (90, 180), "ABC"))
"""The twelve cells of the scheduling study."""

BANK_CELLS = tuple(Cell(world, "sparse", 90, items=117, answers=12, bank=True) for world in "ABC")
"""The same worlds in a bank of as many concepts as ours; shown beside, without goals."""


def cells_named(text: str) -> tuple[Cell, ...]:
    """The cells of a list such as `A-sparse-90,C` where a part of a name stands for all cells that have it.

    Those of the bank's shape have to be asked for: `bank`, `A-bank`.

    Raises
    ------
    InputError
        No cell has these parts.
    """
    found: list[Cell] = []
    for word in text.split(","):
        parts = set(word.strip().split("-"))
        known = BANK_CELLS if "bank" in parts else CELLS
        matching = [cell for cell in known if parts <= {cell.world, cell.start, str(cell.days), "bank"}]
        if not matching:
            raise InputError(
                "study-cell-unknown",
                f"no cell of the study is called '{word.strip()}'",
                mend="give world, start and days, or a part of them: A-sparse-90, B-rich, C, 180, bank",
            )
        found += [cell for cell in matching if cell not in found]
    return tuple(found)

"""A work's mark: points of how many. Void questions count for neither; each part of a scenario is a question."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

__all__ = ["Mark", "mark"]


@dataclass(frozen=True)
class Mark:
    """Sum of the credits, of how many questions; half points come from answers that are partly right."""

    points: float
    of: int

    @property
    def shown(self) -> str:
        """`7.5 of 10`."""
        return f"{round(self.points, 2):g} of {self.of}"


def mark(rows: Iterable[Any]) -> Mark:
    """The mark of a work from its questions, rows of `store.questions.shown_of_work`; unanswered ones give nothing."""
    counted = [row for row in rows if row.outcome != "void"]
    return Mark(points=sum(row.credit or 0.0 for row in counted), of=len(counted))

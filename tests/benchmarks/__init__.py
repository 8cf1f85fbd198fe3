"""Benchmarks, run by hand: `python -m tests.benchmarks [name ...]`.

Each module `bench_<name>.py` has `run() -> list[Row]`. A figure alone says little about another machine, so a row also
carries a ratio against a floor or a peer that was measured in the same run, and the goal for that ratio.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Row", "best_seconds"]


@dataclass(frozen=True)
class Row:
    """One line of the table.

    `ratio` is what `goal` speaks of: `at least 10` or `at most 4`; both may be left out.
    """

    name: str
    figure: float
    unit: str
    ratio: float | None = None
    goal: str = ""

    @property
    def met(self) -> bool | None:
        """Whether the ratio meets the goal; None where there is no goal."""
        if self.ratio is None or not self.goal:
            return None
        direction, _, limit = self.goal.rpartition(" ")
        return self.ratio >= float(limit) if direction == "at least" else self.ratio <= float(limit)


def best_seconds(call: Callable[[], object], *, repeats: int = 7) -> float:
    """Shortest of several runs, s: what the machine can do, least disturbed by its other work."""
    best = float("inf")
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best

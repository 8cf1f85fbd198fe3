"""Counts of a bank: by concept, kind, demand and status."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from quizsvc.bank.concept import Concept

__all__ = ["Summary", "summarise"]

ENOUGH_ITEMS = 3
ENOUGH_KINDS = 2


@dataclass(frozen=True)
class Summary:
    """Counts of the items without faults; withdrawn ones count by status only.

    `by_concept` maps each concept to its items by status. `thin` lists concepts with fewer than three items or of one
    kind only, `unasked` those without a live item.
    """

    items: int
    by_status: Mapping[str, int]
    by_kind: Mapping[str, int]
    by_demand: Mapping[str, int]
    by_concept: Mapping[str, Mapping[str, int]]
    thin: tuple[str, ...]
    unasked: tuple[str, ...]

    def lines(self) -> tuple[str, ...]:
        """The counts as lines of text."""
        rows = [f"{self.items} items"]
        for title, counts in (("status", self.by_status), ("kind", self.by_kind), ("demand", self.by_demand)):
            if counts:
                rows.append(f"by {title}: " + ", ".join(f"{name} {count}" for name, count in counts.items()))
        for concept, statuses in self.by_concept.items():
            counted = ", ".join(f"{name} {count}" for name, count in statuses.items()) or "none"
            rows.append(f"  {concept:<12} {counted}")
        if self.unasked:
            rows.append(f"without a live item: {len(self.unasked)} of {len(self.by_concept)} concepts")
        return tuple(rows)


def summarise(concepts: Sequence[Concept], items: Sequence[tuple[str, str, str, str]]) -> Summary:
    """Count items given as (concept, kind, demand, status)."""
    kept = [item for item in items if item[3] != "withdrawn"]
    by_concept: dict[str, Counter[str]] = {concept.id: Counter() for concept in concepts}
    kinds: dict[str, set[str]] = defaultdict(set)
    for concept, kind, _, status in kept:
        by_concept.setdefault(concept, Counter())[status] += 1
        kinds[concept].add(kind)
    thin = tuple(
        name
        for name, statuses in by_concept.items()
        if sum(statuses.values()) < ENOUGH_ITEMS or len(kinds[name]) < ENOUGH_KINDS
    )
    return Summary(
        len(items),
        dict(sorted(Counter(item[3] for item in items).items())),
        dict(sorted(Counter(item[1] for item in kept).items())),
        dict(sorted(Counter(item[2] for item in kept).items())),
        {name: dict(sorted(statuses.items())) for name, statuses in by_concept.items()},
        thin,
        tuple(name for name, statuses in by_concept.items() if not statuses["live"]),
    )

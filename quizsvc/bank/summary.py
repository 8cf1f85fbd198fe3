"""Counts of a bank: by concept, kind, demand and status."""

from __future__ import annotations

import textwrap
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
    kind only, `unasked` those without a live item. `by_system` and `kinds_by_concept` count kinds.
    """

    items: int
    by_status: Mapping[str, int]
    by_kind: Mapping[str, int]
    by_demand: Mapping[str, int]
    by_concept: Mapping[str, Mapping[str, int]]
    thin: tuple[str, ...]
    unasked: tuple[str, ...]
    by_system: Mapping[str, Mapping[str, int]]
    kinds_by_concept: Mapping[str, Mapping[str, int]]

    def lines(self) -> tuple[str, ...]:
        """The counts as lines of text."""
        rows = [f"{self.items} items"]
        for title, counts in (("status", self.by_status), ("kind", self.by_kind)):
            if counts:
                rows.append(f"by {title}: " + ", ".join(f"{name} {count}" for name, count in counts.items()))
        if self.by_demand:
            whole = sum(self.by_demand.values())
            shares = [f"{name} {count} ({count / whole:.0%})" for name, count in self.by_demand.items()]
            rows.append("by demand: " + ", ".join(shares))
        rows += ["", *_table(self.by_system), ""]
        for concept, statuses in self.by_concept.items():
            counted = ", ".join(f"{name} {count}" for name, count in statuses.items()) or "none"
            kinds = ", ".join(f"{name} {count}" for name, count in self.kinds_by_concept.get(concept, {}).items())
            rows.append(f"  {concept:<12} {counted:<28} {kinds}".rstrip())
        if self.thin:
            rows.append(f"fewer than three items of two kinds: {len(self.thin)} of {len(self.by_concept)} concepts")
            rows += textwrap.wrap(", ".join(self.thin), 110, initial_indent="  ", subsequent_indent="  ")
        if self.unasked:
            rows.append(f"without a live item: {len(self.unasked)} of {len(self.by_concept)} concepts")
            rows += textwrap.wrap(", ".join(self.unasked), 110, initial_indent="  ", subsequent_indent="  ")
        return tuple(rows)


def _table(by_system: Mapping[str, Mapping[str, int]]) -> list[str]:
    """Systems down, kinds across, with sums."""
    kinds = sorted({kind for counts in by_system.values() for kind in counts})
    if not kinds:
        return []
    sums = {kind: sum(counts.get(kind, 0) for counts in by_system.values()) for kind in kinds}
    width = max(len(system) for system in (*by_system, "system"))
    lines = [f"{'system':<{width}}  " + "  ".join(kind for kind in (*kinds, "all"))]
    for system, counts in (*by_system.items(), ("all", sums)):
        cells = [f"{counts.get(kind, 0) or '-':>{len(kind)}}" for kind in kinds]
        lines.append(f"{system:<{width}}  " + "  ".join((*cells, f"{sum(counts.values()):>3}")))
    return lines


def summarise(concepts: Sequence[Concept], items: Sequence[tuple[str, str, str, str]]) -> Summary:
    """Count items given as (concept, kind, demand, status).

    Parameters
    ----------
    concepts : sequence of Concept
        All of the bank, in their order.
    items : sequence of (str, str, str, str)
        Concept, kind, demand and status of each item.

    Returns
    -------
    Summary
        The counts; demands in the order of difficulty.
    """
    kept = [item for item in items if item[3] != "withdrawn"]
    by_concept: dict[str, Counter[str]] = {concept.id: Counter() for concept in concepts}
    kinds: dict[str, Counter[str]] = defaultdict(Counter)
    systems = {concept.id: concept.system for concept in concepts}
    by_system: dict[str, Counter[str]] = {concept.system: Counter() for concept in concepts}
    for concept, kind, _, status in kept:
        by_concept.setdefault(concept, Counter())[status] += 1
        kinds[concept][kind] += 1
        by_system.setdefault(systems.get(concept, ""), Counter())[kind] += 1
    thin = tuple(
        name
        for name, statuses in by_concept.items()
        if sum(statuses.values()) < ENOUGH_ITEMS or len(kinds[name]) < ENOUGH_KINDS
    )
    demands = Counter(item[2] for item in kept)
    return Summary(
        len(items),
        dict(sorted(Counter(item[3] for item in items).items())),
        dict(sorted(Counter(item[1] for item in kept).items())),
        {demand: demands[demand] for demand in sorted(demands, key=_difficulty)},
        {name: dict(sorted(statuses.items())) for name, statuses in by_concept.items()},
        thin,
        tuple(name for name, statuses in by_concept.items() if not statuses["live"]),
        {name: dict(sorted(counts.items())) for name, counts in by_system.items()},
        {name: dict(sorted(counts.items())) for name, counts in kinds.items() if counts},
    )


def _difficulty(demand: str) -> tuple[int, str]:
    order = ("rote", "understanding", "application", "correlation")
    return (order.index(demand) if demand in order else len(order), demand)

"""The check of one item's text beside a bank that is loaded already: the same rules, the same findings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.aircraft_lists import records_of
from quizsvc.bank.check import BankCheck, BankText, CheckedItem
from quizsvc.bank.concept import Caution, Concept
from quizsvc.bank.draw import Generator
from quizsvc.bank.functions import library
from quizsvc.bank.item import Context
from quizsvc.errors import Finding

__all__ = ["Loaded", "check_beside"]


@dataclass(frozen=True)
class Loaded:
    """What an item of one folder may refer to. `aircraft_hash` is that of the description as it was loaded."""

    aircraft: Aircraft | None
    aircraft_hash: str | None
    concepts: Sequence[Concept]
    sections: frozenset[str]
    cautions: Sequence[Caution]


def check_beside(text: BankText, loaded: Loaded, *, rng: Generator) -> tuple[tuple[Finding, ...], CheckedItem | None]:
    """Check a text that holds one item.

    Parameters
    ----------
    text : BankText
        Its folder is that of the aircraft, or `general`.
    loaded : Loaded
        The aircraft, concepts, handbook sections and cautions that are loaded.
    rng : Generator
        For the variants of the item.

    Returns
    -------
    findings : tuple of Finding
        All of them, in the order of the text.
    item : CheckedItem or None
        The item; None where it has faults.
    """
    return _Beside(text, loaded, rng).look()


class _Beside(BankCheck):
    def __init__(self, text: BankText, loaded: Loaded, rng: Generator) -> None:
        super().__init__([text], rng, None)
        self.loaded = loaded
        self.cautions.update({caution.id: caution for caution in loaded.cautions})

    def _context(self, folder: str) -> Context:
        found = self.loaded
        return Context(
            folder,
            library(found.aircraft),
            records_of(found.aircraft),
            found.aircraft_hash,
            frozenset(concept.id for concept in found.concepts),
            found.sections,
            frozenset(self.cautions),
            found.aircraft,
            {concept.id: concept.consequence for concept in found.concepts},
            {concept.id: concept.system for concept in found.concepts},
        )

    def look(self) -> tuple[tuple[Finding, ...], CheckedItem | None]:
        items = self._items()
        if self.written > 1:
            what = f"the text holds {self.written} items"
            self.reports[0].fault(None, "bank-item-count", what, "keep one item in a text, and write the others anew")
        self._owed_cautions(items)
        findings = tuple(sorted(finding for report in self.reports for finding in report.findings))
        faulty = any(finding.severity == "fault" for finding in findings)
        return findings, None if faulty or len(items) != 1 else items[0]

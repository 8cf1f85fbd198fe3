"""The whole check of a bank: every finding in one run, and what is left when there is none.

A finding is a fault (the bank is refused whole) or a remark (style and coverage: printed, accepted).
"""

from __future__ import annotations

import hashlib
import json
import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from quizsvc.aircraft.description import Aircraft, read_aircraft
from quizsvc.bank.aircraft_lists import records_of
from quizsvc.bank.block import Report
from quizsvc.bank.concept import (
    Caution,
    Concept,
    PlacedConcept,
    Section,
    check_references,
    read_cautions,
    read_concepts,
    read_sections,
    tables_of,
)
from quizsvc.bank.draw import Generator
from quizsvc.bank.examine import check_formulas
from quizsvc.bank.functions import library
from quizsvc.bank.habits import habits
from quizsvc.bank.handbook import check_figures
from quizsvc.bank.item import Context, ItemText, read_item
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.question import build_item
from quizsvc.bank.style import remark_draws, remark_style
from quizsvc.bank.summary import Summary, summarise
from quizsvc.bank.text import Document, Table, plain, read_text
from quizsvc.bank.trial import Trial, try_item
from quizsvc.errors import Finding

__all__ = ["BankCheck", "BankText", "CheckedBank", "CheckedItem", "canonical_json", "check_bank"]

GENERAL = "general"
_NOT_BANK = ("demo-school.yaml",)
_ITEM = re.compile(r"^- +item:", re.MULTILINE)


@dataclass(frozen=True)
class BankText:
    """One file of a bank: the name that findings show, its folder (`` at the top), its text."""

    name: str
    folder: str
    text: str

    @property
    def base(self) -> str:
        """The last part of the name."""
        return self.name.replace("\\", "/").rsplit("/", 1)[-1]


@dataclass(frozen=True)
class CheckedItem:
    """An item without faults. `body` is canonical, JSON-able and in SI; `hash` covers it whole."""

    id: str
    folder: str
    kind: str
    concept: str
    also: tuple[str, ...]
    status: str
    ramp: bool
    seconds: float
    uses_aircraft: bool
    body: dict[str, Any]
    hash: str
    author: str
    read_by: str | None
    file: str
    line: int
    refused: float
    """Share of its variants that may not be asked; drawing again costs little below one half."""


@dataclass(frozen=True)
class CheckedBank:
    """What a check found. Items with faults are not among `items`."""

    findings: tuple[Finding, ...]
    aircraft: Mapping[str, Aircraft]
    concepts: tuple[Concept, ...]
    sections: tuple[Section, ...]
    cautions: tuple[Caution, ...]
    items: tuple[CheckedItem, ...]
    summary: Summary
    left_out: int = 0
    """How many items the files hold beside `items`: those with faults."""

    @property
    def faults(self) -> list[Finding]:
        """Findings that refuse the bank."""
        return [finding for finding in self.findings if finding.severity == "fault"]

    @property
    def remarks(self) -> list[Finding]:
        """Findings that do not."""
        return [finding for finding in self.findings if finding.severity == "remark"]


def canonical_json(value: Any) -> str:
    """The one JSON text of a value: sorted keys, no blanks, no escapes; what hashes are taken of.

    Parameters
    ----------
    value : JSON-able
        Finite numbers only.

    Returns
    -------
    str
        The text.

    Raises
    ------
    ValueError
        A number that is not finite.
    """
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def _hash(value: Any) -> str:
    return hashlib.sha256(canonical_json(value).encode()).hexdigest()


def check_bank(
    texts: Sequence[BankText], *, rng: Generator, progress: Callable[[int, int], None] | None = None
) -> CheckedBank:
    """Check a bank.

    Parameters
    ----------
    texts : sequence of BankText
        Every file of it.
    rng : Generator
        `random.Random` or alike, for the variants of each item.
    progress : callable, optional
        Called with items done and items in all.

    Returns
    -------
    CheckedBank
        All findings, sorted by file and line, and everything without faults.
    """
    return BankCheck(texts, rng, progress).run()


class BankCheck:
    """One run over some texts; `check_bank` is what most callers want."""

    def __init__(self, texts: Sequence[BankText], rng: Generator, progress: Callable[[int, int], None] | None) -> None:
        self.rng = rng
        self.progress = progress
        self.reports: list[Report] = []
        self.aircraft: dict[str, Aircraft] = {}
        self.broken: set[str] = set()
        self.sections: dict[str, dict[str, Section]] = defaultdict(dict)
        self.concepts: list[PlacedConcept] = []
        self.cautions: dict[str, Caution] = {}
        self.files: dict[str, list[BankText]] = defaultdict(list)
        self.written = 0
        for text in texts:
            self.files[self._sort(text)].append(text)

    @staticmethod
    def _sort(text: BankText) -> str:
        if text.base.endswith(".md"):
            return "handbook" if "/handbook/" in f"/{text.name}".replace("\\", "/") else "other"
        if text.base in _NOT_BANK or not text.base.endswith((".yaml", ".yml")):
            return "other"
        known = {"aircraft.yaml": "aircraft", "concepts.yaml": "concepts", "cautions.yaml": "cautions"}
        return known.get(text.base, "items")

    def run(self) -> CheckedBank:
        """Check everything."""
        for text in self.files["aircraft"]:
            self._aircraft(text)
        for text in self.files["cautions"]:
            document, report = self._read(text)
            self.cautions.update({caution.id: caution for caution in read_cautions(document, report)})
        for text in self.files["handbook"]:
            self._handbook(text)
        for text in self.files["concepts"]:
            document, report = self._read(text)
            self.concepts += read_concepts(
                document, report, text.folder, self.sections[text.folder], text.folder != GENERAL
            )
        check_references(self.concepts)
        items = self._items()
        self._owed_cautions(items)
        self._habits(items)
        concepts = tuple(entry.concept for entry in self.concepts)
        summary = summarise(concepts, [(item.concept, item.kind, item.body["demand"], item.status) for item in items])
        self._coverage(summary)
        return CheckedBank(
            tuple(sorted(finding for report in self.reports for finding in report.findings)),
            MappingProxyType(self.aircraft),
            concepts,
            tuple(section for sections in self.sections.values() for section in sections.values()),
            tuple(self.cautions.values()),
            tuple(items),
            summary,
            self.written - len(items),
        )

    def _report(self, text: BankText) -> Report:
        report = Report(text.name)
        self.reports.append(report)
        return report

    def _read(self, text: BankText) -> tuple[Document, Report]:
        report = self._report(text)
        document = read_text(text.name, text.text)
        report.findings.extend(document.findings)
        return document, report

    def _aircraft(self, text: BankText) -> None:
        document, report = self._read(text)
        if not isinstance(document.root, Table):
            if not document.findings:
                report.fault(None, "bank-file", "the file describes no aircraft", "write its words; see the format")
            self.broken.add(text.folder)
            return
        aircraft, findings = read_aircraft(plain(document.root), document.place, text.name)
        report.findings.extend(findings)
        if aircraft is None:
            self.broken.add(text.folder)
        else:
            self.aircraft[text.folder] = aircraft

    def _handbook(self, text: BankText) -> None:
        report = self._report(text)
        sections = self.sections[text.folder]
        check_figures(text.text, report, self.aircraft.get(text.folder))
        for section, line in read_sections(text.text, report, text.folder, len(sections)):
            if section.id in sections:
                report.fault(
                    (line, 1), "bank-section-twice", f"section '{section.id}' stands twice", "keep one of them"
                )
                continue
            sections[section.id] = section

    def _context(self, folder: str) -> Context:
        aircraft = self.aircraft.get(folder)
        return Context(
            folder,
            library(aircraft),
            records_of(aircraft),
            _hash(aircraft.canonical()) if aircraft else "" if folder in self.broken else None,
            frozenset(entry.concept.id for entry in self.concepts if entry.concept.folder in (GENERAL, folder)),
            frozenset(self.sections[folder]),
            frozenset(self.cautions),
            aircraft,
            {entry.concept.id: entry.concept.consequence for entry in self.concepts},
            {entry.concept.id: entry.concept.system for entry in self.concepts},
        )

    def _items(self) -> list[CheckedItem]:
        contexts: dict[str, Context] = {}
        blocks: list[tuple[Table, Report, Context]] = []
        for text in self.files["items"]:
            document, report = self._read(text)
            if text.folder not in contexts:
                contexts[text.folder] = self._context(text.folder)
            tables = tables_of(document, report, "item")
            blocks += [(table, report, contexts[text.folder]) for table in tables]
            # Where the text of a block cannot be read, its first line still tells that there is an item.
            self.written += max(len(tables), len(_ITEM.findall(text.text)))
        checked: list[CheckedItem] = []
        seen: dict[str, tuple[str, int]] = {}
        for done, (table, report, context) in enumerate(blocks):
            if self.progress is not None:
                self.progress(done, len(blocks))
            # Each item has a report of its own, so that its faults are told from its neighbours'.
            own = Report(report.file)
            self.reports.append(own)
            item = read_item(table, own, context)
            if own.item in seen:
                file, line = seen[own.item]
                what = f"item '{own.item}' stands in {file}, line {line}, too"
                mend = "give this one a new id; ids are never used again"
                own.fault((table.line, table.column), "bank-item-twice", what, mend)
            elif own.item:
                seen[own.item] = report.file, table.line
            if item is not None:
                found = self._finish(item, context)
                if found is not None:
                    checked.append(found)
        if self.progress is not None and blocks:
            self.progress(len(blocks), len(blocks))
        return checked

    def _finish(self, item: ItemText, context: Context) -> CheckedItem | None:
        report = item.report
        if context.folder in self.broken:
            what = "its formulas are not checked: aircraft.yaml cannot be read"
            report.remark(item.place, "bank-aircraft-broken", what, "mend aircraft.yaml first")
            return None
        uses_aircraft = check_formulas(item, context.library, self.rng, item.parts)
        uses_aircraft |= any(entry.get("list") for entry in item.body["draw"])
        uses_aircraft |= KINDS[item.body["kind"]].uses_aircraft(item.body)
        for place, part in enumerate(item.parts):
            uses_aircraft |= check_formulas(part, context.library, self.rng, item.parts[:place])
        body = item.body
        trial: Trial | None = None
        if not report.faults:
            compiled = build_item(body, context.library, context.aircraft)
            trial = try_item(item, compiled, self.rng)
            remark_draws(item, compiled)
        for text in (item, *item.parts):
            remark_style(text)
        if trial is None or report.faults:
            return None
        body["aircraft"] = context.aircraft_hash if uses_aircraft else None
        aircraft = context.aircraft_hash is not None
        for part in body.get("parts", ()):
            part["cautions"] = owed_cautions({**part, "cautions": [*part["cautions"], *body["cautions"]]}, aircraft)
        body["cautions"] = owed_cautions(body, aircraft)
        of_parts = {caution for part in body.get("parts", ()) for caution in part["cautions"]}
        body["cautions"] = sorted({*body["cautions"], *of_parts}, key=_caution_number)
        return CheckedItem(
            item.id,
            item.folder,
            body["kind"],
            body["concept"],
            tuple(body["also"]),
            item.status,
            body["ramp"],
            body["seconds"],
            uses_aircraft,
            body,
            _hash(body),
            item.author,
            item.read_by,
            report.file,
            item.place[0],
            trial.refused_share,
        )

    def _owed_cautions(self, items: Sequence[CheckedItem]) -> None:
        owed = {caution for item in items for caution in item.body["cautions"]}
        missing = sorted(owed - set(self.cautions), key=_caution_number)
        if missing:
            file = self.files["cautions"][0].name if self.files["cautions"] else "cautions.yaml"
            report = Report(file)
            self.reports.append(report)
            report.fault(
                None,
                "bank-caution-missing",
                f"items owe {', '.join(missing)}, and no such caution is written",
                f"add '- caution: {missing[0]}' with its text and where; a bank beside the shipped one takes the text "
                "word for word from there",
            )

    def _habits(self, items: Sequence[CheckedItem]) -> None:
        placed = [(item.file, item.line, item.id, item.body) for item in items if item.status != "withdrawn"]
        for habit in habits(placed):
            report = Report(habit.file, habit.item)
            self.reports.append(report)
            report.remark((habit.line, 3), habit.reference, habit.what, habit.mend)

    def _coverage(self, summary: Summary) -> None:
        """One remark for each concepts file, at its first thin concept."""
        thin: dict[str, list[PlacedConcept]] = defaultdict(list)
        for entry in self.concepts:
            if entry.concept.id in summary.thin:
                thin[entry.report.file].append(entry)
        for entries in thin.values():
            counted = "1 concept has" if len(entries) == 1 else f"{len(entries)} concepts have"
            what = f"{counted} fewer than three items of two kinds"
            mend = "write more items; 'quizsvc bank check --summary' lists them"
            entries[0].report.remark(entries[0].place, "bank-concepts-thin", what, mend)


def _caution_number(caution: str) -> tuple[int, str]:
    digits = caution[1:]
    return (int(digits) if digits.isdigit() else 0, caution)


def owed_cautions(body: Mapping[str, Any], aircraft: bool) -> list[str]:
    """Ids of the cautions an item owes: C2 for the aircraft, C10 for the card, C12 for a regulation, and its own."""
    owed = {*body["cautions"], *KINDS[body["kind"]].cautions(body)}
    if aircraft:
        owed.add("C2")
    if body["how"] == "table":
        owed.add("C10")
    if any(cite["regulation"] for cite in body["cite"]):
        owed.add("C12")
    return sorted(owed, key=_caution_number)

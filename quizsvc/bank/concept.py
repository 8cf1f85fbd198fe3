"""What a bank holds beside its items: concepts, handbook sections, cautions."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from quizsvc.bank.block import Block, Report, nearest
from quizsvc.bank.text import Document, List, Table

__all__ = ["Caution", "Concept", "Section", "find_cycles", "read_cautions", "read_concepts", "read_sections"]

_CONCEPT_ID = re.compile(r"[A-Z][A-Z0-9]*(?:-[A-Z0-9]+)+\Z")
_CAUTION_ID = re.compile(r"C[1-9][0-9]?\Z")
_SECTION = re.compile(r"##\s+([A-Za-z0-9][A-Za-z0-9-]*)\s+(\S.*?)\s*#*\Z")
_WHATS = ("recall", "predict", "compute", "choose")


@dataclass(frozen=True)
class Concept:
    """One thing that can be known; `first` names what to hold before it."""

    id: str
    folder: str
    title: str
    system: str
    handbook: str | None
    what: tuple[str, ...]
    consequence: int
    first: tuple[str, ...]


@dataclass(frozen=True)
class Section:
    """One section of a handbook; `body` is Markdown without its heading."""

    folder: str
    id: str
    title: str
    body: str
    position: int


@dataclass(frozen=True)
class Caution:
    """A caution text and where it is owed."""

    id: str
    text: str
    where: str


@dataclass(frozen=True)
class PlacedConcept:
    """A concept, and where its file says what."""

    concept: Concept
    report: Report
    place: tuple[int, int]
    first_places: tuple[tuple[int, int], ...]


def tables_of(document: Document, report: Report, name: str) -> tuple[Table, ...]:
    """The blocks of a file that is a list of blocks."""
    root = document.root
    if root is None:
        return ()
    if not isinstance(root, List):
        report.fault(root, "bank-file", f"the file is no list of {name}s", f"start each with '- {name}: ...'")
        return ()
    found: list[Table] = []
    for entry in root.entries:
        if isinstance(entry, Table):
            found.append(entry)
        else:
            report.fault(entry, "bank-file", f"an entry is no {name}", f"start each with '- {name}: ...'")
    return tuple(found)


def read_concepts(
    document: Document, report: Report, folder: str, sections: Mapping[str, Section], aircraft: bool
) -> list[PlacedConcept]:
    """The concepts of one file; references among concepts are checked by `find_cycles` when all are read."""
    found: list[PlacedConcept] = []
    for table in tables_of(document, report, "concept"):
        block = Block(table, report, "concept")
        concept_id = block.text("concept", required=True) or ""
        report.item = concept_id
        if concept_id and not _CONCEPT_ID.match(concept_id):
            report.fault(
                block.at("concept"), "bank-id", f"'{concept_id}' is no concept id", "use capitals and a hyphen: H-GATE"
            )
        title = block.text("title", required=True) or ""
        system = block.text("system", required=True) or ""
        handbook = block.text("handbook", required=aircraft)
        if handbook is not None and handbook not in sections:
            mend = nearest(handbook, sections) or f"add '## {handbook} Title' to a file of handbook/"
            report.fault(block.at("handbook"), "bank-section-unknown", f"unknown handbook section '{handbook}'", mend)
        whats = block.scalars("what", required=True, one=True)
        for scalar in whats:
            if scalar.text not in _WHATS:
                report.fault(scalar, "bank-word-value", f"'{scalar.text}' is no 'what'", nearest(scalar.text, _WHATS))
        consequence = block.choice("consequence", ("1", "2", "3"), required=True)
        first = block.scalars("first", one=True)
        block.done()
        concept = Concept(
            concept_id,
            folder,
            title,
            system,
            handbook,
            tuple(scalar.text for scalar in whats),
            int(consequence or 1),
            tuple(scalar.text for scalar in first),
        )
        places = tuple((scalar.line, scalar.column) for scalar in first)
        found.append(PlacedConcept(concept, report, block.place, places))
    report.item = ""
    return found


def check_references(placed: Sequence[PlacedConcept]) -> None:
    """Find concepts given twice, prerequisites that do not exist or stand in another aircraft's folder, and cycles."""
    by_id: dict[str, PlacedConcept] = {}
    for entry in placed:
        concept, report = entry.concept, entry.report
        report.item = concept.id
        if concept.id in by_id:
            other = by_id[concept.id]
            report.fault(
                entry.place,
                "bank-concept-twice",
                f"concept '{concept.id}' stands in {other.report.file}, line {other.place[0]}, too",
                "rename one of them",
            )
            continue
        by_id[concept.id] = entry
    for entry in by_id.values():
        concept, report = entry.concept, entry.report
        report.item = concept.id
        reachable = [name for name, other in by_id.items() if other.concept.folder in ("general", concept.folder)]
        for name, place in zip(concept.first, entry.first_places, strict=True):
            if name not in reachable:
                report.fault(
                    place,
                    "bank-concept-unknown",
                    f"unknown concept '{name}' under 'first'",
                    nearest(name, reachable) or "add it to concepts.yaml, or take it out",
                )
    for cycle in find_cycles({name: entry.concept.first for name, entry in by_id.items()}):
        entry = by_id[cycle[0]]
        entry.report.item = cycle[0]
        entry.report.fault(
            entry.first_places[entry.concept.first.index(cycle[1])],
            "bank-concept-cycle",
            f"each is to be held before the other: {' <- '.join(cycle)}",
            "take one 'first' out",
        )
    for entry in placed:
        entry.report.item = ""


def find_cycles(first: Mapping[str, Sequence[str]]) -> list[tuple[str, ...]]:
    """Cycles among prerequisites, each once, as paths that end where they begin.

    Parameters
    ----------
    first : mapping of str to sequence of str
        What stands before each concept; unknown names are passed over.

    Returns
    -------
    list of tuple of str
        Empty where there is none.
    """
    done: set[str] = set()
    cycles: list[tuple[str, ...]] = []
    for start in first:
        if start in done:
            continue
        path: list[str] = []
        on_path: set[str] = set()
        stack: list[tuple[str, int]] = [(start, 0)]
        while stack:
            name, position = stack.pop()
            if position == 0:
                path.append(name)
                on_path.add(name)
            following = [other for other in first[name] if other in first]
            if position < len(following):
                stack.append((name, position + 1))
                other = following[position]
                if other in on_path:
                    cycles.append((*path[path.index(other) :], other))
                elif other not in done:
                    stack.append((other, 0))
                continue
            done.add(name)
            on_path.discard(path.pop())
    return cycles


def read_sections(text: str, report: Report, folder: str, position: int) -> list[tuple[Section, int]]:
    """The sections of one handbook file with their lines: each `## 21-30 Title` starts one.

    Parameters
    ----------
    text : str
        Markdown.
    report : Report
        Gets a fault for a heading without a title.
    folder : str
        The aircraft's folder.
    position : int
        Position of the first section in the handbook.

    Returns
    -------
    list of (Section, int)
        In the order of the text.
    """
    found: list[tuple[Section, int]] = []
    current: tuple[str, str, int] | None = None
    body: list[str] = []

    def close() -> None:
        if current is not None:
            section_id, title, line = current
            content = "\n".join(body).strip()
            if not content:
                report.fault(
                    (line, 1), "bank-section-empty", f"section '{section_id}' is empty", "write it, or take it out"
                )
            found.append((Section(folder, section_id, title, content, position + len(found)), line))

    fenced = False
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("```"):
            fenced = not fenced
        if line.startswith("## ") and not fenced:
            close()
            match = _SECTION.match(line)
            if match is None:
                report.fault(
                    (number, 1),
                    "bank-section",
                    f"heading '{line.strip()[:60]}' has no id and title",
                    "write '## 21-30 High-field regime'",
                )
                current = None
            else:
                current = match.group(1), match.group(2), number
            body = []
        else:
            body.append(line)
    close()
    return found


def read_cautions(document: Document, report: Report) -> list[Caution]:
    """The caution texts of one file."""
    found: dict[str, Caution] = {}
    for table in tables_of(document, report, "caution"):
        block = Block(table, report, "caution")
        caution_id = block.text("caution", required=True) or ""
        report.item = caution_id
        if caution_id and not _CAUTION_ID.match(caution_id):
            report.fault(block.at("caution"), "bank-id", f"'{caution_id}' is no caution id", "use C and a number: C1")
        if caution_id in found:
            report.fault(block.at("caution"), "bank-caution-twice", f"caution '{caution_id}' stands twice", "keep one")
        text = block.text("text", required=True) or ""
        where = block.text("where", required=True) or ""
        block.done()
        if caution_id:
            found[caution_id] = Caution(caution_id, text, where)
    report.item = ""
    return list(found.values())

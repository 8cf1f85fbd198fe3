"""One item block of a bank text: words, types and references checked, and turned into its body.

The body is what a revision stores and everything later works from: JSON-able, quantities in SI, formulas as text. Who
read the item and its status are no part of it, so a second reader's name makes no new revision.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.block import ITEM_ID, Block, Report, nearest
from quizsvc.bank.draw import Records, name_is_free, read_draws
from quizsvc.bank.functions import Library
from quizsvc.bank.item_kinds import hold_count, hold_length, is_short, words
from quizsvc.bank.kinds import KINDS as MODULES
from quizsvc.bank.text import Scalar, Table

__all__ = ["DRILLED", "FORMAT", "KINDS", "Context", "ItemText", "read_item", "read_part"]

FORMAT = 1
KINDS = ("one", "some", "order", "match", "number", "gauge", "profile", "still-works", "scenario", "say")
DRILLED = tuple(MODULES)
DEMANDS = ("rote", "understanding", "application", "correlation")
STATUSES = ("draft", "read", "live", "withdrawn")
HOWS = ("mental", "table", "calc")
SECONDS_BY_HOW: Mapping[str, float] = {"mental": 45.0, "table": 75.0, "calc": 90.0}
SECONDS_TO_READ = 20.0
"""What a scenario's situation takes to read, beside its parts."""
LONGEST_STEM = 60
MOST_OPTIONS = 5

_REGULATION = re.compile(r"\b(CFR|FAR|EASA|CS[- ]?[0-9]{2}|Regulation|Annex)\b")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")


@dataclass(frozen=True)
class Context:
    """What items of one folder may refer to. `aircraft_hash` is None in a folder without an aircraft."""

    folder: str
    library: Library
    records: Records
    aircraft_hash: str | None
    concepts: frozenset[str]
    sections: frozenset[str]
    cautions: frozenset[str]
    aircraft: Aircraft | None = None
    consequence: Mapping[str, int] = field(default_factory=dict)
    """How much a concept matters, 1 to 3, by its id."""
    systems: Mapping[str, str] = field(default_factory=dict)
    """The system of a concept, by its id."""


@dataclass
class ItemText:
    """A read item: its body, and where its formulas and texts stand in the file."""

    id: str
    folder: str
    body: dict[str, Any]
    status: str
    author: str
    read_by: str | None
    report: Report
    place: tuple[int, int]
    places: dict[str, Scalar] = field(default_factory=dict)
    """`stem`, `why`, `answer`, `let/NAME`, `refuse/0`, `options/ID`, `traps/ID/value`, `traps/ID/when`."""
    broken: list[str] = field(default_factory=list)
    """Names of draws that could not be read; formulas may use them, their values are unknown."""
    parts: list[ItemText] = field(default_factory=list)
    """What a scenario consists of."""


def read_item(table: Table, report: Report, context: Context) -> ItemText | None:
    """Read one item block.

    Parameters
    ----------
    table : Table
        The block.
    report : Report
        Gets every finding; its `item` is set.
    context : Context
        What the item may refer to.

    Returns
    -------
    ItemText or None
        The item, with or without faults; None where its kind is unknown or not drilled.
    """
    block = Block(table, report, "item")
    item_id = block.text("item", required=True) or ""
    report.item = item_id
    if item_id and not ITEM_ID.match(item_id):
        report.fault(block.at("item"), "bank-id", f"'{item_id}' is no item id", "use a-z, 0-9 and single hyphens")
    kind = block.choice("kind", KINDS, required=True)
    if kind is not None and kind not in DRILLED:
        report.fault(
            block.at("kind"),
            "bank-kind-not-drilled",
            f"kind '{kind}' is not yet drilled by this version",
            f"use {', '.join(DRILLED)}, or keep the item out of the bank until then",
        )
        return None
    body: dict[str, Any] = {"format": FORMAT, "id": item_id, "folder": context.folder, "kind": kind}
    item = ItemText(item_id, context.folder, body, "", "", None, report, block.place)
    _read_common(block, item, context)
    _read_numbers(block, item, context)
    if kind is not None:
        MODULES[kind].read(block, item, context)
    _read_status(block, item)
    if kind is not None:
        _read_effort(block, item, kind)
        block.done()
    return item if kind is not None else None


def read_part(block: Block, whole: ItemText, context: Context, part: str, kind: str, follow: list[Any]) -> ItemText:
    """Read one part of a scenario: an item of its own with the scenario's draws, lets, demand and handbook.

    Parameters
    ----------
    block : Block
        The part; `id`, `kind`, `reveal` and `follow` have been read.
    whole : ItemText
        The scenario; its report gets every finding.
    context : Context
        What the item may refer to.
    part, kind : str
        Its id and kind.
    follow : list
        The earlier parts whose answers its formulas may name: id, unit and dimension of each.

    Returns
    -------
    ItemText
        The part, with or without faults.
    """
    body: dict[str, Any] = {"format": FORMAT, "id": whole.id, "folder": whole.folder, "kind": kind, "part": part}
    item = ItemText(whole.id, whole.folder, body, "", "", None, whole.report, block.place, broken=list(whole.broken))
    _read_common(block, item, context, whole.body)
    _read_numbers(block, item, context, whole.body, [entry["part"] for entry in follow])
    body["follow"] = follow
    MODULES[kind].read(block, item, context)
    _read_effort(block, item, kind)
    block.done()
    return item


def _read_common(block: Block, item: ItemText, context: Context, whole: Mapping[str, Any] | None = None) -> None:
    body, report = item.body, item.report
    body["concept"] = _concept(block.scalar("concept", required=True), report, context)
    also = [_concept(scalar, report, context) for scalar in block.scalars("also", one=True)]
    body["also"] = [name for name in also if name is not None]
    if body["concept"] in body["also"]:
        report.fault(
            block.at("also"), "bank-also", f"'{body['concept']}' is the concept itself", "take it out of 'also'"
        )
    body["demand"] = block.choice("demand", DEMANDS, required=whole is None) or (whole and whole["demand"])
    own_section = whole is None or block.has("handbook")
    body["handbook"] = _handbook(block, report, context) if own_section else whole and whole["handbook"]
    body["cite"] = _read_cites(block, report, str(body["concept"])) or list(whole["cite"] if whole else ())
    for word in ("stem", "why"):
        scalar = block.scalar(word, required=True)
        body[word] = scalar.text.strip() if scalar else ""
        if scalar:
            hold_length(scalar, report)
            item.places[word] = scalar
    own: list[str] = []
    for scalar in block.scalars("caution", one=True):
        if scalar.text in context.cautions:
            own.append(scalar.text)
        else:
            mend = nearest(scalar.text, context.cautions) or "add it to cautions.yaml"
            report.fault(scalar, "bank-caution-unknown", f"unknown caution '{scalar.text}'", mend)
    body["cautions"] = own


def _concept(scalar: Scalar | None, report: Report, context: Context) -> str | None:
    if scalar is None:
        return None
    if scalar.text not in context.concepts:
        mend = nearest(scalar.text, context.concepts) or "add it to concepts.yaml of this folder or of general"
        report.fault(scalar, "bank-concept-unknown", f"unknown concept '{scalar.text}'", mend)
        return None
    return scalar.text


def _handbook(block: Block, report: Report, context: Context) -> str | None:
    section = block.text("handbook", required=context.aircraft_hash is not None)
    if section is not None and section not in context.sections:
        mend = nearest(section, context.sections) or f"add '## {section} Title' to a file of handbook/"
        report.fault(block.at("handbook"), "bank-section-unknown", f"unknown handbook section '{section}'", mend)
    return section


def _read_cites(block: Block, report: Report, concept: str) -> list[dict[str, Any]]:
    cites: list[dict[str, Any]] = []
    for cite in block.blocks("cite", "cite", one=True):
        source = cite.text("source", required=True) or ""
        read_on = cite.text("read-on")
        if read_on is not None and not _is_date(read_on):
            report.fault(cite.at("read-on"), "bank-date", f"'{read_on}' is no date", "write year-month-day: 2026-11-25")
        cite.done()
        regulation = bool(_REGULATION.search(source)) or concept.startswith("Z-")
        cites.append({"source": source, "read-on": read_on, "regulation": regulation})
    return cites


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.match(text)) and bool(datetime.date.fromisoformat(text))
    except ValueError:
        return False


def _read_numbers(
    block: Block,
    item: ItemText,
    context: Context,
    whole: Mapping[str, Any] | None = None,
    follow: Sequence[str] = (),
) -> None:
    """`draw`, `let` and `refuse`; their formulas are compiled later, when every name is known."""
    body, report = item.body, item.report
    lets: list[dict[str, Any]] = []
    if whole is None:
        body["draw"], item.broken = read_draws(block, report, context.library, context.records)
    else:
        body["draw"] = whole["draw"]
        lets += whole["let"]
    taken = {name for entry in body["draw"] for name in (*entry["dimensions"], entry["name"])} | set(item.broken)
    taken |= {*follow, *(entry["name"] for entry in lets)}
    for name, place, node in block.map("let"):
        if not isinstance(node, Scalar) or not node.text.strip():
            item.broken.append(name)
            report.fault(
                place,
                "bank-let",
                f"'{name}' is no formula",
                "write 'name: formula'; one with a comma inside { } needs quotes",
            )
        elif name_is_free(name, place, report, context.library, taken, "let"):
            lets.append({"name": name, "formula": node.text})
            item.places[f"let/{name}"] = node
        else:
            item.broken.append(name)
    body["let"] = lets
    hold_count(block, "let", len(lets), report)
    hold_count(block, "draw", len(body["draw"]), report)
    refuse = block.scalars("refuse", one=True)
    body["refuse"] = [scalar.text for scalar in refuse]
    hold_count(block, "refuse", len(refuse), report)
    item.places.update({f"refuse/{place}": scalar for place, scalar in enumerate(refuse)})


def _read_effort(block: Block, item: ItemText, kind: str) -> None:
    body, report = item.body, item.report
    body["how"] = block.choice("how", HOWS, required=True) if kind == "number" else None
    seconds = block.number("seconds")
    if seconds is not None and not 1 <= seconds <= 3600:
        report.fault(block.at("seconds"), "bank-number", f"{seconds:g} seconds", "write between 1 and 3600")
    usual = SECONDS_BY_HOW.get(body["how"], MODULES[kind].seconds)
    if body.get("parts"):
        usual = SECONDS_TO_READ + sum(part["seconds"] for part in body["parts"])
    body["seconds"] = seconds if seconds is not None else usual
    ramp = block.flag("ramp")
    options = body.get("options", [])
    if ramp is None:
        ramp = (
            words(body["stem"]) <= LONGEST_STEM
            and len(options) <= MOST_OPTIONS
            and all(is_short(option["text"]) for option in options)
            and MODULES[kind].ramp(body)
        )
    body["ramp"] = ramp


def _read_status(block: Block, item: ItemText) -> None:
    report = item.report
    item.author = block.text("author", required=True) or ""
    item.read_by = block.text("read-by")
    item.status = block.choice("status", STATUSES, required=True) or ""
    if item.status not in ("read", "live"):
        return
    if item.read_by is None:
        report.fault(
            block.at("status"),
            "bank-unread",
            f"status '{item.status}' without 'read-by'",
            "have a second person read it, or set 'status: draft'",
        )
    elif item.read_by.casefold() == item.author.casefold():
        report.fault(
            block.at("read-by"),
            "bank-read-by-author",
            f"'{item.read_by}' wrote the item and reads it",
            "have another person read it, or set 'status: draft'",
        )
    # A part without a cite of its own has its scenario's, which is found there.
    whole = item.body["cite"]
    cited = [(block.at("cite"), whole), *((part.place, part.body["cite"]) for part in item.parts)]
    for place, cites in cited:
        unread = [cite["source"] for cite in cites if cite["regulation"] and cite["read-on"] is None]
        if unread and (cites is whole or cites != whole):
            report.fault(
                place,
                "bank-regulation-unread",
                f"'{unread[0]}' is cited without 'read-on'",
                "open the regulation and add 'read-on: date', or set 'status: draft'",
            )

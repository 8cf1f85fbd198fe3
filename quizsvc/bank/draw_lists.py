"""Draws from the lists of an aircraft: airfields, failures, loads; one entry, or some of them with their totals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from quizsvc.bank.block import Block, Report
from quizsvc.bank.text import Scalar, Table
from quizsvc.physics.units import UNITS, format_quantity, from_si

__all__ = ["Record", "Records", "listed_by_id", "read_list", "record_choice", "record_subset"]


@dataclass(frozen=True)
class Record:
    """One entry of a list of the aircraft: its name, and its further texts and quantities (SI, unit) by word."""

    name: str
    texts: Mapping[str, str]
    numbers: Mapping[str, tuple[float, str]]


Records: TypeAlias = Mapping[str, Sequence[Record]]
"""The lists of an aircraft that can be drawn from, by name."""


def listed_by_id(scalars: Sequence[Scalar], records: Records) -> tuple[str, list[Record]] | None:
    """The entries of one list of the aircraft that the words are ids of; None where they are other words."""
    for list_name, entries in records.items():
        by_id = {entry.texts["id"]: entry for entry in entries if "id" in entry.texts}
        chosen = [by_id.get(scalar.text.strip()) for scalar in scalars]
        if chosen and all(chosen):
            return list_name, [entry for entry in chosen if entry is not None]
    return None


def read_list(node: Scalar, form: Block, report: Report, records: Records) -> tuple[str, Sequence[Record], str] | None:
    """A list by name, `airfields` or `airfields.elevation`, narrowed by `where`; None after a fault.

    Parameters
    ----------
    node : Scalar
        The name as written.
    form : Block
        The draw, for its `where: {bus: [ESS, HOT]}`: texts that an entry must have one of.
    report : Report
        Where findings go.
    records : mapping
        The aircraft's lists.

    Returns
    -------
    tuple of (str, sequence of Record, str) or None
        Name of the list, its entries, and the one number asked for (empty for the whole entry).
    """
    list_name, _, word = node.text.strip().partition(".")
    entries: Sequence[Record] = records.get(list_name, ())
    if not entries:
        known = ", ".join(sorted(records)) or "none: there is no aircraft here"
        report.fault(
            node, "bank-draw-list", f"'{list_name}' is no list of the aircraft", f"lists: {known}; or write [a, b]"
        )
        return None
    if word and word not in entries[0].numbers:
        report.fault(
            node,
            "bank-draw-list",
            f"'{word}' is no number of {list_name}",
            f"numbers: {', '.join(entries[0].numbers) or 'none'}",
        )
        return None
    chosen = _where(form, list_name, entries, report)
    return None if chosen is None else (list_name, chosen, word)


def _where(form: Block, list_name: str, entries: Sequence[Record], report: Report) -> Sequence[Record] | None:
    node = form.node("where")
    if node is None:
        return entries
    if not isinstance(node, Table):
        report.fault(node, "bank-draw-where", "'where' is no map", "write it such as where: {bus: [ESS, HOT]}")
        return None
    narrowing = Block(node, report, "where")
    for word in node.entries:
        wanted = {scalar.text.strip() for scalar in narrowing.scalars(word, required=True, one=True)}
        present = {entry.texts[word] for entry in entries if word in entry.texts}
        unknown = sorted(wanted - present)
        if unknown or not wanted:
            known = sorted({key for entry in entries for key in entry.texts})
            mend = f"known: {', '.join(sorted(present))}" if present else f"texts of {list_name}: {', '.join(known)}"
            what = f"no entry of {list_name} has {word} {', '.join(unknown)}" if unknown else f"'{word}' is empty"
            report.fault(narrowing.at(word), "bank-draw-where", what, mend)
            return None
        entries = [entry for entry in entries if entry.texts.get(word) in wanted]
    if not entries:
        report.fault(form.at("where"), "bank-draw-where", f"no entry of {list_name} fits all of it", "ask for less")
        return None
    return entries


def record_choice(name: str, list_name: str, entries: Sequence[Record], word: str = "") -> dict[str, Any]:
    """A choice among entries of a list: each gives its name, texts and quantities, or the one quantity asked for."""
    options: list[dict[str, Any]] = []
    decimals = _decimals(entries)
    for entry in entries:
        numbers = {name: entry.numbers[word]} if word else {f"{name}_{key}": n for key, n in entry.numbers.items()}
        shown = {} if word else {name: entry.name, **{f"{name}_{key}": text for key, text in entry.texts.items()}}
        for key in (word,) if word else entry.numbers:
            value, unit = entry.numbers[key]
            shown[name if word else f"{name}_{key}"] = format_quantity(value, unit, decimals[key])
        options.append({"shown": shown, "values": {key: value for key, (value, _) in numbers.items()}})
    dimensions = {key: UNITS[unit].dimension for key, (_, unit) in numbers.items()}
    return {"name": name, "form": "choice", "list": list_name, "options": options, "dimensions": dimensions}


def record_subset(name: str, list_name: str, entries: Sequence[Record], count: int) -> dict[str, Any]:
    """Some entries of a list: a draw named `off` gives their names, and `off_amps_total` for a number `amps`."""
    decimals = _decimals(entries)
    units = {f"{name}_{key}_total": unit for key, (_, unit) in entries[0].numbers.items()}
    totals = {
        f"{name}_{key}_total": {"unit": unit, "decimals": decimals[key]}
        for key, (_, unit) in entries[0].numbers.items()
    }
    options = [
        {
            "shown": entry.name,
            "values": {f"{name}_{key}_total": value for key, (value, _) in entry.numbers.items()},
        }
        for entry in entries
    ]
    return {
        "name": name, "form": "subset", "list": list_name, "options": options, "count": count, "totals": totals,
        "dimensions": {total: UNITS[unit].dimension for total, unit in units.items()},
    }  # fmt: skip


def _decimals(entries: Sequence[Record]) -> dict[str, int]:
    """Digits after the point that each number of a list needs in its unit, three at the most."""
    found: dict[str, int] = {}
    for entry in entries:
        for key, (value, unit) in entry.numbers.items():
            number = from_si(value, unit)
            digits = next((d for d in range(3) if abs(round(number, d) - number) <= 1e-6), 3)
            found[key] = max(found.get(key, 0), digits)
    return found

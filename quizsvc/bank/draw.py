"""Draws: the numbers and names that make one question of an item.

In a checked item a draw is one of three shapes: `range` (from, step and count in the unit it is shown in), `choice`
(each option gives texts and SI values to one or more names), `subset` (some of a list).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product
from typing import Any, Protocol, TypeAlias

from quizsvc.bank.block import NAME, Block, Report
from quizsvc.bank.draw_lists import Record, Records, listed_by_id, read_list, record_choice, record_subset
from quizsvc.bank.functions import NAMED_UNITS, Library
from quizsvc.bank.quantity import BankQuantity, number_in, read_bank_quantity, span_in
from quizsvc.bank.text import Node, Scalar, Table
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, format_quantity, to_si

__all__ = ["DrawError", "Drawn", "Draws", "Generator", "Record", "Records", "read_draws"]

MAX_COUNT = 100_000

Drawn: TypeAlias = dict[str, dict[str, Any]]
"""What was drawn: each name's `shown` text, and its `si` value where it is a quantity. JSON-able."""


class DrawError(InputError):
    """No draw was accepted within the bounded number of tries."""


class Generator(Protocol):
    """The part of `random.Random` that drawing uses."""

    def randrange(self, stop: int, /) -> int: ...
    def shuffle(self, x: list[str], /) -> None: ...
    def sample(self, population: Sequence[int], /, k: int) -> list[int]: ...


@dataclass(frozen=True)
class Draws:
    """The draws of one item, from its checked body."""

    entries: tuple[Mapping[str, Any], ...]

    @property
    def shown(self) -> tuple[str, ...]:
        """Names that have a text of their own."""
        return tuple(name for entry in self.entries for name in _names(entry))

    @property
    def dimensions(self) -> dict[str, str]:
        """Dimension of each name that is a quantity."""
        return {name: dimension for entry in self.entries for name, dimension in entry["dimensions"].items()}

    @property
    def combinations(self) -> int:
        """How many different draws there are (subsets counted as one)."""
        total = 1
        for entry in self.entries:
            total *= _count(entry)
        return total

    def draw(self, rng: Generator) -> Drawn:
        """One draw."""
        drawn: Drawn = {}
        for entry in self.entries:
            if entry["form"] == "subset":
                picked = sorted(rng.sample(range(len(entry["options"])), k=entry["count"]))
                drawn.update(_subset(entry, picked))
            else:
                drawn.update(_at(entry, rng.randrange(_count(entry))))
        return drawn

    def all(self, most: int) -> Iterator[Drawn]:
        """Every draw in order, for items without subsets; at most so many."""
        for places in islice(product(*(range(_count(entry)) for entry in self.entries)), most):
            drawn: Drawn = {}
            for entry, place in zip(self.entries, places, strict=True):
                drawn.update(_at(entry, place))
            yield drawn

    @property
    def has_subset(self) -> bool:
        """Whether some draw takes several entries of a list."""
        return any(entry["form"] == "subset" for entry in self.entries)


def _count(entry: Mapping[str, Any]) -> int:
    return (
        int(entry["count"]) if entry["form"] == "range" else len(entry["options"]) if entry["form"] == "choice" else 1
    )


def _names(entry: Mapping[str, Any]) -> tuple[str, ...]:
    if entry["form"] == "choice":
        return tuple(entry["options"][0]["shown"])
    if entry["form"] == "subset" and entry["dimensions"]:
        return entry["name"], *entry["dimensions"]
    return (entry["name"],)


def _at(entry: Mapping[str, Any], place: int) -> Drawn:
    if entry["form"] == "range":
        number = float(f"{entry['from'] + place * entry['step']:.12g}")
        value = to_si(number, entry["unit"])
        return {entry["name"]: {"shown": format_quantity(value, entry["unit"], entry["decimals"]), "si": value}}
    option = entry["options"][place]
    return {
        name: {"shown": shown, "si": option["values"][name]} if name in option["values"] else {"shown": shown}
        for name, shown in option["shown"].items()
    }


def _subset(entry: Mapping[str, Any], picked: Sequence[int]) -> Drawn:
    options = [entry["options"][place] for place in picked]
    texts = [option["shown"] for option in options]
    text = texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"
    drawn: Drawn = {entry["name"]: {"shown": text}}
    for total_name, shown in entry.get("totals", {}).items():
        total = sum(option["values"][total_name] for option in options)
        drawn[total_name] = {"shown": format_quantity(total, shown["unit"], shown["decimals"]), "si": total}
    if entry["dimensions"] and "totals" not in entry:
        total = sum(option["value"] for option in options)
        drawn[f"{entry['name']}_total"] = {
            "shown": format_quantity(total, entry["unit"], entry["decimals"]),
            "si": total,
        }
    return drawn


# --- reading --------------------------------------------------------------------------------------------------------


def read_draws(
    block: Block, report: Report, library: Library, records: Records
) -> tuple[list[dict[str, Any]], list[str]]:
    """The `draw` word of an item as checked entries; faults go to the report.

    Parameters
    ----------
    block : Block
        The item.
    report : Report
        Where findings go.
    library : Library
        Whose names a draw may not take.
    records : mapping
        The aircraft's lists.

    Returns
    -------
    entries : list of dict
        JSON-able, for `Draws`.
    broken : list of str
        Names of draws with a fault, a taken name too, so that formulas with them are not found faulty too.
    """
    entries: list[dict[str, Any]] = []
    broken: list[str] = []
    taken: set[str] = set()
    for name, place, node in block.map("draw"):
        broken.append(name)
        if not name_is_free(name, place, report, library, taken):
            continue
        if not isinstance(node, Table):
            report.fault(
                node,
                "bank-draw",
                f"draw '{name}' is no map",
                "write {from: ..., to: ..., step: ...} or {one-of: [...]}",
            )
            continue
        form = Block(node, report, f"draw '{name}'")
        entry = _read_form(form, name, report, records)
        form.done()
        if entry is not None:
            entries.append(entry)
            broken.remove(name)
            taken.update(_names(entry))
    return entries, broken


def name_is_free(
    name: str, place: tuple[int, int] | Node, report: Report, library: Library, taken: set[str], what: str = "draw"
) -> bool:
    """Whether a name may be declared; finds what stands against it."""
    if not NAME.match(name):
        report.fault(
            place, "bank-name", f"'{name}' is no name for a {what}", "use a-z, 0-9 and _, beginning with a letter"
        )
        return False
    clash = (
        "an earlier draw or let"
        if name in taken
        else "a unit"
        if name in NAMED_UNITS or name in UNITS
        else "a function"
        if name in library.functions or name in library.aircraft_only
        else "a number of the aircraft"
        if name in library.constants
        else "the key"
        if name == "answer"
        else "a word of formulas"
        if name in ("if", "else", "and", "or", "not", "in", "is", "for", "lambda")
        else ""
    )
    if clash:
        report.fault(place, "bank-name-taken", f"'{name}' is {clash}", "take another name")
        return False
    taken.add(name)
    return True


def _read_form(form: Block, name: str, report: Report, records: Records) -> dict[str, Any] | None:
    if form.has("one-of"):
        return _read_one_of(form, name, report, records)
    if form.has("some-of"):
        return _read_some_of(form, name, report, records)
    if form.has("from"):
        return _read_range(form, name, report)
    form.ignore(form.table.entries)
    report.fault(
        form.place,
        "bank-draw",
        f"draw '{name}' has no form",
        "write {from: ..., to: ..., step: ...} or {one-of: [...]}",
    )
    return None


def _read_range(form: Block, name: str, report: Report) -> dict[str, Any] | None:
    first, last, step = (form.quantity(word, required=True) for word in ("from", "to", "step"))
    if first is None or last is None or step is None:
        return None
    for word, other in (("to", last), ("step", step)):
        if other.dimension != first.dimension:
            report.fault(
                form.at(word),
                "bank-draw-dimension",
                f"'{word}' of '{name}' is a {other.dimension} ({other.unit}), 'from' is a {first.dimension}",
                "write all three in units of one dimension",
            )
            return None
    start, end, by = first.number, number_in(last, first.unit), span_in(step, first.unit)
    if by <= 0:
        report.fault(form.at("step"), "bank-draw-step", f"step of '{name}' is not above 0", "write a positive step")
        return None
    if end < start:
        report.fault(form.at("to"), "bank-draw-empty", f"'to' of '{name}' is below 'from'", "exchange them")
        return None
    steps = (end - start) / by
    if steps > MAX_COUNT:
        report.fault(
            form.at("step"), "bank-draw-step", f"'{name}' has more than {MAX_COUNT:,} values", "take a larger step"
        )
        return None
    if abs(steps - round(steps)) > 1e-6:
        report.remark(
            form.at("to"),
            "bank-draw-end",
            f"'to' of '{name}' is not reached: no whole number of steps leads to it",
            "end the range on a step",
        )
    decimals = (
        0
        if first.unit == "FL"
        else max(quantity.decimals for quantity in (first, last, step) if quantity.unit == first.unit)
    )
    return {
        "name": name, "form": "range", "unit": first.unit, "from": start, "step": by, "count": int(steps + 1e-6) + 1,
        "decimals": decimals, "dimensions": {name: first.dimension},
    }  # fmt: skip


def _read_one_of(form: Block, name: str, report: Report, records: Records) -> dict[str, Any] | None:
    node = form.node("one-of")
    if isinstance(node, Scalar):
        found = read_list(node, form, report, records)
        return record_choice(name, *found) if found else None
    scalars = form.scalars("one-of", required=True)
    listed = listed_by_id(scalars, records)
    quantities: list[BankQuantity] | None = [] if listed else _quantities(scalars, name, report)
    if not scalars or quantities is None:
        return None
    if len({scalar.text for scalar in scalars}) < len(scalars):
        report.fault(form.at("one-of"), "bank-draw-twice", f"'{name}' lists a value twice", "list each value once")
        return None
    if listed:
        return record_choice(name, *listed)
    options: list[dict[str, Any]] = []
    for place, scalar in enumerate(scalars):
        if quantities:
            quantity = quantities[place]
            shown = format_quantity(quantity.value_si, quantity.unit, quantity.decimals)
            options.append({"shown": {name: shown}, "values": {name: quantity.value_si}})
        else:
            options.append({"shown": {name: scalar.text.strip()}, "values": {}})
    dimensions = {name: quantities[0].dimension} if quantities else {}
    return {"name": name, "form": "choice", "options": options, "dimensions": dimensions}


def _quantities(scalars: Sequence[Scalar], name: str, report: Report) -> list[BankQuantity] | None:
    """All entries as quantities of one dimension; an empty list where all are words; None after a fault."""
    found: list[BankQuantity] = []
    words: list[Scalar] = []
    for scalar in scalars:
        try:
            found.append(read_bank_quantity(scalar.text))
        except InputError as error:
            if scalar.text[:1].isdigit() or scalar.text[:2].lstrip("-")[:1].isdigit():
                report.error(scalar, error)
                return None
            words.append(scalar)
    if found and words:
        report.fault(
            words[0],
            "bank-draw-mixed",
            f"'{name}' mixes quantities and words ('{words[0].text}')",
            "list only one sort",
        )
        return None
    for quantity, scalar in zip(found, scalars, strict=False):
        if quantity.dimension != found[0].dimension:
            report.fault(
                scalar,
                "bank-draw-dimension",
                f"'{name}' lists a {quantity.dimension} beside a {found[0].dimension}",
                "list one dimension",
            )
            return None
    return found


def _read_some_of(form: Block, name: str, report: Report, records: Records) -> dict[str, Any] | None:
    count = form.number("count", required=True, whole=True)
    node = form.node("some-of")
    if isinstance(node, Scalar):
        found = read_list(node, form, report, records)
        if found is None or count is None or not _count_fits(form, report, count, len(found[1])):
            return None
        return record_subset(name, found[0], found[1], int(count))
    scalars = form.scalars("some-of", required=True)
    listed = listed_by_id(scalars, records)
    quantities: list[BankQuantity] | None = [] if listed else _quantities(scalars, name, report)
    if not scalars or count is None or quantities is None or not _count_fits(form, report, count, len(scalars)):
        return None
    if listed:
        return record_subset(name, *listed, int(count))
    if quantities:
        unit, decimals = quantities[0].unit, max(quantity.decimals for quantity in quantities)
        options = [{"shown": format_quantity(q.value_si, q.unit, q.decimals), "value": q.value_si} for q in quantities]
        return {
            "name": name, "form": "subset", "options": options, "count": int(count), "unit": unit, "decimals": decimals,
            "dimensions": {f"{name}_total": quantities[0].dimension},
        }  # fmt: skip
    words = [{"shown": scalar.text.strip()} for scalar in scalars]
    return {"name": name, "form": "subset", "options": words, "count": int(count), "dimensions": {}}


def _count_fits(form: Block, report: Report, count: float, entries: int) -> bool:
    if 1 <= count <= entries:
        return True
    report.fault(
        form.at("count"), "bank-draw-count", f"count {count:.0f} of a list of {entries}", "take between 1 and all"
    )
    return False

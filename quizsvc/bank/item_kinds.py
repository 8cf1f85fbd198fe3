"""The words of one kind of item: options with keys and beliefs; a number's answer, tolerance, rounding and traps."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from quizsvc.bank.block import ITEM_ID, Block, Report
from quizsvc.bank.quantity import bank_unit, read_bank_quantity, span_in
from quizsvc.bank.text import Scalar
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS

if TYPE_CHECKING:
    from quizsvc.bank.item import ItemText

__all__ = ["hold_count", "hold_length", "is_short", "read_number", "read_options", "words"]

MOST_ENTRIES = 25
LONGEST_TEXT = 4_000
LONGEST_OPTION = 12
"""Words of an option, a step or an outcome that is read at a glance on a phone."""

_ROUND = re.compile(r"(nearest|down|up)\s+(.+)\Z")


def hold_count(block: Block, word: str, count: int, report: Report) -> None:
    """Cap what one item may hold, so that no text makes checking or drawing long."""
    if count > MOST_ENTRIES:
        what = f"{count} entries under '{word}'"
        report.fault(block.at(word), "bank-too-many", what, f"keep to {MOST_ENTRIES}; make two items of it")


def hold_length(scalar: Scalar, report: Report) -> None:
    """Cap the length of a text that is shown: a page renders it every time."""
    if len(scalar.text) > LONGEST_TEXT:
        what = f"a text of {len(scalar.text):,} characters"
        report.fault(scalar, "bank-text-long", what, f"keep to {LONGEST_TEXT:,}")


def words(text: str) -> int:
    """How many words a person reads."""
    return sum(any(character.isalnum() for character in word) for word in text.split())


def is_short(text: str) -> bool:
    """Whether a thing to choose or to order is short enough for a Short set."""
    return words(text) <= LONGEST_OPTION


def read_options(block: Block, item: ItemText, kind: str) -> None:
    """Options of `one` and `some`, into the item's body; faults go to its report."""
    report = item.report
    options: list[dict[str, Any]] = []
    blocks = block.blocks("options", "option", required=True)
    for option in blocks:
        option_id = option.text("id", required=True)
        text = option.scalar("text", required=True)
        key = bool(option.flag("key"))
        belief = option.text("belief")
        option.done()
        if option_id is None or text is None:
            continue
        if not ITEM_ID.match(option_id):
            report.fault(
                option.at("id"), "bank-id", f"'{option_id}' is no option id", "use a-z, 0-9 and single hyphens"
            )
        if any(option_id == other["id"] for other in options):
            report.fault(
                option.at("id"), "bank-option-twice", f"two options with id '{option_id}'", "give each its own id"
            )
            continue
        if any(text.text.strip() == other["text"] for other in options):
            report.fault(
                option.at("text"), "bank-option-twice", f"two options read '{text.text.strip()}'", "change one"
            )
        if not key and belief is None:
            report.remark(
                option.place,
                "bank-belief",
                f"option '{option_id}' names no belief",
                "add 'belief:', who would pick it and why",
            )
        hold_length(text, report)
        options.append({"id": option_id, "text": text.text.strip(), "key": key, "belief": belief})
        item.places[f"options/{option_id}"] = text
    item.body["options"] = options
    hold_count(block, "options", len(options), report)
    if not block.has("options"):
        return
    keys = sum(option["key"] for option in options)
    at = block.at("options")
    if len(blocks) < 2:
        report.fault(at, "bank-options", f"{len(blocks)} option(s)", "give at least two")
    if kind == "one" and keys != 1:
        report.fault(
            at, "bank-keys", f"{keys} keys in a 'one' item", "mark exactly one option 'key: true', or use kind 'some'"
        )
    if kind == "some" and (keys == 0 or keys == len(options)):
        what = "no key" if keys == 0 else "every option is a key"
        report.fault(at, "bank-keys", f"{what} in a 'some' item", "mark some of the options 'key: true', not all")


def read_number(block: Block, item: ItemText) -> None:
    """Answer, unit, tolerance, rounding and traps of a `number`, into the item's body; faults go to its report."""
    body, report = item.body, item.report
    answer = block.scalar("answer", required=True)
    body["answer"] = answer.text if answer else ""
    if answer:
        item.places["answer"] = answer
    unit_scalar = block.scalar("unit")
    try:
        unit = bank_unit(unit_scalar.text.strip() if unit_scalar else "")
    except InputError as error:
        report.error(unit_scalar, error)
        unit = None
    body["unit"] = unit
    body["within"] = _read_within(block, report, unit)
    body["round"] = _read_round(block, report, unit)
    traps: list[dict[str, Any]] = []
    for trap in block.blocks("traps", "trap"):
        trap_id = trap.text("id", required=True)
        belief = trap.text("belief", required=True)
        value, when = trap.scalar("value"), trap.scalar("when")
        trap.done()
        if trap_id is None or belief is None:
            continue
        if not ITEM_ID.match(trap_id):
            report.fault(trap.at("id"), "bank-id", f"'{trap_id}' is no trap id", "use a-z, 0-9 and single hyphens")
        if any(trap_id == other["id"] for other in traps):
            report.fault(trap.at("id"), "bank-trap-twice", f"two traps with id '{trap_id}'", "give each its own id")
            continue
        traps.append({"id": trap_id, "value": value and value.text, "when": when and when.text, "belief": belief})
        for word, scalar in (("value", value), ("when", when)):
            if scalar:
                item.places[f"traps/{trap_id}/{word}"] = scalar
    body["traps"] = traps
    hold_count(block, "traps", len(traps), report)


def _read_within(block: Block, report: Report, unit: str | None) -> dict[str, Any] | None:
    scalar = block.scalar("within", required=True)
    if scalar is None:
        return None
    if scalar.text.strip() == "exact":
        return {"exact": True}
    try:
        quantity = read_bank_quantity(scalar.text)
    except InputError as error:
        report.error(scalar, error)
        return None
    if quantity.number <= 0:
        report.fault(scalar, "bank-within", f"'{scalar.text}' is not above 0", "write a width, or 'exact'")
        return None
    if quantity.unit == "%":
        return {"part": float(f"{quantity.number / 100:.12g}")}
    if unit is not None and quantity.dimension != UNITS[unit].dimension:
        report.fault(
            scalar,
            "bank-within",
            f"'{scalar.text}' is a {quantity.dimension}, the answer a {UNITS[unit].dimension}",
            f"write it in {unit}, or as 'n %', or 'exact'",
        )
        return None
    return {"si": quantity.number * UNITS[quantity.unit].factor}


def _read_round(block: Block, report: Report, unit: str | None) -> dict[str, Any] | None:
    scalar = block.scalar("round")
    if scalar is None:
        return None
    match = _ROUND.match(" ".join(scalar.text.split()))
    if match is None:
        report.fault(
            scalar,
            "bank-round",
            f"'{scalar.text}' is no rounding",
            "write 'nearest 100 ft', 'down 1000 ft' or 'up 50 psi'",
        )
        return None
    try:
        step = read_bank_quantity(match.group(2))
    except InputError as error:
        report.error(scalar, error)
        return None
    if unit is not None and step.unit == "ratio" and unit != "ratio" or step.number <= 0:
        report.fault(scalar, "bank-round", f"'{scalar.text}' has no step with a unit", f"write the step in {unit}")
        return None
    if unit is not None and step.dimension != UNITS[unit].dimension:
        report.fault(
            scalar,
            "bank-round",
            f"'{scalar.text}' rounds a {step.dimension}, the answer is a {UNITS[unit].dimension}",
            f"write the step in {unit}",
        )
        return None
    # The step is a number of the shown unit: people round what they read, also where zero stands elsewhere (C).
    return {"direction": match.group(1), "step": span_in(step, unit or step.unit)}

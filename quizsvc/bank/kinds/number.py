"""Kind `number`: a value with a unit, judged within its tolerance.

Order of judgement: full inside the tolerance or equal to the key rounded by the cockpit rule; then the traps in their
order (within a tolerance of the trap's value, or equal to it rounded); then half credit to twice the tolerance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.bank.draw import Generator
from quizsvc.bank.formula import FormulaError
from quizsvc.bank.item_kinds import read_number
from quizsvc.bank.kinds.base import Graded, Item, Kind, Tried, Worked, lines_of, shown_of, unreadable
from quizsvc.bank.solution import with_numbers
from quizsvc.bank.working import decimals_for, decimals_of_step, same_number, work
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, from_si, read_quantity

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Number", "number_record", "try_number"]

_EDGE = 1e-9  # an answer exactly on the edge of a tolerance is inside it
_LARGEST = 1e12
_LONGEST_TYPED = 60


class Number(Kind):
    """A value with a unit."""

    name = "number"

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Answer, unit, tolerance, rounding, traps."""
        read_number(block, item)

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Only what is worked in the head."""
        return bool(body["how"] == "mental")

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Nothing is shuffled."""
        return [], number_record(item, tried)

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """The unit that a bare number means."""
        return {"unit": None if item.body["unit"] == "ratio" else str(item.body["unit"])}

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """What was typed, and its value, SI."""
        return _typed_number(record, raw.get("text"))

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """As the module says."""
        return _grade_number(record, response)

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The key, and what was accepted."""
        unit, key, within = record["unit"], record["key"], record["within"]
        shown = format_quantity(key, unit, record["decimals"])
        if record["exact"]:
            accepted = f"exactly {shown}"
        else:
            low, high = (format_quantity(edge, unit, record["decimals"]) for edge in (key - within, key + within))
            accepted = f"{low} to {high}"
        if record["rounded"] is not None and not same_number(record["rounded"], key, unit):
            accepted += f", or {format_quantity(record['rounded'], unit, record['rounded_decimals'])} as in the cockpit"
        return Worked(record["why"], shown, accepted, tuple(record["lines"]))


def try_number(item: Item, tried: Tried) -> Tried:
    """The same draw with the number's working, and whether its traps can be told from the key."""
    assert item.answer is not None
    unit = item.body["unit"]
    try:
        working = work(item.answer, item.traps, tried.values, unit, item.body["within"], item.rounding)
    except FormulaError as no_key:
        return Tried(tried.drawn, tried.values, None, "no value", no_key)
    trap = working.collision(unit)
    return Tried(tried.drawn, tried.values, working, f"trap {trap}" if trap else None)


def number_record(item: Item, tried: Tried) -> dict[str, Any]:
    """The grading record of a number; `tried` is an accepted draw."""
    working, unit = tried.working, str(item.body["unit"])
    assert working is not None and item.answer is not None
    decimals = decimals_for(working.key, unit, working.within, working.exact)
    shown = shown_of(tried.drawn)
    shown["answer"] = format_quantity(working.key, unit, decimals)
    values = {**tried.values, "answer": working.key}
    lines, known = lines_of(item, tried, shown)
    filled = with_numbers(item.library, item.answer.text, known)
    lines.append(f"answer = {filled}" if filled == shown["answer"] else f"answer = {filled} = {shown['answer']}")
    rounding = item.rounding
    return {
        "kind": "number",
        "key": working.key,
        "unit": unit,
        "within": working.within,
        "exact": working.exact,
        "rounded": working.rounded,
        "round": {"direction": rounding.direction, "step": rounding.step} if rounding else None,
        "decimals": decimals,
        "rounded_decimals": decimals_of_step(rounding.step) if rounding else 0,
        "traps": [
            {"id": trap.id, "value": trap.value, "rounded": trap.rounded, "belief": trap.belief}
            for trap in working.traps
        ],
        "answers_below_100": bool(item.body["answers-below-100"]),
        "why": item.why.fill(shown, values),
        "lines": lines,
        "cautions": list(item.body["cautions"]),
    }


def _typed_number(record: Mapping[str, Any], text: object) -> dict[str, Any]:
    if not isinstance(text, str) or not text.strip():
        raise unreadable("Nothing was typed.", "Type a number, or press pass.")
    if len(text) > _LONGEST_TYPED:
        raise unreadable("The answer is too long for a number.", "Type a number, with its unit if you like.")
    try:
        quantity = read_quantity(text, unit=record["unit"], answers_below_100=bool(record["answers_below_100"]))
    except InputError as error:
        raise unreadable(_sentence(error.what), _sentence(error.mend)) from None
    if not abs(quantity.value_si) < _LARGEST:
        raise unreadable("The number is too large to be an answer.", "Check what was typed.")
    return {"typed": text.strip(), "unit": quantity.unit, "si": quantity.value_si}


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if not text or text[-1] in ".?!" else ".")


def _grade_number(record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
    value, unit = float(response["si"]), record["unit"]
    key, within, rounded = record["key"], record["within"], record["rounded"]
    read_back = _read_back(value, response["unit"])
    inside = _near(value, key, within, unit)
    if inside or (rounded is not None and same_number(value, rounded, unit)):
        return Graded("full", 1.0, remark=_direction_remark(record, value), read_back=read_back)
    for trap in record["traps"]:
        alike = trap["rounded"] is not None and same_number(value, trap["rounded"], unit)
        if alike or _near(value, trap["value"], within, unit):
            return Graded("miss", 0.0, trap["id"], trap["belief"], read_back=read_back)
    if _near(value, key, 2 * within, unit):
        return Graded("part", 0.5, read_back=read_back)
    return Graded("miss", 0.0, read_back=read_back)


def _near(value: float, target: float, within: float, unit: str) -> bool:
    return abs(value - target) <= within * (1 + _EDGE) or same_number(value, target, unit)


def _direction_remark(record: Mapping[str, Any], value: float) -> str | None:
    """A right answer that was rounded the unsafe way gets a sentence, not a silent nod."""
    rule = record["round"]
    if rule is None or rule["direction"] == "nearest":
        return None
    unit = record["unit"]
    key = from_si(record["key"], unit)
    # What the key is printed as is not "rounded": half of its last printed digit is allowed.
    slack = 0.5 * 10.0 ** -record["decimals"] * (1 + _EDGE)
    number = from_si(value, unit)
    unsafe = number < key - slack if rule["direction"] == "up" else number > key + slack
    if not unsafe:
        return None
    cockpit = format_quantity(record["rounded"], unit, record["rounded_decimals"])
    return f"Within the tolerance, but round {rule['direction']} here: {cockpit}."


def _read_back(value: float, unit: str) -> str:
    number = from_si(value, unit)
    decimals = next(
        (digits for digits in range(6) if abs(round(number, digits) - number) <= 1e-7 * max(1, abs(number))), 6
    )
    return format_quantity(value, unit, decimals)

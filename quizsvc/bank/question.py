"""From a checked item to one question: numbers drawn, options shuffled, and the record by which it is graded.

The record is frozen JSON and is all that grading needs: nothing is ever computed again from the item.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.draw import DrawError, Drawn, Draws, Generator
from quizsvc.bank.formula import Formula, FormulaError, compile_formula
from quizsvc.bank.functions import Library, library
from quizsvc.bank.solution import let_lines, names_behind, with_numbers
from quizsvc.bank.template import Template, compile_template
from quizsvc.bank.working import Rounding, Trap, Working, decimals_for, decimals_of_step, let_values, refused, work
from quizsvc.physics.units import format_quantity

__all__ = ["Issued", "Item", "Option", "Presented", "compile_item", "issue", "present"]

MOST_TRIES = 500


@dataclass(frozen=True)
class CompiledOption:
    """An option with its braces compiled."""

    id: str
    text: Template
    key: bool
    belief: str | None


@dataclass(frozen=True)
class Item:
    """A compiled item, ready to draw from; made from a revision's body, about half a millisecond."""

    body: Mapping[str, Any]
    library: Library
    draws: Draws
    lets: tuple[tuple[str, Formula], ...]
    refuse: tuple[Formula, ...]
    stem: Template
    why: Template
    options: tuple[CompiledOption, ...]
    answer: Formula | None
    traps: tuple[Trap, ...]
    rounding: Rounding | None

    @property
    def kind(self) -> str:
        """One of the drilled kinds."""
        return str(self.body["kind"])


@dataclass(frozen=True)
class Issued:
    """One question: what was drawn, the order of the options, the grading record. All JSON-able."""

    drawn: Drawn
    order: list[str]
    record: dict[str, Any]


@dataclass(frozen=True)
class Option:
    """An option as shown; `text` is Markdown."""

    id: str
    text: str


@dataclass(frozen=True)
class Presented:
    """What a person sees of a question before answering; `stem` and options are Markdown."""

    kind: str
    stem: str
    options: tuple[Option, ...]
    unit: str | None
    how: str | None
    pressure_card: bool
    cautions: tuple[str, ...]
    handbook: str | None
    concept: str


def compile_item(body: Mapping[str, Any], aircraft: Aircraft | None) -> Item:
    """Compile a checked body.

    Parameters
    ----------
    body : mapping
        A body as `bank.check` made it.
    aircraft : Aircraft or None
        The aircraft of its folder, if it uses one.

    Returns
    -------
    Item
        Immutable; may be kept by the body's hash.

    Raises
    ------
    FormulaError
        A formula that the language refuses; `bank.check` lets none through.
    """
    return build_item(body, library(aircraft))


def build_item(body: Mapping[str, Any], names: Library) -> Item:
    """As `compile_item`, with the functions and constants already at hand."""
    draws = Draws(tuple(body["draw"]))
    known: dict[str, None] = dict.fromkeys(draws.dimensions)
    lets: list[tuple[str, Formula]] = []
    for entry in body["let"]:
        lets.append((entry["name"], compile_formula(entry["formula"], names, known)))
        known[entry["name"]] = None
    refuse = tuple(compile_formula(text, names, known) for text in body["refuse"])
    answer = compile_formula(body["answer"], names, known) if body["kind"] == "number" else None
    traps = tuple(
        Trap(
            trap["id"],
            trap["belief"],
            compile_formula(trap["value"], names, known) if trap["value"] else None,
            compile_formula(trap["when"], names, known) if trap["when"] else None,
        )
        for trap in body.get("traps", ())
    )
    rule = body.get("round")
    shown = draws.shown
    # Only the working may name the key: a stem or an option that shows it would give it away.
    told = (*shown, "answer") if answer else shown
    with_key = (*known, "answer") if answer else tuple(known)
    return Item(
        body,
        names,
        draws,
        tuple(lets),
        refuse,
        compile_template(body["stem"], names, shown, known),
        compile_template(body["why"], names, told, with_key),
        tuple(
            CompiledOption(
                option["id"], compile_template(option["text"], names, shown, known), option["key"], option["belief"]
            )
            for option in body.get("options", ())
        ),
        answer,
        traps,
        Rounding(rule["direction"], rule["step"]) if rule else None,
    )


@dataclass(frozen=True)
class Tried:
    """One draw with its values; `working` for numbers. `refusal` says why it may not be asked, None if it may."""

    drawn: Drawn
    values: dict[str, float]
    working: Working | None
    refusal: str | None
    error: FormulaError | None = None


def try_draw(item: Item, drawn: Drawn) -> Tried:
    """Work one draw and judge whether it may be asked: `refused`, `no value`, or `trap ID` too near."""
    values, error = let_values(item.lets, drawn)
    if refused(item.refuse, values):
        return Tried(drawn, values, None, "refused")
    if error is not None:
        return Tried(drawn, values, None, "no value", error)
    if item.answer is None:
        return Tried(drawn, values, None, None)
    unit = item.body["unit"]
    try:
        working = work(item.answer, item.traps, values, unit, item.body["within"], item.rounding)
    except FormulaError as no_key:
        return Tried(drawn, values, None, "no value", no_key)
    trap = working.collision(unit)
    return Tried(drawn, values, working, f"trap {trap}" if trap else None)


def issue(item: Item, rng: Generator) -> Issued:
    """Draw one question.

    Parameters
    ----------
    item : Item
        Compiled.
    rng : Generator
        `random.Random` or alike.

    Returns
    -------
    Issued
        Drawn values, option order, grading record.

    Raises
    ------
    DrawError
        500 draws were all refused.
    """
    refusals: dict[str, int] = {}
    for _ in range(MOST_TRIES if item.draws.entries else 1):
        tried = try_draw(item, item.draws.draw(rng))
        refusal = tried.refusal
        if refusal is None:
            try:
                return _issued(item, tried, rng)
            except FormulaError:
                refusal = "a text without a value"
        refusals[refusal] = refusals.get(refusal, 0) + 1
    most = max(refusals, key=lambda reason: refusals[reason])
    raise DrawError(
        "bank-no-draw",
        f"item '{item.body['id']}': no draw in {sum(refusals.values())} tries could be asked, most often: {most}",
        mend="widen 'draw', or loosen 'refuse' or the traps",
    )


def _issued(item: Item, tried: Tried, rng: Generator) -> Issued:
    order = [option.id for option in item.options]
    rng.shuffle(order)
    record = number_record(item, tried) if item.answer else _options_record(item, tried, order)
    return Issued(tried.drawn, order, record)


def _lines(item: Item, tried: Tried, shown: Mapping[str, str]) -> tuple[list[str], dict[str, str]]:
    """The working of what the answer and the reason are made of."""
    told = set(item.answer.names) if item.answer else set()
    told = told.union(*(slot.formula.names for slot in item.why.slots if slot.formula is not None))
    needed = names_behind(told, dict(item.lets))
    return let_lines(item.library, item.lets, item.body["let"], tried.values, shown, needed)


def _shown(drawn: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    return {name: str(entry["shown"]) for name, entry in drawn.items()}


def _options_record(item: Item, tried: Tried, order: Sequence[str]) -> dict[str, Any]:
    shown = _shown(tried.drawn)
    return {
        "kind": item.kind,
        "order": list(order),
        "keys": [option.id for option in item.options if option.key],
        "beliefs": {option.id: option.belief for option in item.options if option.belief},
        "texts": {option.id: option.text.fill(shown, tried.values) for option in item.options},
        "why": item.why.fill(shown, tried.values),
        "lines": _lines(item, tried, shown)[0],
        "cautions": list(item.body["cautions"]),
    }


def number_record(item: Item, tried: Tried) -> dict[str, Any]:
    """The grading record of a number; `tried` is an accepted draw."""
    working, unit = tried.working, str(item.body["unit"])
    assert working is not None and item.answer is not None
    decimals = decimals_for(working.key, unit, working.within, working.exact)
    shown = _shown(tried.drawn)
    shown["answer"] = format_quantity(working.key, unit, decimals)
    values = {**tried.values, "answer": working.key}
    lines, known = _lines(item, tried, shown)
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


def present(item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str]) -> Presented:
    """What a person sees of a drawn question.

    Parameters
    ----------
    item : Item
        Compiled from the revision that the question names.
    drawn : mapping
        The stored draw.
    order : sequence of str
        The stored order of option ids.

    Returns
    -------
    Presented
        Stem, options in their order, unit, aids, cautions. Nothing of the key.
    """
    body = item.body
    shown = _shown(drawn)
    values, _ = let_values(item.lets, {name: dict(entry) for name, entry in drawn.items()})
    texts = {option.id: option.text for option in item.options}
    unit = None if item.answer is None or body["unit"] == "ratio" else str(body["unit"])
    return Presented(
        item.kind,
        item.stem.fill(shown, values),
        tuple(Option(option_id, texts[option_id].fill(shown, values)) for option_id in order),
        unit,
        body["how"],
        body["how"] == "table",
        tuple(body["cautions"]),
        body["handbook"],
        str(body["concept"]),
    )

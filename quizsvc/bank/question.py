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
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.kinds.base import (
    Build,
    CompiledOption,
    Item,
    Option,
    Presented,
    ReadingField,
    Tried,
    lines_of,
    shown_of,
)
from quizsvc.bank.kinds.number import number_record, try_number
from quizsvc.bank.kinds.say import Say
from quizsvc.bank.template import compile_template
from quizsvc.bank.working import Rounding, Trap, let_values, refused

__all__ = [
    "Issued",
    "Item",
    "Option",
    "Presented",
    "ReadingField",
    "Tried",
    "build_item",
    "compile_item",
    "issue",
    "number_record",
    "present",
    "try_draw",
]

MOST_TRIES = 500


@dataclass(frozen=True)
class Issued:
    """One question: what was drawn, the order of the options, the grading record. All JSON-able."""

    drawn: Drawn
    order: list[str]
    record: dict[str, Any]


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
    return build_item(body, library(aircraft), aircraft)


def build_item(body: Mapping[str, Any], names: Library, aircraft: Aircraft | None) -> Item:
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
    build = Build(
        names,
        aircraft,
        lambda text: compile_template(text, names, shown, known),
        lambda text: compile_formula(text, names, known),
    )
    return Item(
        body,
        names,
        draws,
        tuple(lets),
        refuse,
        build.template(body["stem"]),
        compile_template(body["why"], names, told, with_key),
        tuple(
            CompiledOption(option["id"], build.template(option["text"]), option["key"], option["belief"])
            for option in body.get("options", ())
        ),
        answer,
        traps,
        Rounding(rule["direction"], rule["step"]) if rule else None,
        aircraft,
        KINDS[body["kind"]].build(body, build),
    )


def try_draw(item: Item, drawn: Drawn) -> Tried:
    """Work one draw and judge whether it may be asked: `refused`, `no value`, or what its kind says against it."""
    values, error = let_values(item.lets, drawn)
    if refused(item.refuse, values):
        return Tried(drawn, values, None, "refused")
    if error is not None:
        return Tried(drawn, values, None, "no value", error)
    tried = Tried(drawn, values, None, None)
    if item.answer is not None:
        return try_number(item, tried)
    try:
        refusal = KINDS[item.kind].refusal(item, tried)
    except FormulaError as no_value:
        return Tried(drawn, values, None, "no value", no_value)
    return Tried(drawn, values, None, refusal)


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
    order, own = KINDS[item.kind].issue(item, tried, rng)
    record = {"kind": item.kind, **own, "cautions": list(item.body["cautions"])}
    if "why" not in record:
        shown = shown_of(tried.drawn)
        record["why"] = item.why.fill(shown, tried.values)
        record["lines"] = lines_of(item, tried, shown)[0]
    return Issued(tried.drawn, order, record)


def present(
    item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], *, spoken: bool = False
) -> Presented:
    """What a person sees of a drawn question.

    Parameters
    ----------
    item : Item
        Compiled from the revision that the question names.
    drawn : mapping
        The stored draw.
    order : sequence of str
        The stored order of option ids.
    spoken : bool
        Whether the person has spoken, so that the model answer of a `say` may be shown.

    Returns
    -------
    Presented
        Stem, options in their order, unit, aids, cautions. Nothing of the key.
    """
    body = item.body
    values, _ = let_values(item.lets, {name: dict(entry) for name, entry in drawn.items()})
    fields: dict[str, Any] = {
        "options": (),
        "unit": None,
        **KINDS[item.kind].present(item, drawn, order, values),
    }
    if spoken and isinstance(kind := KINDS[item.kind], Say):
        fields |= kind.spoken(item, drawn, values)
    return Presented(
        kind=item.kind,
        stem=item.stem.fill(shown_of(drawn), values),
        how=body["how"],
        pressure_card=body["how"] == "table",
        cautions=tuple(body["cautions"]),
        handbook=body["handbook"],
        concept=str(body["concept"]),
        **fields,
    )

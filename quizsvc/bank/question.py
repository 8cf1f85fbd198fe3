"""From a checked item to one question: numbers drawn, options shuffled, and the record by which it is graded.

The record is frozen JSON and is all that grading needs: nothing is ever computed again from the item.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
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
from quizsvc.bank.working import Rounding, Trap, decimals_for, let_values, refused, same_number
from quizsvc.physics.units import format_quantity

__all__ = [
    "Issued",
    "Item",
    "Option",
    "Presented",
    "ReadingField",
    "Tried",
    "build_item",
    "compile_item",
    "followed",
    "issue",
    "issue_tried",
    "number_record",
    "present",
    "try_draw",
    "variants",
]

MOST_TRIES = 500
_LOOKED_AT = 4  # times as many draws are looked at as are counted; an item with more has many


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
    # A part of a scenario may name the person's own answers to earlier parts, but not show them before it is answered.
    follow = tuple(entry["part"] for entry in body.get("follow", ()))
    known: dict[str, None] = dict.fromkeys((*draws.dimensions, *follow))
    later = set(follow)
    lets: list[tuple[str, Formula]] = []
    for entry in body["let"]:
        formula = compile_formula(entry["formula"], names, known)
        lets.append((entry["name"], formula))
        known[entry["name"]] = None
        if formula.names & later:
            later.add(entry["name"])
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
    told = (*shown, *follow, "answer") if answer else (*shown, *follow)
    with_key = (*known, "answer") if answer else tuple(known)
    build = Build(
        names,
        aircraft,
        lambda text: compile_template(text, names, shown, tuple(name for name in known if name not in later)),
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
        {part["part"]: build_item(part, names, aircraft) for part in body.get("parts", ())},
    )


def try_draw(item: Item, drawn: Drawn) -> Tried:
    """Work one draw and judge whether it may be asked: `refused`, `no value`, or what its kind says against it."""
    values, error = let_values(item.lets, drawn)
    if refused(item.refuse, values):
        return Tried(drawn, values, None, "refused")
    if error is not None:
        return Tried(drawn, values, None, "no value", error)
    if item.parts:
        return _try_parts(item, drawn, values)
    tried = Tried(drawn, values, None, None)
    if item.answer is not None:
        return try_number(item, tried)
    try:
        refusal = KINDS[item.kind].refusal(item, tried)
    except FormulaError as no_value:
        return Tried(drawn, values, None, "no value", no_value)
    return Tried(drawn, values, None, refusal)


def _try_parts(item: Item, drawn: Drawn, values: dict[str, float]) -> Tried:
    """Every part of a scenario with one draw; later parts see the keys of those that they follow."""
    parts: dict[str, Tried] = {}
    for name, part in item.parts.items():
        keys = {
            entry["part"]: tried.working.key
            for entry in part.body["follow"]
            if (tried := parts[entry["part"]]).working is not None
        }
        tried = try_draw(part, _with_answers(part, drawn, keys))
        parts[name] = tried
        if tried.refusal is not None:
            return Tried(drawn, values, None, f"part {name}: {tried.refusal}", tried.error, parts)
    return Tried(drawn, values, None, None, None, parts)


def _with_answers(part: Item, drawn: Mapping[str, Any], answers: Mapping[str, float]) -> Drawn:
    """A draw with the answers to earlier parts as if they had been drawn too."""
    return {
        **drawn,
        **{
            entry["part"]: {
                "shown": format_quantity(
                    answers[entry["part"]], entry["unit"], decimals_for(answers[entry["part"]], entry["unit"], 0, True)
                ),
                "si": answers[entry["part"]],
            }
            for entry in part.body["follow"]
            if entry["part"] in answers
        },
    }


def followed(
    item: Item, part: str, drawn: Mapping[str, Mapping[str, Any]], record: Mapping[str, Any], own: Mapping[str, float]
) -> dict[str, Any]:
    """The grading record of a part that follows earlier ones, worked with the person's own answers.

    Parameters
    ----------
    item : Item
        The scenario.
    part : str
        Which part.
    drawn : mapping
        The stored draw.
    record : mapping
        The part's frozen record, which is worked with the keys.
    own : mapping of str to float
        The person's answers to the parts it follows, SI; a part without one counts with its key.

    Returns
    -------
    dict
        The record to judge by, with a sentence about what it was judged on; the frozen one where the person's answers
        are the keys, or lead to no value.
    """
    asked = item.parts[part]
    names = {entry["part"]: entry for entry in asked.body["follow"]}
    answers = {name: value for name, value in own.items() if name in names}
    keys = {name: float(value) for name, value in record.get("earlier", {}).items()}
    if (
        not answers
        or asked.answer is None
        or all(same_number(value, keys.get(name, value), names[name]["unit"]) for name, value in answers.items())
    ):
        return dict(record)
    tried = try_draw(asked, _with_answers(asked, drawn, keys | answers))
    if tried.working is None:
        return dict(record)
    texts = ", ".join(f"{name} {tried.drawn[name]['shown']}" for name in names if name in answers)
    return {
        **record,
        **number_record(asked, tried),
        "earlier": dict(record.get("earlier", {})),
        "note": f"Judged on your own earlier answers: {texts}.",
    }


def variants(item: Item, most: int) -> int:
    """How many different draws of an item may be asked, counted up to so many.

    Parameters
    ----------
    item : Item
        Compiled.
    most : int
        Where counting stops; an item that draws some of a list is taken to have so many.

    Returns
    -------
    int
        From 0 to `most`; 1 for an item that draws nothing.
    """
    if item.draws.has_subset or item.draws.combinations > _LOOKED_AT * most:
        return most
    asked = (drawn for drawn in item.draws.all(_LOOKED_AT * most) if try_draw(item, drawn).refusal is None)
    return sum(1 for _ in islice(asked, most))


def issue(item: Item, rng: Generator) -> Issued:
    """Draw one question.

    Of a scenario the record holds one entry a part, each with its own order and record.

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
                return issue_tried(item, tried, rng)
            except FormulaError:
                refusal = "a text without a value"
        refusals[refusal] = refusals.get(refusal, 0) + 1
    most = max(refusals, key=lambda reason: refusals[reason])
    raise DrawError(
        "bank-no-draw",
        f"item '{item.body['id']}': no draw in {sum(refusals.values())} tries could be asked, most often: {most}",
        mend="widen 'draw', or loosen 'refuse' or the traps",
    )


def issue_tried(item: Item, tried: Tried, rng: Generator) -> Issued:
    """The question of an accepted draw.

    Parameters
    ----------
    item : Item
        Compiled.
    tried : Tried
        A draw that may be asked.
    rng : Generator
        Shuffles.

    Returns
    -------
    Issued
        Drawn values, option order, grading record.

    Raises
    ------
    FormulaError
        A text of it has no value in this draw.
    """
    order, own = KINDS[item.kind].issue(item, tried, rng)
    record = {"kind": item.kind, **own, "cautions": list(item.body["cautions"])}
    if "why" not in record:
        shown = shown_of(tried.drawn)
        record["why"] = item.why.fill(shown, tried.values)
        record["lines"] = lines_of(item, tried, shown)[0]
    if item.body.get("follow"):
        record["earlier"] = {entry["part"]: tried.values[entry["part"]] for entry in item.body["follow"]}
    return Issued(tried.drawn, order, record)


def present(
    item: Item,
    drawn: Mapping[str, Mapping[str, Any]],
    order: Sequence[str],
    *,
    part: str | None = None,
    spoken: bool = False,
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
    part : str or None
        Which part of a scenario.
    spoken : bool
        Whether the person has spoken, so that the model answer of a `say` may be shown.

    Returns
    -------
    Presented
        Stem, options in their order, unit, aids, cautions. Nothing of the key.
    """
    body = item.body
    values, _ = let_values(item.lets, {name: dict(entry) for name, entry in drawn.items()})
    if part is not None:
        shown = present(item.parts[part], drawn, order)
        return replace(shown, situation=item.stem.fill(shown_of(drawn), values), part=part)
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

"""Remarks of style: nothing is refused for them, each is a habit of bad items."""

from __future__ import annotations

import re

from quizsvc.bank.formula import Formula
from quizsvc.bank.item import LONGEST_STEM, ItemText
from quizsvc.bank.item_kinds import words
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.question import Item
from quizsvc.bank.solution import names_behind
from quizsvc.bank.template import Template

__all__ = ["remark_draws", "remark_style"]

_NEGATIVE = re.compile(r"\b(not|never|except|cannot|can't|isn't|doesn't|won't)\b")
_QUESTION = re.compile(r"[^.?!]*\?")
_LAZY_OPTION = re.compile(
    r"\b(all|none|both|neither) of (these|the above|them)\b|\balways\b|\bany of these\b", re.IGNORECASE
)
_BRACES = re.compile(r"\{[^{}]*\}")


def remark_style(item: ItemText) -> None:
    """Remark a long stem, a key that stands out by its length, a negative question without capitals, a lazy option."""
    body, report = item.body, item.report
    for place in ("stem", "ask"):
        if place in item.places:
            _remark_question(item, place, _BRACES.sub("1", body[place]))
    options = body.get("options", [])
    for option in options:
        if _LAZY_OPTION.search(option["text"]):
            report.remark(
                item.places[f"options/{option['id']}"],
                "style-option-lazy",
                f"option '{option['text']}'",
                "write what such a person believes",
            )
    if body["kind"] in ("one", "gauge") and len(options) > 2:
        lengths = {option["id"]: len(_BRACES.sub("1", option["text"])) for option in options}
        key = next((option["id"] for option in options if option["key"]), None)
        others = [length for option_id, length in lengths.items() if option_id != key]
        if key is not None and lengths[key] > max(others) * 1.15 + 2:
            report.remark(
                item.places[f"options/{key}"],
                "style-key-longest",
                f"the key is the longest option ({lengths[key]} characters, the others at most {max(others)})",
                "shorten it, or give a wrong option as much detail",
            )


def _remark_question(item: ItemText, place: str, text: str) -> None:
    report, count = item.report, words(text)
    if count > LONGEST_STEM:
        report.remark(item.places[place], "style-stem-long", f"the stem has {count} words", "cut it to 60 or fewer")
    for question in _QUESTION.findall(text):
        match = _NEGATIVE.search(question)
        if match:
            word = match.group()
            report.remark(
                item.places[place],
                "style-negative",
                f"the question says '{word}'",
                f"ask the other way round, or write {word.upper()}",
            )
            break


def remark_draws(item: ItemText, compiled: Item) -> None:
    """Remark a draw that changes nothing, and one that the answer depends on and the stem does not show."""
    told, asked, answer = _draws_named(compiled)
    for entry in item.body["draw"]:
        names = set(entry["options"][0]["shown"]) if entry["form"] == "choice" else {entry["name"]}
        names |= set(entry["dimensions"])
        if answer & names and not told & names:
            item.report.remark(
                item.places["stem"],
                "bank-draw-unseen",
                f"the answer depends on '{entry['name']}', and the stem does not show it",
                f"show it as {{{entry['name']}}}",
            )
        elif not (asked | answer) & names:
            item.report.remark(
                item.places["stem"],
                "bank-draw-unused",
                f"draw '{entry['name']}' changes neither the question nor the answer",
                f"show it as {{{entry['name']}}}, or take it out",
            )


def _draws_named(compiled: Item) -> tuple[set[str], set[str], set[str]]:
    """Names that the stem shows, that anything shown names, and that the key depends on; with those of all parts."""
    lets = dict(compiled.lets)
    kind = KINDS[compiled.body["kind"]]
    told = _named(compiled.stem, lets) | names_behind(kind.seen(compiled), lets)
    texts = [*(option.text for option in compiled.options), *kind.templates(compiled).values()]
    asked = set().union(told, *(_named(text, lets) for text in texts))
    answer = set(kind.behind_key(compiled))
    if compiled.answer:
        answer |= names_behind(compiled.answer.names, lets)
    for part in compiled.parts.values():
        for names, of_part in zip((told, asked, answer), _draws_named(part), strict=True):
            names |= of_part
    return told, asked, answer


def _named(template: Template, lets: dict[str, Formula]) -> set[str]:
    """Names that a text shows, by themselves or through formulas and lets."""
    found = {slot.name for slot in template.slots if slot.formula is None}
    return found.union(*(names_behind(slot.formula.names, lets) for slot in template.slots if slot.formula is not None))

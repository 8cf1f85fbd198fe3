"""Counting what a group answered: per question the outcomes, the options and rows taken, the beliefs behind them.

Nothing here names a person, and nothing is counted where fewer than five people gave an answer that counts.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from quizsvc.bank.item_statistics import statistics
from quizsvc.services.compiled import Compiled

__all__ = ["LEAST", "counted"]

LEAST = 5
"""No summary is made of fewer people."""

_MOST_WRONG = 6
_BRACES = re.compile(r"\{[^{}]*\}")


@dataclass
class _Question:
    outcomes: Counter[str] = field(default_factory=Counter)
    picked: Counter[str] = field(default_factory=Counter)
    options: dict[str, dict[str, Any]] = field(default_factory=dict)
    beliefs: Counter[str] = field(default_factory=Counter)
    rows: dict[str, dict[str, Any]] = field(default_factory=dict)
    credits: dict[int, float] = field(default_factory=dict)
    # How often the same marks were stored, as JSON text.
    marks: Counter[str] = field(default_factory=Counter)

    def read_marks(self) -> None:
        """Count options and rows out of the stored marks."""
        for text, people in self.marks.items():
            for mark in json.loads(text):
                if "picked" in mark:
                    option = self.options.setdefault(mark["id"], {})
                    option["key"], option["belief"] = mark["key"], mark["belief"]
                    self.picked[mark["id"]] += people * bool(mark["picked"])
                elif "row" in mark:
                    row = self.rows.setdefault(mark["row"], {"label": mark["label"], "right": 0, "wrong": Counter()})
                    if mark["right"]:
                        row["right"] += people
                    elif mark["given"]:
                        row["wrong"][mark["given"], mark["belief"]] += people


def counted(
    asked: Sequence[Any], judged: Iterable[Any], revisions: Mapping[int, Compiled], people: int
) -> dict[str, Any]:
    """The summary of an assignment.

    Parameters
    ----------
    asked : sequence of rows
        Each question once (`store.marking.asked`).
    judged : iterable of rows
        The answers that count (`store.marking.judged`).
    revisions : mapping of int to Compiled
        By the id of the revision.
    people : int
        Who handed in.

    Returns
    -------
    dict
        JSON-able. Of fewer than five people only how many there are.
    """
    if people < LEAST:
        return {"people": people, "questions": [], "statistics": None}
    found: dict[tuple[int, str | None], _Question] = {(one.place, one.part): _Question() for one in asked}
    persons: dict[int, int] = {}
    for person, place, part, outcome, credit, belief, marks in judged:
        question = found[place, part]
        question.outcomes[outcome] += 1
        if outcome == "void":
            continue
        question.credits[persons.setdefault(person, len(persons))] = credit
        question.marks[marks] += 1
        if belief:
            question.beliefs[belief] += 1
    table = np.full((len(persons), len(asked)), np.nan)
    for column, one in enumerate(asked):
        credits = found[one.place, one.part].credits
        table[list(credits.keys()), column] = list(credits.values())
    told = statistics(table)
    questions = []
    for one, numbers in zip(asked, told.items, strict=True):
        head = _head(one, revisions[one.revision_id])
        if numbers.people < LEAST:
            questions.append(head | {"answers": None})
            continue
        questions.append(
            head
            | _spread(found[one.place, one.part], _texts(_body(one, revisions[one.revision_id])))
            | {
                "answers": numbers.people,
                "share_right": numbers.share_right,
                "mean": numbers.mean,
                "item_rest": numbers.item_rest,
                "alpha_without": numbers.alpha_without,
                "good_miss_it": numbers.good_miss_it,
            }
        )
    return {
        "people": people,
        "questions": questions,
        "statistics": {
            "complete": told.complete,
            "alpha": told.alpha,
            "right_or_wrong": told.right_or_wrong,
            "few_people": told.few_people,
            "few_items": told.few_items,
        },
    }


def _spread(question: _Question, texts: Mapping[str, str]) -> dict[str, Any]:
    """Outcomes, options and rows; a belief that stands beside its option is not told twice."""
    question.read_marks()
    order = [one for one in texts if one in question.options]
    order += [one for one in question.options if one not in texts]
    options = [
        {"id": one, "text": texts.get(one), **question.options[one], "count": question.picked[one]} for one in order
    ]
    beside = {option["belief"] for option in options if option["belief"]}
    return {
        "outcomes": {word: question.outcomes[word] for word in ("full", "part", "miss", "pass", "void")},
        "options": options,
        "beliefs": [
            {"belief": belief, "count": count}
            for belief, count in question.beliefs.most_common()
            if belief not in beside
        ],
        "rows": [
            {
                "label": row["label"],
                "right": row["right"],
                "wrong": [
                    {"given": given, "belief": belief, "count": count}
                    for (given, belief), count in row["wrong"].most_common(_MOST_WRONG)
                ],
            }
            for row in question.rows.values()
        ],
    }


def _head(one: Any, revision: Compiled) -> dict[str, Any]:
    body = _body(one, revision)
    return {
        "place": one.place,
        "part": one.part,
        "item": one.item_id,
        "revision": one.revision_number,
        "kind": one.kind,
        "concept": one.concept_id,
        "concept_title": one.concept_title,
        "system": one.system,
        "folder": one.folder,
        "stem": without_numbers(body["stem"]),
        "cautions": list(body["cautions"]),
        "bench": _bench(body),
    }


def _body(one: Any, revision: Compiled) -> Mapping[str, Any]:
    body = revision.body
    return body if one.part is None else next(part for part in body["parts"] if part["part"] == one.part)


def _texts(body: Mapping[str, Any]) -> dict[str, str]:
    """The options' texts as everybody had them, in the order of the item's text: a drawn number is left open."""
    return {option["id"]: without_numbers(option["text"]) for option in body.get("options", ()) if "text" in option}


def _bench(body: Mapping[str, Any]) -> dict[str, Any] | None:
    """The state to look at on the Fault bench: failed nodes and switches, none where each person drew a failure."""
    if body["kind"] != "still-works":
        return None
    drawn = "draw" in body["fail"]
    return {"fail": [] if drawn else list(body["fail"]["nodes"]), "switches": {} if drawn else dict(body["switches"])}


def without_numbers(text: str) -> str:
    """A text of the bank with an ellipsis where each person had an own number."""
    return _BRACES.sub("…", text)

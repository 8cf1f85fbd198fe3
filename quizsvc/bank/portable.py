"""Grading records for a device without signal.

What can be enumerated goes as a table of grades, each made by the kind's own `grade` on a response that stands for all
that are judged alike. Only numbers and orders are worked out on the device. The service judges every answer again when
it arrives, and its grade wins.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from quizsvc.bank.grade import grade
from quizsvc.bank.kinds.still_works_state import LOST, WORKS
from quizsvc.errors import InputError
from quizsvc.physics.unit_table import UNITS, spellings

__all__ = ["OFFLINE_KINDS", "portable", "units_for_typing", "with_texts"]

OFFLINE_KINDS = ("one", "some", "match", "order", "still-works", "gauge", "number")
"""Kinds that a device can judge. The others need the service: plots, spoken answers and parts that hang together."""

_MARKDOWN = ("beliefs", "texts")

_OPPOSITE = {WORKS: LOST, LOST: WORKS}

Grades = dict[str, list[Any]]


def portable(record: Mapping[str, Any]) -> dict[str, Any]:
    """What a device needs to judge answers to one question of ungraded practice.

    Parameters
    ----------
    record : mapping
        The question's grading record.

    Returns
    -------
    dict
        JSON-able. `kind`, and by kind what `static/table.js` and `static/grade.js` read; texts under `beliefs` and
        `texts` are Markdown.

    Raises
    ------
    InputError
        `kind-not-portable`.
    """
    kind = record["kind"]
    if kind not in OFFLINE_KINDS:
        raise InputError(
            "kind-not-portable",
            f"a '{kind}' item cannot be judged without the service",
            mend=f"keep only these on a device: {', '.join(OFFLINE_KINDS)}",
        )
    return {"kind": kind} | _MAKERS[kind](record)


def with_texts(table: Mapping[str, Any], turn: Callable[[str], str]) -> dict[str, Any]:
    """The same table with every Markdown text turned into something else, such as HTML."""
    turned: dict[str, Any] = {}
    for name, value in table.items():
        if name in _MARKDOWN:
            turned[name] = {key: turn(text) for key, text in value.items()}
        elif name == "number":
            turned[name] = value | {"traps": [_turned(trap, turn) for trap in value["traps"]]}
        elif name == "orders":
            turned[name] = [_turned(entry, turn) for entry in value]
        else:
            turned[name] = value
    return turned


def _turned(entry: Mapping[str, Any], turn: Callable[[str], str]) -> dict[str, Any]:
    return dict(entry) | {"belief": turn(entry["belief"]) if entry["belief"] else entry["belief"]}


def units_for_typing() -> dict[str, dict[str, list[Any]]]:
    """Every spelling of a unit that people may type, by dimension: factor and offset to SI, and the unit's name.

    Spellings are in small letters with single spaces between words.
    """
    found: dict[str, dict[str, list[Any]]] = {}
    for spelling, unit in spellings().items():
        found.setdefault(unit.dimension, {})[spelling] = [unit.factor, unit.offset, unit.name]
    return found


def _grade(record: Mapping[str, Any], response: Mapping[str, Any]) -> list[Any]:
    judged = grade(record, response)
    return [judged.outcome, judged.credit]


def _one(record: Mapping[str, Any]) -> dict[str, Any]:
    return _options(record) | {"grades": {option: _grade(record, {"option": option}) for option in record["order"]}}


def _options(record: Mapping[str, Any]) -> dict[str, Any]:
    return {"order": record["order"], "keys": record["keys"], "beliefs": record["beliefs"]}


def _some(record: Mapping[str, Any]) -> dict[str, Any]:
    keys = [option for option in record["order"] if option in record["keys"]]
    others = [option for option in record["order"] if option not in record["keys"]]
    grades: Grades = {
        f"{hits}/{false}": _grade(record, {"options": keys[:hits] + others[:false]})
        for hits in range(len(keys) + 1)
        for false in range(len(others) + 1)
    }
    return _options(record) | {"grades": grades}


def _match(record: Mapping[str, Any]) -> dict[str, Any]:
    lefts, order, key = record["lefts"], record["order"], record["pairs"]
    wrong = {left: next(option for option in order if option != key[left]) for left in lefts}
    given = [{left: key[left] if at < right else wrong[left] for at, left in enumerate(lefts)} for right in _to(lefts)]
    return {
        "rows": [{"id": left, "key": key[left]} for left in key],
        "open": lefts,
        "order": order,
        "grades": [_grade(record, {"pairs": pairs}) for pairs in given],
        "texts": record["texts"],
        "held": [[entry["left"], entry["right"]] for entry in record["beliefs"]],
        "beliefs": {f"{entry['left']} {entry['right']}": entry["belief"] for entry in record["beliefs"]},
    }


def _to(whole: list[str]) -> range:
    return range(len(whole) + 1)


def _still_works(record: Mapping[str, Any]) -> dict[str, Any]:
    rows = record["rows"]
    choices = [choice["id"] for choice in record["choices"]]
    grades: Grades = {}
    remarks: dict[str, str] = {}
    # Works taken for lost, or lost for works, in a grave row caps the credit: one such row stands for any number.
    for swapped in (None, *(row["id"] for row in rows if row["grave"])):
        for right in reversed(range(len(rows) + 1)):
            given = _rows_given(rows, choices, right, swapped)
            if given is None:
                continue
            judged = grade(record, {"rows": given})
            grades[f"{right}/{int(swapped is not None)}"] = [judged.outcome, judged.credit]
            if swapped is not None and judged.remark:
                remarks.setdefault(swapped, judged.remark)  # the first has no other row exchanged
    return {
        "rows": [{"id": row["id"], "keys": row["keys"], "grave": row["grave"]} for row in rows],
        "choices": choices,
        "grades": grades,
        "remarks": remarks,
        "texts": {choice["id"]: choice["text"] for choice in record["choices"]},
        "beliefs": {f"{row['id']} {taken}": belief for row in rows for taken, belief in row["beliefs"].items()},
    }


def _rows_given(
    rows: Sequence[Mapping[str, Any]], choices: Sequence[str], right: int, swapped: str | None
) -> dict[str, str] | None:
    """Answers with so many rows right, and works and lost exchanged in one grave row or in none; None if impossible."""
    ways = []
    for row in rows:
        keys = [choice for choice in choices if choice in row["keys"]]
        wrong = [choice for choice in choices if choice not in keys]
        exchanged = [choice for choice in wrong if row["grave"] and _OPPOSITE.get(choice) in keys]
        plain = [choice for choice in wrong if choice not in exchanged]
        if row["id"] == swapped:
            keys, wrong = [], exchanged
        else:
            wrong = plain or (exchanged if swapped else [])
        ways.append((row["id"], keys, wrong))
    # A row that cannot be wrong is right first, and one that cannot be right is right last.
    ways.sort(key=lambda way: (bool(way[2]), not way[1]))
    given = {row: keys if at < right else wrong for at, (row, keys, wrong) in enumerate(ways)}
    return {row: taken[0] for row, taken in given.items()} if all(given.values()) else None


def _gauge(record: Mapping[str, Any]) -> dict[str, Any]:
    readings = record["readings"]
    key = record["keys"][0]
    other = next(option for option in record["order"] if option not in record["keys"])
    grades: Grades = {}
    for right in range(len(readings) + 1):
        for judged in (False, True):
            given = {
                one["id"]: {"typed": "", "si": one["key"] if at < right else one["key"] + 9 * one["within"] + 1e9}
                for at, one in enumerate(readings)
            }
            grades[f"{right}/{int(judged)}"] = _grade(record, {"readings": given, "option": key if judged else other})
    return {
        "order": record["order"],
        "keys": record["keys"],
        "readings": [dict(one) | _unit(one["unit"]) for one in readings],
        "grades": grades,
        "beliefs": record["beliefs"],
    }


def _number(record: Mapping[str, Any]) -> dict[str, Any]:
    names = ("unit", "key", "within", "exact", "rounded", "round", "decimals", "rounded_decimals")
    return {
        "number": {name: record[name] for name in names}
        | _unit(record["unit"])
        | {
            "below_100": record["answers_below_100"],
            "traps": [{name: trap[name] for name in ("id", "value", "rounded", "belief")} for trap in record["traps"]],
        }
    }


def _unit(name: str) -> dict[str, Any]:
    unit = UNITS[name]
    return {"dimension": unit.dimension, "factor": unit.factor, "offset": unit.offset}


def _order(record: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "order": record["order"],
        "right": record["right"],
        "groups": record["groups"],
        "must_first": record["must_first"],
        "orders": [dict(entry) for entry in record["beliefs"]],
        "texts": record["texts"],
    }


_MAKERS: dict[str, Callable[[Mapping[str, Any]], dict[str, Any]]] = {
    "one": _one,
    "some": _some,
    "match": _match,
    "order": _order,
    "still-works": _still_works,
    "gauge": _gauge,
    "number": _number,
}

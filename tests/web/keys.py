"""What a test fills in to answer a stored question right or wrong, read from its grading record."""

from __future__ import annotations

from typing import Any

from quizsvc.physics.units import from_si
from quizsvc.store.tables import Question
from tests.bank.right_answers import right_answer


def _record(db: Any, question_id: str) -> dict[str, Any]:
    with db.reading() as session:
        return session.get(Question, question_id).record


def right(db: Any, question_id: str) -> dict[str, Any]:
    """The response that gives the key."""
    record = _record(db, question_id)
    if record["kind"] == "number":
        return {"text": repr(from_si(record["key"], record["unit"]))}
    return right_answer(record)


def wrong(db: Any, question_id: str) -> dict[str, Any]:
    """A response that misses, or as nearly as its kind allows."""
    record = _record(db, question_id)
    return _WRONG[record["kind"]](record)


def _other(record: dict[str, Any]) -> str:
    return next(option for option in record["order"] if option not in record["keys"])


def _rotated(record: dict[str, Any]) -> dict[str, Any]:
    order = record["order"]
    return {left: order[(order.index(right) + 1) % len(order)] for left, right in record["pairs"].items()}


_WRONG = {
    "number": lambda record: {"text": repr(from_si(record["key"], record["unit"]) * 3 + 9876)},
    "one": lambda record: {"option": _other(record)},
    "profile": lambda record: {"option": _other(record)},
    "some": lambda record: {"options": [one for one in record["order"] if one not in record["keys"]]},
    "order": lambda record: {"order": record["right"][::-1]},
    "match": lambda record: {"pairs": _rotated(record)},
    "still-works": lambda record: {
        "rows": {row["id"]: "lost" if "works" in row["keys"] else "works" for row in record["rows"]}
    },
    "gauge": lambda record: {
        "readings": {entry["id"]: "1" for entry in record["readings"]},
        "option": _other(record),
    },
    "say": lambda record: {"points": []},
}


def fields(response: dict[str, Any]) -> dict[str, Any]:
    """The same response as the fields of a form; a list is sent several times."""
    found: dict[str, Any] = {name: value for name, value in response.items() if name in ("text", "option", "options")}
    for place, step in enumerate(response.get("order", ()), 1):
        found[f"place-{step}"] = str(place)
    for left, chosen in response.get("pairs", {}).items():
        found[f"pair-{left}"] = chosen
    for dial, typed in response.get("readings", {}).items():
        found[f"reading-{dial}"] = typed
    for row, chosen in response.get("rows", {}).items():
        found[f"row-{row}"] = "after" if chosen.startswith("after ") else chosen
        if chosen.startswith("after "):
            found[f"after-{row}"] = chosen
    if "points" in response:
        found |= {"points": response["points"], "spoken": "1"}
    return found

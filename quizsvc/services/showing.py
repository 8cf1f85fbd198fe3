"""One drawn question with everything an author wants to see of it: for `bank show` and the preview page."""

from __future__ import annotations

from typing import Any

from quizsvc.bank.grade import grade, worked
from quizsvc.bank.kinds.base import Presented
from quizsvc.bank.question import Item, issue, present
from quizsvc.physics.units import format_quantity
from quizsvc.pictures import describe

__all__ = ["shown", "with_key"]


def shown(item: Item, rng: Any) -> dict[str, Any]:
    """Draw a question and show it as a learner gets it, with key, beliefs, traps and working; JSON-able.

    Raises
    ------
    DrawError
        Every draw is refused.
    """
    issued = issue(item, rng)
    asked = present(item, issued.drawn, issued.order)
    if "parts" not in issued.record:
        return with_key(asked, issued.record)
    parts = []
    for entry in issued.record["parts"]:
        part = present(item, issued.drawn, entry["order"], part=entry["part"])
        head = {"part": entry["part"], "concept": entry["concept"], "reveal": entry["reveal"]}
        follow = list(entry["record"].get("earlier", {}))
        parts.append(with_key(part, entry["record"]) | head | {"follow": follow, "situation": None})
    return with_key(asked, issued.record) | {"parts": parts}


def with_key(asked: Presented, record: Any) -> dict[str, Any]:
    """One question, or one part of a scenario, with its key; JSON-able. `record` is its grading record."""
    working = worked(record)
    traps = record.get("traps", [])
    beliefs = record.get("beliefs", {})
    rows = () if "parts" in record else grade(record, {"pass": True}).rows
    return {
        "stem": asked.stem,
        "kind": asked.kind,
        "picture": asked.picture,
        "picture_text": describe(asked.picture) if asked.picture else None,
        "ask": asked.ask,
        "options": {option.id: option.text for option in asked.options},
        "unit": asked.unit,
        "how": asked.how,
        "cautions": list(asked.cautions),
        "key": working.key_shown,
        "accepted": working.accepted_shown,
        "rows": [
            {"label": row.label, "key": row.key, "note": row.note, "belief": _row_beliefs(record, row.id)}
            for row in rows
        ],
        "choices": [choice.text for choice in asked.choices],
        "keys": record.get("keys", []),
        "beliefs": beliefs if isinstance(beliefs, dict) else {},
        "slips": [] if isinstance(beliefs, dict) else [_slip(record, entry) for entry in beliefs],
        "traps": [trap | {"shown": _in_shown_unit(record, trap["value"])} for trap in traps],
        "why": working.why,
        "working": list(working.lines),
        "pictures": list(working.pictures),
    }


def _slip(record: Any, entry: Any) -> dict[str, str]:
    """A wrong order of two steps, or a wrong pair, and what stands behind it."""
    if "before" in entry:
        given = " before ".join(f"'{record['texts'][step]}'" for step in entry["before"])
    else:
        given = f"'{record['left_texts'][entry['left']]}' with '{record['texts'][entry['right']]}'"
    return {"given": given, "belief": str(entry["belief"])}


def _row_beliefs(record: Any, row_id: str) -> str | None:
    """What stands behind each wrong answer to a row of a graph question."""
    rows = record.get("rows", ())
    found: dict[str, str] = next((row.get("beliefs", {}) for row in rows if row.get("id") == row_id), {})
    return "; ".join(f"{taken}: {belief}" for taken, belief in found.items()) or None


def _in_shown_unit(record: Any, value_si: float | None) -> str:
    return "no number" if value_si is None else format_quantity(value_si, record["unit"], record["decimals"])

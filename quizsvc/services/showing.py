"""One drawn question with everything an author wants to see of it: for `bank show` and the preview page."""

from __future__ import annotations

from typing import Any

from quizsvc.bank.grade import worked
from quizsvc.bank.question import Item, issue, present
from quizsvc.physics.units import format_quantity

__all__ = ["shown"]


def shown(item: Item, rng: Any) -> dict[str, Any]:
    """Draw a question and show it as a learner gets it, with key, beliefs, traps and working; JSON-able.

    Raises
    ------
    DrawError
        Every draw is refused.
    """
    issued = issue(item, rng)
    asked = present(item, issued.drawn, issued.order)
    working = worked(issued.record)
    traps = issued.record.get("traps", [])
    return {
        "stem": asked.stem,
        "kind": asked.kind,
        "options": {option.id: option.text for option in asked.options},
        "unit": asked.unit,
        "how": asked.how,
        "cautions": list(asked.cautions),
        "key": working.key_shown,
        "accepted": working.accepted_shown,
        "keys": issued.record.get("keys", []),
        "beliefs": issued.record.get("beliefs", {}),
        "traps": [trap | {"shown": _in_shown_unit(issued.record, trap["value"])} for trap in traps],
        "why": working.why,
        "working": list(working.lines),
    }


def _in_shown_unit(record: Any, value_si: float | None) -> str:
    return "no number" if value_si is None else format_quantity(value_si, record["unit"], record["decimals"])

"""Writing questions: an item's revision, the numbers drawn for one person, the frozen record it is judged by."""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.bank.question import issue
from quizsvc.services.compiled import compiled_in
from quizsvc.store import bank, questions
from quizsvc.store.session import Session

_DRAWS = 8


@dataclass(frozen=True)
class Draft:
    """A question before it has a place in a set."""

    item_id: str
    revision_id: int
    concept_id: str
    kind: str
    drawn: dict[str, Any]
    option_order: list[str]
    record: dict[str, Any]
    draw_key: str

    def row(
        self,
        *,
        person_id: int,
        set_id: str,
        position: int,
        reason: str,
        now: datetime,
        repeat_of: str | None = None,
    ) -> dict[str, Any]:
        """The question's row, with an id that nobody can guess."""
        return {
            "id": secrets.token_hex(16),
            "person_id": person_id,
            "set_id": set_id,
            "position": position,
            "item_id": self.item_id,
            "revision_id": self.revision_id,
            "concept_id": self.concept_id,
            "kind": self.kind,
            "drawn": self.drawn,
            "option_order": self.option_order,
            "record": self.record,
            "draw_key": self.draw_key,
            "reason": reason,
            "repeat_of": repeat_of,
            "offline": False,
            "issued_at": now,
        }


def draft(session: Session, person_id: int, revision_id: int, rng: Any) -> Draft:
    """Draw one question from a revision; numbers this person has had before only where it has hardly any others.

    Raises
    ------
    DrawError
        No draw passes the item's own refusals.
    """
    row = bank.revision(session, revision_id)
    item = compiled_in(session, row.hash, revision_id).item
    seen = questions.seen_draws(session, person_id, row.item_id) if row.generated else set()
    for _ in range(_DRAWS):
        issued = issue(item, rng)
        key = draw_key(row.item_id, issued.drawn)
        if key not in seen:
            break
    return Draft(
        item_id=row.item_id,
        revision_id=revision_id,
        concept_id=row.concept_id,
        kind=row.kind,
        drawn=issued.drawn,
        option_order=list(issued.order),
        record=issued.record,
        draw_key=key,
    )


def draw_key(item_id: str, drawn: Any) -> str:
    """Names an item with its numbers: two questions with one key look alike but for the order of the options."""
    text = json.dumps(drawn, sort_keys=True, separators=(",", ":"))
    return f"{item_id} {hashlib.sha256(text.encode()).hexdigest()[:24]}"

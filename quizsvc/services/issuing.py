"""Writing questions: an item's revision, the numbers drawn for one person, the frozen record it is judged by."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from operator import itemgetter
from typing import Any

from quizsvc.bank.question import Issued, Item, issue
from quizsvc.services.compiled import compiled_in
from quizsvc.store import bank, questions
from quizsvc.store.session import Session

# Enough to find the last one left of four: (3/4)^24 = 0.001.
_DRAWS = 24
_NEVER = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Draft:
    """A question before it has a place in a set or in a work."""

    item_id: str
    revision_id: int
    concept_id: str
    kind: str
    drawn: dict[str, Any]
    option_order: list[str]
    record: dict[str, Any]
    draw_key: str
    part: str | None = None
    chain: str | None = None

    def row(
        self,
        *,
        person_id: int,
        set_id: str | None = None,
        work_id: str | None = None,
        place: int | None = None,
        position: int,
        reason: str,
        now: datetime,
        repeat_of: str | None = None,
        offline: bool = False,
    ) -> dict[str, Any]:
        """The question's row, with an id that nobody can guess: of a set, or of a work, sealed until its release."""
        return {
            "id": secrets.token_hex(16),
            "person_id": person_id,
            "set_id": set_id,
            "work_id": work_id,
            "place": place,
            "sealed": work_id is not None,
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
            "offline": offline,
            "issued_at": now,
            "part": self.part,
            "chain": self.chain,
        }


def drafts(
    session: Session, person_id: int | None, revision_id: int, rng: Any, *, without: Collection[str] = ()
) -> tuple[Draft, ...]:
    """Draw one question from a revision, or the parts of one scenario in their order.

    Numbers that this person has had before, and those of the draw keys `without`, come only where the item has hardly
    any others; then those that they had longest ago. Without a person the draw is for nobody in particular.

    Raises
    ------
    DrawError
        No draw passes the item's own refusals.
    """
    row = bank.revision(session, revision_id)
    item = compiled_in(session, row.hash, revision_id).item
    seen = questions.seen_draws(session, person_id, row.item_id) if row.generated and person_id is not None else {}
    issued, key = drawn_apart(row.item_id, item, rng, seen, without=without)
    parts = issued.record.get("parts") or ()
    if not parts:
        return (
            Draft(
                item_id=row.item_id,
                revision_id=revision_id,
                concept_id=row.concept_id,
                kind=row.kind,
                drawn=issued.drawn,
                option_order=list(issued.order),
                record=issued.record,
                draw_key=key,
            ),
        )
    chain = secrets.token_hex(16)
    return tuple(
        Draft(
            item_id=row.item_id,
            revision_id=revision_id,
            concept_id=part["concept"],
            kind=part["kind"],
            drawn=issued.drawn,
            option_order=list(part["order"]),
            record={**part["record"], "reveal": part["reveal"]},
            draw_key=draw_key(row.item_id, issued.drawn, part["part"]),
            part=part["part"],
            chain=chain,
        )
        for part in parts
    )


def drawn_apart(
    item_id: str, item: Item, rng: Any, seen: Mapping[str, datetime], *, without: Collection[str] = ()
) -> tuple[Issued, str]:
    """Draw until the numbers are new, some times over; else those of the draws made that were had longest ago.

    Parameters
    ----------
    item_id : str
        Id of the item.
    item : Item
        Compiled.
    rng : random.Random
        Draws the numbers.
    seen : mapping of str to datetime
        Draw keys that were had, and when last.
    without : collection of str
        Draw keys to be kept clear of even more.

    Returns
    -------
    tuple of Issued, str
        The question and its draw key; that of the first part of a scenario.

    Raises
    ------
    DrawError
        No draw passes the item's own refusals.
    """
    had: list[tuple[bool, datetime, int, Issued, str]] = []
    for number in range(_DRAWS if item.draws.entries else 1):
        issued = issue(item, rng)
        parts = issued.record.get("parts") or ()
        key = draw_key(item_id, issued.drawn, parts[0]["part"] if parts else None)
        if key not in seen and key not in without:
            return issued, key
        had.append((key in without, seen.get(key, _NEVER), number, issued, key))
    return min(had, key=itemgetter(0, 1, 2))[3:]


def draw_key(item_id: str, drawn: Any, part: str | None = None) -> str:
    """Names an item, or a part of one, with its numbers: two questions with one key look alike but for the order."""
    text = json.dumps(drawn, sort_keys=True, separators=(",", ":"))
    return f"{item_id}{f'/{part}' if part else ''} {hashlib.sha256(text.encode()).hexdigest()[:24]}"

"""What was done with a text of the bank desk: by whom, when, in which words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.store import desk
from quizsvc.store.session import Session
from quizsvc.store.tables import DeskItem, DeskStep

__all__ = [
    "PUT_INTO_USE",
    "READ",
    "SENT_BACK",
    "StepView",
    "last",
    "newest",
    "note",
    "of",
    "read_before_use",
    "said",
    "sent_back",
]

SENT_BACK = "sent back"
READ = "read"
PUT_INTO_USE = "put into use"


@dataclass(frozen=True)
class StepView:
    """A step: what was done, in which words (empty: none were asked for), by whom (None: somebody who left), when."""

    what: str
    text: str
    by: str | None
    at: datetime


def note(session: Session, found: DeskItem, what: str, *, by: int, text: str = "", now: datetime) -> None:
    """Keep a step in the caller's unit of work, after the text's own changes."""
    session.add(DeskStep(item_id=found.id, what=what, text=text, version=found.version, by=by, at=now))


def of(session: Session, item_id: str) -> tuple[StepView, ...]:
    """A text's steps, the newest first."""
    return tuple(StepView(row.what, row.text, row.name, row.at) for row in desk.steps(session, [item_id]))


def newest(session: Session, item_ids: Iterable[str]) -> dict[str, Any]:
    """By text, the newest of its steps that sent it back or read it."""
    found: dict[str, Any] = {}
    for row in desk.steps(session, list(item_ids)):
        if row.what in (SENT_BACK, READ):
            found.setdefault(row.item_id, row)
    return found


def last(session: Session, item_id: str, what: str) -> Any:
    """The newest step of a kind, or None."""
    return next((row for row in desk.steps(session, [item_id]) if row.what == what), None)


def read_before_use(session: Session, item_id: str) -> Any:
    """The step by which the text that is in use was read, or None."""
    steps = iter(desk.steps(session, [item_id]))
    any(row.what == PUT_INTO_USE for row in steps)  # goes on to there
    return next((row for row in steps if row.what == READ), None)


def sent_back(step: Any, found: DeskItem) -> str:
    """`waits` or `changed` for a draft that was sent back and not read since, else an empty text."""
    if step is None or step.what != SENT_BACK or found.state != "draft":
        return ""
    return "waits" if step.version == found.version else "changed"


def said(steps: Iterable[StepView]) -> StepView | None:
    """The newest step that sent a text back."""
    return next((step for step in steps if step.what == SENT_BACK), None)

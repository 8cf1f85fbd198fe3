"""A stored question as its page shows it, with its feedback, and with the other parts of its scenario."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from quizsvc.services import older_handbooks
from quizsvc.services.compiled import compiled_in
from quizsvc.services.question_views import feedback_view, question_view, said, shown_to, withheld
from quizsvc.services.views import QuestionView
from quizsvc.store import questions
from quizsvc.store.session import Session


def stored_question(session: Session, row: Any, *, spoken: bool = False) -> QuestionView:
    """The question of a row of `store.questions`; one whose scenario is through brings all its parts."""
    view = _alone(session, row, spoken=spoken)
    if row.chain is None:
        return view
    rows = questions.shown_of_chain(session, row.chain)
    if row.answer_id is not None and not row.chain_open:
        return replace(view, chain=tuple(_alone(session, one) for one in rows))
    before = [one for one in rows if one.position < row.position and one.answer_id is not None]
    return replace(view, earlier=tuple(_said(session, one) for one in before))


def _alone(session: Session, row: Any, *, spoken: bool = False) -> QuestionView:
    revision = compiled_in(session, row.revision_hash, row.revision_id)
    shown = shown_to(row, revision, spoken=spoken)
    answered = row.answer_id is not None
    kept = answered and withheld(row)
    feedback = feedback_view(row, shown, row, revision) if answered and not kept else None
    older = older_handbooks.of_row(session, row)
    return replace(question_view(row, revision, feedback=feedback, shown=shown, older=older), kept=kept)


def _said(session: Session, row: Any) -> tuple[str, str]:
    """An earlier part in short: its id and stem, and what the person answered."""
    shown = shown_to(row, compiled_in(session, row.revision_hash, row.revision_id))
    # A number as it was read: with the unit that was meant.
    answered = row.read_back if row.kind == "number" else said(row.raw, shown)
    return f"({row.part}) {shown.stem}", answered or "pass"

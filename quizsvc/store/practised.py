"""When a person practised: the times of their answers."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session

from quizsvc.store.tables import Answer, Question, Revision

__all__ = ["MOST", "answers_since"]

MOST = 400
"""More of the newest answers tell nothing more of a habit."""


def answers_since(session: Session, person_id: int, since: datetime) -> list[Row]:
    """A person's first answers in practice from a time on, the newest four hundred at most, oldest first.

    Of each its set, kind, expected seconds (s), part of a scenario, the question it repeats, when its question was put,
    when it counts as given, and the day in the person's zone. Homework is no practice.
    """
    newest = session.execute(
        sa.select(
            Question.set_id,
            Question.kind,
            Revision.seconds,
            Question.part,
            Question.repeat_of,
            Question.issued_at,
            Answer.effective_at,
            Answer.local_day,
        )
        .select_from(Answer)
        .join(Question, Question.id == Answer.question_id)
        .join(Revision, Revision.id == Question.revision_id)
        .where(
            Answer.person_id == person_id,
            Answer.effective_at >= since,
            sa.not_(Answer.again),
            Question.set_id.is_not(None),
        )
        .order_by(Answer.effective_at.desc(), Answer.id.desc())
        .limit(MOST)
    )
    rows: list[Row] = list(newest)
    rows.reverse()
    return rows

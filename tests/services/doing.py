"""What a student does with homework, as tests do it: begin, fill in, hand in."""

from __future__ import annotations

import sqlalchemy as sa

from quizsvc.services import handing_in, homework
from quizsvc.store.tables import Answer, Grade, Question
from tests.web.keys import right, wrong

__all__ = ["begin", "fill", "grades", "hand_in", "right", "save", "wrong"]


def begin(db, clock, rng, person_id, assignment_id):
    """Begin a try, or go on with it."""
    return homework.begin(db, person_id, assignment_id, now=clock(), rng=rng)


def save(db, clock, person_id, work, question_id, raw, *, version=1, **more):
    """Keep a draft."""
    usual = {"sureness": None, "version": version, "now": clock()}
    return homework.save_draft(db, person_id, work.id, question_id, raw=raw, **(usual | more))


def fill(db, clock, person_id, work, given=right):
    """Fill in every question, right unless told otherwise."""
    for one in work.questions:
        save(db, clock, person_id, work, one.id, given(db, one.id))


def hand_in(db, clock, person_id, work, *, anyway=False, **more):
    """Hand in now."""
    return handing_in.hand_in(db, person_id, work.id, anyway=anyway, **({"now": clock()} | more))


def grades(db, work):
    """Outcome by position of the questions of a work that have an answer."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(Question.position, Grade.outcome)
            .join(Answer, Answer.question_id == Question.id)
            .join(Grade, Grade.answer_id == Answer.id)
            .where(Question.work_id == work.id)
            .order_by(Question.position)
        )
        return [(row.position, row.outcome) for row in rows]

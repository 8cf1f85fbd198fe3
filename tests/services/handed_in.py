"""Homework done by a class, as tests need it: begun, answered and handed in by the ways that students have."""

from __future__ import annotations

import random

import sqlalchemy as sa

from quizsvc.services import handing_in, homework
from quizsvc.store.tables import Question
from tests.services import assigned, drills


def school(db, clock, items, *, students=6, **rules):
    """An instructor, a group of students, an assignment on these items; returns (instructor, students, assignment)."""
    instructor = assigned.add_person(db, clock, "Odalys Brandt", roles=("instructor",))
    ids = [assigned.add_person(db, clock, f"Student {number:02d}") for number in range(1, students + 1)]
    group = assigned.add_group(db, clock, instructors=[instructor], students=ids)
    return instructor, ids, assigned.add_assignment(db, clock, group, items, **rules)


def questions_of(db, work_id):
    """The ids of a work's questions, in order."""
    with db.reading() as session:
        return list(
            session.scalars(sa.select(Question.id).where(Question.work_id == work_id).order_by(Question.position))
        )


def do(db, clock, person_id, assignment_id, responses):
    """Begin, answer and hand in; returns the work's id.

    Each response is `right`, `wrong`, `pass`, or the raw response itself; of a function, what it makes of the record.
    """
    work = homework.begin(db, person_id, assignment_id, now=clock(), rng=random.Random(person_id))
    ways = {"right": drills.right, "wrong": drills.wrong, "pass": lambda _db, _question: {"pass": True}}
    for question_id, response in zip(questions_of(db, work.id), responses, strict=True):
        raw = ways[response](db, question_id) if isinstance(response, str) else response
        if callable(raw):
            raw = raw(record_of(db, question_id))
        homework.save_draft(db, person_id, work.id, question_id, raw=raw, sureness=None, version=1, now=clock())
    handing_in.hand_in(db, person_id, work.id, anyway=True, now=clock())
    return work.id


def record_of(db, question_id):
    """The frozen grading record of a question."""
    with db.reading() as session:
        return session.get(Question, question_id).record

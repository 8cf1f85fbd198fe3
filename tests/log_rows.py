"""A log of answers written straight into the tables, for tests and benchmarks that need more than anybody types."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import sqlalchemy as sa

from quizsvc.memory.states import AnswerEvent
from quizsvc.services.clocks import time_at
from quizsvc.services.sessions import new_people
from quizsvc.store.tables import Answer, Grade, Item, PracticeSet, Question, Revision

BLOCK = 20_000


def bank_concepts(db) -> list[str]:
    """The concepts that have an item in the loaded bank, in alphabetical order."""
    with db.reading() as session:
        return sorted(set(session.scalars(sa.select(Revision.concept_id).join(Item, Item.revision_id == Revision.id))))


def write_people(db, names: Sequence[str], now) -> list[int]:
    """People with an account and no answer; their ids in the order given."""
    with db.writing() as session:
        return list(
            new_people(session, [(n, n) for n in names], aircraft=["tolquenny-19"], time_zone="UTC", now=now).values()
        )


def write_logs(db, logs: dict[int, Sequence[AnswerEvent]]) -> None:
    """The answers of each person, one set for each, in the order given; concepts must be of `bank_concepts`."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(Revision.concept_id, Item.id, Revision.id.label("revision_id")).join(
                Item, Item.revision_id == Revision.id
            )
        )
        asked = {row.concept_id: (row.id, row.revision_id) for row in rows}
    with db.writing() as session:
        first = (session.scalar(sa.select(sa.func.max(Answer.id))) or 0) + 1
        numbers = itertools.count(first)
        for person, events in logs.items():
            set_id = f"{person:032x}"
            session.execute(
                sa.insert(PracticeSet),
                [{"id": set_id, "person_id": person, "long": True, "minutes": 8, "started_at": time_at(events[0].at)}],
            )
            for start in range(0, len(events), BLOCK):
                _write(session, person, set_id, start, events[start : start + BLOCK], asked, numbers)


def _write(session, person, set_id, start, events, asked, numbers) -> None:
    questions, answers = [], []
    for place, event in enumerate(events, start):
        item, revision = asked[event.concept]
        at, number = time_at(event.at), next(numbers)
        questions.append(
            {"id": f"{number:032x}", "person_id": person, "set_id": set_id, "position": place, "item_id": item,
             "revision_id": revision, "concept_id": event.concept, "kind": event.kind, "drawn": {}, "option_order": [],
             "record": {}, "draw_key": f"{item} {number}", "reason": "", "offline": False, "issued_at": at}
        )  # fmt: skip
        answers.append(
            {"uuid": f"{number:032x}", "question_id": f"{number:032x}", "person_id": person, "again": False, "raw": {},
             "response": {}, "received_at": at, "effective_at": at, "local_day": event.local_day}
        )  # fmt: skip
    session.execute(sa.insert(Question), questions)
    session.execute(sa.insert(Answer), answers)
    ids = dict(session.execute(sa.select(Answer.question_id, Answer.id).where(
        Answer.person_id == person, Answer.question_id.in_(sa.select(Question.id).where(
            Question.set_id == set_id, Question.position >= start))
    )).all())  # fmt: skip
    session.execute(
        sa.insert(Grade),
        [
            {"answer_id": ids[question["id"]], "number": 1, "outcome": event.outcome, "credit": event.credit,
             "marks": [], "graded_at": question["issued_at"]}
            for question, event in zip(questions, events, strict=True)
        ],
    )  # fmt: skip

"""Recording an answer: the hot path, in Core statements that are built once.

The learner's row comes first and is locked, so that everything of one person happens in turn; one further statement
fetches all that judging the answer needs.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row
from sqlalchemy.orm import aliased

from quizsvc.store.questions import SECTION, SHOWN_COLUMNS
from quizsvc.store.tables import (
    Answer,
    Concept,
    ConceptState,
    Grade,
    HandbookSection,
    Learner,
    Person,
    Question,
    Revision,
    Weights,
)

_person = sa.bindparam("person_id")
_question = sa.bindparam("question_id")

_LOCK = (
    sa.select(
        Learner.state,
        Learner.newest_at,
        Learner.newest_id,
        Learner.weights_version,
        Weights.body.label("weights"),
        Person.time_zone,
    )
    .select_from(Learner)
    .join(Person, Person.id == Learner.person_id)
    .join(Weights, Weights.version == Learner.weights_version)
    .where(Learner.person_id == _person)
    .with_for_update(of=Learner)
)

_Same = aliased(Answer)
_First = aliased(Answer)
_Following = aliased(Question)
_FollowingAnswer = aliased(Answer)
_SeenQuestion = aliased(Question)
_SeenAnswer = aliased(Answer)

_FIRST = (
    sa.select(_First.id)
    .where(_First.question_id == Question.id, sa.not_(_First.again))
    .correlate(Question)
    .scalar_subquery()
)
_FOLLOWING = (
    sa.select(_Following.id)
    .where(
        _Following.set_id == Question.set_id,
        _Following.id != Question.id,
        ~sa.exists().where(_FollowingAnswer.question_id == _Following.id).correlate(_Following),
    )
    .order_by(_Following.position)
    .limit(1)
    .correlate(Question)
    .scalar_subquery()
)
_LAST_SEEN = (
    sa.select(sa.func.min(_SeenAnswer.effective_at))
    .join(_SeenQuestion, _SeenQuestion.id == _SeenAnswer.question_id)
    .where(
        _SeenQuestion.person_id == Question.person_id,
        _SeenQuestion.draw_key == Question.draw_key,
        _SeenQuestion.id != Question.id,
        sa.not_(_SeenAnswer.again),
    )
    .correlate(Question)
    .scalar_subquery()
)
_FETCH = (
    sa.select(
        *SHOWN_COLUMNS,
        Question.person_id,
        ConceptState.state.label("concept_state"),
        _Same.id.label("same_id"),
        _Same.person_id.label("same_person_id"),
        _Same.question_id.label("same_question_id"),
        _FIRST.label("first_id"),
        _FOLLOWING.label("following_id"),
        _LAST_SEEN.label("draw_seen_at"),
    )
    .select_from(Question)
    .join(Revision, Revision.id == Question.revision_id)
    .join(Concept, Concept.id == Question.concept_id)
    .outerjoin(HandbookSection, SECTION)
    .outerjoin(
        ConceptState,
        sa.and_(ConceptState.person_id == Question.person_id, ConceptState.concept_id == Question.concept_id),
    )
    .outerjoin(_Same, _Same.uuid == sa.bindparam("uuid"))
    .where(Question.id == _question, Question.person_id == _person)
)

_Later = aliased(Grade)
_STORED = (
    sa.select(
        Answer.id.label("answer_id"),
        Answer.uuid,
        Answer.raw,
        Answer.response,
        Answer.sureness,
        Answer.effective_at,
        Answer.received_at,
        Grade.outcome,
        Grade.credit,
        Grade.void_reason,
        Grade.belief,
        Grade.remark,
        Grade.read_back,
        Grade.marks,
    )
    .select_from(Answer)
    .join(Grade, Grade.answer_id == Answer.id)
    .where(
        Answer.id == sa.bindparam("answer_id"),
        ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number),
    )
)

_INSERT_ANSWER = sa.insert(Answer).returning(Answer.id)
_INSERT_GRADE = sa.insert(Grade).inline()
_UPDATE_LEARNER = (
    sa.update(Learner)
    .where(Learner.person_id == sa.bindparam("of_person"))
    .values(state=sa.bindparam("new_state"), newest_at=sa.bindparam("new_at"), newest_id=sa.bindparam("new_id"))
)
_INSERT_HOLD = sa.insert(ConceptState).inline()
_UPDATE_HOLD = (
    sa.update(ConceptState)
    .where(ConceptState.person_id == sa.bindparam("of_person"), ConceptState.concept_id == sa.bindparam("of_concept"))
    .values(state=sa.bindparam("new_state"))
)


def lock_learner(connection: Connection, person_id: int) -> Row | None:
    """The person's learner, locked until the end, with the weights and the person's time zone."""
    return connection.execute(_LOCK, {"person_id": person_id}).first()


def fetch(connection: Connection, person_id: int, question_id: str, uuid: str) -> Row | None:
    """A question of the person, the hold on its concept, answers that stand in the way, and what comes next."""
    return connection.execute(_FETCH, {"person_id": person_id, "question_id": question_id, "uuid": uuid}).first()


def stored(connection: Connection, answer_id: int) -> Row:
    """An answer with the grade that counts."""
    return connection.execute(_STORED, {"answer_id": answer_id}).one()


def add_answer(connection: Connection, values: dict[str, Any]) -> int:
    """Add an answer; returns its number."""
    return connection.execute(_INSERT_ANSWER, values).scalar_one()


def add_grade(connection: Connection, values: dict[str, Any]) -> None:
    """Add a grade."""
    connection.execute(_INSERT_GRADE, values)


def store_learner(connection: Connection, person_id: int, state: Any, newest_at: datetime, newest_id: int) -> None:
    """Store the learner after the newest answer."""
    connection.execute(
        _UPDATE_LEARNER,
        {"of_person": person_id, "new_state": state, "new_at": newest_at, "new_id": newest_id},
    )


def store_hold(connection: Connection, person_id: int, concept_id: str, state: Any, *, new: bool) -> None:
    """Store the hold on a concept."""
    if new:
        connection.execute(_INSERT_HOLD, {"person_id": person_id, "concept_id": concept_id, "state": state})
    else:
        connection.execute(_UPDATE_HOLD, {"of_person": person_id, "of_concept": concept_id, "new_state": state})

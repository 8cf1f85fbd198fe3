"""Recording an answer: the hot path, in Core statements that are built once.

One statement fetches all that judging an answer needs; then a unit of work that holds its lock for a fraction of a
millisecond writes. It begins with the learner's row: everything of one person happens in turn.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.orm import aliased

from quizsvc.store.prepared import Prepared
from quizsvc.store.questions import SECTION, SHOWN_COLUMNS
from quizsvc.store.session import Rows
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
)

_person: sa.BindParameter[int] = sa.bindparam("person_id")
_question: sa.BindParameter[str] = sa.bindparam("question_id")

_LOCK = Prepared(sa.select(Learner.version).where(Learner.person_id == _person).with_for_update())

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


def _following(*where: sa.ColumnElement[bool]) -> sa.ScalarSelect[str]:
    """The first question of the set without an answer, but this one."""
    return (
        sa.select(_Following.id)
        .where(
            _Following.set_id == Question.set_id,
            _Following.id != Question.id,
            ~sa.exists().where(_FollowingAnswer.question_id == _Following.id).correlate(_Following),
            *where,
        )
        .order_by(_Following.position)
        .limit(1)
        .correlate(Question)
        .scalar_subquery()
    )


# The next part of the same scenario before anything else of the set.
_FOLLOWING = sa.func.coalesce(_following(_Following.chain == Question.chain), _following())
_LAST_SEEN = (
    sa.select(sa.func.min(_SeenAnswer.effective_at))
    .join(_SeenQuestion, _SeenQuestion.id == _SeenAnswer.question_id)
    .where(
        _SeenQuestion.person_id == Question.person_id,
        _SeenQuestion.draw_key == Question.draw_key,
        _SeenQuestion.id != Question.id,
        sa.not_(_SeenAnswer.again),
        # The log does not know them either, until they are released.
        sa.not_(_SeenQuestion.sealed),
    )
    .correlate(Question)
    .scalar_subquery()
)
_FETCH = Prepared(
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
        Learner.state.label("learner_state"),
        Learner.newest_at,
        Learner.version,
        Learner.weights_version,
        Person.time_zone,
    )
    .select_from(Question)
    .join(Revision, Revision.id == Question.revision_id)
    .join(Concept, Concept.id == Question.concept_id)
    .join(Person, Person.id == Question.person_id)
    .join(Learner, Learner.person_id == Question.person_id)
    .outerjoin(HandbookSection, SECTION)
    .outerjoin(
        ConceptState,
        sa.and_(ConceptState.person_id == Question.person_id, ConceptState.concept_id == Question.concept_id),
    )
    .outerjoin(_Same, _Same.uuid == sa.bindparam("uuid"))
    # Homework is answered by handing it in.
    .where(Question.id == _question, Question.person_id == _person, Question.work_id.is_(None))
)

_EARLIER = Prepared(
    sa.select(Question.part, Answer.response)
    .join(Answer, Answer.question_id == Question.id)
    .where(Question.chain == sa.bindparam("chain"), sa.not_(Answer.again))
)

_Later = aliased(Grade)
_STORED = Prepared(
    sa.select(
        Answer.id.label("answer_id"),
        Answer.uuid,
        Answer.raw,
        Answer.response,
        Answer.sureness,
        Answer.effective_at,
        Answer.received_at,
        Answer.offline,
        Answer.device_outcome,
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

_INSERT_ANSWER = Prepared(
    sa.insert(Answer).returning(Answer.id),
    (
        "uuid",
        "question_id",
        "person_id",
        "again",
        "raw",
        "response",
        "sureness",
        "given_at",
        "sent_at",
        "received_at",
        "effective_at",
        "local_day",
        "offline",
        "device_outcome",
    ),
)
_INSERT_GRADE = Prepared(
    sa.insert(Grade).inline(),
    (
        "answer_id",
        "number",
        "outcome",
        "credit",
        "void_reason",
        "trap",
        "belief",
        "remark",
        "read_back",
        "marks",
        "graded_at",
        "graded_by",
        "why",
    ),
)
_OF_VERSION = sa.and_(Learner.person_id == sa.bindparam("of_person"), Learner.version == sa.bindparam("of_version"))
_UPDATE_LEARNER = Prepared(
    sa.update(Learner)
    .where(_OF_VERSION)
    .values(state=sa.bindparam("new_state"), newest_at=sa.bindparam("new_at"), version=Learner.version + 1)
)
_COUNT_CHANGE = Prepared(sa.update(Learner).where(_OF_VERSION).values(version=Learner.version + 1))
_INSERT_HOLD = Prepared(sa.insert(ConceptState).inline(), ("person_id", "concept_id", "state"))
_UPDATE_HOLD = Prepared(
    sa.update(ConceptState)
    .where(ConceptState.person_id == sa.bindparam("of_person"), ConceptState.concept_id == sa.bindparam("of_concept"))
    .values(state=sa.bindparam("new_state"))
)


def lock(rows: Connection | Rows, person_id: int) -> None:
    """Lock the person's learner until the end. SQLite has one writer at a time anyway."""
    _LOCK.first(rows, {"person_id": person_id})


def fetch(rows: Connection | Rows, person_id: int, question_id: str, uuid: str) -> Any | None:
    """A question of the person with all that judging an answer needs, of one moment.

    The hold on its concept, the learner, answers that stand in the way, and the question that comes next.
    """
    return _FETCH.first(rows, {"person_id": person_id, "question_id": question_id, "uuid": uuid})


def earlier(rows: Connection | Rows, chain: str) -> dict[str, Any]:
    """The responses to the parts of a scenario answered so far, by part."""
    return {found.part: found.response for found in _EARLIER.all(rows, {"chain": chain})}


def stored(rows: Connection | Rows, answer_id: int) -> Any:
    """An answer with the grade that counts."""
    return _STORED.first(rows, {"answer_id": answer_id})


def add_answer(rows: Connection | Rows, values: dict[str, Any]) -> int:
    """Add an answer; returns its number."""
    added: Any = _INSERT_ANSWER.first(rows, values)
    return int(added.id)


def add_grade(rows: Connection | Rows, values: dict[str, Any]) -> None:
    """Add a grade."""
    _INSERT_GRADE.run(rows, values)


def store_learner(
    rows: Connection | Rows, person_id: int, version: int, state: Any, newest_at: datetime | None
) -> bool:
    """Store the learner after an answer, which locks the row; False where the log has changed since that version.

    Without `newest_at` memory does not move and only the change is counted.
    """
    values: dict[str, Any] = {"of_person": person_id, "of_version": version}
    if newest_at is None:
        return _COUNT_CHANGE.run(rows, values) == 1
    return _UPDATE_LEARNER.run(rows, values | {"new_state": state, "new_at": newest_at}) == 1


def store_hold(rows: Connection | Rows, person_id: int, concept_id: str, state: Any, *, new: bool) -> None:
    """Store the hold on a concept."""
    if new:
        _INSERT_HOLD.run(rows, {"person_id": person_id, "concept_id": concept_id, "state": state})
    else:
        _UPDATE_HOLD.run(rows, {"of_person": person_id, "of_concept": concept_id, "new_state": state})

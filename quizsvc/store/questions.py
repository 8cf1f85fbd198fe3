"""Sets and their questions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, aliased

from quizsvc.store.session import touched
from quizsvc.store.tables import (
    Answer,
    Concept,
    Grade,
    HandbookSection,
    Item,
    PracticeSet,
    Question,
    Revision,
    Squawk,
)

_Later = aliased(Grade)
_Peer = aliased(Question)
_Link = aliased(Question)
_LinkAnswer = aliased(Answer)
_OfSet = aliased(PracticeSet)

# Everything that a question's page shows, in one statement; also the way back of a stored answer.
DISPUTED = sa.exists().where(
    Squawk.item_id == Question.item_id, Squawk.revision_id == Question.revision_id, Squawk.status == "open"
)
COUNT_IN_SET = sa.select(sa.func.count()).where(_Peer.set_id == Question.set_id).correlate(Question).scalar_subquery()
# Whether another part of the question's scenario is still to be answered: until then its feedback is withheld.
CHAIN_OPEN = sa.and_(
    Question.chain.is_not(None),
    sa.exists()
    .where(
        _Link.chain == Question.chain,
        _Link.id != Question.id,
        ~sa.exists().where(_LinkAnswer.question_id == _Link.id).correlate(_Link),
    )
    .correlate(Question),
    sa.exists().where(_OfSet.id == Question.set_id, _OfSet.ended_at.is_(None)).correlate(Question),
)
SHOWN_COLUMNS = (
    Question.id,
    Question.set_id,
    Question.work_id,
    Question.place,
    Question.sealed,
    Question.position,
    Question.item_id,
    Question.revision_id,
    Question.concept_id,
    Question.kind,
    Question.drawn,
    Question.option_order,
    Question.record,
    Question.reason,
    Question.repeat_of,
    Question.issued_at,
    Question.part,
    Question.chain,
    Question.offline.label("on_device"),
    CHAIN_OPEN.label("chain_open"),
    Concept.title.label("concept_title"),
    Concept.system,
    Concept.folder.label("concept_folder"),
    Revision.folder,
    Revision.hash.label("revision_hash"),
    Revision.withdrawn_at,
    COUNT_IN_SET.label("count"),
    DISPUTED.label("disputed"),
    Revision.handbook,
    HandbookSection.title.label("handbook_title"),
)
SECTION = sa.and_(HandbookSection.folder == Revision.folder, HandbookSection.id == Revision.handbook)
_SHOWN = (
    sa.select(
        *SHOWN_COLUMNS,
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
    .select_from(Question)
    .join(Revision, Revision.id == Question.revision_id)
    .join(Concept, Concept.id == Question.concept_id)
    .outerjoin(HandbookSection, SECTION)
    .outerjoin(Answer, sa.and_(Answer.question_id == Question.id, sa.not_(Answer.again)))
    .outerjoin(
        Grade,
        sa.and_(
            Grade.answer_id == Answer.id,
            ~sa.exists().where(_Later.answer_id == Grade.answer_id, _Later.number > Grade.number),
        ),
    )
)
# Built once: to build it anew for each page costs more than to run it.
_SHOWN_OF_WORK = _SHOWN.where(Question.work_id == sa.bindparam("work")).order_by(Question.position)
_SHOWN_ONE = _SHOWN.where(Question.id == sa.bindparam("question"), Question.person_id == sa.bindparam("person"))
_SHOWN_PRACTICE = _SHOWN_ONE.where(Question.work_id.is_(None))
_SHOWN_HOMEWORK = _SHOWN_ONE.where(Question.work_id.is_not(None))


def shown(session: Session, person_id: int, question_id: str) -> Row | None:
    """One question of a person's practice with its answer, if any; None where it is not theirs, or homework."""
    return session.execute(_SHOWN_PRACTICE, {"question": question_id, "person": person_id}).one_or_none()


def shown_homework(session: Session, person_id: int, question_id: str) -> Row | None:
    """One question of a person's homework with its answer, if any; None where it is not theirs, or practice."""
    return session.execute(_SHOWN_HOMEWORK, {"question": question_id, "person": person_id}).one_or_none()


def shown_of_work(session: Session, work_id: str) -> list[Row]:
    """The questions of somebody's work on an assignment with their answers, in order."""
    return list(session.execute(_SHOWN_OF_WORK, {"work": work_id}))


def shown_of_set(session: Session, set_id: str) -> list[Row]:
    """The questions of a set with their answers, in order."""
    return list(session.execute(_SHOWN.where(Question.set_id == set_id).order_by(Question.position)))


def shown_of_chain(session: Session, chain: str) -> list[Row]:
    """The parts of a scenario with their answers, in order."""
    return list(session.execute(_SHOWN.where(Question.chain == chain).order_by(Question.position)))


def other_way(session: Session, concept_id: str, without: str) -> list[int]:
    """Revisions of live items that ask a concept by one question, but for one item; in the order of their ids."""
    return list(
        session.scalars(
            sa.select(Item.revision_id)
            .join(Revision, Revision.id == Item.revision_id)
            .where(
                Revision.concept_id == concept_id,
                Revision.kind.not_in(("scenario", "say")),
                Item.id != without,
                Item.status == "live",
                Item.withdrawn_at.is_(None),
                sa.not_(Item.homework_only),
            )
            .order_by(Item.id)
        )
    )


def asked_again(session: Session, set_id: str) -> set[str]:
    """Questions of a set that have been asked again, in this set or another."""
    return set(
        session.scalars(
            sa.select(Question.repeat_of).where(
                Question.repeat_of.in_(sa.select(_Peer.id).where(_Peer.set_id == set_id))
            )
        )
    )


def practice_set(session: Session, person_id: int, set_id: str) -> PracticeSet | None:
    """A set of a person; None where it is not theirs."""
    return session.scalars(
        sa.select(PracticeSet).where(PracticeSet.id == set_id, PracticeSet.person_id == person_id)
    ).one_or_none()


def newest_open_set(session: Session, person_id: int, since: datetime) -> PracticeSet | None:
    """The set last started that was not ended and has a question without an answer."""
    unanswered = sa.exists().where(
        Question.set_id == PracticeSet.id, ~sa.exists().where(Answer.question_id == Question.id)
    )
    return session.scalars(
        sa.select(PracticeSet)
        .where(
            PracticeSet.person_id == person_id,
            PracticeSet.ended_at.is_(None),
            sa.not_(PracticeSet.for_device),
            PracticeSet.started_at >= since,
            unanswered,
        )
        .order_by(PracticeSet.started_at.desc(), PracticeSet.id)
        .limit(1)
    ).one_or_none()


def end_open_sets(session: Session, person_id: int, at: datetime) -> None:
    """End every open set of a person; their questions can still be answered."""
    session.execute(
        sa.update(PracticeSet)
        .where(PracticeSet.person_id == person_id, PracticeSet.ended_at.is_(None), sa.not_(PracticeSet.for_device))
        .values(ended_at=at)
    )


def kept(session: Session, person_id: int) -> list[Row]:
    """A person's questions for devices that nobody answered, in the order in which they were written."""
    return list(
        session.execute(
            _SHOWN.add_columns(Revision.seconds, Revision.ramp)
            .join(PracticeSet, PracticeSet.id == Question.set_id)
            .join(Item, sa.and_(Item.id == Question.item_id, Item.revision_id == Question.revision_id))
            .where(
                Question.person_id == person_id,
                PracticeSet.for_device,
                Item.status == "live",
                Item.withdrawn_at.is_(None),
                sa.not_(Item.homework_only),
                Answer.id.is_(None),
            )
            .order_by(PracticeSet.started_at, PracticeSet.id, Question.position)
        )
    )


def waiting_items(session: Session, person_id: int, *, for_device: bool, since: datetime) -> set[str]:
    """Items of a person's unanswered questions issued since then, kept for a device or in sets drilled online."""
    unanswered = ~sa.exists().where(Answer.question_id == Question.id)
    return set(
        session.scalars(
            sa.select(Question.item_id)
            .join(PracticeSet, PracticeSet.id == Question.set_id)
            .where(
                Question.person_id == person_id,
                Question.issued_at >= since,
                PracticeSet.for_device if for_device else sa.not_(PracticeSet.for_device),
                # A set that was ended asks no more; a device's is never ended.
                PracticeSet.ended_at.is_(None),
                unanswered,
            )
        )
    )


def holds_kept(session: Session, person_id: int) -> bool:
    """Whether a device may hold questions of a person that have no answer here."""
    unanswered = ~sa.exists().where(Answer.question_id == Question.id)
    kept = sa.exists().where(Question.person_id == person_id, Question.offline, unanswered)
    return bool(session.scalar(sa.select(kept)))


def answered_among(session: Session, person_id: int, ids: Sequence[str]) -> dict[str, datetime]:
    """Which of these questions of a person have an answer, and when it counts as given."""
    return {
        row.question_id: row.effective_at
        for row in session.execute(
            sa.select(Answer.question_id, Answer.effective_at).where(
                Answer.person_id == person_id, Answer.question_id.in_(ids), sa.not_(Answer.again)
            )
        )
    }


def add_questions(session: Session, rows: Sequence[dict[str, Any]]) -> None:
    """Write questions."""
    session.flush()
    if rows:
        session.execute(sa.insert(Question), list(rows))


def seen_draws(session: Session, person_id: int, item_id: str) -> dict[str, datetime]:
    """The draws of an item that a person was asked already, and when each was asked last."""
    rows = session.execute(
        sa.select(Question.draw_key, sa.func.max(Question.issued_at))
        .where(Question.person_id == person_id, Question.item_id == item_id)
        .group_by(Question.draw_key)
    )
    return {key: last for key, last in rows}


def answered_draws(session: Session, person_id: int) -> list[Row]:
    """Item, draw key and last answer of the draws that a person answered, of revisions in use that draw numbers.

    Homework counts once its feedback is released.
    """
    return list(
        session.execute(
            sa.select(Question.item_id, Question.draw_key, sa.func.max(Answer.effective_at).label("last"))
            .join(Answer, Answer.question_id == Question.id)
            .join(Item, sa.and_(Item.id == Question.item_id, Item.revision_id == Question.revision_id))
            .join(Revision, Revision.id == Question.revision_id)
            .where(
                Answer.person_id == person_id,
                sa.not_(Answer.again),
                sa.not_(Question.sealed),
                Revision.generated,
            )
            .group_by(Question.item_id, Question.draw_key)
        )
    )


def current_revision_of(session: Session, item_id: str) -> Row | None:
    """The revision in use of an item that may be asked, or None."""
    return session.execute(
        sa.select(Revision.id, Revision.kind, Revision.concept_id)
        .join(Item, Item.revision_id == Revision.id)
        .where(Item.id == item_id, Item.status == "live", Item.withdrawn_at.is_(None), sa.not_(Item.homework_only))
    ).one_or_none()


def delete_unanswered(session: Session, *, before: datetime, before_offline: datetime) -> int:
    """Delete practice questions that nobody answered; returns how many. Offline ones are given more time."""
    answered = sa.exists().where(Answer.question_id == Question.id)
    old = sa.or_(
        sa.and_(sa.not_(Question.offline), Question.issued_at < before),
        sa.and_(Question.offline, Question.issued_at < before_offline),
    )
    return touched(session, sa.delete(Question).where(Question.work_id.is_(None), old, ~answered))


def delete_empty_sets(session: Session, before: datetime) -> int:
    """Delete sets without a question; returns how many."""
    filled = sa.exists().where(Question.set_id == PracticeSet.id)
    return touched(session, sa.delete(PracticeSet).where(PracticeSet.started_at < before, ~filled))

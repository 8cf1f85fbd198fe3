"""A person who leaves the service: deleted whole, or blanked where the school's records hang on their row."""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from quizsvc.store import people
from quizsvc.store.tables import (
    Acknowledgement,
    Allowance,
    CalendarFeed,
    ConceptState,
    DeskItem,
    DeviceSession,
    Learner,
    Look,
    Membership,
    Notice,
    OneTimeLink,
    Person,
    PersonAlias,
    PersonRole,
    PracticeSet,
    ProducedFile,
    Question,
    RollEntry,
    Sharing,
    Squawk,
    Work,
)
from quizsvc.store.tables_people import CheckDebrief, LastCheck

# Everything that belongs to the person alone. Deleting sets and questions deletes answers and grades with them.
OWN = (
    Acknowledgement,
    CalendarFeed,
    CheckDebrief,
    ConceptState,
    DeviceSession,
    LastCheck,
    Learner,
    Look,
    Notice,
    OneTimeLink,
    PersonAlias,
    PersonRole,
    PracticeSet,
    Sharing,
)


def remove(session: Session, person_id: int, *, own_sheets: str, at: datetime) -> bool:
    """Delete a person, or blank their row where begun homework or a read item hangs on it; returns whether it stays.

    Homework stays with its answers, under no name; all else of theirs goes. Squawks stay, unnamed. Produced sheets stay
    but for those of the kind `own_sheets`, which the person made for themselves.
    """
    begun = sa.exists().where(Work.person_id == person_id, Work.begun_at.is_not(None))
    read = sa.exists().where(DeskItem.read_by == person_id)
    stays = bool(session.scalar(sa.select(sa.or_(begun, read))))
    # What was drawn and never opened is no homework of theirs.
    session.execute(sa.delete(Work).where(Work.person_id == person_id, Work.begun_at.is_(None)))
    session.execute(sa.delete(ProducedFile).where(ProducedFile.person_id == person_id, ProducedFile.what == own_sheets))
    if not stays:
        session.execute(sa.delete(Allowance).where(Allowance.person_id == person_id))
        session.execute(sa.update(DeskItem).where(DeskItem.author_id == person_id).values(author_id=None))
        people.delete(session, person_id)
        return False
    session.execute(sa.update(Squawk).where(Squawk.person_id == person_id).values(person_id=None, question_id=None))
    # A roll keeps the names that it was given, but none of them leads to the blanked row.
    session.execute(sa.update(RollEntry).where(RollEntry.person_id == person_id).values(person_id=None))
    for table in OWN:
        session.execute(sa.delete(table).where(table.person_id == person_id))
    session.execute(sa.delete(Question).where(Question.person_id == person_id, Question.work_id.is_(None)))
    session.execute(
        sa.update(Membership)
        .where(Membership.person_id == person_id, Membership.state.in_(("waiting", "in")))
        .values(state="left", left_at=at)
        .execution_options(synchronize_session=False)
    )
    session.execute(
        sa.update(Person)
        .where(Person.id == person_id)
        .values(
            name=None,
            name_key=None,
            password_hash=None,
            aircraft=[],
            check_date=None,
            minutes_a_day=15,
            time_zone="UTC",
            experience="in training",
            last_seen_at=at,
        )
        .execution_options(synchronize_session=False)
    )
    session.expire_all()
    return True

"""Extensions and excuses. Rows are only ever added; of each person the newest counts."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Row
from sqlalchemy.orm import Session, aliased

from quizsvc.store.tables import Allowance, Assignment, Person

_Later = aliased(Allowance)
_GIVER = aliased(Person)
_NEWEST = ~sa.exists().where(
    _Later.assignment_id == Allowance.assignment_id,
    _Later.person_id == Allowance.person_id,
    _Later.id > Allowance.id,
)


def standing(session: Session, assignment_id: int) -> dict[int, Allowance]:
    """What stands now, by person: the newest of each, where that was not taken back."""
    rows = session.scalars(
        sa.select(Allowance).where(Allowance.assignment_id == assignment_id, _NEWEST, sa.not_(Allowance.taken_back))
    )
    return {row.person_id: row for row in rows}


def standing_of(session: Session, assignment_id: int, person_id: int) -> Allowance | None:
    """What stands now for one person, or None."""
    return session.scalars(
        sa.select(Allowance).where(
            Allowance.assignment_id == assignment_id,
            Allowance.person_id == person_id,
            _NEWEST,
            sa.not_(Allowance.taken_back),
        )
    ).one_or_none()


def of_person(session: Session, person_id: int) -> list[tuple[Allowance, str]]:
    """Everything given to a person and taken back from them, the newest first, with the assignment's title."""
    rows = session.execute(
        sa.select(Allowance, Assignment.title)
        .join(Assignment, Assignment.id == Allowance.assignment_id)
        .where(Allowance.person_id == person_id)
        .order_by(Allowance.id.desc())
    )
    return [(row[0], row[1]) for row in rows]


def history(session: Session, assignment_id: int) -> list[Row]:
    """Everything given and taken back with the name of who gave it, the newest first."""
    return list(
        session.execute(
            sa.select(
                Allowance.person_id,
                Allowance.what,
                Allowance.until_at,
                Allowance.reason,
                Allowance.taken_back,
                Allowance.given_at,
                _GIVER.name.label("giver"),
            )
            .outerjoin(_GIVER, _GIVER.id == Allowance.given_by)
            .where(Allowance.assignment_id == assignment_id)
            .order_by(Allowance.id.desc())
        )
    )

"""An assignment's times as they hold for one person, with what was allowed to them."""

from __future__ import annotations

from quizsvc.services.homework_rules import Times, own_times
from quizsvc.store import homework
from quizsvc.store.session import Session
from quizsvc.store.tables import Allowance, Assignment

__all__ = ["times_for", "times_of"]


def times_of(assigned: Assignment, allowance: Allowance | None) -> Times:
    """An assignment's times for a person with that allowance, if any."""
    return own_times(
        assigned.opens_at,
        assigned.closes_at,
        assigned.late_until_at,
        allowance.until_at if allowance is not None else None,
    )


def times_for(session: Session, assigned: Assignment, person_id: int) -> Times:
    """An assignment's times for a person."""
    return times_of(assigned, homework.allowances(session, person_id, [assigned.id]).get(assigned.id))

"""The start page: one tap begins a Short set, or goes on with the one that was left."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from flask import Blueprint, render_template

from quizsvc.services import homework, notices, practice
from quizsvc.services.check_plan import stage_of
from quizsvc.services.views import PersonView
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["LONG_MINUTES", "SHORT_MINUTES", "blueprint", "cautions_at_start"]

blueprint = Blueprint("start", __name__)

SHORT_MINUTES = (3, 5, 10)
LONG_MINUTES = (15, 25)


@blueprint.get("/")
def page() -> str:
    """Start, or go on."""
    person = people.person()
    wiring = wired()
    left = practice.open_set(wiring.db, person.id, now=wiring.clock()) if person else None
    if left is not None and left.next_question is None:
        left = None
    return render_template(
        "start.html",
        left=left,
        minutes=_usual_minutes(person),
        short=SHORT_MINUTES,
        long=LONG_MINUTES,
        owed=cautions_at_start(person),
        homework=homework.list_homework(wiring.db, person.id, now=wiring.clock()) if person and person.name else (),
        stage=stage_of(person.check_date, wiring.clock().astimezone(ZoneInfo(person.time_zone))) if person else None,
        notices=notices.count_new(wiring.db, person.id) if person and not person.anonymous else 0,
    )


def cautions_at_start(person: PersonView | None) -> tuple[str, ...]:
    """The ids that pressing Start acknowledges: C1 always, C9 with the first Short set of a day."""
    wiring = wired()
    if person and practice.acknowledged_today(wiring.db, person.id, "C9", now=wiring.clock()):
        return ("C1",)
    return ("C1", "C9")


def _usual_minutes(person: PersonView | None) -> int:
    """The offered length that comes nearest to a person's own minutes a day; five for who has said nothing."""
    wanted = person.minutes_a_day if person else 5
    return min(SHORT_MINUTES, key=lambda offered: abs(offered - wanted))

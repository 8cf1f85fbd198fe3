"""One person's questions as the instructor sees them before release, and all of them on paper."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.services import assignment_preview
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("paper", __name__, url_prefix="/assignments/<number:assignment_id>")


@blueprint.get("/preview/<number:person_id>")
def one_person(assignment_id: int, person_id: int) -> str:
    """A student's own questions, numbers and keys: exactly those they get."""
    person, wiring = people.required(), wired()
    sheet = assignment_preview.sheet(wiring.db, person.id, assignment_id, person_id, now=wiring.clock())
    return render_template("school/assignment_person.html", one=sheet.assignment, sheet=sheet)


@blueprint.get("/print")
def questions(assignment_id: int) -> str:
    """The questions on paper, a page for each person."""
    return _paper("school/paper_questions.html", assignment_id)


@blueprint.get("/print/answers")
def answers(assignment_id: int) -> str:
    """The keys to it, for the instructor."""
    return _paper("school/paper_answers.html", assignment_id)


def _paper(template: str, assignment_id: int) -> str:
    person, wiring = people.required(), wired()
    now = wiring.clock()
    look = assignment_preview.look(wiring.db, person.id, assignment_id, now=now)
    sheets = assignment_preview.sheets(wiring.db, person.id, assignment_id, now=now)
    return render_template(template, one=look.assignment, sheets=sheets, missing=look.missing)

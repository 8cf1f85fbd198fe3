"""Re-mark: a place of an assignment judged again, and what of a person's own practice was."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import practice_remarking, remarking
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("remarks", __name__)

_GREATEST = 10**6
_PLACE = "/assignments/<number:assignment_id>/places/<number:place>/re-mark"


@blueprint.get("/account/re-marks")
def own() -> str:
    """A person's own practice answers that were re-marked."""
    person = people.required()
    return render_template(
        "school/own_remarks.html", person=person, answers=practice_remarking.own(wired().db, person.id)
    )


@blueprint.get(_PLACE)
def form(assignment_id: int, place: int) -> str:
    """What it would change, and the form."""
    return _form(assignment_id, place)


@blueprint.post(_PLACE)
def remark(assignment_id: int, place: int) -> Response | tuple[str, int]:
    """Do it."""
    person, wiring = people.required(), wired()
    remarking.look(wiring.db, person.id, assignment_id, place)  # not found before anything is read
    given = request.form.get("revision", "")
    try:
        done = remarking.remark(
            wiring.db,
            person.id,
            assignment_id,
            place,
            how=request.form.get("how", ""),
            why=request.form.get("why", ""),
            revision=edge.whole(given, "revision", least=1, most=_GREATEST) if given else None,
            now=wiring.clock(),
        )
    except (InputError, ConflictError) as error:
        return _form(assignment_id, place, error=error), status_of(error)
    flash(f"{done} {'answer was' if done == 1 else 'answers were'} marked again." if done else "No mark changed.")
    return redirect(url_for("monday.marks", assignment_id=assignment_id), 303)


def _form(assignment_id: int, place: int, *, error: QuizsvcError | None = None) -> str:
    person, wiring = people.required(), wired()
    found = remarking.look(wiring.db, person.id, assignment_id, place)
    return render_template("school/remark.html", one=found, error=error, sent=request.form if error else None)

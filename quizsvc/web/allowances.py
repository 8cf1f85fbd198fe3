"""Extensions and excuses."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import InputError, QuizsvcError
from quizsvc.services import allowances, assignment_preview
from quizsvc.services.allowances import AllowanceForm
from quizsvc.web import edge, people
from quizsvc.web.assignments import local_time, mine
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("allowances", __name__, url_prefix="/assignments/<number:assignment_id>/allowances")


@blueprint.get("")
def page(assignment_id: int) -> str:
    """What was given, and the form for more."""
    return _page(assignment_id)


@blueprint.post("")
def give(assignment_id: int) -> Response | tuple[str, int]:
    """Give one, or take back what stands."""
    person_id, _ = mine(assignment_id)
    wiring = wired()
    now = wiring.clock()
    try:
        if "take_back" in request.form:
            student = edge.whole(request.form["take_back"], "take_back", least=1, most=10**9)
            allowances.take_back(wiring.db, person_id, assignment_id, student, now=now)
            flash("Taken back. The person is told.")
        else:
            form = AllowanceForm(
                person_id=edge.whole(request.form.get("person"), "person", least=1, most=10**9),
                what=edge.choice(request.form.get("what"), "what", allowances.WHAT),
                reason=request.form.get("reason", ""),
                until=local_time("until"),
            )
            allowances.give(wiring.db, person_id, assignment_id, form, now=now)
            flash("Given. The person is told.")
    except InputError as error:
        return _page(assignment_id, error=error), status_of(error)
    return redirect(url_for("allowances.page", assignment_id=assignment_id), 303)


def _page(assignment_id: int, *, error: QuizsvcError | None = None) -> str:
    person, wiring = people.required(), wired()
    look = assignment_preview.look(wiring.db, person.id, assignment_id, now=wiring.clock())
    return render_template(
        "school/allowances.html",
        one=look.assignment,
        people=look.people,
        lines=allowances.listed(wiring.db, person.id, assignment_id),
        sittings=allowances.sittings(wiring.db, person.id, assignment_id, now=wiring.clock()),
        longest_reason=allowances.LONGEST_REASON,
        error=error,
        sent=request.form if error else None,
    )

"""Squawks for who reads them: reviewers and instructors."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import squawk_steps
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("squawks", __name__, url_prefix="/squawks")

_MOST_STEPS = 10**6
_LAST_PAGE = 10**6


@blueprint.get("")
def contents() -> str:
    """Squawks of one status, the open ones unless asked otherwise."""
    person = people.required()
    status = request.args.get("status", "open")
    wanted = None if status == "all" else edge.choice(status, "status", squawk_steps.STATUSES)
    page = edge.whole(request.args.get("page", "1"), "page", least=1, most=_LAST_PAGE)
    rows, total = squawk_steps.listed(wired().db, person.id, status=wanted, page=page)
    pages = max(1, -(-total // squawk_steps.PAGE))
    return render_template(
        "school/squawks.html", person=person, rows=rows, total=total, status=status, page=page, pages=pages
    )


@blueprint.get("/<number:squawk_id>")
def one(squawk_id: int) -> str:
    """A squawk with the item it is about, and its steps."""
    return _page(squawk_id)


@blueprint.post("/<number:squawk_id>")
def step(squawk_id: int) -> Response | tuple[str, int]:
    """Say what becomes of it."""
    person, wiring = people.required(), wired()
    squawk_steps.detail(wiring.db, person.id, squawk_id)  # not found before anything is read
    try:
        squawk_steps.add_step(
            wiring.db,
            person.id,
            squawk_id,
            status=request.form.get("status", ""),
            text=request.form.get("text", ""),
            seen=edge.whole(request.form.get("seen"), "seen", least=0, most=_MOST_STEPS),
            now=wiring.clock(),
        )
    except (InputError, ConflictError) as error:
        return _page(squawk_id, error=error), status_of(error)
    flash("Kept. Whoever raised it is told.")
    return redirect(url_for("squawks.one", squawk_id=squawk_id), 303)


@blueprint.post("/<number:squawk_id>/practice")
def practice(squawk_id: int) -> Response:
    """Go on with re-marking practice."""
    person, wiring = people.required(), wired()
    squawk_steps.go_on(wiring.db, person.id, squawk_id, now=wiring.clock())
    return redirect(url_for("squawks.one", squawk_id=squawk_id), 303)


def _page(squawk_id: int, *, error: QuizsvcError | None = None) -> str:
    person = people.required()
    found = squawk_steps.detail(wired().db, person.id, squawk_id)
    return render_template(
        "school/squawk.html", person=person, one=found, error=error, sent=request.form if error else None
    )

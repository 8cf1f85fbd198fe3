"""Groups without an instructor, for the head of training."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import uninstructed
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("uninstructed", __name__, url_prefix="/training/groups")


@blueprint.get("")
def page() -> str:
    """The groups that nobody instructs, and whom to name."""
    return _page()


@blueprint.post("/<number:group_id>/instructor")
def name(group_id: int) -> Response | tuple[str, int]:
    """Name an instructor for one of them."""
    person, wiring = people.required(), wired()
    uninstructed.overview(wiring.db, person.id)  # not found before anything is read
    try:
        chosen = edge.whole(request.form.get("person"), "person", least=1, most=10**9)
        named, group = uninstructed.name_instructor(wiring.db, person.id, group_id, chosen, now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _page(error=error), status_of(error)
    flash(f"{named} instructs {group} now, and is told.")
    return redirect(url_for("uninstructed.page"), 303)


def _page(*, error: QuizsvcError | None = None) -> str:
    found = uninstructed.overview(wired().db, people.required().id)
    return render_template("school/uninstructed.html", found=found, error=error, sent=request.form if error else None)

"""What a person shares of their practice, and who looked at their record."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.services import looks, sharing
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("privacy", __name__, url_prefix="/account")


@blueprint.get("/looks")
def looks_page() -> str:
    """Who looked at the person's record, at what, and when."""
    person = people.required()
    return render_template(
        "account/looks.html", person=person, looks=looks.listed(wired().db, person.id), most=looks.SHOWN
    )


@blueprint.get("/sharing")
def sharing_page() -> str:
    """The two switches."""
    person = people.required()
    return render_template("account/sharing.html", person=person, shared=sharing.of(wired().db, person.id))


@blueprint.post("/sharing")
def save_sharing() -> Response:
    """Keep them; a box that is not ticked shares nothing."""
    person, wiring = people.required(), wired()
    wanted = sharing.Shared(
        practice_to_instructors="practice_to_instructors" in request.form,
        expectation_to_head="expectation_to_head" in request.form,
    )
    sharing.change(wiring.db, person.id, wanted, now=wiring.clock())
    flash("Kept. It holds from now on.")
    return redirect(url_for("privacy.sharing_page"), 303)

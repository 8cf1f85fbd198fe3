"""What a person has to be told, newest first."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.services import notices
from quizsvc.web import edge, people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("notices", __name__, url_prefix="/account/notices")


@blueprint.get("")
def page() -> str:
    """The notices."""
    person = people.required()
    return render_template("school/notices.html", person=person, notices=notices.listed(wired().db, person.id))


@blueprint.post("/seen")
def seen() -> Response:
    """Those that the page showed are seen; what came meanwhile stays new."""
    person = people.required()
    newest = edge.whole(request.form.get("newest"), "newest", least=1, most=10**9 - 1)
    notices.mark_seen(wired().db, person.id, newest, now=wired().clock())
    return redirect(url_for("notices.page"), 303)

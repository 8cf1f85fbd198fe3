"""Joining a group: the code on the projector, the door it leads to, and a person's own groups."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import groups, joining
from quizsvc.services.edge import not_found
from quizsvc.web import people
from quizsvc.web.errors import status_of
from quizsvc.web.qr import qr
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("joining", __name__)


@blueprint.get("/join")
def page() -> str:
    """The field for a code, and the groups of who is signed in."""
    return _page()


@blueprint.post("/join")
def typed() -> Response | tuple[str, int]:
    """To the door of the code that was typed, where it is asked once more."""
    wiring = wired()
    written = request.form.get("code", "")[:100]
    try:
        code = joining.typed(written)
        joining.door(wiring.db, None, code, now=wiring.clock())
    except (InputError, NotFoundError) as error:
        return _page(written, error), status_of(error)
    return redirect(url_for("joining.door", code=code), 303)


@blueprint.get("/join/<code>")
def door(code: str) -> str:
    """Which group a code leads to, and the button."""
    person, wiring = people.person(), wired()
    seen = joining.door(wiring.db, person.id if person else None, _canonical(code), now=wiring.clock())
    return render_template("school/door.html", person=person, door=seen)


@blueprint.post("/join/<code>")
def join(code: str) -> Response:
    """Join, or wait for a yes."""
    person, wiring = people.required(), wired()
    joined = joining.join(wiring.db, person.id, _canonical(code), now=wiring.clock())
    if joined.state == "in":
        flash(f"You are in the group {joined.group}.")
        return redirect(url_for("groups.page", group_id=joined.group_id), 303)
    flash(f"Asked. An instructor of {joined.group} says yes or no; you will find a notice on the start page.")
    return redirect(url_for("joining.page"), 303)


@blueprint.get("/groups/<number:group_id>/code")
def code(group_id: int) -> str:
    """The code, large enough for the last row."""
    person, wiring = people.required(), wired()
    seen = joining.code_of(wiring.db, person.id, group_id, now=wiring.clock())
    address = f"{wiring.settings.public_url}/join"
    picture = qr(f"{address}/{seen.code}", f"Join {seen.group}") if seen.code else None
    return render_template("school/code.html", person=person, code=seen, address=address, picture=picture)


@blueprint.post("/groups/<number:group_id>/code")
def make_code(group_id: int) -> Response:
    """A new code; the earlier one ends."""
    person, wiring = people.required(), wired()
    joining.make_code(wiring.db, person.id, group_id, rng=wiring.rng, now=wiring.clock())
    return redirect(url_for("joining.code", group_id=group_id), 303)


@blueprint.post("/groups/<number:group_id>/code/end")
def end_code(group_id: int) -> Response:
    """End the code."""
    person, wiring = people.required(), wired()
    joining.end_code(wiring.db, person.id, group_id, now=wiring.clock())
    flash("The code has ended. Whoever joined by it stays.")
    return redirect(url_for("joining.code", group_id=group_id), 303)


def _page(written: str = "", error: InputError | NotFoundError | None = None) -> str:
    person, wiring = people.person(), wired()
    own = groups.own(wiring.db, person.id) if person else []
    return render_template("school/join.html", person=person, own=own, code=written, error=error)


def _canonical(code: str) -> str:
    """A code in an address; one that cannot be a code is as unknown as any other."""
    try:
        return joining.typed(code)
    except InputError:
        raise not_found("code") from None

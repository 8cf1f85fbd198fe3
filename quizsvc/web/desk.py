"""The Desk: an instructor's home."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.services import desk, produced_files
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("desk", __name__)


@blueprint.get("/desk")
def page() -> str:
    """Own groups, what closes next, squawks that are open."""
    person = people.required()
    return render_template(
        "school/desk.html",
        person=person,
        desk=desk.desk(wired().db, person.id, now=wired().clock()),
        gone=produced_files.own_of_those_gone(wired().db, person.id),
    )

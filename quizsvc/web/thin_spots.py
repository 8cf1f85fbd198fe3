"""Thin spots: what the person holds least, and what was never asked."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.services import holds
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("thin_spots", __name__)


@blueprint.get("/thin-spots")
def page() -> str:
    """Concepts with low or uncertain expectation, weakest first."""
    person = people.required()
    return render_template(
        "thin_spots.html", person=person, spots=holds.thin_spots(wired().db, person.id, now=wired().clock())
    )

"""Expectation: what a check would be expected to give, with its range and what it rests on."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.services.expectation import expectation_of
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("expectation", __name__)


@blueprint.get("/expectation")
def page() -> str:
    """The person's own; nobody else has an address for it."""
    person = people.required()
    return render_template(
        "expectation.html", person=person, found=expectation_of(wired().db, person.id, now=wired().clock())
    )

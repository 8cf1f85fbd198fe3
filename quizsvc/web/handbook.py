"""The handbook, readable without a session."""

from __future__ import annotations

import re

from flask import Blueprint, get_template_attribute, render_template, request
from markupsafe import Markup

from quizsvc.services import reading
from quizsvc.services.views import FigureView
from quizsvc.web import markdown, people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("handbook", __name__)


@blueprint.get("/handbook")
def contents() -> str:
    """The contents of every aircraft's handbook."""
    db = wired().db
    books = [reading.handbook(db, key) for key, _ in reading.aircraft_list(db)]
    return render_template("handbook.html", person=people.person(), books=books)


@blueprint.get("/handbook/<aircraft>/<section>")
def section(aircraft: str, section: str) -> str:
    """One section; a reader who came from a question is led back to it."""
    question = request.args.get("from", "")
    found = reading.section(wired().db, aircraft[:80], section[:80])
    return render_template(
        "section.html",
        person=people.person(),
        section=found,
        body=markdown.figured(found.body, {one.name: _figure(one) for one in found.figures}),
        back=question if re.fullmatch("[0-9a-f]{32}", question) else None,
    )


def _figure(found: FigureView) -> Markup:
    """A figure with its title, caption and numbers. What is drawn escapes every text of its description."""
    made = get_template_attribute("figure.html", "figure")
    return Markup(made(found, Markup(found.svg)))

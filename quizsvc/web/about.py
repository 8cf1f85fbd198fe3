"""What the service is, what it keeps about people, and its cautions."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.web import cautions, people

__all__ = ["blueprint"]

blueprint = Blueprint("about", __name__)


@blueprint.get("/about")
def page() -> str:
    """About the service, and privacy."""
    return render_template("about.html", person=people.person())


@blueprint.get("/cautions")
def all_cautions() -> str:
    """Every caution with its id."""
    return render_template("cautions.html", person=people.person(), cautions=cautions.of(cautions.texts()))

"""The Log of answers."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from quizsvc.services import log as log_of_answers
from quizsvc.web import edge, people, words
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("log", __name__)


@blueprint.get("/log")
def page() -> str:
    """Every answer, newest first, by system and outcome where asked."""
    person = people.required()
    system = request.args.get("system", "")[:200] or None
    given = request.args.get("outcome", "")
    outcome = edge.choice(given, "outcome", words.OUTCOMES) if given else None
    number = edge.whole(request.args.get("page", "1"), "page", least=1, most=1_000_000)
    found = log_of_answers.answers(wired().db, person.id, page=number, system=system, outcome=outcome)
    return render_template("log.html", person=person, log=found, system=system, outcome=outcome)

"""After the closing: answer spread for the projector, item statistics, mark list, and what one person handed in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, render_template, url_for

from quizsvc.services import answer_spread, mark_list, mark_row
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("monday", __name__, url_prefix="/assignments/<number:assignment_id>")


@blueprint.get("/spread")
def spread(assignment_id: int) -> str:
    """Which option, which trap, in words, unnamed."""
    found = _summary(assignment_id)
    return render_template("school/spread.html", one=found, bench_link=_bench_link)


@blueprint.get("/statistics")
def statistics(assignment_id: int) -> str:
    """How hard each question was, and whether it goes with the others."""
    return render_template("school/statistics.html", one=_summary(assignment_id))


@blueprint.get("/marks")
def marks(assignment_id: int) -> str:
    """Everybody's state and mark."""
    person, wiring = people.required(), wired()
    found = mark_list.mark_list(wiring.db, person.id, assignment_id, now=wiring.clock())
    return render_template("school/marks.html", one=found)


@blueprint.get("/marks.csv")
def marks_file(assignment_id: int) -> Response:
    """The mark list as a file."""
    person, wiring = people.required(), wired()
    name, body = mark_list.as_csv(wiring.db, person.id, assignment_id, now=wiring.clock())
    response = Response(body, mimetype="text/csv")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["Cache-Control"] = "no-store"
    return response


@blueprint.get("/marks/<who:person_id>")
def row(assignment_id: int, person_id: int | str) -> str:
    """What one person handed in; the look is noted, and that person can see it."""
    person, wiring = people.required(), wired()
    found = mark_row.opened(wiring.db, person.id, assignment_id, person_id, now=wiring.clock())
    return render_template("school/mark_row.html", one=found)


def _summary(assignment_id: int) -> answer_spread.SpreadView:
    person, wiring = people.required(), wired()
    return answer_spread.spread(wiring.db, person.id, assignment_id, now=wiring.clock())


def _bench_link(question: Mapping[str, Any]) -> str:
    """The Fault bench in the state that a question is about."""
    state = question["bench"]
    switches: dict[str, Any] = {f"at-{switch}": position for switch, position in state["switches"].items()}
    return url_for("bench.page", aircraft=question["folder"], fail=state["fail"], **switches)

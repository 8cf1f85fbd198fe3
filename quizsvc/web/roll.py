"""The roll of a group: names in, and the sheet of links by which new people sign in for the first time."""

from __future__ import annotations

import re
from pathlib import PurePath

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, FindingsError, InputError, QuizsvcError
from quizsvc.services import roll, roll_links, roll_text
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.qr import qr
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("roll", __name__, url_prefix="/groups/<number:group_id>/roll")
edge.large(blueprint, "take", reads_text_itself=True)

_TYPED = "what was typed"


@blueprint.get("")
def page(group_id: int) -> str:
    """The names that are expected, and the field for more."""
    return _page(group_id)


@blueprint.post("")
def take(group_id: int) -> Response | tuple[str, int]:
    """Read names from the field or from a file; all of them, or none where one line is faulty."""
    person, wiring = people.required(), wired()
    text = request.form.get("names", "")
    try:
        sent = request.files.get("file")
        if sent is not None and sent.filename:
            file = PurePath(sent.filename).name[:80]
            content = sent.stream.read()
            sent.close()
            text = roll_text.decoded(file, content)
        else:
            file = _TYPED
        report = roll.import_roll(wiring.db, person.id, group_id, roll_text.read_names(file, text), now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _page(group_id, error=error, text=text), status_of(error)
    flash(_said(report))
    return redirect(url_for("roll.page", group_id=group_id), 303)


@blueprint.get("/links")
def links(group_id: int) -> str:
    """Who has never signed in; links are made by the button."""
    return _links(group_id)


@blueprint.post("/links")
def make_links(group_id: int) -> str | tuple[str, int]:
    """The sheet to print. Its links are on it and nowhere else."""
    person, wiring = people.required(), wired()
    try:
        wanted = [int(one) for one in request.form.getlist("person") if re.fullmatch("[0-9]{1,18}", one)]
        made = roll_links.make_sheet(wiring.db, person.id, group_id, wanted, now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _links(group_id, error=error), status_of(error)
    start = f"{wiring.settings.public_url}/link/"
    cards = [(one.name, start + str(one.secret), qr(start + str(one.secret), one.name)) for one in made.people]
    return render_template("school/links_sheet.html", person=person, sheet=made, cards=cards)


def _page(group_id: int, *, error: QuizsvcError | None = None, text: str = "") -> str:
    person = people.required()
    return render_template(
        "school/roll.html",
        person=person,
        roll=roll.view(wired().db, person.id, group_id),
        error=error,
        findings=error.findings if isinstance(error, FindingsError) else (),
        text=text,
        most=roll_text.MOST_LINES,
    )


def _links(group_id: int, *, error: QuizsvcError | None = None) -> str:
    person = people.required()
    return render_template(
        "school/links.html",
        person=person,
        sheet=roll_links.sheet(wired().db, person.id, group_id),
        most=roll_links.MOST_LINKS,
        error=error,
    )


def _said(report: roll.RollReport) -> str:
    """What an import did, in one sentence for each kind of name."""
    parts = [
        f"New accounts, in the group at once: {len(report.made)}." if report.made else "",
        f"Have an account already, and join by the code without waiting: {len(report.expected)}."
        if report.expected
        else "",
        f"Waited, and are in now: {len(report.let_in)}." if report.let_in else "",
        f"Were there already: {len(report.already)}." if report.already else "",
    ]
    return " ".join(part for part in parts if part)

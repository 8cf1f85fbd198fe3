"""The authors' preview: the bank's files as they stand on the disk, one item at a time."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify, render_template, request

from quizsvc.services import older_handbooks, preview
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("preview", __name__)

ROLES = ("item author", "reviewer", "keeper")
blueprint.record(lambda state: state.app.jinja_env.globals.update(PREVIEW_ROLES=ROLES))
_LONGEST_ID = 80


@blueprint.get("/preview")
def contents() -> str:
    """Every item of the bank's files; `q` keeps those whose id or file holds a text."""
    people.with_role(*ROLES)
    wanted = request.args.get("q", "")[:_LONGEST_ID].strip().lower()
    entries = preview.catalogue(wired().settings.bank)
    found = [entry for entry in entries if wanted in entry.item or wanted in entry.file.lower()]
    files: dict[str, list[preview.Entry]] = {}
    for entry in found:
        files.setdefault(entry.file, []).append(entry)
    return render_template("preview_list.html", files=files, wanted=wanted, found=len(found), whole=len(entries))


@blueprint.get("/preview/<item>")
def item(item: str) -> str:
    """One item: findings, draws with keys, traps and refusals."""
    people.with_role(*ROLES)
    wiring = wired()
    look = preview.look(wiring.settings.bank, item[:_LONGEST_ID], rng=wiring.rng)
    older = older_handbooks.of_text(wiring.db, look.entry.item, look.about.hash) if look.about is not None else None
    return render_template("preview.html", look=look, older=older)


@blueprint.get("/preview/version.json")
def version() -> Response:
    """A word that changes with the files: an open preview asks for it and loads itself again."""
    people.with_role(*ROLES)
    response = jsonify(version=preview.version(wired().settings.bank))
    response.headers["Cache-Control"] = "no-store"
    return response

"""Revisions of handbooks: which sections changed, and reading again what cites them."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import desk_items, handbook_revisions
from quizsvc.web import people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("handbook_revisions", __name__, url_prefix="/bank-desk/handbook")


@blueprint.get("")
def contents() -> str:
    """All revisions, and what a new one needs."""
    return _page()


@blueprint.post("")
def record() -> Response | tuple[str, int]:
    """Show what a new revision takes out of use, or do it."""
    person, wiring = people.with_role(desk_items.REVIEWER), wired()
    folder, name, sections = (
        request.form.get("folder", ""),
        request.form.get("name", ""),
        request.form.getlist("section"),
    )
    try:
        if request.form.get("do") != "withdraw":
            items = handbook_revisions.citing(wiring.db, person.id, folder, sections)
            return _page(items=items), 200
        number = handbook_revisions.record(
            wiring.db, person.id, folder=folder, name=name, sections=sections, now=wiring.clock()
        )
    except InputError as error:
        return _page(error=error), status_of(error)
    return redirect(url_for("handbook_revisions.one", revision_id=number), 303)


@blueprint.get("/<number:revision_id>")
def one(revision_id: int) -> str:
    """A revision and its items."""
    return _revision_page(revision_id)


@blueprint.post("/<number:revision_id>")
def read_again(revision_id: int) -> Response | tuple[str, int]:
    """A reviewer has read an item again, and it holds."""
    person, wiring = people.with_role(desk_items.REVIEWER), wired()
    handbook_revisions.detail(wiring.db, person.id, revision_id)  # not found before anything is read
    item = request.form.get("item", "")
    try:
        if not item:
            raise InputError("item-missing", "no item is named", where="item", mend="press the button beside it")
        handbook_revisions.read_again(wiring.db, person.id, revision_id, item)
    except (InputError, ConflictError) as error:
        return _revision_page(revision_id, error=error), status_of(error)
    flash(f"{item} is in use again.")
    return redirect(url_for("handbook_revisions.one", revision_id=revision_id), 303)


def _page(*, items: list[str] | None = None, error: QuizsvcError | None = None) -> str:
    person, db = people.with_role(desk_items.REVIEWER), wired().db
    return render_template(
        "school/handbook_revisions.html",
        person=person,
        handbooks=handbook_revisions.handbooks(db, person.id),
        rows=handbook_revisions.listed(db, person.id),
        items=items,
        error=error,
        sent=request.form if request.method == "POST" else None,
    )


def _revision_page(revision_id: int, *, error: QuizsvcError | None = None) -> str:
    person = people.with_role(desk_items.REVIEWER)
    wiring = wired()
    view, items = handbook_revisions.detail(wiring.db, person.id, revision_id)
    return render_template(
        "school/handbook_revision.html",
        person=person,
        one=view,
        items=items,
        drawn=handbook_revisions.drawn(wiring.db, person.id, revision_id, rng=wiring.rng),
        error=error,
    )

"""The bank desk: a school's own items as text, written, checked, read by a second person and put into use."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.errors import ConflictError, FindingsError, InputError, QuizsvcError, ThrottledError
from quizsvc.services import desk_check, desk_items, desk_release, desk_text
from quizsvc.services import edge as bounds
from quizsvc.services.desk_check import DeskCheck
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("bank_desk", __name__, url_prefix="/bank-desk")
edge.large(blueprint, "make", "save", reads_text_itself=True)

ROLES = (desk_items.AUTHOR, desk_items.REVIEWER)
blueprint.record(lambda state: state.app.jinja_env.globals.update(BANK_DESK_ROLES=ROLES))
_MOST_VERSIONS = 10**9
_KEPT = (InputError, ConflictError)


@blueprint.get("")
def contents() -> str:
    """The items that the person may see, with their state."""
    person = people.with_role(*ROLES)
    rows = desk_items.listed(wired().db, person.id)
    return render_template("school/bank_desk.html", person=person, rows=rows, folders=desk_items.folders(wired().db))


@blueprint.get("/export.yaml")
def export() -> Response:
    """The same text, to be kept or loaded elsewhere; `folder` keeps those of one."""
    person = people.with_role(*ROLES)
    folder = request.args.get("folder")
    response = Response(desk_items.export(wired().db, person.id, folder), mimetype="application/yaml")
    response.headers["Content-Disposition"] = "attachment; filename=school-items.yaml"
    return response


@blueprint.get("/new")
def new() -> str:
    """A text to begin with."""
    people.with_role(desk_items.AUTHOR)
    return _new_page(desk_text.START, "")


@blueprint.post("/new")
def make() -> AnyResponse | tuple[str, int]:
    """Check what was typed, or keep it as a draft."""
    person, wiring = people.with_role(desk_items.AUTHOR), wired()
    text, folder = request.form.get("text", ""), request.form.get("folder", "")
    try:
        edge.choice(folder, "folder", tuple(key for key, _ in desk_items.folders(wiring.db)))
        if request.form.get("do") == "check":
            return _new_page(text, folder, **_checked(person.id, folder, desk_text.clean(text))), 200
        item = desk_items.start(wiring.db, person.id, folder=folder, text=text, now=wiring.clock())
    except InputError as error:
        return _new_page(text, folder, error=error), status_of(error)
    flash("Kept as a draft.")
    return redirect(url_for("bank_desk.one", desk_item=item), 303)


@blueprint.get("/items/<desk_item>")
def one(desk_item: str) -> str:
    """An item's text, what the check finds in it, and a question drawn from it."""
    return _page(desk_item)


@blueprint.post("/items/<desk_item>")
def save(desk_item: str) -> AnyResponse | tuple[str, int]:
    """Check what was typed, or keep it; what is kept is a draft until it has been read again."""
    person, wiring = people.required(), wired()
    if not desk_items.one(wiring.db, person.id, desk_item).may_write:
        raise _not_here()
    text = request.form.get("text", "")
    try:
        if request.form.get("do") == "check":
            return _page(desk_item, text=desk_text.clean(text)), 200
        version = _version()
        desk_items.save(wiring.db, person.id, desk_item, text=text, version=version, now=wiring.clock())
    except _KEPT as error:
        return _page(desk_item, text=text, error=error), status_of(error)
    flash("Kept.")
    return redirect(url_for("bank_desk.one", desk_item=desk_item), 303)


@blueprint.post("/items/<desk_item>/read")
def read(desk_item: str) -> AnyResponse | tuple[str, int]:
    """A reviewer has read it."""
    person, wiring = _reviewer(desk_item)
    try:
        desk_release.read(wiring.db, person, desk_item, version=_version(), check=_checker(person), now=wiring.clock())
    except (*_KEPT, ThrottledError) as error:
        return _page(desk_item, error=error), status_of(error)
    flash("Read. It is not in use yet.")
    return redirect(url_for("bank_desk.one", desk_item=desk_item), 303)


@blueprint.post("/items/<desk_item>/live")
def release(desk_item: str) -> AnyResponse | tuple[str, int]:
    """A reviewer puts it into use."""
    person, wiring = _reviewer(desk_item)
    try:
        desk_release.release(
            wiring.db,
            person,
            desk_item,
            version=_version(),
            homework_only=request.form.get("homework_only") == "yes",
            check=_checker(person),
            now=wiring.clock(),
        )
    except (*_KEPT, ThrottledError) as error:
        return _page(desk_item, error=error), status_of(error)
    flash("In use.")
    return redirect(url_for("bank_desk.one", desk_item=desk_item), 303)


def _not_here() -> QuizsvcError:
    return bounds.not_found("item")


def _reviewer(desk_item: str) -> tuple[int, Any]:
    person, wiring = people.required(), wired()
    if not desk_items.one(wiring.db, person.id, desk_item).may_review:
        raise _not_here()
    return person.id, wiring


def _version() -> int:
    return edge.whole(request.form.get("version"), "version", least=1, most=_MOST_VERSIONS)


def _checker(person_id: int) -> Any:
    def check(folder: str, text: str) -> DeskCheck:
        wiring = wired()
        return desk_check.check(
            wiring.db, person_id, folder, text, locks=wiring.settings.data_dir, seed=wiring.rng.getrandbits(53)
        )

    return check


def _checked(person_id: int, folder: str, text: str) -> dict[str, Any]:
    """What the check says, or why it says nothing; with the lines that the findings are about."""
    try:
        found = _checker(person_id)(folder, text)
    except (InputError, ThrottledError) as error:
        return {"check": None, "check_error": error, "lines": ()}
    return {"check": found, "check_error": None, "lines": text.split("\n")}


def _new_page(text: str, folder: str, *, error: QuizsvcError | None = None, **checked: Any) -> str:
    folders = desk_items.folders(wired().db)
    return render_template(
        "school/bank_desk_new.html", text=text, folder=folder, folders=folders, error=error, **checked
    )


def _page(desk_item: str, *, text: str | None = None, error: QuizsvcError | None = None) -> str:
    person = people.required()
    found = desk_items.one(wired().db, person.id, desk_item)
    shown = found.text if text is None else text
    unreadable = error is not None and not isinstance(error, ConflictError | FindingsError | ThrottledError)
    checked = {} if unreadable else _checked(person.id, found.row.folder, shown)
    return render_template(
        "school/bank_desk_item.html",
        person=person,
        one=found,
        text=shown,
        conflict=isinstance(error, ConflictError) and text is not None,
        error=error,
        **checked,
    )

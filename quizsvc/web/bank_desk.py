"""The bank desk: a school's own items as text, written, checked, read by a second person and put into use."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.errors import ConflictError, FindingsError, InputError, QuizsvcError, ThrottledError
from quizsvc.services import desk_check, desk_guide, desk_items, desk_release, desk_steps, desk_text
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
_KEPT = (InputError, ConflictError, ThrottledError)


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
    """A text to begin with: almost empty, or an example of a kind."""
    people.with_role(desk_items.AUTHOR)
    example = desk_guide.guide().kinds.get(request.args.get("kind", ""))
    return _new_page(example.example if example else desk_text.START, "")


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
    return _done(
        desk_item,
        "Read. It is not in use yet.",
        lambda: desk_release.read(
            wiring.db, person, desk_item, version=_version(), check=_checker(person), now=wiring.clock()
        ),
    )


@blueprint.post("/items/<desk_item>/live")
def release(desk_item: str) -> AnyResponse | tuple[str, int]:
    """A reviewer puts it into use."""
    person, wiring = _reviewer(desk_item)
    return _done(
        desk_item,
        "In use.",
        lambda: desk_release.release(
            wiring.db,
            person,
            desk_item,
            version=_version(),
            homework_only=request.form.get("homework_only") == "yes",
            check=_checker(person),
            now=wiring.clock(),
        ),
    )


@blueprint.post("/items/<desk_item>/send-back")
def send_back(desk_item: str) -> AnyResponse | tuple[str, int]:
    """A reviewer gives it back to its author with what is wrong."""
    person, wiring = _reviewer(desk_item)
    words = request.form.get("words", "")
    return _done(
        desk_item,
        "Sent back. Its author has a notice.",
        lambda: desk_steps.send_back(wiring.db, person, desk_item, version=_version(), words=words, now=wiring.clock()),
    )


@blueprint.post("/items/<desk_item>/take-over")
def take_over(desk_item: str) -> AnyResponse | tuple[str, int]:
    """An author goes on with the text of one who has left."""
    person, wiring = people.with_role(desk_items.AUTHOR), wired()
    found = desk_items.one(wiring.db, person.id, desk_item)
    if not (found.row.own or found.may_take_over):
        raise _not_here()
    return _done(
        desk_item,
        "It is yours now. A second person reads it.",
        lambda: desk_steps.take_over(wiring.db, person.id, desk_item, version=_version(), now=wiring.clock()),
    )


@blueprint.post("/items/<desk_item>/delete")
def delete(desk_item: str) -> AnyResponse | tuple[str, int]:
    """Its author deletes a draft that has never been in use."""
    person, wiring = _author(desk_item)
    try:
        desk_steps.delete(wiring.db, person, desk_item, version=_version())
    except _KEPT as error:
        return _page(desk_item, error=error), status_of(error)
    flash("The draft is deleted.")
    return redirect(url_for("bank_desk.contents"), 303)


@blueprint.post("/items/<desk_item>/drop-changes")
def drop_changes(desk_item: str) -> AnyResponse | tuple[str, int]:
    """Its author goes back to the text that is in use."""
    person, wiring = _author(desk_item)
    return _done(
        desk_item,
        "The changes are dropped.",
        lambda: desk_steps.drop_changes(wiring.db, person, desk_item, version=_version(), now=wiring.clock()),
    )


@blueprint.post("/items/<desk_item>/withdraw")
def withdraw(desk_item: str) -> AnyResponse | tuple[str, int]:
    """Its author or a reviewer takes it out of use."""
    person, wiring = people.required(), wired()
    found = desk_items.one(wiring.db, person.id, desk_item)
    if not (found.may_write or desk_items.REVIEWER in person.roles):
        raise _not_here()
    reason = request.form.get("reason", "")
    return _done(
        desk_item,
        "Withdrawn. Nobody is asked it any more.",
        lambda: desk_steps.withdraw(
            wiring.db, person.id, desk_item, version=_version(), reason=reason, now=wiring.clock()
        ),
    )


@blueprint.post("/items/<desk_item>/draft")
def draft_again(desk_item: str) -> AnyResponse | tuple[str, int]:
    """Its author makes a withdrawn text a draft again."""
    person, wiring = _author(desk_item)
    return _done(
        desk_item,
        "A draft again.",
        lambda: desk_steps.draft_again(wiring.db, person, desk_item, version=_version(), now=wiring.clock()),
    )


def _done(desk_item: str, said: str, verb: Callable[[], None]) -> AnyResponse | tuple[str, int]:
    """Do it and say so, or say why not, with what was typed still in its field."""
    try:
        verb()
    except _KEPT as error:
        return _page(desk_item, error=error), status_of(error)
    flash(said)
    return redirect(url_for("bank_desk.one", desk_item=desk_item), 303)


def _not_here() -> QuizsvcError:
    return bounds.not_found("item")


def _reviewer(desk_item: str) -> tuple[int, Any]:
    person, wiring = people.required(), wired()
    if not desk_items.one(wiring.db, person.id, desk_item).may_review:
        raise _not_here()
    return person.id, wiring


def _author(desk_item: str) -> tuple[int, Any]:
    person, wiring = people.required(), wired()
    if not desk_items.one(wiring.db, person.id, desk_item).may_write:
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
    names = desk_items.names(wired().db)
    # What is new is about an aircraft, unless somebody says otherwise.
    folder = folder or next((one.folder for one in names if one.sections), "")
    return render_template(
        "school/bank_desk_new.html",
        text=text,
        folder=folder,
        names=names,
        guide=desk_guide.guide(),
        kind=desk_text.kind_of(text),
        error=error,
        **checked,
    )


def _page(desk_item: str, *, text: str | None = None, error: QuizsvcError | None = None) -> str:
    person = people.required()
    found = desk_items.one(wired().db, person.id, desk_item)
    shown = found.text if text is None else text
    unreadable = text is not None and isinstance(error, InputError) and not isinstance(error, FindingsError)
    checked = {} if unreadable else _checked(person.id, found.row.folder, shown)
    return render_template(
        "school/bank_desk_item.html",
        person=person,
        one=found,
        folder=found.row.folder,
        guide=desk_guide.guide(),
        kind=desk_text.kind_of(shown),
        compared=desk_text.compared(found.live_text, found.text) if found.live_text is not None else (),
        names=desk_items.names(wired().db, "general", found.row.folder) if found.may_write else (),
        text=shown,
        conflict=isinstance(error, ConflictError) and text is not None,
        error=error,
        sent=request.form if error is not None else None,
        longest=desk_steps.LONGEST,
        **checked,
    )

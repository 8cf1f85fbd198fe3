"""Groups: making one, its page, and what its instructors do with its people."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import desk, groups, members, reading
from quizsvc.services.views import PersonView
from quizsvc.web import edge, people
from quizsvc.web.account import zones
from quizsvc.web.errors import status_of
from quizsvc.web.qr import qr
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("groups", __name__, url_prefix="/groups")

_INSTRUCTOR = "instructor"


@blueprint.get("/new")
def new() -> str:
    """The form for a group."""
    person = people.required()
    desk.require(wired().db, person.id)
    return _form(person)


@blueprint.post("/new")
def make() -> Response | tuple[str, int]:
    """Make it; its maker instructs it."""
    person = people.required()
    wiring = wired()
    desk.require(wiring.db, person.id)
    try:
        group_id = groups.make(wiring.db, person.id, _sent(), now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _form(person, error=error), status_of(error)
    flash("The group is made. Let its people join by a code, or put them on its roll.")
    return redirect(url_for("groups.page", group_id=group_id), 303)


@blueprint.get("/<number:group_id>")
def page(group_id: int) -> str:
    """The group, for its instructors with its people, for its students without."""
    return _page(people.required(), group_id)


@blueprint.post("/<number:group_id>")
def change(group_id: int) -> Response | tuple[str, int]:
    """Change name, zone, days, aircraft."""
    person = _instructor(group_id)
    try:
        groups.change(wired().db, person.id, group_id, _sent())
    except (InputError, ConflictError) as error:
        return _page(person, group_id, error=error), status_of(error)
    flash("Changes kept.")
    return redirect(url_for("groups.page", group_id=group_id), 303)


@blueprint.post("/<number:group_id>/leave")
def leave(group_id: int) -> Response:
    """Leave, or stop waiting; the last instructor says that they leave all the same."""
    anyway = request.form.get("anyway") == "yes"
    name = members.leave(wired().db, people.required().id, group_id, anyway=anyway, now=wired().clock())
    flash(f"You have left {name}. What you did in it stays.")
    return redirect(url_for("joining.page"), 303)


@blueprint.post("/<number:group_id>/members/<number:number>/answer")
def answer(group_id: int, number: int) -> Response:
    """Yes or no to somebody who waits."""
    person = _instructor(group_id)
    accept = edge.choice(request.form.get("accept"), "accept", ("yes", "no")) == "yes"
    name = members.answer(wired().db, person.id, group_id, number, accept=accept, now=wired().clock())
    flash(f"{name} is in the group." if accept else f"{name} is not taken in.")
    return _back(group_id)


@blueprint.post("/<number:group_id>/members/<number:number>/remove")
def remove(group_id: int, number: int) -> Response:
    """Take somebody out."""
    name = members.remove(wired().db, people.required().id, group_id, number, now=wired().clock())
    flash(f"{name} is no longer in the group. What they did in it stays.")
    return _back(group_id)


@blueprint.post("/<number:group_id>/members/<number:number>/part")
def part(group_id: int, number: int) -> Response:
    """Let somebody instruct the group, or no longer."""
    person = _instructor(group_id)
    wanted = edge.choice(request.form.get("part"), "part", ("student", _INSTRUCTOR))
    name = members.give_part(wired().db, person.id, group_id, number, wanted, now=wired().clock())
    flash(f"{name} instructs the group." if wanted == _INSTRUCTOR else f"{name} no longer instructs the group.")
    return _back(group_id)


@blueprint.post("/<number:group_id>/members/<number:number>/link")
def link(group_id: int, number: int) -> str:
    """A one-time link for a student; it is on this page only."""
    person, wiring = people.required(), wired()
    now = wiring.clock()
    name, secret = members.make_member_link(wiring.db, person.id, group_id, number, now=now)
    address = f"{wiring.settings.public_url}/link/{secret}"
    return render_template(
        "school/member_link.html",
        person=person,
        group_id=group_id,
        name=name,
        address=address,
        picture=qr(address, f"One-time link for {name}"),
        until=members.link_until(now),
    )


def _instructor(group_id: int) -> PersonView:
    """Who asks, if they instruct the group: looked at before the form, so that a faulty one tells nothing."""
    person = people.required()
    groups.require(wired().db, person.id, group_id)
    return person


def _back(group_id: int) -> Response:
    return redirect(url_for("groups.page", group_id=group_id), 303)


def _sent() -> groups.GroupForm:
    return groups.GroupForm(
        name=request.form.get("name", ""),
        time_zone=request.form.get("time_zone", "")[:80],
        starts_on=edge.day(request.form.get("starts_on", ""), "starts_on"),
        ends_on=edge.day(request.form.get("ends_on", ""), "ends_on"),
        aircraft=tuple(request.form.getlist("aircraft")),
    )


def _form(person: PersonView, *, error: QuizsvcError | None = None) -> str:
    return render_template(
        "school/group_new.html",
        person=person,
        error=error,
        sent=request.form if error else None,
        group=None,
        aircraft=reading.aircraft_list(wired().db),
        zones=zones(person.time_zone),
    )


def _page(person: PersonView, group_id: int, *, error: QuizsvcError | None = None) -> str:
    wiring = wired()
    group = groups.view(wiring.db, person.id, group_id)
    if group.part != _INSTRUCTOR:
        return render_template("school/group_student.html", person=person, group=group)
    return render_template(
        "school/group.html",
        person=person,
        group=group,
        assignments=desk.of_group(wiring.db, person.id, group_id, now=wiring.clock()),
        error=error,
        sent=request.form if error else None,
        aircraft=reading.aircraft_list(wiring.db),
        zones=zones(group.time_zone),
    )

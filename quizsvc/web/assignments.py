"""Assignments at the instructor's desk: making one, its items, its rules, its release."""

from __future__ import annotations

from collections import Counter
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import (
    assignment_copying,
    assignment_picking,
    assignment_preview,
    assignment_release,
    assignments,
    groups,
)
from quizsvc.services.assignment_items import DEMANDS, KINDS, Criteria, Picking
from quizsvc.services.assignment_rules import FEEDBACK, LONGEST_TITLE, MOST_MINUTES, MOST_TRIES, NUMBERS, RulesForm
from quizsvc.services.assignments import AssignmentView
from quizsvc.services.local_times import LocalForm
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["blueprint", "local_time", "mine", "version_sent"]

blueprint = Blueprint("assignments", __name__)

_LONGEST_ID = 200
_LONGEST_WORDS = 100
_GREATEST_VERSION = 10**9


def mine(assignment_id: int) -> tuple[int, AssignmentView]:
    """Who asks, and the assignment if they instruct its group.

    Looked at before a form is, so that a faulty one tells nobody anything.
    """
    person, wiring = people.required(), wired()
    return person.id, assignments.view(wiring.db, person.id, assignment_id, now=wiring.clock())


def version_sent() -> int:
    """The version of the assignment that a form was filled in from."""
    return edge.whole(request.form.get("version"), "version", least=0, most=_GREATEST_VERSION)


def local_time(field: str) -> LocalForm:
    """A field for a time on the group's clock, and the word for one of two equal readings beside it."""
    return LocalForm(request.form.get(field, "")[:40], request.form.get(f"{field}_which", "")[:10])


@blueprint.get("/groups/<number:group_id>/assignments/new")
def new(group_id: int) -> str:
    """Title, and what to pick."""
    return _new(group_id)


@blueprint.post("/groups/<number:group_id>/assignments/new")
def make(group_id: int) -> Response | tuple[str, int]:
    """Make a draft and pick for it, or show what fits some words; where nothing fits, nothing is made."""
    person, wiring = people.required(), wired()
    assignment_picking.catalogue(wiring.db, person.id, group_id)  # not found before anything is read
    if request.form.get("do") == "find":
        return _new(group_id, looking=True), 200
    try:
        made = assignment_picking.make_and_pick(
            wiring.db,
            person.id,
            group_id,
            request.form.get("title", ""),
            _criteria(),
            now=wiring.clock(),
            rng=wiring.rng,
        )
    except (InputError, ConflictError) as error:
        return _new(group_id, error=error), status_of(error)
    return redirect(url_for("assignments.items", assignment_id=made), 303)


@blueprint.get("/assignments/<number:assignment_id>")
def page(assignment_id: int) -> str:
    """The assignment: what it is, how far it is."""
    return _page(assignment_id)


@blueprint.get("/assignments/<number:assignment_id>/items")
def items(assignment_id: int) -> str:
    """What is picked, what it covers, and picking more."""
    return _items(assignment_id)


@blueprint.post("/assignments/<number:assignment_id>/items")
def change_items(assignment_id: int) -> Response | tuple[str, int]:
    """Pick by rules, add named items, move one, take one out; or show what fits some words."""
    person_id, _ = mine(assignment_id)
    wiring = wired()
    now = wiring.clock()
    place = None
    if request.form.get("do") == "find":
        return _items(assignment_id, looking=True), 200
    try:
        version = version_sent()
        if "up" in request.form or "down" in request.form:
            by = -1 if "up" in request.form else 1
            item = request.form["up" if by < 0 else "down"][:_LONGEST_ID]
            place = assignment_picking.move_item(wiring.db, person_id, assignment_id, version, item, by=by, now=now)
            said = f"Now at place {place}: {item}."
        elif "remove" in request.form:
            item = request.form["remove"][:_LONGEST_ID]
            assignment_picking.remove_item(wiring.db, person_id, assignment_id, version, item, now=now)
            said = f"Taken out: {item}."
        elif request.form.get("do") == "add":
            named = [one[:_LONGEST_ID] for one in request.form.getlist("item")]
            count = assignment_picking.place_items(wiring.db, person_id, assignment_id, version, named, now=now)
            said = f"{_items_word(count)} added."
        else:
            wanted = _criteria()
            count = assignment_picking.pick(
                wiring.db, person_id, assignment_id, version, wanted, now=now, rng=wiring.rng
            )
            said = f"{_items_word(count)} added." + (" No more fit." if count < wanted.count else "")
    except (InputError, ConflictError) as error:
        return _items(assignment_id, error=error), status_of(error)
    flash(said)
    # Back to where the row now is, so that the next key goes to its buttons.
    anchor = f"place-{place}" if place is not None else None
    return redirect(url_for("assignments.items", assignment_id=assignment_id, _anchor=anchor), 303)


@blueprint.get("/assignments/<number:assignment_id>/rules")
def rules(assignment_id: int) -> str:
    """Title, times, tries, numbers, feedback."""
    return _rules(assignment_id)


@blueprint.post("/assignments/<number:assignment_id>/rules")
def change_rules(assignment_id: int) -> Response | tuple[str, int]:
    """Keep the rules; a draft goes on to its preview."""
    person_id, view = mine(assignment_id)
    wiring = wired()
    now = wiring.clock()
    try:
        assignments.change(wiring.db, person_id, assignment_id, version_sent(), _rules_sent(), now=now)
    except (InputError, ConflictError) as error:
        return _rules(assignment_id, error=error), status_of(error)
    if view.state == "draft" and view.places:
        return _draw(person_id, assignment_id)
    flash("Rules kept.")
    return redirect(url_for("assignments.page", assignment_id=assignment_id), 303)


@blueprint.get("/assignments/<number:assignment_id>/preview")
def preview(assignment_id: int) -> str:
    """Who gets it, and the way to each one's own questions."""
    return _preview(assignment_id)


@blueprint.post("/assignments/<number:assignment_id>/preview")
def draw(assignment_id: int) -> Response | tuple[str, int]:
    """Draw the questions of everybody who has none."""
    person_id, _ = mine(assignment_id)
    try:
        return _draw(person_id, assignment_id)
    except (InputError, ConflictError) as error:
        return _preview(assignment_id, error=error), status_of(error)


@blueprint.post("/assignments/<number:assignment_id>/release")
def release(assignment_id: int) -> Response | tuple[str, int]:
    """Release it."""
    person_id, _ = mine(assignment_id)
    wiring = wired()
    try:
        assignment_release.release(wiring.db, person_id, assignment_id, version_sent(), now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _preview(assignment_id, error=error), status_of(error)
    flash("Released. The students are told.")
    return redirect(url_for("assignments.page", assignment_id=assignment_id), 303)


@blueprint.post("/assignments/<number:assignment_id>/discard")
def discard(assignment_id: int) -> Response | tuple[str, int]:
    """Delete a draft."""
    person_id, _ = mine(assignment_id)
    try:
        group_id = assignments.discard(wired().db, person_id, assignment_id, version_sent())
    except (InputError, ConflictError) as error:
        return _page(assignment_id, error=error), status_of(error)
    flash("The draft is deleted.")
    return redirect(url_for("groups.page", group_id=group_id), 303)


@blueprint.post("/assignments/<number:assignment_id>/copy")
def copy(assignment_id: int) -> Response | tuple[str, int]:
    """Copy it into one of the instructor's own groups, as a draft."""
    person_id, _ = mine(assignment_id)
    wiring = wired()
    try:
        group_id = edge.whole(request.form.get("group"), "group", least=1, most=10**9)
        made = assignment_copying.copy(wiring.db, person_id, assignment_id, group_id, now=wiring.clock())
    except InputError as error:
        return _page(assignment_id, error=error), status_of(error)
    flash(f"Copied to {made.group_name}, as a draft: {_items_word(made.places)}.")
    for one in made.left_out:
        flash(f"Left out {one.item}: {one.why}.")
    return redirect(url_for("assignments.items", assignment_id=made.id), 303)


@blueprint.post("/assignments/<number:assignment_id>/take-back")
def take_back(assignment_id: int) -> Response | tuple[str, int]:
    """Take it back."""
    person_id, _ = mine(assignment_id)
    wiring = wired()
    try:
        state = assignments.take_back(wiring.db, person_id, assignment_id, version_sent(), now=wiring.clock())
    except (InputError, ConflictError) as error:
        return _page(assignment_id, error=error), status_of(error)
    flash("Taken back. It is a draft again." if state == "draft" else "Taken back. What was done on it is kept.")
    return redirect(url_for("assignments.page", assignment_id=assignment_id), 303)


def _page(assignment_id: int, *, error: QuizsvcError | None = None) -> str:
    person_id, view = mine(assignment_id)
    own = [group for group in groups.own(wired().db, person_id) if (group.part, group.state) == ("instructor", "in")]
    return render_template("school/assignment.html", one=view, error=error, groups=own)


def _draw(person_id: int, assignment_id: int) -> Response | tuple[str, int]:
    wiring = wired()
    try:
        assignment_preview.draw_all(wiring.db, person_id, assignment_id, now=wiring.clock(), rng=wiring.rng)
    except (InputError, ConflictError) as error:
        return _preview(assignment_id, error=error), status_of(error)
    return redirect(url_for("assignments.preview", assignment_id=assignment_id), 303)


def _criteria() -> Criteria:
    return Criteria(
        count=edge.whole(request.form.get("count"), "count", least=1, most=assignment_picking.MOST_PLACES),
        concepts=tuple(one[:_LONGEST_ID] for one in request.form.getlist("concept")),
        systems=tuple(one[:_LONGEST_ID] for one in request.form.getlist("system")),
        kinds=tuple(edge.choice(one, "kind", KINDS) for one in request.form.getlist("kind")),
        demands=tuple(edge.choice(one, "demand", DEMANDS) for one in request.form.getlist("demand")),
        words=request.form.get("words", "")[:_LONGEST_WORDS],
    )


def _rules_sent() -> RulesForm:
    sitting = "sitting" in request.form
    return RulesForm(
        title=request.form.get("title", ""),
        numbers=edge.choice(request.form.get("numbers"), "numbers", NUMBERS),
        feedback=edge.choice(request.form.get("feedback"), "feedback", FEEDBACK),
        tries=edge.whole(request.form.get("tries"), "tries", least=1, most=MOST_TRIES),
        sitting_minutes=edge.whole(request.form.get("sitting_minutes"), "sitting_minutes", least=1, most=MOST_MINUTES)
        if sitting
        else None,
        opens=local_time("opens"),
        closes=local_time("closes"),
        late_until=local_time("late_until"),
    )


def _items_word(count: int) -> str:
    return f"{count} item" if count == 1 else f"{count} items"


def _pick_words(picking: Picking) -> dict[str, Any]:
    words = request.form.get("words", "")[:_LONGEST_WORDS].strip()
    return {
        "picking": picking,
        # How many items of each concept fit the words; nothing where none are typed.
        "fitting": Counter(item.concept for item in picking.found(words)) if words else Counter(),
        "longest_words": _LONGEST_WORDS,
        "kinds": KINDS,
        "demands": DEMANDS,
        "most": assignment_picking.MOST_PLACES,
        "longest_title": LONGEST_TITLE,
    }


def _new(group_id: int, *, error: QuizsvcError | None = None, looking: bool = False) -> str:
    person, wiring = people.required(), wired()
    picking = assignment_picking.catalogue(wiring.db, person.id, group_id)
    sent = request.form if error or looking else None
    group = groups.view(wiring.db, person.id, group_id)
    return render_template("school/assignment_new.html", group=group, error=error, sent=sent, **_pick_words(picking))


def _items(assignment_id: int, *, error: QuizsvcError | None = None, looking: bool = False) -> str:
    person_id, view = mine(assignment_id)
    picking = assignment_picking.picking_of(wired().db, person_id, assignment_id)
    asked = request.args.get("system", "")
    listed = asked if asked in picking.systems else ""
    about = request.args.get("about", "")[:_LONGEST_WORDS].strip()
    taken = {place.item.id for place in picking.places}
    return render_template(
        "school/assignment_items.html",
        one=view,
        error=error,
        sent=request.form if error or looking else None,
        listed=listed,
        about=about,
        offered=sorted(
            (item for item in picking.found(about) if item.system == (listed or item.system) and item.id not in taken),
            key=lambda item: item.rank,
        )
        if listed or about
        else (),
        **_pick_words(picking),
    )


def _rules(assignment_id: int, *, error: QuizsvcError | None = None) -> str:
    _, view = mine(assignment_id)
    return render_template(
        "school/assignment_rules.html",
        one=view,
        form=assignments.form_of(view),
        error=error,
        sent=request.form if error else None,
        most_tries=MOST_TRIES,
        most_minutes=MOST_MINUTES,
        longest_title=LONGEST_TITLE,
    )


def _preview(assignment_id: int, *, error: QuizsvcError | None = None) -> str:
    person, wiring = people.required(), wired()
    found = assignment_preview.look(wiring.db, person.id, assignment_id, now=wiring.clock())
    return render_template("school/assignment_preview.html", one=found.assignment, preview=found, error=error)

"""The drill: a set, its questions one a screen, their answers, squawks, and the missed ones again."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import homework, practice, squawks
from quizsvc.services.views import QuestionView, SetView
from quizsvc.web import edge, people, words
from quizsvc.web.wiring import wired

__all__ = [
    "LONGEST_SQUAWK",
    "LONGEST_TYPED",
    "blueprint",
    "response_in_form",
    "show_feedback",
    "show_question",
    "show_set_end",
    "start_set",
]

blueprint = Blueprint("drill", __name__)

LONGEST_SET_MINUTES = 60
LONGEST_TYPED = 200
LONGEST_SQUAWK = 2000


@blueprint.post("/sets")
def start() -> Response:
    """Begin a set; who has no session yet becomes a person without a name."""
    view = start_set(
        minutes=request.form.get("minutes"),
        long=request.form.get("long") == "1",
        acknowledged=request.form.getlist("acknowledged"),
        concepts=request.form.getlist("concept"),
    )
    return _go_on(view)


def start_set(*, minutes: Any, long: bool, acknowledged: list[str], concepts: list[str] | None = None) -> SetView:
    """Plan and write a set for this browser's person, on some concepts or all; C1 must have been acknowledged."""
    wiring = wired()
    length = edge.whole(minutes, "minutes", least=1, most=LONGEST_SET_MINUTES)
    if "C1" not in acknowledged:
        raise InputError(
            "caution-not-acknowledged",
            "a set starts under caution C1, which was not acknowledged",
            where="acknowledged",
            mend="show the caution's text and send its id",
        )
    person = people.person() or people.begin()
    return practice.start_set(
        wiring.db,
        person.id,
        minutes=length,
        long=long,
        acknowledged=tuple(one for one in ("C1", "C9") if one in acknowledged),
        concepts=tuple(concepts or ()),
        now=wiring.clock(),
        rng=wiring.rng,
    )


@blueprint.get("/sets/<key:set_id>")
def set_page(set_id: str) -> Response | str:
    """Where a set stands: its next question, or its end."""
    view = _own_set(set_id)
    if view.for_device:
        return redirect(url_for("device.page"), 303)
    if view.ended_at is None and view.next_question is not None:
        return redirect(url_for("drill.question", question_id=view.next_question.id), 303)
    return show_set_end(view)


@blueprint.post("/sets/<key:set_id>/repeats")
def repeats(set_id: str) -> Response:
    """Ask the missed ones again with new numbers, by choice and outside the set's minutes."""
    person = people.required()
    wiring = wired()
    return _go_on(practice.offer_repeats(wiring.db, person.id, set_id, now=wiring.clock(), rng=wiring.rng))


@blueprint.post("/sets/<key:set_id>/end")
def end(set_id: str) -> Response:
    """Stop here; nothing that was answered is lost."""
    person = people.required()
    wiring = wired()
    practice.end_set(wiring.db, person.id, set_id, now=wiring.clock())
    return redirect(url_for("drill.set_page", set_id=set_id), 303)


@blueprint.get("/questions/<key:question_id>")
def question(question_id: str) -> Response | str:
    """One question: to answer, or with its feedback once answered."""
    person = people.required()
    wiring = wired()
    spoken = request.args.get("spoken") == "1"
    try:
        view = practice.question_view(wiring.db, person.id, question_id, now=wiring.clock(), spoken=spoken)
    except NotFoundError:
        # The Log leads here for homework too.
        work_id = homework.work_with_question(wiring.db, person.id, question_id)
        if work_id is None:
            raise
        return redirect(url_for("homework.question", work_id=work_id, question_id=question_id), 303)
    if not view.answered:
        return show_question(view, sureness=request.args.get("sureness", ""))
    # A device asks the questions that it keeps; here one only looks at them.
    following = None if view.on_device else _own_set(view.set_id).after(view)
    if view.kept:
        return render_template("kept.html", question=view, following=following, person=g.person)
    return show_feedback(view, following.id if following else None)


@blueprint.post("/questions/<key:question_id>/answers")
def answer(question_id: str) -> Response | tuple[str, int]:
    """Store an answer sent by a form; an unreadable one comes back with its sentence and what was typed."""
    person = people.required()
    wiring = wired()
    form = request.form
    try:
        stored = practice.record_answer(
            wiring.db,
            person.id,
            question_id,
            uuid=edge.answer_uuid(form.get("uuid")),
            raw=response_in_form(),
            sureness=edge.choice(form["sureness"], "sureness", words.SURENESS) if form.get("sureness") else None,
            given_at=None,
            sent_at=None,
            now=wiring.clock(),
            rng=wiring.rng,
        )
    except InputError as error:
        spoken = form.get("spoken") == "1"
        view = practice.question_view(wiring.db, person.id, question_id, now=wiring.clock(), spoken=spoken)
        if view.answered:
            return redirect(url_for("drill.question", question_id=question_id), 303)
        return show_question(view, error=error, sent=form, sureness=form.get("sureness", "")), 422
    # A part whose feedback waits leads straight on to the next part.
    onward = question_id if stored.feedback is not None or stored.next_question_id is None else stored.next_question_id
    return redirect(url_for("drill.question", question_id=onward), 303)


@blueprint.post("/questions/<key:question_id>/squawks")
def squawk(question_id: str) -> Response:
    """Store a dispute of the item; the caution that is true comes back as a notice."""
    person = people.required()
    wiring = wired()
    written = edge.text("text", longest=LONGEST_SQUAWK, label="the squawk")
    stored = squawks.raise_squawk(wiring.db, person.id, question_id, written, now=wiring.clock())
    flash(stored.caution)
    return redirect(url_for("drill.question", question_id=question_id), 303)


def show_question(
    view: QuestionView,
    *,
    error: InputError | None = None,
    sent: Any = None,
    sureness: str = "",
    layout: str = "page.html",
) -> str:
    """The item screen, with what was already picked or typed where an answer could not be read."""
    return render_template(
        "question.html",
        layout=layout,
        question=view,
        error=error,
        sent={
            "picked": tuple(sent.getlist("option") + sent.getlist("options") + sent.getlist("points")) if sent else (),
            "text": sent.get("text", "") if sent else "",
            "fields": sent or {},
        },
        sureness=sureness if sureness in words.SURENESS else "",
        uuid=edge.new_uuid(),
        person=g.person,
    )


def show_feedback(view: QuestionView, following: str | None, *, layout: str = "page.html") -> str:
    """What the answer was worth, the key, the working, and the way on to the question `following`, or to the end."""
    return render_template(
        "feedback.html",
        layout=layout,
        question=view,
        following=following,
        person=g.person,
    )


def show_set_end(view: SetView, *, layout: str = "page.html") -> str:
    """The end of a set: what was right, and the offer of the missed ones."""
    return render_template("set_end.html", layout=layout, whole=view, person=g.person)


def _own_set(set_id: str) -> SetView:
    person = people.required()
    wiring = wired()
    return practice.set_view(wiring.db, person.id, set_id, now=wiring.clock())


def _go_on(view: SetView) -> Response:
    following = view.next_question
    if following is None:
        return redirect(url_for("drill.set_page", set_id=view.id), 303)
    return redirect(url_for("drill.question", question_id=following.id), 303)


def response_in_form(fields: MultiDict[str, str] | None = None) -> dict[str, Any]:
    """The response as the bank reads it. Which controls were on the page tells the kind: no kind travels.

    `fields` are those of the question where the form has several; by default all of the form.
    """
    form = request.form if fields is None else fields
    if "pass" in form:
        return {"pass": True}
    if "text" in form:
        typed = form["text"].strip()
        if not typed:
            raise InputError("response-empty", "nothing is typed yet", where="response", mend="type a number, or pass")
        if len(typed) > LONGEST_TYPED:
            raise InputError(
                "response-too-long", f"{len(typed)} characters are no number", where="response", mend="type a number"
            )
        return {"text": typed}
    readings = _fields(form, "reading-")
    if readings:
        return {"readings": readings} | ({"option": form["option"]} if "option" in form else {})
    if "option" in form:
        return {"option": form["option"]}
    if "options" in form:
        return {"options": form.getlist("options")}
    if "spoken" in form:
        return {"points": form.getlist("points")}
    if places := _fields(form, "place-"):
        return {"order": _placed(places)}
    if pairs := _fields(form, "pair-"):
        return {"pairs": pairs}
    if rows := _fields(form, "row-"):
        actions = _fields(form, "after-")
        return {"rows": {row: actions.get(row, "") if given == "after" else given for row, given in rows.items()}}
    raise InputError("response-empty", "nothing is picked yet", where="response", mend="pick what is true, or pass")


def _fields(form: MultiDict[str, str], prefix: str) -> dict[str, str]:
    """The form's fields whose names begin so, by the rest of their names."""
    return {name.removeprefix(prefix): value for name, value in form.items() if name.startswith(prefix)}


def _placed(places: dict[str, str]) -> list[str]:
    """Steps by the places they were given; one without a place is left out, and the bank says that it is open."""
    taken = [place for place in places.values() if place]
    twice = next((place for place in taken if taken.count(place) > 1), None)
    if twice is not None:
        raise InputError(
            "response-unreadable", f"two steps have place {twice[:4]}", where="response", mend="give each its own place"
        )
    given = [(int(place), step) for step, place in places.items() if place.isascii() and place.isdecimal()]
    return [step for _, step in sorted(given)]

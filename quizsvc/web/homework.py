"""Homework as its student sees it: the list, a try with its questions, handing in, the receipt."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import handing_in, homework, squawks
from quizsvc.services.handing_in import OpenQuestionsError
from quizsvc.services.homework_views import DraftView, HomeworkQuestion, SavedDraft, WorkView
from quizsvc.web import drill, edge, people, words
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["MOST_VERSIONS", "blueprint", "draft_in", "fields_of", "fields_shown", "left_s"]

blueprint = Blueprint("homework", __name__)

MOST_VERSIONS = 10**6 - 1


@blueprint.get("/homework")
def listed() -> str:
    """Everything assigned: what is to do, what is handed in, what is over."""
    person = people.required()
    wiring = wired()
    return render_template("homework/list.html", rows=homework.list_homework(wiring.db, person.id, now=wiring.clock()))


@blueprint.get("/homework/<number:assignment_id>")
def assignment(assignment_id: int) -> str:
    """One assignment with its rules and the person's tries."""
    person = people.required()
    wiring = wired()
    found = homework.assignment(wiring.db, person.id, assignment_id, now=wiring.clock())
    return render_template("homework/assignment.html", given=found, to_second=to_second)


@blueprint.post("/homework/<number:assignment_id>/works")
def begin(assignment_id: int) -> Response:
    """Begin a try, or go on with it; a Sitting's time runs from here."""
    person = people.required()
    wiring = wired()
    work = homework.begin(wiring.db, person.id, assignment_id, now=wiring.clock(), rng=wiring.rng)
    return _go_on(work)


@blueprint.get("/works/<key:work_id>")
def work(work_id: str) -> str:
    """A try with the state of its questions, and its mark once that is released."""
    person = people.required()
    wiring = wired()
    found = homework.work(wiring.db, person.id, work_id, now=wiring.clock())
    return render_template("homework/work.html", work=found, left_s=left_s(found), to_second=to_second)


@blueprint.get("/works/<key:work_id>/questions/<key:question_id>")
def question(work_id: str, question_id: str) -> Response | str:
    """A question: its fields, or its feedback once that is released."""
    found = _question(work_id, question_id)
    if found.view.feedback is not None:
        return render_template("homework/feedback.html", found=found, question=found.view)
    if found.view.kept or not found.work.open:
        return redirect(url_for("homework.work", work_id=work_id), 303)
    return _form(found)


@blueprint.post("/works/<key:work_id>/questions/<key:question_id>")
def answer(work_id: str, question_id: str) -> Response | tuple[str, int]:
    """Keep what stands in the fields; where feedback comes straight away, answer for good."""
    person = people.required()
    wiring = wired()
    form = request.form
    sureness = edge.choice(form["sureness"], "sureness", words.SURENESS) if form.get("sureness") else None
    found = _question(work_id, question_id)
    try:
        if found.work.fixes:
            handing_in.answer_now(
                wiring.db,
                person.id,
                work_id,
                question_id,
                raw=drill.response_in_form(),
                sureness=sureness,
                now=wiring.clock(),
            )
            return redirect(_after_answer(_question(work_id, question_id)), 303)
        saved = homework.save_draft(
            wiring.db,
            person.id,
            work_id,
            question_id,
            raw=draft_in(),
            sureness=sureness,
            version=edge.whole(form.get("version", "0"), "version", least=0, most=MOST_VERSIONS) + 1,
            now=wiring.clock(),
        )
    except InputError as error:
        return _form(found, error=error, sent=form), status_of(error)
    if not saved.saved:
        return _form(found, sent=form, newer=saved), 409
    if saved.problem is not None and "anyway" not in form:
        return _form(_question(work_id, question_id), error=saved.problem, sent=form, kept=True), 422
    return redirect(_onward(found), 303)


@blueprint.post("/works/<key:work_id>/questions/<key:question_id>/squawks")
def squawk(work_id: str, question_id: str) -> Response:
    """Store a dispute of the item; the caution that is true comes back as a notice."""
    person = people.required()
    wiring = wired()
    _question(work_id, question_id)
    written = edge.text("text", longest=drill.LONGEST_SQUAWK, label="the squawk")
    stored = squawks.raise_squawk(wiring.db, person.id, question_id, written, now=wiring.clock())
    flash(stored.caution)
    return redirect(url_for("homework.question", work_id=work_id, question_id=question_id), 303)


@blueprint.get("/works/<key:work_id>/hand-in")
def before_handing_in(work_id: str) -> Response | str:
    """What would be handed in: what is answered, what is open, what cannot be read."""
    person = people.required()
    wiring = wired()
    found = homework.work(wiring.db, person.id, work_id, now=wiring.clock())
    if found.handed_in:
        return redirect(url_for("homework.receipt", work_id=work_id), 303)
    return _hand_in_page(found)


@blueprint.post("/works/<key:work_id>/hand-in")
def hand_in(work_id: str) -> Response | tuple[str, int]:
    """Hand in, once; again it leads to the same receipt."""
    person = people.required()
    wiring = wired()
    try:
        handing_in.hand_in(
            wiring.db,
            person.id,
            work_id,
            anyway=request.form.get("anyway") == "1",
            device_at=_device_at(),
            now=wiring.clock(),
        )
    except OpenQuestionsError as error:
        found = homework.work(wiring.db, person.id, work_id, now=wiring.clock())
        return _hand_in_page(found, error), 422
    return redirect(url_for("homework.receipt", work_id=work_id), 303)


@blueprint.get("/works/<key:work_id>/receipt")
def receipt(work_id: str) -> str:
    """When what was handed in, with the hash of its text."""
    person = people.required()
    wiring = wired()
    found = handing_in.receipt(wiring.db, person.id, work_id, now=wiring.clock())
    return render_template("homework/receipt.html", receipt=found, work=found.work, to_second=to_second)


def to_second(when: datetime, zone: str) -> str:
    """Day and time to the second in a zone: `25 Nov 2026, 15:04:09`."""
    local = when.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M:%S}"


def fields_of(raw: Mapping[str, Any]) -> dict[str, Any]:
    """A response as the fields of its form, which `drill.response_in_form` reads back; lists for several values."""
    found: dict[str, Any] = {name: raw[name] for name in ("text", "option", "options", "points") if name in raw}
    for place, step in enumerate(raw.get("order", ()), 1):
        found[f"place-{step}"] = str(place)
    for name, prefix in (("readings", "reading-"), ("pairs", "pair-")):
        found |= {prefix + one: given for one, given in raw.get(name, {}).items()}
    for row, given in raw.get("rows", {}).items():
        after = given.startswith("after ") or not given
        found[f"row-{row}"] = "after" if after else given
        if after and given:
            found[f"after-{row}"] = given
    return found


def _question(work_id: str, question_id: str) -> HomeworkQuestion:
    person = people.required()
    wiring = wired()
    return homework.question(
        wiring.db, person.id, work_id, question_id, now=wiring.clock(), spoken=request.args.get("spoken") == "1"
    )


def _form(
    found: HomeworkQuestion,
    *,
    error: InputError | None = None,
    sent: Any = None,
    newer: SavedDraft | None = None,
    kept: bool = False,
) -> str:
    """The question's form: with what was sent just now, or else with its draft."""
    draft = newer.draft if newer is not None else found.draft
    return render_template(
        "homework/question.html",
        found=found,
        question=found.view,
        error=error,
        **fields_shown(sent, found.draft),
        version=draft.version,
        newer=newer,
        kept=kept,
        passed=found.draft.raw.get("pass") is True,
        left_s=left_s(found.work),
    )


def draft_in(fields: MultiDict[str, str] | None = None) -> dict[str, Any]:
    """What stands in a question's fields; empty where nothing does, which takes back what was there."""
    try:
        raw = drill.response_in_form(fields)
    except InputError as error:
        if error.reference == "response-empty":
            return {}
        raise
    # Lists and boxes that nobody has touched are sent empty.
    untouched = raw.get("order") == [] or (raw.keys() == {"readings"} and not any(raw["readings"].values()))
    return {} if untouched else raw


def fields_shown(sent: MultiDict[str, str] | None, draft: DraftView) -> dict[str, Any]:
    """What a form's templates take: `sent` and `sureness`, of what was sent just now, or else of the draft."""
    if sent is not None:
        picked = tuple(sent.getlist("option") + sent.getlist("options") + sent.getlist("points"))
        fields: Mapping[str, Any] = sent
        sureness = sent.get("sureness", "")
    else:
        fields = fields_of(draft.raw)
        picked = (*fields.get("options", ()), *fields.get("points", ()), fields.get("option", ""))
        sureness = draft.sureness or ""
    return {
        "sent": {"picked": picked, "text": fields.get("text", ""), "fields": fields},
        "sureness": sureness if sureness in words.SURENESS else "",
    }


def _hand_in_page(found: WorkView, error: InputError | ConflictError | None = None) -> str:
    seen = to_second(wired().clock(), found.zone)
    return render_template("homework/hand_in.html", work=found, error=error, seen=seen)


def _go_on(found: WorkView) -> Response:
    """To the first question that is open, or to the whole work."""
    if found.open and found.first_open is not None:
        return redirect(url_for("homework.question", work_id=found.id, question_id=found.first_open.id), 303)
    return redirect(url_for("homework.work", work_id=found.id), 303)


def _onward(found: HomeworkQuestion) -> str:
    if found.following is None:
        return url_for("homework.work", work_id=found.work.id)
    return url_for("homework.question", work_id=found.work.id, question_id=found.following.id)


def _after_answer(found: HomeworkQuestion) -> str:
    """To the feedback; a part whose feedback waits leads straight on."""
    if found.view.feedback is None:
        return _onward(found)
    return url_for("homework.question", work_id=found.work.id, question_id=found.view.id)


def left_s(found: WorkView) -> int | None:
    """Seconds until the end of a Sitting that is being done, by the service's clock."""
    if found.ends_at is None or found.handed_in:
        return None
    return max(0, int((found.ends_at - wired().clock()).total_seconds()))


def _device_at() -> datetime | None:
    """The phone's clock, where a script has filled it in; one that cannot be read must not keep anybody from handing
    in.
    """
    try:
        return edge.instant(request.form.get("device_at") or None, "device_at")
    except InputError:
        return None

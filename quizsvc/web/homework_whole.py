"""A whole work on one page: looked through without a connection, printed, or sent as one form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response

from quizsvc.errors import InputError
from quizsvc.services import homework_whole
from quizsvc.services.homework_drafts import CheckedDraft, checked
from quizsvc.services.homework_views import HomeworkQuestion, SavedDraft
from quizsvc.services.homework_whole import WholeWork
from quizsvc.web import edge, people, words
from quizsvc.web.errors import status_of
from quizsvc.web.homework import MOST_VERSIONS, draft_in, fields_shown, left_s
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("homework_whole", __name__)
edge.large(blueprint, "save")


@dataclass(frozen=True)
class _Placed:
    """A question on the page: `pre` begins the names of its fields."""

    found: HomeworkQuestion
    pre: str
    fields: dict[str, Any]
    version: int
    passed: bool
    error: InputError | None = None
    newer: SavedDraft | None = None
    kept: bool = False


@blueprint.get("/works/<key:work_id>/all")
def page(work_id: str) -> Response | str:
    """Every question of a work that is open, each with what stands in its fields."""
    found = _whole(work_id)
    if not found.work.open:
        return redirect(url_for("homework.work", work_id=work_id), 303)
    return _page(found, [_placed(one) for one in found.questions])


@blueprint.post("/works/<key:work_id>/all")
def save(work_id: str) -> Response | tuple[str, int]:
    """Keep what stands in the fields of all questions; what cannot be kept or read is said beside it."""
    person = people.required()
    wiring = wired()
    found = _whole(work_id)
    given: dict[str, CheckedDraft] = {}
    refused: dict[str, InputError] = {}
    for one in found.questions:
        fields = _fields_of(one)
        if "version" not in fields:
            continue  # the page had no fields for it: spoken, or answered for good
        try:
            given[one.view.id] = _draft(fields)
        except InputError as error:
            refused[one.view.id] = error
    became = homework_whole.save_all(wiring.db, person.id, work_id, given, now=wiring.clock())
    unreadable = {key: saved.problem for key, saved in became.items() if saved.problem is not None}
    older = {key: saved for key, saved in became.items() if not saved.saved}
    if refused or older or (unreadable and "anyway" not in request.form):
        problems = refused | unreadable
        now = _whole(work_id)
        placed = [
            _placed(
                one,
                sent=_fields_of(one) if one.view.id in problems or one.view.id in older else None,
                error=problems.get(one.view.id),
                newer=older.get(one.view.id),
                kept=one.view.id in unreadable,
            )
            for one in now.questions
        ]
        return _page(now, placed), 409 if older else status_of(next(iter(problems.values())))
    if "stay" in request.form:
        flash("Saved.")
        return redirect(url_for("homework_whole.page", work_id=work_id), 303)
    return redirect(url_for("homework.before_handing_in", work_id=work_id), 303)


def _whole(work_id: str) -> WholeWork:
    person = people.required()
    wiring = wired()
    return homework_whole.whole(wiring.db, person.id, work_id, now=wiring.clock())


def _page(found: WholeWork, placed: list[_Placed]) -> str:
    common = [
        one
        for one in (placed[0].found.view.caution_ids if placed else ())
        if all(one in other.found.view.caution_ids for other in placed)
    ]
    return render_template(
        "homework/all.html", work=found.work, placed=placed, common=common, left_s=left_s(found.work)
    )


def _placed(
    found: HomeworkQuestion,
    *,
    sent: MultiDict[str, str] | None = None,
    error: InputError | None = None,
    newer: SavedDraft | None = None,
    kept: bool = False,
) -> _Placed:
    passed = found.draft.raw.get("pass") is True if sent is None else "pass" in sent
    version = (newer.draft if newer is not None else found.draft).version
    return _Placed(found, _pre(found), fields_shown(sent, found.draft), version, passed, error, newer, kept)


def _pre(found: HomeworkQuestion) -> str:
    return f"q{found.view.position}-"


def _fields_of(found: HomeworkQuestion) -> MultiDict[str, str]:
    """The fields of one question, by the names that a page with it alone gives them."""
    pre = _pre(found)
    return MultiDict(
        (name.removeprefix(pre), value) for name, value in request.form.items(multi=True) if name.startswith(pre)
    )


def _draft(fields: MultiDict[str, str]) -> CheckedDraft:
    """The draft in a question's fields.

    Where a pass stood already, answering takes it back; a pass that is ticked now stands before what is picked, since
    a picked option cannot be taken back everywhere.
    """
    written = fields.copy()
    written.poplist("pass")
    raw = draft_in(written)
    if "pass" in fields and not (raw and "passed" in fields):
        raw = {"pass": True}
    given = fields.get("sureness")
    sureness = edge.choice(given, "sureness", words.SURENESS) if given else None
    version = edge.whole(fields["version"], "version", least=0, most=MOST_VERSIONS) + 1
    return checked(raw, sureness, version)

"""Evidence: the head of training's list, a person's sheet, files made before; and a group's practice, unnamed."""

from __future__ import annotations

from flask import Blueprint, Response, render_template, request

from quizsvc.errors import InputError
from quizsvc.services import evidence, evidence_files, produced_files
from quizsvc.services import group_practice as practice_of_groups
from quizsvc.services import training as list_of_training
from quizsvc.services.evidence import Sheet
from quizsvc.services.produced_files import KeptFile
from quizsvc.web import cautions, edge, people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("evidence", __name__)

LONGEST_WORDS = 100
# Of the list as a file: it is handed out whole, and its lines are copied.
_LIST_CAUTIONS = ("C1", "C2", "C4")


@blueprint.get("/training")
def training() -> str:
    """The people of the installation, by name; what was made about those who have left."""
    person, wiring = people.required(), wired()
    number = edge.whole(request.args.get("page", "1"), "page", least=1, most=1_000_000)
    found = list_of_training.listed(wiring.db, person.id, words=_words(), page=number)
    gone = produced_files.of_those_gone(wiring.db, person.id, words=found.words) if found.page == 1 else ()
    return render_template("school/training.html", person=person, found=found, gone=gone)


@blueprint.get("/training.csv")
def training_file() -> Response:
    """The whole list, or what of it has the words, as a file."""
    person, wiring = people.required(), wired()
    owed = {one.id: one.text for one in cautions.of(_LIST_CAUTIONS)}
    now = wiring.clock()
    response = Response(
        list_of_training.as_csv(wiring.db, person.id, owed, words=_words(), now=now), mimetype="text/csv"
    )
    response.headers["Content-Disposition"] = f'attachment; filename="training-{now.date().isoformat()}.csv"'
    response.headers["Cache-Control"] = "no-store"
    return response


@blueprint.get("/groups/<number:group_id>/practice")
def group_practice(group_id: int) -> str:
    """What a group has practised lately, unnamed."""
    person, wiring = people.required(), wired()
    found = practice_of_groups.summary(wiring.db, person.id, group_id, now=wiring.clock())
    return render_template("school/group_practice.html", one=found, days=practice_of_groups.DAYS)


@blueprint.get("/people/<number:person_id>/evidence")
def sheet(person_id: int) -> str:
    """The sheet as it stands now; nothing is kept of it."""
    return render_template("school/evidence.html", one=_sheet(person_id))


@blueprint.get("/people/<number:person_id>/evidence.html")
def printed(person_id: int) -> Response:
    """The sheet to print, kept as it is handed out."""
    found = _sheet(person_id)
    body = render_template("school/evidence_file.html", one=found, cautions=_cautions(found)).encode()
    return _send(_kept(found, "text/html", body))


@blueprint.get("/people/<number:person_id>/evidence.csv")
def csv_file(person_id: int) -> Response:
    """The sheet as CSV, kept as it is handed out."""
    found = _sheet(person_id)
    return _send(_kept(found, "text/csv", evidence_files.as_csv(found, _cautions(found))))


@blueprint.get("/people/<number:person_id>/evidence.json")
def json_file(person_id: int) -> Response:
    """The sheet as JSON, kept as it is handed out."""
    found = _sheet(person_id)
    return _send(_kept(found, "application/json", evidence_files.as_json(found, _cautions(found))))


@blueprint.get("/files/<key:file_id>")
def again(file_id: str) -> Response:
    """A file that was made before, byte for byte."""
    return _send(produced_files.opened(wired().db, people.required().id, file_id, now=wired().clock()))


def _words() -> str:
    words = request.args.get("q", "").strip()
    if len(words) > LONGEST_WORDS:
        raise InputError("q-too-long", "the words to look for are too long", where="q", mend=f"at most {LONGEST_WORDS}")
    return words


def _sheet(person_id: int) -> Sheet:
    return evidence.sheet(wired().db, people.required().id, person_id, now=wired().clock())


def _cautions(found: Sheet) -> dict[str, str]:
    return {one.id: one.text for one in cautions.of(found.caution_ids)}


def _kept(found: Sheet, media_type: str, body: bytes) -> KeptFile:
    return produced_files.keep(
        wired().db,
        people.required().id,
        what=found.what,
        person_id=found.person_id,
        title=found.title,
        media_type=media_type,
        body=body,
        now=wired().clock(),
    )


def _send(found: KeptFile) -> Response:
    response = Response(found.body, mimetype=found.media_type)
    ending = found.media_type.rpartition("/")[2]
    how = "inline" if ending == "html" else "attachment"
    response.headers["Content-Disposition"] = f'{how}; filename="evidence-{found.sha256[:12]}.{ending}"'
    response.set_etag(found.sha256)
    return response

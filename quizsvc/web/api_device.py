"""The JSON calls of a device that keeps questions: filling up, and sending the answers given without signal."""

from __future__ import annotations

import json
import re
from typing import Any

from flask import Blueprint, Response, jsonify, render_template, url_for

from quizsvc.errors import ConflictError, InputError, QuizsvcError, StoreUnavailableError
from quizsvc.services import answer_batches, kept_questions
from quizsvc.services.answer_batches import Acknowledged, OthersAnswersError, Sent
from quizsvc.services.kept_questions import KeptQuestion
from quizsvc.web import api, cautions, edge, errors, headers, markdown, people, words
from quizsvc.web.start import cautions_at_start
from quizsvc.web.wiring import wired

__all__ = ["ANSWERS_AT_MOST", "FORMAT", "LARGEST_REPLY", "blueprint"]

blueprint = Blueprint("api_device", __name__, url_prefix="/api/v1")

FORMAT = 1
"""Counts the changes that a script of an earlier version could not follow."""

LARGEST_REPLY = 300_000
"""Bytes of one reply, and of what a device holds: what a line of 400 kbit/s carries in six seconds."""

ANSWERS_AT_MOST = 40
_IDS_AT_MOST = 400
_OUTCOMES = ("full", "part", "miss", "pass")


class ClientFormatError(ConflictError):
    """The script that calls is older or newer than the service."""


@blueprint.post("/kept-questions")
def keep() -> Response:
    """Questions that the device lacks for half an hour without signal, and which of its own are still good."""
    headers.check_json_call()
    person = people.required()
    body = _body(("format", "have"))
    edge.refuse_unreadable(body)
    have = body.get("have", [])
    if not isinstance(have, list) or len(have) > _IDS_AT_MOST or not all(_is_key(one) for one in have):
        raise InputError(
            "have-unreadable",
            "have is not a list of question ids",
            where="have",
            mend=f"up to {_IDS_AT_MOST} ids of 32 hexadecimal digits",
        )
    wiring = wired()
    stock = kept_questions.keep_questions(wiring.db, person.id, now=wiring.clock(), rng=wiring.rng)
    reply: dict[str, Any] = {
        "format": FORMAT,
        "person": person.id,
        "at": wiring.clock().isoformat(),
        "keep": [],
        "cautions": {one.id: one.text for one in cautions.of(("C1", "C9"))},
        "start": {"acknowledge": list(cautions_at_start(person))},
        "units": kept_questions.units_for_typing(),
    }
    # What fits is found out over the whole stock, not over what this device lacks: so all devices hold the same.
    pool = _fitting([_question(one) for one in stock], LARGEST_REPLY - _size(reply))
    held = {one["id"] for one in pool}
    reply["keep"] = [one for one in dict.fromkeys(have) if one in held]
    return jsonify(reply | {"questions": [one for one in pool if one["id"] not in set(have)]})


@blueprint.post("/answer-batches")
def record() -> Response:
    """Store answers that waited on a device, each by itself, in the order in which they were given."""
    headers.check_json_call()
    people.required()
    body = _body(("format", "person", "sent_at", "acknowledged", "answers"))
    wiring = wired()
    given_by = edge.whole(body.get("person"), "person", least=1, most=10**9 - 1)
    owner = answer_batches.owner_of(wiring.db, people.token(), given_by)
    sent_at = edge.instant(body.get("sent_at"), "sent_at")
    waiting = body.get("answers", [])
    if not isinstance(waiting, list) or len(waiting) > ANSWERS_AT_MOST:
        raise InputError(
            "answers-unreadable",
            f"answers is not a list of at most {ANSWERS_AT_MOST}",
            where="answers",
            mend=f"send {ANSWERS_AT_MOST} at a time",
        )
    answer_batches.record_acknowledged(
        wiring.db, owner, _acknowledged(body.get("acknowledged", [])), sent_at=sent_at, now=wiring.clock()
    )
    batch = answer_batches.Batch()
    results: list[dict[str, Any]] = []
    for one in waiting:
        try:
            taken = answer_batches.record_one(
                wiring.db, owner, _sent(one), batch=batch, sent_at=sent_at, now=wiring.clock()
            )
        except StoreUnavailableError:
            raise  # the rest waits too: the whole batch is sent again, and what is stored is found stored
        except QuizsvcError as error:
            if errors.status_of(error) == 500:
                raise
            results.append({"uuid": _uuid_of(one), "stored": False, "problem": errors.problem_of(error)})
            continue
        results.append(
            {
                "uuid": taken.uuid,
                "stored": True,
                "already_stored": taken.already_stored,
                "outcome": taken.outcome,
                "credit": taken.credit,
                "void_reason": taken.void_reason,
                "differs": taken.differs,
            }
        )
    return jsonify({"format": FORMAT, "results": results})


@blueprint.errorhandler(OthersAnswersError)
def others_answers(error: OthersAnswersError) -> Response:
    """Somebody else's answers; `claim` says that this person may add them."""
    return errors.problem(409, error.reference, error.what, where=error.where, mend=error.mend, claim=error.claim)


def _body(known: tuple[str, ...]) -> dict[str, Any]:
    """The body of a call of this version; that of another version may have fields that this one does not know."""
    body = edge.json_object()
    if body.get("format") != FORMAT or isinstance(body.get("format"), bool):
        raise ClientFormatError(
            "client-format",
            "this page is of another version than the service",
            where="format",
            mend="load the page again; what waits on the device stays and is sent then",
        )
    edge.refuse_unknown(body, known)
    return body


def _is_key(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch(r"[0-9a-f]{32}", value) is not None


def _fitting(stock: list[dict[str, Any]], left: int) -> list[dict[str, Any]]:
    """As many questions of the stock as fit, in its order; a spare only with the question it is for."""
    ids = {one["id"] for one in stock}
    sent: dict[str, dict[str, Any]] = {}
    for one in stock:
        size = _size(one) + 1
        # One whose question is no longer in stock is for a question that was answered.
        if size <= left and (one["spare_of"] not in ids or one["spare_of"] in sent):
            sent[one["id"]] = one
            left -= size
    return list(sent.values())


def _size(value: dict[str, Any]) -> int:
    """Bytes of a value in a reply; with the ids that the device keeps and the names around them."""
    return len(json.dumps(value, separators=(",", ":")).encode()) + 36


def _question(kept: KeptQuestion) -> dict[str, Any]:
    view = kept.view
    handbook = None
    if view.handbook_section is not None and view.handbook_aircraft is not None:
        handbook = {
            "href": url_for("handbook.section", aircraft=view.handbook_aircraft, section=view.handbook_section),
            "text": f"{view.handbook_section} {view.handbook_title}",
        }
    return {
        "id": view.id,
        "kind": view.kind,
        "concept": view.concept,
        "title": view.concept_title,
        "system": view.system,
        "seconds": kept.seconds,
        "ramp": kept.ramp,
        "issued_at": kept.issued_at.isoformat(),
        "spare_of": kept.spare_of,
        "handbook": handbook,
        "html": _lean(
            render_template(
                "device_question.html",
                question=view,
                sent={"picked": (), "text": "", "fields": {}},
                error=None,
            )
        ),
        "feedback": _lean(render_template("device_feedback.html", question=view)),
        "table": kept_questions.with_texts(kept.table, lambda source: str(markdown.inline(source))),
    }


def _lean(html: str) -> str:
    """Without the line breaks and indents between tags that a template leaves."""
    return re.sub(r">\s*\n\s*<", ">\n<", html).strip()


def _acknowledged(given: Any) -> list[Acknowledged]:
    if not isinstance(given, list) or len(given) > ANSWERS_AT_MOST:
        raise _no_acknowledgement()
    found = []
    for one in given:
        if not isinstance(one, dict) or set(one) != {"id", "at"} or one["id"] not in ("C1", "C9"):
            raise _no_acknowledgement()
        at = edge.instant(one["at"], "acknowledged")
        if at is None:
            raise _no_acknowledgement()
        found.append(Acknowledged(one["id"], at))
    return found


def _no_acknowledgement() -> InputError:
    return InputError(
        "acknowledged-unreadable",
        "acknowledged is not a list of cautions with their times",
        where="acknowledged",
        mend='[{"id": "C1", "at": "2026-11-26T09:30:00Z"}]',
    )


def _sent(one: Any) -> Sent:
    """One answer of a batch.

    Raises
    ------
    InputError
        It is none.
    """
    fields = {"question", "uuid", "response", "sureness", "given_at", "outcome"}
    if not isinstance(one, dict) or not set(one) <= fields:
        raise InputError(
            "answer-unreadable", "an answer has a shape that no answer has", where="answers", mend="fields: "
            + ", ".join(sorted(fields)),
        )  # fmt: skip
    edge.refuse_unreadable(one)
    sureness, outcome = one.get("sureness"), one.get("outcome")
    return Sent(
        question=api.question_id(one.get("question")),
        uuid=edge.answer_uuid(one.get("uuid")),
        raw=api.response_of(one.get("response")),
        sureness=edge.choice(sureness, "sureness", words.SURENESS) if sureness is not None else None,
        given_at=edge.instant(one.get("given_at"), "given_at"),
        outcome=edge.choice(outcome, "outcome", _OUTCOMES) if outcome is not None else None,
    )


def _uuid_of(one: Any) -> str | None:
    """What names an answer that could not be stored; None where it names itself by nothing."""
    given = one.get("uuid") if isinstance(one, dict) else None
    return given if isinstance(given, str) and len(given) <= 45 and given.isascii() else None

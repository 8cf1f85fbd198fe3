"""The JSON calls of a drill; `openapi.json` beside this file describes them."""

from __future__ import annotations

import json
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, jsonify, url_for

from quizsvc.errors import InputError
from quizsvc.services import practice
from quizsvc.services.views import AnswerView, OptionView, QuestionView, SetView
from quizsvc.web import cautions, drill, edge, headers, people, words
from quizsvc.web.wiring import wired

__all__ = ["blueprint", "question_id", "response_of"]

blueprint = Blueprint("api", __name__, url_prefix="/api/v1")

_OPTIONS_AT_MOST = 60


@blueprint.post("/sets")
def start_set() -> tuple[Response, int]:
    """Begin a set; the reply holds its questions and the first item's screen."""
    headers.check_json_call()
    body = edge.json_body(("minutes", "long", "acknowledged", "html"))
    long = _flag(body, "long")
    html = _flag(body, "html")
    acknowledged = body.get("acknowledged", [])
    if not isinstance(acknowledged, list) or not all(_caution_id(one) for one in acknowledged):
        raise InputError(
            "acknowledged-unreadable",
            "acknowledged is not a list of caution ids",
            where="acknowledged",
            mend='["C1", "C9"]',
        )
    if isinstance(body.get("minutes"), str):
        raise InputError("minutes-not-a-number", "minutes is a text", where="minutes", mend="a number, without quotes")
    view = drill.start_set(minutes=body.get("minutes"), long=long, acknowledged=acknowledged)
    first = view.questions[0]
    reply: dict[str, Any] = {"set": _set(view), "url": url_for("drill.question", question_id=first.id)}
    if html:
        reply["html"] = drill.show_question(first, layout="fragment.html")
    return jsonify(reply), 201


@blueprint.post("/answers")
def record_answer() -> tuple[Response, int]:
    """Store an answer; the same UUID again gives the stored result."""
    headers.check_json_call()
    person = people.required()
    body = edge.json_body(("question", "uuid", "response", "sureness", "given_at", "sent_at", "html"))
    html = _flag(body, "html")
    wiring = wired()
    sureness = body.get("sureness")
    stored = practice.record_answer(
        wiring.db,
        person.id,
        question_id(body.get("question")),
        uuid=edge.answer_uuid(body.get("uuid")),
        raw=response_of(body.get("response")),
        sureness=edge.choice(sureness, "sureness", words.SURENESS) if sureness is not None else None,
        given_at=edge.instant(body.get("given_at"), "given_at"),
        sent_at=edge.instant(body.get("sent_at"), "sent_at"),
        now=wiring.clock(),
        rng=wiring.rng,
    )
    reply: dict[str, Any] = {"answer": _answer(stored), "next": {"url": _address_after(stored)}}
    if html:
        if stored.feedback is not None:
            reply["html"] = drill.show_feedback(stored.question, stored.next_question_id, layout="fragment.html")
        if not stored.question.on_device:
            reply["next"]["html"] = _screen_after(person.id, stored)
    return jsonify(reply), 200 if stored.already_stored else 201


@blueprint.get("/openapi.json")
def description() -> Response:
    """The description of these calls, OpenAPI 3.1."""
    return jsonify(_description())


@lru_cache
def _description() -> dict[str, Any]:
    return json.loads((Path(__file__).resolve().parent / "openapi.json").read_text(encoding="utf-8"))


def _caution_id(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch(r"C[0-9]{1,2}", value) is not None


def question_id(value: Any) -> str:
    if isinstance(value, str) and len(value) == 32 and set(value) <= set("0123456789abcdef"):
        return value
    raise InputError(
        "question-unreadable",
        f"'{str(value)[:40]}' is not a question's id",
        where="question",
        mend="the id of a question of one's own set: 32 hexadecimal digits",
    )


def response_of(value: Any) -> dict[str, Any]:
    """The response as sent, checked for its shape; what it means is the bank's to read."""
    if isinstance(value, dict) and 1 <= len(value) <= 2:
        names = set(value)
        readings, option = value.get("readings"), value.get("option")
        if names == {"pass"} and value["pass"] is True:
            return {"pass": True}
        if names == {"option"} and isinstance(option, str):
            return {"option": option}
        if names == {"text"} and isinstance(value["text"], str) and len(value["text"]) <= drill.LONGEST_TYPED:
            return {"text": value["text"]}
        if len(names) == 1 and names <= {"options", "order", "points"}:
            (name,) = names
            if _texts(value[name]):
                return {name: value[name]}
        if len(names) == 1 and names <= {"pairs", "rows"}:
            (name,) = names
            if _text_map(value[name]):
                return {name: value[name]}
        if "readings" in names <= {"readings", "option"} and _text_map(readings):
            if option is None:
                return {"readings": readings}
            if isinstance(option, str):
                return {"readings": readings, "option": option}
    raise InputError(
        "response-unreadable",
        "the response is none of those that a kind takes",
        where="response",
        mend=f'{{"option": id}}, {{"options": [ids]}}, {{"text": at most {drill.LONGEST_TYPED} characters}}, '
        '{"order": [ids]}, {"pairs": {left: right}}, {"rows": {row: choice}}, '
        '{"readings": {dial: text}, "option": id}, {"points": [ids]} or {"pass": true}',
    )


def _texts(given: Any) -> bool:
    return isinstance(given, list) and len(given) <= _OPTIONS_AT_MOST and all(isinstance(one, str) for one in given)


def _text_map(given: Any) -> bool:
    return (
        isinstance(given, dict)
        and len(given) <= _OPTIONS_AT_MOST
        and all(isinstance(one, str) and len(one) <= drill.LONGEST_TYPED for one in given.values())
    )


def _flag(body: dict[str, Any], name: str) -> bool:
    given = body.get(name, False)
    if isinstance(given, bool):
        return given
    raise InputError(f"{name}-unknown", f"'{str(given)[:40]}' is not true or false", where=name, mend="true or false")


def _address_after(stored: AnswerView) -> str:
    if stored.question.on_device:
        return url_for("device.page")
    if stored.next_question_id is None:
        return url_for("drill.set_page", set_id=stored.question.set_id)
    return url_for("drill.question", question_id=stored.next_question_id)


def _screen_after(person_id: int, stored: AnswerView) -> str:
    """The screen that comes next in the set, ready to be shown without another request."""
    wiring = wired()
    if stored.next_question_id is None:
        whole = practice.set_view(wiring.db, person_id, stored.question.set_id, now=wiring.clock())
        return drill.show_set_end(whole, layout="fragment.html")
    following = practice.question_view(wiring.db, person_id, stored.next_question_id, now=wiring.clock())
    return drill.show_question(following, layout="fragment.html")


def _set(view: SetView) -> dict[str, Any]:
    return {
        "id": view.id,
        "minutes": view.minutes,
        "long": view.long,
        "started_at": view.started_at.isoformat(),
        "questions": [_question(question) for question in view.questions],
    }


def _question(question: QuestionView) -> dict[str, Any]:
    return {
        "id": question.id,
        "position": question.position,
        "kind": question.kind,
        "concept": question.concept,
        "situation": question.situation,
        "part": question.part,
        "stem": question.stem,
        "options": _options(question.options),
        "lefts": _options(question.lefts),
        "rows": _options(question.rows),
        "choices": _options(question.choices),
        "readings": [{"id": one.id, "label": one.label, "unit": one.unit} for one in question.readings],
        "ask": question.ask,
        "picture": question.picture,
        "unit": question.unit,
        "how": question.how,
        "cautions": [
            {"id": one.id, "text": one.text} for one in cautions.of(question.caution_ids, read_on=question.cite_read_on)
        ],
        "answered": question.answered,
    }


def _options(options: tuple[OptionView, ...]) -> list[dict[str, Any]]:
    return [{"id": one.id, "text": one.text} | ({"picture": one.picture} if one.picture else {}) for one in options]


def _answer(stored: AnswerView) -> dict[str, Any]:
    """The stored result; while parts of the same scenario wait for an answer, what it was worth is not told."""
    feedback = stored.feedback
    told: dict[str, Any] = {
        "outcome": None,
        "credit": None,
        "void_reason": None,
        "sureness": None,
        "read_back": None,
        "key": None,
        "accepted": None,
        "belief": None,
        "remark": None,
        "why": None,
        "working": [],
        "marks": [],
        "rows": [],
    }
    if feedback is not None:
        told |= {
            "outcome": feedback.outcome,
            "credit": feedback.credit,
            "void_reason": feedback.void_reason,
            "sureness": feedback.sureness,
            "read_back": feedback.read_back,
            "key": feedback.key_shown,
            "accepted": feedback.accepted_shown,
            "belief": feedback.belief,
            "remark": feedback.remark,
            "why": feedback.why,
            "working": list(feedback.lines),
            "marks": [
                {"id": mark.id, "picked": mark.picked, "key": mark.key, "belief": mark.belief}
                for mark in feedback.marks
            ],
            "rows": [
                {
                    "label": row.label,
                    "given": row.given,
                    "key": row.key,
                    "right": row.right,
                    "belief": row.belief,
                    "note": row.note,
                }
                for row in feedback.rows
            ],
        }
    return {
        "uuid": stored.uuid,
        "question": stored.question.id,
        "received_at": stored.received_at.isoformat(),
        "already_stored": stored.already_stored,
        "kept": feedback is None,
        **told,
        "next_question": stored.next_question_id,
        "cautions": [
            {"id": one.id, "text": one.text}
            for one in cautions.of(("C1", *stored.question.caution_ids), read_on=stored.question.cite_read_on)
        ],
    }

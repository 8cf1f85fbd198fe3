"""The JSON call by which a page of homework keeps what stands in its fields."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, jsonify

from quizsvc.errors import InputError
from quizsvc.services import homework, homework_drafts
from quizsvc.services.homework_views import SavedDraft
from quizsvc.web import api, edge, headers, people, words
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("api_homework", __name__, url_prefix="/api/v1")


@blueprint.put("/drafts")
def save() -> Response:
    """Keep a draft; where another device has written a newer one, that one comes back and nothing changes."""
    headers.check_json_call()
    person = people.required()
    body = edge.json_body(("work", "question", "version", "response", "sureness", "given_at", "sent_at"))
    wiring = wired()
    sureness = body.get("sureness")
    response = body.get("response")
    saved = homework.save_draft(
        wiring.db,
        person.id,
        _work_id(body.get("work")),
        api.question_id(body.get("question")),
        raw={} if response == {} else api.response_of(response),
        sureness=edge.choice(sureness, "sureness", words.SURENESS) if sureness is not None else None,
        version=_version(body.get("version")),
        given_at=edge.instant(body.get("given_at"), "given_at"),
        sent_at=edge.instant(body.get("sent_at"), "sent_at"),
        now=wiring.clock(),
    )
    return jsonify(_reply(saved))


def _reply(saved: SavedDraft) -> dict[str, Any]:
    draft = saved.draft
    return {
        "saved": saved.saved,
        "version": draft.version,
        "newer": None
        if saved.saved
        else {
            "response": draft.raw,
            "sureness": draft.sureness,
            "said": saved.said,
            "saved_at": draft.saved_at.isoformat() if draft.saved_at else None,
        },
    }


def _version(given: Any) -> int:
    if isinstance(given, str):
        raise InputError("version-not-a-number", "version is a text", where="version", mend="a number, without quotes")
    return edge.whole(given, "version", least=1, most=homework_drafts.GREATEST_VERSION)


def _work_id(given: Any) -> str:
    if isinstance(given, str) and len(given) == 32 and set(given) <= set("0123456789abcdef"):
        return given
    raise InputError(
        "work-unreadable",
        f"'{str(given)[:40]}' is not a work's id",
        where="work",
        mend="the id of one's own homework: 32 hexadecimal digits",
    )

"""Errors as pages for people and as problem documents (RFC 9457) for programs."""

from __future__ import annotations

import secrets
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, current_app, g, jsonify, redirect, render_template, request
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.errors import (
    ConflictError,
    InputError,
    NotFoundError,
    NotPreparedError,
    QuizsvcError,
    StoreUnavailableError,
    ThrottledError,
)
from quizsvc.web.edge import LARGE_BODY
from quizsvc.web.headers import OriginError
from quizsvc.web.people import SignInNeededError

__all__ = ["problem", "problem_of", "register", "status_of"]

_STATUS: tuple[tuple[type[QuizsvcError], int], ...] = (
    (OriginError, 403),
    (SignInNeededError, 401),
    (InputError, 422),
    (NotFoundError, 404),
    (ConflictError, 409),
    (ThrottledError, 429),
    (StoreUnavailableError, 503),
    (NotPreparedError, 503),
)

# status -> reference, what, how to mend it
_HTTP: dict[int, tuple[str, str, str]] = {
    400: ("request-unreadable", "the request could not be read", "go back and send it again"),
    404: ("not-found", "there is nothing at this address", "go to the start page"),
    405: ("method-not-taken", "this address does not take that kind of request", "go to the start page"),
    413: ("body-too-large", "what was sent is larger than 64 KB", "send less: an answer is a few words"),
    415: ("content-type-not-taken", "this call takes JSON only", "send Content-Type: application/json"),
}
_RETRY_S = 2
_NEVER_ECHOED = ("csrf_token", "password", "old", "new", "again")

TITLES = {
    401: "Not signed in",
    403: "Not allowed here",
    404: "Nothing at this address",
    409: "Already there",
    413: "Too much at once",
    422: "This cannot be used",
    429: "Too many tries",
    500: "Our fault",
    503: "Not available just now",
}


def status_of(error: QuizsvcError) -> int:
    """The HTTP status that stands for an error of ours."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 500)


def register(app: Flask) -> None:
    """Answer every error: ours with its own words, Flask's with a sentence, a bug with an id to quote."""

    @app.errorhandler(QuizsvcError)
    def ours(error: QuizsvcError) -> AnyResponse:
        status = status_of(error)
        if status == 500:
            return _bug(error)
        if isinstance(error, NotFoundError):
            # Somebody else's and unknown look alike to the person; the log keeps who asked for what.
            person = g.get("person")
            current_app.logger.warning(
                "not found: person %s asked %s %r (%s)",
                person.id if person else "none",
                request.method,
                request.path,
                error.reference,
            )
        if isinstance(error, SignInNeededError) and not _for_program():
            return _sign_in_needed(error)
        if isinstance(error, StoreUnavailableError) and not _for_program() and request.method == "POST":
            return _send_again(error)
        where = error.where if not isinstance(error, NotFoundError) else ""
        response = _say(status, error.reference, error.what, where, error.mend)
        if isinstance(error, ThrottledError):
            response.headers["Retry-After"] = str(error.retry_after_s)
        elif status == 503:
            response.headers["Retry-After"] = str(_RETRY_S)
        return response

    @app.errorhandler(CSRFError)
    def token_missing(error: CSRFError) -> AnyResponse:
        return _say(
            400,
            "form-token",
            "the form does not belong to this browser's visit, so nothing was stored",
            "",
            "go back, load the page again and send the form once more; cookies must be allowed",
        )

    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> AnyResponse:
        status = error.code or 500
        if status < 400:
            return error.get_response()
        reference, what, mend = _HTTP.get(
            status, ("request-refused", (error.name or "refused").lower(), "go to the start page")
        )
        if status == 413 and request.max_content_length == LARGE_BODY:
            what, mend = "what was sent is larger than 1 MB", "send it in two parts"
        if status == 404:
            current_app.logger.warning("not found: %s %r", request.method, request.path)
        response = _say(status, reference, what, "", mend)
        for name, value in error.get_headers():
            if name.lower() in ("allow", "retry-after"):
                response.headers[name] = value
        return response

    @app.errorhandler(Exception)
    def bug(error: Exception) -> AnyResponse:
        return _bug(error)


def _for_program() -> bool:
    return request.path.startswith("/api/")


def _say(status: int, reference: str, what: str, where: str, mend: str) -> Response:
    if _for_program():
        return problem(status, reference, what, where=where, mend=mend)
    page = render_template(
        "errors/error.html", status=status, title=TITLES.get(status, "Not done"), what=what, where=where, mend=mend
    )
    return Response(page, status=status, mimetype="text/html")


def problem(status: int, reference: str, what: str, *, where: str = "", mend: str = "", **more: Any) -> Response:
    """A problem document: `type` names the error for programs, `detail` and `mend` are sentences for people."""
    response = jsonify(_document(status, reference, what, where, mend) | more)
    response.status_code = status
    response.mimetype = "application/problem+json"
    return response


def problem_of(error: QuizsvcError) -> dict[str, Any]:
    """The problem document of an error that is one of several results, and so has no response of its own."""
    where = error.where if not isinstance(error, NotFoundError) else ""
    return _document(status_of(error), error.reference, error.what, where, error.mend)


def _document(status: int, reference: str, what: str, where: str, mend: str) -> dict[str, Any]:
    return {
        "type": f"urn:quizsvc:{reference}",
        "title": TITLES.get(status, "Not done"),
        "status": status,
        "detail": sentence(what),
        "where": where,
        "mend": sentence(mend) if mend else "",
    }


def sentence(words: str) -> str:
    """The words with a capital and a full stop; a command to type stays as it must be typed."""
    trimmed = words.strip()
    if trimmed.startswith("quizsvc "):
        return f"Whoever keeps this installation types: {trimmed}"
    return trimmed[:1].upper() + trimmed[1:] + ("" if trimmed.endswith((".", "?", "!")) else ".")


def _sign_in_needed(error: SignInNeededError) -> AnyResponse:
    if request.method in ("GET", "HEAD"):
        return redirect(f"/sign-in?next={quote(request.path)}", 303)
    return _say(401, error.reference, f"nothing was stored: {error.what}", "", error.mend)


def _send_again(error: StoreUnavailableError) -> AnyResponse:
    """The filled form, made from the request alone: the database that has the question is away."""
    fields = [
        (name, value)
        for name, value in request.form.items(multi=True)
        if not any(name.startswith(word) for word in _NEVER_ECHOED)
    ]
    lost_secret = len(fields) + ("csrf_token" in request.form) < len(list(request.form.items(multi=True)))
    page = render_template(
        "errors/send_again.html",
        fields=fields,
        typed=[value for name, value in fields if name == "text"],
        answer=request.path.endswith("/answers"),
        action=request.path,
        can_send=not lost_secret,
    )
    response = Response(page, status=503, mimetype="text/html")
    response.headers["Retry-After"] = str(_RETRY_S)
    return response


def _bug(error: Exception) -> AnyResponse:
    identifier = secrets.token_hex(4)
    current_app.logger.error("bug %s in %s %s", identifier, request.method, request.path, exc_info=error)
    what = f"this is a fault of the service, not yours; it is logged as {identifier}"
    return _say(500, "our-bug", what, "", f"try once more; if it stays, tell your keeper the number {identifier}")

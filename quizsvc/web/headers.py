"""Headers of every response, and the check of calls that carry JSON."""

from __future__ import annotations

from flask import Flask, Response, request

from quizsvc.errors import InputError
from quizsvc.web.wiring import wired

__all__ = ["CONTENT_SECURITY_POLICY", "OriginError", "check_json_call", "register"]

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)


class OriginError(InputError):
    """A call that another site's page may have made."""


def register(app: Flask) -> None:
    """Set the headers on every response of the application."""

    @app.after_request
    def protect(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = CONTENT_SECURITY_POLICY
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        # A page names its person, so nobody keeps it: not a proxy, not the next person's back button.
        if request.endpoint in ("installed.worker", "installed.manifest"):
            response.headers["Cache-Control"] = "no-cache"
        elif request.endpoint != "static":
            response.headers["Cache-Control"] = "no-store"
        return response


def check_json_call() -> None:
    """Refuse a call that a page of another site could have made in this person's name.

    Raises
    ------
    OriginError
        The call says that it comes from elsewhere, or does not say where it comes from.
    """
    site = request.headers.get("Sec-Fetch-Site")
    origin = request.headers.get("Origin")
    own = {wired().settings.public_url, request.host_url.rstrip("/")}
    if site not in (None, "same-origin") or origin not in (None, *own) or (site is None and origin is None):
        raise OriginError(
            "call-from-elsewhere",
            "this call does not come from a page of this service",
            where=f"Origin: {_shown(origin)}, Sec-Fetch-Site: {_shown(site)}",
            mend=f"send the header Origin: {wired().settings.public_url}",
        )


def _shown(value: str | None) -> str:
    return "absent" if value is None else repr(value[:80])

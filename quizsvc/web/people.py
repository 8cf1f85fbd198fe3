"""Who is asking: the session cookie and the person behind it."""

from __future__ import annotations

from flask import Flask, Response, g, request

from quizsvc.errors import QuizsvcError
from quizsvc.services import accounts, edge
from quizsvc.services.views import PersonView, SignedIn
from quizsvc.web.wiring import wired

__all__ = [
    "COOKIE",
    "SignInNeededError",
    "begin",
    "device",
    "forget",
    "person",
    "register",
    "remember",
    "required",
    "token",
    "with_role",
]

COOKIE = "session"
_COOKIE_DAYS = 400  # browsers keep no cookie longer


class SignInNeededError(QuizsvcError):
    """The screen belongs to a person, and this browser has none."""


def register(app: Flask) -> None:
    """Write the cookie when a view has started or ended a session; let templates ask who is here."""

    @app.after_request
    def write_cookie(response: Response) -> Response:
        if "new_token" in g:
            if g.new_token is None:
                response.delete_cookie(COOKIE, httponly=True, samesite="Lax", secure=wired().settings.https)
            else:
                response.set_cookie(
                    COOKIE,
                    g.new_token,
                    max_age=_COOKIE_DAYS * 24 * 3600,
                    httponly=True,
                    samesite="Lax",
                    secure=wired().settings.https,
                )
        return response

    # Pages about an unreachable database must not ask it again who is here: they see only a person already known.
    app.context_processor(lambda: {"person": g.get("person")})


def token() -> str | None:
    """The session's secret as the browser sent it."""
    given = request.cookies.get(COOKIE, "")
    return given if 0 < len(given) <= 200 and given.isascii() and given.isprintable() else None


def person() -> PersonView | None:
    """The person of this browser, or None; asked of the database once a request."""
    if "person" not in g:
        given = token()
        wiring = wired()
        g.person = accounts.person_of(wiring.db, given, now=wiring.clock()) if given else None
    return g.person


def required() -> PersonView:
    """The person of this browser.

    Raises
    ------
    SignInNeededError
        There is none; `web.errors` sends a reader to sign in and tells a sender that nothing was stored.
    """
    found = person()
    if found is None:
        raise SignInNeededError(
            "sign-in-needed", "nobody is signed in on this browser", mend="sign in, or press Start to begin without"
        )
    return found


def with_role(*roles: str) -> PersonView:
    """The person of this browser, who has one of the roles.

    Raises
    ------
    SignInNeededError
        There is nobody.
    NotFoundError
        The account has none of them; it reads as for an address without a page.
    """
    found = required()
    if not set(roles) & set(found.roles):
        raise edge.not_found("page")
    return found


def begin() -> PersonView:
    """A person without a name, made by the POST that starts a set; the cookie goes out with the response."""
    wiring = wired()
    return remember(
        accounts.begin_anonymous(wiring.db, device=device(), time_zone=wiring.settings.time_zone, now=wiring.clock())
    )


def remember(signed_in: SignedIn) -> PersonView:
    """Make the new session this browser's."""
    g.new_token = signed_in.token
    g.person = signed_in.person
    return signed_in.person


def forget() -> None:
    """End this browser's session with the response."""
    g.new_token = None
    g.person = None


def device() -> str:
    """What kind of device asks, for the list of own devices: plain words, no version numbers."""
    agent = request.user_agent.string[:400].lower()
    system = next(
        (
            name
            for mark, name in (
                ("iphone", "iPhone"),
                ("ipad", "iPad"),
                ("android", "Android"),
                ("windows", "Windows"),
                ("cros", "ChromeOS"),
                ("mac os", "Mac"),
                ("linux", "Linux"),
            )
            if mark in agent
        ),
        "another system",
    )
    browser = next(
        (
            name
            for mark, name in (
                ("edg/", "Edge"),
                ("opr/", "Opera"),
                ("firefox", "Firefox"),
                ("chrom", "Chromium or Chrome"),
                ("safari", "Safari"),
            )
            if mark in agent
        ),
        "another browser",
    )
    return f"{browser} on {system}"

"""Getting a name and getting in: sign up, sign in, sign out, claim, one-time link."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from quizsvc.errors import ConflictError, InputError, QuizsvcError, ThrottledError
from quizsvc.services import accounts
from quizsvc.web import edge, people
from quizsvc.web.errors import status_of
from quizsvc.web.wiring import wired

__all__ = ["LONGEST_NAME", "LONGEST_PASSWORD", "blueprint"]

blueprint = Blueprint("sign_in", __name__)

LONGEST_NAME = 100
LONGEST_PASSWORD = 200  # characters; hashing time must not grow with what is sent


@blueprint.get("/sign-up")
def sign_up_page() -> str:
    """The form for a name."""
    onward = edge.local_path(request.args.get("next"), "/")
    return render_template("sign_up.html", person=people.person(), name="", error=None, onward=onward)


@blueprint.post("/sign-up")
def sign_up() -> Response | tuple[str, int]:
    """Turn this browser's person into an account, or make a new one."""
    wiring = wired()
    onward = edge.local_path(request.form.get("next"), "/")
    try:
        name = edge.text("name", longest=LONGEST_NAME, label="the name")
        password = _password("password")
        people.remember(
            accounts.sign_up(
                wiring.db,
                people.token(),
                name,
                password,
                device=people.device(),
                time_zone=wiring.settings.time_zone,
                now=wiring.clock(),
            )
        )
    except (InputError, ConflictError) as error:
        return _again("sign_up.html", error, onward=onward)
    flash(f"Signed up as {name}.")
    return redirect(onward, 303)


@blueprint.get("/sign-in")
def sign_in_page() -> str:
    """The form for name and password."""
    onward = edge.local_path(request.args.get("next"), "/")
    return render_template("sign_in.html", person=people.person(), name="", error=None, onward=onward)


@blueprint.post("/sign-in")
def sign_in() -> Response | tuple[str, int] | tuple[str, int, dict[str, str]]:
    """Sign in; answers given on this device before are offered for the account."""
    wiring = wired()
    onward = edge.local_path(request.form.get("next"), "/")
    try:
        name = edge.text("name", longest=LONGEST_NAME, label="the name")
        password = _password("password")
        signed_in = accounts.sign_in(
            wiring.db,
            people.token(),
            name,
            password,
            address=request.remote_addr or "",
            device=people.device(),
            now=wiring.clock(),
        )
    except ThrottledError as error:
        page, status = _again("sign_in.html", error, onward=onward)
        return page, status, {"Retry-After": str(error.retry_after_s)}
    except InputError as error:
        return _again("sign_in.html", error, onward=onward)
    people.remember(signed_in)
    if signed_in.claimable:
        return redirect(url_for("sign_in.claim_page"), 303)
    return redirect(onward, 303)


@blueprint.post("/sign-out")
def sign_out() -> Response:
    """End this browser's session."""
    given = people.token()
    if given:
        accounts.sign_out(wired().db, given, now=wired().clock())
    people.forget()
    flash("Signed out on this device.")
    return redirect(url_for("start.page"), 303)


@blueprint.get("/claim")
def claim_page() -> Response | str:
    """The offer to add the answers given on this device before signing in."""
    person = people.required()
    count = accounts.claim_offer(wired().db, people.token())
    if count is None:
        return redirect(url_for("start.page"), 303)
    return render_template("claim.html", person=person, count=count)


@blueprint.post("/claim")
def claim() -> Response:
    """Add those answers, or leave them out."""
    people.required()
    accept = edge.choice(request.form.get("accept"), "accept", ("yes", "no")) == "yes"
    offered = accounts.claim_offer(wired().db, people.token())
    moved = accounts.claim(wired().db, people.token(), accept, now=wired().clock())
    if offered is None:
        flash("That was settled before: nothing is left to add.")
    elif accept and not moved:
        flash("What waits on this device goes to your log as soon as it arrives.")
    elif accept:
        flash(f"Added to your log: {moved} {'answer' if moved == 1 else 'answers'}.")
    else:
        flash("Left out. Your log holds only what you answer signed in.")
    return redirect(url_for("start.page"), 303)


@blueprint.get("/link/<secret>")
def link_page(secret: str) -> str:
    """What a one-time link is for, and the form for the new password."""
    seen = accounts.look_at_link(wired().db, secret[:200], now=wired().clock())
    return render_template("link.html", person=people.person(), link=seen, secret=secret, error=None)


@blueprint.post("/link/<secret>")
def link(secret: str) -> Response | tuple[str, int]:
    """Use the link: set the password and sign in."""
    wiring = wired()
    try:
        signed_in = accounts.use_link(
            wiring.db, secret[:200], _password("password"), device=people.device(), now=wiring.clock()
        )
    except InputError as error:
        seen = accounts.look_at_link(wiring.db, secret[:200], now=wiring.clock())
        page = render_template("link.html", person=people.person(), link=seen, secret=secret, error=error)
        return page, status_of(error)
    people.remember(signed_in)
    flash(f"Password set. You are signed in as {signed_in.person.name}.")
    return redirect(url_for("start.page"), 303)


def _password(field: str) -> str:
    """A password exactly as typed: it is not trimmed."""
    given = request.form.get(field, "")
    if not given:
        raise InputError(f"{field}-missing", "the password is empty", where=field, mend="type it and send again")
    if len(given) > LONGEST_PASSWORD:
        raise InputError(
            f"{field}-too-long",
            f"the password has {len(given)} characters",
            where=field,
            mend=f"at most {LONGEST_PASSWORD}",
        )
    return given


def _again(template: str, error: QuizsvcError, **more: str) -> tuple[str, int]:
    name = request.form.get("name", "")[:LONGEST_NAME]
    return render_template(template, person=people.person(), name=name, error=error, **more), status_of(error)

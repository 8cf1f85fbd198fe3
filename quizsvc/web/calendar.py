"""The calendar of closings, and its owner's page to make its address and to end it."""

from __future__ import annotations

from flask import Blueprint, Response, flash, redirect, render_template, url_for
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.services import calendar_feed
from quizsvc.web import people
from quizsvc.web.wiring import wired

__all__ = ["blueprint"]

blueprint = Blueprint("calendar", __name__)


@blueprint.get("/closings/<feed_secret>.ics")
def closings(feed_secret: str) -> Response:
    """The calendar; whoever has the address may read it, which is how calendar programs work."""
    wiring = wired()
    body = calendar_feed.calendar(wiring.db, feed_secret, public_url=wiring.settings.public_url, now=wiring.clock())
    response = Response(body, mimetype="text/calendar")
    response.headers["Content-Disposition"] = 'inline; filename="closings.ics"'
    return response


@blueprint.get("/account/calendar")
def page() -> str:
    """Whether there is an address, and the buttons to make one and to end it."""
    return _page()


@blueprint.post("/account/calendar")
def make() -> str:
    """A new address, shown once: only its hash is stored."""
    person, wiring = people.required(), wired()
    secret = calendar_feed.make(wiring.db, person.id, now=wiring.clock())
    return _page(address=f"{wiring.settings.public_url}/closings/{secret}.ics")


@blueprint.post("/account/calendar/end")
def end() -> AnyResponse:
    """The address works no longer."""
    person, wiring = people.required(), wired()
    calendar_feed.end(wiring.db, person.id, now=wiring.clock())
    flash("Ended: the address works no longer.")
    return redirect(url_for("calendar.page"), 303)


def _page(*, address: str = "") -> str:
    person = people.required()
    return render_template(
        "account/calendar.html", person=person, feed=calendar_feed.in_use(wired().db, person.id), address=address
    )

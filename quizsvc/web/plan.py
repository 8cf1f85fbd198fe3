"""The plan to the check, its date from the last check, and the debrief after it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from flask import Blueprint, flash, redirect, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.errors import InputError
from quizsvc.services import check_dates, debriefs
from quizsvc.services.check_dates import COUNTED, INTERVALS, RULE_READ_ON, LastCheckView
from quizsvc.services.check_plan import TimeLeft, plan_to_check
from quizsvc.services.views import PersonView
from quizsvc.web import edge, people, words
from quizsvc.web.wiring import wired

__all__ = ["blueprint", "written"]

blueprint = Blueprint("plan", __name__, url_prefix="/plan")


def written(day: date) -> str:
    """A day in words: `14 May 2027`."""
    return f"{day.day} {day:%B %Y}"


@blueprint.app_template_filter("times_each")
def times_each(time: TimeLeft, concepts: int) -> str:
    """How often each concept can still come up, in words; never finer than is known."""
    if time.rounds >= 2.5:
        return f"each of the {concepts} concepts about {round(time.rounds):,} times"
    if time.rounds >= 1.5:
        return f"each of the {concepts} concepts about twice"
    if time.rounds >= 0.95:
        return f"each of the {concepts} concepts about once"
    return f"about {round(time.answers)} of the {concepts} concepts once, the others not"


@blueprint.get("")
def page() -> str:
    """What the time left covers, what comes up this week and why, what fades by the check."""
    person = people.required()
    wiring = wired()
    return render_template(
        "plan/plan.html",
        person=person,
        plan=plan_to_check(wiring.db, person.id, now=wiring.clock()),
        later_month=wiring.settings.later_month,
        read_on=RULE_READ_ON,
        written=written,
    )


@blueprint.get("/check-date")
def check_date() -> str | tuple[str, int]:
    """The months that follow from a last check: the one typed, or the one kept."""
    person = people.required()
    if "last_check" not in request.args:
        return _check_date_page(person, check_dates.of_person(wired().db, person.id))
    try:
        return _check_date_page(person, _typed(request.args, person))
    except InputError as error:
        return _check_date_page(person, None, error=error), 422


@blueprint.post("/check-date")
def plan_check() -> AnyResponse | tuple[str, int]:
    """Keep the last check and the day that the person plans for the next."""
    person, wiring, last = people.required(), wired(), None
    try:
        last = _typed(request.form, person)
        planned_on = edge.day(request.form.get("check_date", ""), "check_date")
        check_dates.plan_check(wiring.db, person.id, last, planned_on, now=wiring.clock())
    except InputError as error:
        return _check_date_page(person, last, error=error), 422
    assert planned_on is not None
    flash(f"Check planned for {written(planned_on)}. What you practise is planned towards it.")
    return redirect("/plan", 303)


def _typed(sent: Mapping[str, str], person: PersonView) -> LastCheckView:
    return check_dates.reckoned(
        edge.day(sent.get("last_check", ""), "last_check"),
        edge.whole(sent.get("interval", "12"), "interval", least=1, most=99),
        sent.get("counted", "own"),
        today=words.today(wired().clock(), person.time_zone),
    )


def _check_date_page(person: PersonView, last: LastCheckView | None, *, error: InputError | None = None) -> str:
    return render_template(
        "plan/check_date.html",
        person=person,
        last=last,
        error=error,
        sent=request.values if error else None,
        intervals=INTERVALS,
        counted=tuple(COUNTED),
        later_month=wired().settings.later_month,
        read_on=RULE_READ_ON,
        written=written,
    )


@blueprint.get("/debrief")
def debrief() -> str:
    """What was asked at the check: to be ticked, or to be put right."""
    person, wiring = people.required(), wired()
    try:
        check = edge.day(request.args.get("check", ""), "check")
    except InputError:
        check = None
    found = debriefs.debrief_form(wiring.db, person.id, check, now=wiring.clock())
    return render_template("plan/debrief.html", person=person, found=found, error=None, written=written)


@blueprint.post("/debrief")
def keep_debrief() -> AnyResponse | tuple[str, int]:
    """Keep what was ticked, or forget what was told of this check."""
    person, wiring = people.required(), wired()
    try:
        taken_on = edge.day(request.form.get("taken_on", ""), "taken_on")
        if "forget" in request.form:
            debriefs.forget_debrief(wiring.db, person.id, taken_on)
            flash("Forgotten: what was told of that check.")
            return redirect("/plan", 303)
        asked = request.form.getlist("concept")
        debriefs.keep_debrief(wiring.db, person.id, taken_on, asked, now=wiring.clock())
    except InputError as error:
        found = debriefs.debrief_form(wiring.db, person.id, None, now=wiring.clock())
        page = render_template("plan/debrief.html", person=person, found=found, error=error, written=written)
        return page, 422
    assert taken_on is not None
    count = len(set(asked))
    flash(f"Kept: {count} {'concept' if count == 1 else 'concepts'} asked at the check of {written(taken_on)}.")
    return redirect("/plan", 303)

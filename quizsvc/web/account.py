"""A person's own settings, password, devices, export, and the way out."""

from __future__ import annotations

import json
from typing import Any
from zoneinfo import available_timezones

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from quizsvc.errors import InputError, QuizsvcError
from quizsvc.services import accounts, csv_files, reading, squawks, uninstructed
from quizsvc.services.views import PersonView, SettingsForm
from quizsvc.web import cautions, edge, people, words
from quizsvc.web.sign_in import LONGEST_NAME, LONGEST_PASSWORD
from quizsvc.web.wiring import wired

__all__ = ["blueprint", "zones"]

blueprint = Blueprint("account", __name__, url_prefix="/account")

_EXPORT_CAUTIONS = ("C1", "C2", "C4")


@blueprint.get("")
def page() -> str:
    """Own settings."""
    return _settings_page(people.required())


@blueprint.post("")
def save() -> AnyResponse | tuple[str, int]:
    """Store the settings, or say which one cannot be taken."""
    person = people.required()
    wiring = wired()
    try:
        form = SettingsForm(
            aircraft=tuple(request.form.getlist("aircraft")),
            check_date=edge.day(request.form.get("check_date", ""), "check_date"),
            minutes_a_day=edge.whole(request.form.get("minutes_a_day"), "minutes_a_day", least=1, most=240),
            time_zone=request.form.get("time_zone", "")[:80],
            experience=edge.choice(request.form.get("experience"), "experience", tuple(words.EXPERIENCE)),
        )
        accounts.update_settings(wiring.db, person.id, form, now=wiring.clock())
    except InputError as error:
        return _settings_page(person, error=error), 422
    flash("Settings kept.")
    return redirect(url_for("account.page"), 303)


def _settings_page(person: PersonView, *, error: InputError | None = None) -> str:
    return render_template(
        "account/settings.html",
        person=person,
        error=error,
        sent=request.form if error else None,
        aircraft=reading.aircraft_list(wired().db),
        zones=zones(person.time_zone),
    )


def zones(own: str) -> dict[str, list[str]]:
    """Time zones by region, for a list that works without a script; a person's own is always among them."""
    grouped: dict[str, list[str]] = {}
    for name in sorted(available_timezones()):
        region, _, place = name.partition("/")
        if place and region not in ("Etc", "posix", "right", "SystemV"):
            grouped.setdefault(region, []).append(name)
    listed = {name for names in grouped.values() for name in names}
    return {"": ["UTC"] if own == "UTC" or own in listed else ["UTC", own], **grouped}


@blueprint.get("/password")
def password_page() -> str:
    """The form for a new password."""
    return render_template("account/password.html", person=people.required(), error=None)


@blueprint.post("/password")
def password() -> AnyResponse | tuple[str, int]:
    """Change the password; every other device is signed out."""
    person = people.required()
    try:
        old, new = (request.form.get(field, "") for field in ("old", "new"))
        if len(new) > LONGEST_PASSWORD or len(old) > LONGEST_PASSWORD:
            raise InputError(
                "password-too-long", "the password is too long", where="new", mend=f"at most {LONGEST_PASSWORD}"
            )
        accounts.change_password(wired().db, people.token(), old, new, now=wired().clock())
    except InputError as error:
        return render_template("account/password.html", person=person, error=error), 422
    flash("Password changed. Other devices are signed out.")
    return redirect(url_for("account.page"), 303)


@blueprint.get("/devices")
def devices() -> str:
    """The devices that are signed in."""
    person = people.required()
    return render_template(
        "account/devices.html", person=person, devices=accounts.devices(wired().db, person.id, this=person.device_id)
    )


@blueprint.post("/devices/<number:device_id>/end")
def end_device(device_id: int) -> AnyResponse:
    """Sign one device out."""
    person = people.required()
    accounts.end_device(wired().db, person.id, device_id, now=wired().clock())
    if device_id == person.device_id:
        people.forget()
        flash("Signed out on this device.")
        return redirect(url_for("start.page"), 303)
    flash("That device is signed out.")
    return redirect(url_for("account.devices"), 303)


@blueprint.get("/squawks")
def own_squawks() -> str:
    """Own squawks, and what was answered."""
    person = people.required()
    return render_template("account/squawks.html", person=person, squawks=squawks.own(wired().db, person.id))


@blueprint.get("/export.json")
def export_json() -> Response:
    """Everything the service holds about the person."""
    own = {"cautions": _owed(), **_export()}
    return _download(json.dumps(own, ensure_ascii=False, indent=1, default=str), "application/json", "json")


@blueprint.get("/export.csv")
def export_csv() -> Response:
    """The answers, one a line; each line carries the cautions, so that none is lost when lines are copied."""
    answers = _export()["answers"]
    columns = list(dict.fromkeys(key for row in answers for key in row)) or ["given_at"]
    owed = " ".join(_owed().values())
    lines = [[*(_cell(row.get(column)) for column in columns), owed] for row in answers] or [["", owed]]
    return _download(csv_files.written([[*columns, "caution"], *lines]), "text/csv", "csv")


def _export() -> dict[str, Any]:
    wiring = wired()
    return accounts.export_own(wiring.db, people.required().id, now=wiring.clock())


def _owed() -> dict[str, str]:
    return {one.id: one.text for one in cautions.of(_EXPORT_CAUTIONS)}


def _cell(value: Any) -> Any:
    """One cell: plain values as they are, a list or table of them as JSON."""
    if value is None or isinstance(value, bool | int | float | str):
        return value
    return json.dumps(value, ensure_ascii=False, default=str) if isinstance(value, list | dict) else str(value)


def _download(content: str | bytes, mimetype: str, ending: str) -> Response:
    today = wired().clock().date().isoformat()
    response = Response(content, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'attachment; filename="log-of-answers-{today}.{ending}"'
    return response


@blueprint.get("/delete")
def delete_page() -> str:
    """The last question before everything goes."""
    return _delete_page(people.required())


def _delete_page(person: PersonView, *, error: QuizsvcError | None = None) -> str:
    alone = uninstructed.only_instructed_by(wired().db, person.id)
    return render_template("account/delete.html", person=person, error=error, alone=alone)


@blueprint.post("/delete")
def delete() -> AnyResponse | tuple[str, int]:
    """Delete the person and their answers; the name must be typed."""
    person = people.required()
    expected = person.name or "delete"
    if request.form.get("name", "").strip()[:LONGEST_NAME] != expected:
        error = InputError(
            "name-differs", "what was typed differs from the name", where="name", mend=f"type {expected} exactly"
        )
        return _delete_page(person, error=error), 422
    accounts.delete_account(wired().db, person.id, now=wired().clock())
    people.forget()
    flash("Deleted: the account and its answers.")
    return redirect(url_for("start.page"), 303)

"""The application factory."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from flask import Flask
from flask.json.provider import DefaultJSONProvider
from flask_wtf import CSRFProtect
from werkzeug.middleware.proxy_fix import ProxyFix

from quizsvc.services import schema
from quizsvc.settings import Settings, read_or_make_secret
from quizsvc.web import (
    about,
    account,
    allowances,
    api,
    api_device,
    api_homework,
    assets,
    assignments,
    bank_desk,
    bench,
    calendar,
    cautions,
    compression,
    desk,
    device,
    drill,
    edge,
    errors,
    evidence,
    expectation,
    groups,
    handbook,
    handbook_revisions,
    headers,
    health,
    homework,
    homework_whole,
    installed,
    joining,
    log,
    monday,
    notices,
    paper,
    people,
    plan,
    preview,
    privacy,
    remarks,
    roll,
    sign_in,
    squawks,
    start,
    thin_spots,
    uninstructed,
    words,
)
from quizsvc.web.wiring import Wiring

__all__ = ["BODY_CAP", "create_app"]

BODY_CAP = 64 * 1024  # bytes; an answer is under 1 KB, a squawk under 8


def utc_now() -> datetime:
    """The present, aware UTC."""
    return datetime.now(UTC)


def create_app(
    settings: Settings,
    *,
    clock: Callable[[], datetime] = utc_now,
    db: Any = None,
    rng: random.Random | None = None,
) -> Flask:
    """Build the web application.

    Parameters
    ----------
    settings : Settings
        What the installation chose.
    clock : callable, optional
        Returns the present as an aware datetime, UTC. Tests hand in their own; the product has no setting for it.
    db : Database, optional
        An opened database; opened from the settings where none is given.
    rng : random.Random, optional
        Draws the numbers; the system's own source, which nobody can foresee, where none is given. Tests hand in theirs.
    """
    app = Flask("quizsvc.web")
    app.config.update(
        SECRET_KEY=read_or_make_secret(settings.secret_file),
        # Flask's own signed cookie carries only the form token and notices; who a person is stands in `session`.
        SESSION_COOKIE_NAME="form",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=settings.https,
        SESSION_REFRESH_EACH_REQUEST=False,
        PERMANENT_SESSION_LIFETIME=timedelta(days=400),
        MAX_CONTENT_LENGTH=BODY_CAP,
        MAX_FORM_MEMORY_SIZE=BODY_CAP,
        MAX_FORM_PARTS=200,
        # A form may lie open on a phone for a week, so its token has no time limit. The token alone is the check:
        # a Referer, which some phones leave out, is not asked for.
        WTF_CSRF_TIME_LIMIT=None,
        WTF_CSRF_SSL_STRICT=False,
    )
    app.json = _OrderedJson(app)
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    app.extensions["quizsvc"] = Wiring(
        settings,
        db if db is not None else schema.open_database(settings),
        clock,
        rng if rng is not None else random.SystemRandom(),
    )

    if settings.trusted_proxies:
        hops = settings.trusted_proxies
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=hops, x_proto=hops, x_host=hops)  # type: ignore[method-assign]

    app.url_map.converters["key"] = edge.KeyConverter
    app.url_map.converters["number"] = edge.NumberConverter
    app.url_map.converters["who"] = edge.WhoConverter
    compression.register(app)  # what is registered first comes last of all
    errors.register(app)
    edge.register(app)
    # After the edge: a body that cannot be read is refused before its form token is looked for.
    token = CSRFProtect(app)
    headers.register(app)
    people.register(app)
    words.register(app)
    cautions.register(app)
    assets.register(app)
    for screen in (
        start,
        device,
        drill,
        sign_in,
        account,
        log,
        thin_spots,
        expectation,
        plan,
        handbook,
        bench,
        preview,
        desk,
        groups,
        joining,
        roll,
        assignments,
        paper,
        allowances,
        monday,
        remarks,
        squawks,
        bank_desk,
        handbook_revisions,
        notices,
        privacy,
        evidence,
        uninstructed,
        calendar,
        about,
        health,
        installed,
        api,
        api_device,
        homework,
        homework_whole,
        api_homework,
    ):
        app.register_blueprint(screen.blueprint)
    token.exempt(api.blueprint)
    token.exempt(api_device.blueprint)
    token.exempt(api_homework.blueprint)
    return app


class _OrderedJson(DefaultJSONProvider):
    """JSON in the order in which it was written: easier to read in a log and in the description."""

    sort_keys = False

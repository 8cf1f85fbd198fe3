"""The cautions that pages owe, by id; their texts come from the bank's one file through the database."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable, Mapping
from datetime import date
from typing import NamedTuple

from flask import Flask, current_app

from quizsvc.errors import StoreUnavailableError
from quizsvc.services import reading
from quizsvc.services.views import CitesOlder
from quizsvc.web.wiring import wired

__all__ = ["Caution", "of", "register", "text", "texts"]

# The foot of a page is owed also when the database is away. A test compares this with the bank's file.
WITHOUT_DATABASE: Mapping[str, str] = {
    "C1": "Study aid. Not for operational use. Use the approved manual for your aircraft, by serial number and "
    "revision.",
    "C2": "Invented aircraft. Not a real aircraft. No number here applies to any aircraft you fly.",
}
_KEPT_S = 30.0  # a bank load shows within this time in every worker

# What stands for {text} in C7 while a school has set no rule of its own.
NO_SHARING = "nobody else sees practice answers"


class Caution(NamedTuple):
    """One caution as a page shows it."""

    id: str
    text: str


class _Kept:
    def __init__(self) -> None:
        self.texts: Mapping[str, str] = {}
        self.read_at = -_KEPT_S


def register(app: Flask) -> None:
    """Let every template ask for cautions."""
    app.extensions["quizsvc_cautions"] = _Kept()
    app.jinja_env.globals["cautions_of"] = of
    app.jinja_env.globals["caution_text"] = text


def texts() -> Mapping[str, str]:
    """All cautions by id, as loaded; kept for half a minute."""
    kept: _Kept = current_app.extensions["quizsvc_cautions"]
    if time.monotonic() - kept.read_at >= _KEPT_S:
        try:
            kept.texts = reading.cautions(wired().db)
            kept.read_at = time.monotonic()
        except StoreUnavailableError:
            current_app.logger.warning("cautions: the database is away, the last known texts are shown")
    return {**WITHOUT_DATABASE, **kept.texts}


def text(identifier: str, *, read_on: date | None = None) -> str:
    """One caution's text with its places filled in; an id that the bank does not have gives an empty text."""
    found = texts().get(identifier, "")
    when = f"{read_on.day} {read_on:%B %Y}" if read_on else "the day the item was written"
    # What only a certain item can fill in stays open where no item is shown.
    return re.sub(r"\{\w+\}", "\u2026", found.replace("{text}", NO_SHARING).replace("{date}", when))


def of(identifiers: Iterable[str | CitesOlder | None], *, read_on: date | None = None) -> tuple[Caution, ...]:
    """The cautions of an item, in the order of their numbers, each once; None stands for one that is not owed."""
    found = {
        Caution(one.id, one.put_into(texts().get(one.id, "")))
        if isinstance(one, CitesOlder)
        else Caution(one, text(one, read_on=read_on))
        for one in identifiers
        if one is not None
    }
    return tuple(sorted((one for one in found if one.text), key=lambda one: (len(one.id), one)))

"""The screen "On this device": a shell without a person in it; the questions kept on the device fill it by script."""

from __future__ import annotations

from flask import Blueprint, render_template

from quizsvc.web import words
from quizsvc.web.start import LONG_MINUTES, SHORT_MINUTES

__all__ = ["blueprint"]

blueprint = Blueprint("device", __name__)

USUAL_MINUTES = 5
# Every sentence that a device can need after it has judged an answer, by outcome and sureness.
_JUDGED = (("full", ""), ("full", "guess"), ("part", ""), ("miss", ""), ("miss", "sure"), ("pass", ""))


@blueprint.get("/on-this-device")
def page() -> str:
    """The same bytes for everybody: nothing here may ask who is there, because browsers keep this page."""
    return render_template(
        "device.html",
        short=SHORT_MINUTES,
        long=LONG_MINUTES,
        minutes=USUAL_MINUTES,
        verdicts=[(f"{word} {sureness}".strip(), words.verdict_on(word, sureness)) for word, sureness in _JUDGED],
        person=None,
    )

"""The words that pages show for what the service stores, and how times and numbers are written."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from flask import Flask

from quizsvc.services.views import FeedbackView, SetView
from quizsvc.web import markdown, pictures
from quizsvc.web.errors import sentence

__all__ = ["OUTCOMES", "SURENESS", "clock_time", "day", "register", "tenths", "verdict", "verdict_on"]

OUTCOMES = ("full", "part", "miss", "pass", "void")
SURENESS = ("sure", "think", "guess")

STATES = {
    "untried": "never asked",
    "unsettled": "right on one day at most since the last miss",
    "holding": "right on two separate days",
    "steady": "right again after 30 days or more",
    "slipped": "was holding or steady, then missed",
    "suspect": "learned on a revision now withdrawn",
}
SAID = {
    "full": "A full answer by the points you ticked.",
    "part": "Some of what belongs in it came.",
    "miss": "None of what belongs in it came.",
}
EXPERIENCE = {
    "never trained": "Never trained on it",
    "in training": "In training now",
    "rated": "Rated on it",
}


def verdict(feedback: FeedbackView) -> str:
    """One sentence about an answer; it says what happened and judges nobody."""
    return verdict_on(feedback.outcome, feedback.sureness, feedback.void_reason)


def verdict_on(outcome: str, sureness: str | None, void_reason: str | None = None) -> str:
    """The sentence about an outcome that was reached with this sureness."""
    if outcome == "full":
        return "You guessed, and it is the key." if sureness == "guess" else "That is the key."
    if outcome == "part":
        return "Some of it is the key."
    if outcome == "pass":
        return "Left unanswered on purpose. Here is the key."
    if outcome == "void":
        return f"Counts for nothing: {void_reason or 'the item is withdrawn'}."
    if sureness == "sure":
        return "You were sure, and it is not the key. Read the working before you go on."
    return "Not the key."


def tally(answers: SetView, *, repeats: bool) -> str:
    """How the questions of a set went, in words: `4 full, 1 part, 2 miss`."""
    outcomes = [q.feedback.outcome for q in answers.questions if q.feedback and q.repeat == repeats]
    return ", ".join(f"{outcomes.count(word)} {word}" for word in OUTCOMES if word in outcomes)


def clock_time(when: datetime, zone: str) -> str:
    """Day and time in a person's zone: `25 Nov 2026, 15:04`."""
    local = when.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M}"


def day(when: datetime, zone: str) -> str:
    """The day in a person's zone: `25 Nov 2026`."""
    local = when.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y}"


def today(now: datetime, zone: str) -> date:
    """The date in a person's zone."""
    return now.astimezone(ZoneInfo(zone)).date()


def tenths(expectation: float) -> str:
    """An expectation as `about 6 in 10`: a finer number would claim more than is known, and none is ever certain."""
    count = round(expectation * 10)
    if count >= 10:
        return "more than 9 in 10"
    return f"about {count} in 10" if count else "less than 1 in 10"


def register(app: Flask) -> None:
    """Give the templates these words."""
    app.jinja_env.filters.update(
        markdown=markdown.text,
        markdown_inline=markdown.inline,
        clock_time=clock_time,
        day=day,
        tenths=tenths,
        sentence=sentence,
        verdict=verdict,
    )
    app.jinja_env.globals.update(
        STATES=STATES,
        SURENESS=SURENESS,
        OUTCOMES=OUTCOMES,
        EXPERIENCE=EXPERIENCE,
        tally=tally,
        picture=pictures.picture,
        picture_table=pictures.rows,
    )

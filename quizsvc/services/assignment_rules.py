"""The rules of an assignment: what may stand together, and what may still change once it is released.

After the opening only that may change which cannot hurt those who have begun.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from quizsvc.errors import InputError
from quizsvc.services import edge, local_times
from quizsvc.services.local_times import LocalForm
from quizsvc.store.tables_school import FEEDBACK, NUMBERS

__all__ = [
    "FEEDBACK",
    "LONGEST_TITLE",
    "MOST_MINUTES",
    "MOST_TRIES",
    "NUMBERS",
    "Rules",
    "RulesForm",
    "check_change",
    "read",
    "title_of",
]

LONGEST_TITLE = 100
MOST_TRIES = 10
MOST_MINUTES = 480


@dataclass(frozen=True)
class RulesForm:
    """The rules as typed; times on the wall clock of the group's zone. `sitting_minutes` is None for homework."""

    title: str
    numbers: str
    feedback: str
    tries: int
    sitting_minutes: int | None
    opens: LocalForm
    closes: LocalForm
    late_until: LocalForm


@dataclass(frozen=True)
class Rules:
    """The rules as they hold; times aware UTC. Without `opens_at` it opens when it is released."""

    title: str
    numbers: str
    feedback: str
    tries: int
    sitting_minutes: int | None
    opens_at: datetime | None
    closes_at: datetime
    late_until_at: datetime | None

    @property
    def last_at(self) -> datetime:
        """The last moment at which anything is taken, late or not."""
        return max(self.closes_at, self.late_until_at or self.closes_at)


def title_of(value: str) -> str:
    """A title that can be shown.

    Raises
    ------
    InputError
        Empty, too long, or with characters that cannot be stored.
    """
    title = " ".join(edge.text(value, "title", longest=LONGEST_TITLE, label="the title").split())
    if not title:
        raise InputError("title-missing", "the title is empty", where="title", mend="say what it is about")
    return title


def read(form: RulesForm, zone: str) -> Rules:
    """Read the rules and check that they can stand together.

    Raises
    ------
    TimeSkippedError, TimeDoubledError
        A time that is not on the group's clock, or twice.
    InputError
        Anything else that cannot be taken; `where` is the field.
    """
    title = title_of(form.title)
    _word(form.numbers, "numbers", NUMBERS)
    _word(form.feedback, "feedback", FEEDBACK)
    _whole(form.tries, "tries", MOST_TRIES)
    if form.sitting_minutes is not None:
        _whole(form.sitting_minutes, "sitting_minutes", MOST_MINUTES)
        if form.feedback == "straight away":
            raise _refused(
                "sitting-feedback",
                "a Sitting gives no feedback before its end",
                "feedback",
                "choose 'with the mark' or 'after closing'",
            )
    opens = local_times.read(form.opens, zone, where="opens")
    closes = local_times.read(form.closes, zone, where="closes")
    late = local_times.read(form.late_until, zone, where="late_until")
    if closes is None:
        raise _refused("closes-missing", "the closing is empty", "closes", "say when it closes")
    if opens is not None and closes <= opens:
        raise _refused("closes-early", "it closes before it opens", "closes", "a time after the opening")
    if late is not None and late < closes:
        raise _refused(
            "late-early", "late work is taken until a time before the closing", "late_until", "a time after the closing"
        )
    return Rules(title, form.numbers, form.feedback, form.tries, form.sitting_minutes, opens, closes, late)


def check_change(old: Rules, new: Rules, *, released: bool, feedback_out: bool, now: datetime) -> None:
    """Refuse a change that comes too late.

    Parameters
    ----------
    old, new : Rules
        As they hold, and as they shall.
    released : bool
        Whether it is released; a draft may change in everything, but not close in the past.
    feedback_out : bool
        Whether its time is over and keys or summaries have been shown to the group: then it cannot be opened again.
    now : datetime
        The present, aware UTC.

    Raises
    ------
    InputError
        What may not change any more; `where` is the field.
    """
    if new.closes_at <= now and new.closes_at != old.closes_at or (not released and new.closes_at <= now):
        raise _refused("closes-past", "the closing lies in the past", "closes", "a time to come")
    if not released:
        return
    if new.numbers != old.numbers:
        raise _refused(
            "rule-fixed",
            "own or common numbers cannot change after release",
            "numbers",
            "take the assignment back first, if nobody has begun",
        )
    if old.opens_at is None or now < old.opens_at:
        return
    if new.opens_at != old.opens_at:
        raise _refused("rule-fixed", "it has opened already", "opens", "leave the opening as it is")
    if new.sitting_minutes != old.sitting_minutes:
        raise _refused(
            "rule-fixed", "the time limit cannot change after the opening", "sitting_minutes", "leave it as it is"
        )
    if new.tries < old.tries:
        raise _refused(
            "rule-fixed", "fewer tries than when it opened", "tries", f"{old.tries} or more: some may have been used"
        )
    if new.feedback != old.feedback and (old.feedback, new.feedback) != ("with the mark", "after closing"):
        raise _refused(
            "rule-fixed",
            "feedback cannot come sooner than when it opened, nor later where it comes straight away",
            "feedback",
            f"leave it at '{old.feedback}'",
        )
    if new.closes_at < old.closes_at:
        raise _refused("rule-fixed", "an earlier closing than when it opened", "closes", "the same time or a later one")
    if new.last_at < old.last_at:
        raise _refused(
            "rule-fixed", "late work was promised to be taken longer", "late_until", "the same time or a later one"
        )
    if feedback_out and new.last_at != old.last_at:
        raise _refused(
            "rule-fixed",
            "its time is over and the group has been shown its feedback",
            "closes",
            "give an extension to those who need one",
        )


def _word(value: str, field: str, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise _refused(f"{field}-unknown", f"'{str(value)[:40]}' is not one of the choices", field, ", ".join(allowed))


def _whole(value: int, field: str, most: int) -> None:
    if not isinstance(value, int) or not 1 <= value <= most:
        raise _refused(f"{field.replace('_', '-')}-range", f"'{str(value)[:40]}'", field, f"from 1 to {most}")


def _refused(reference: str, what: str, where: str, mend: str) -> InputError:
    return InputError(reference, what, where=where, mend=mend)

"""Times as people type them: the wall clock of a group's zone, with its skipped and its doubled hours.

Which hours those are comes from the zone database. Nothing is guessed: a time that is not on the clock is refused with
the two times beside the gap, and of one that is there twice the person says which is meant.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from quizsvc.errors import InputError

__all__ = [
    "WHICH",
    "LocalForm",
    "TimeDoubledError",
    "TimeSkippedError",
    "days_between",
    "days_later_at",
    "days_later_like",
    "in_words",
    "read",
    "shown",
    "written",
]

WHICH = ("earlier", "later")
"""Which of two equal readings of the clock is meant."""

_WRITTEN = re.compile(r"(\d{4})-(\d{2})-(\d{2})[T ](\d{2}):(\d{2})(?::00)?")
_YEARS = (2020, 2199)


@dataclass(frozen=True)
class LocalForm:
    """A time as typed: `2026-12-04T20:00`, and which of the two where the clock shows it twice (else empty)."""

    text: str
    which: str = ""


class TimeSkippedError(InputError):
    """The clock is put forward past this time; `ways` are the times that the two sides of the gap would give."""

    def __init__(self, text: str, where: str, ways: tuple[str, str]) -> None:
        super().__init__(
            "time-skipped",
            f"{_words(text)} is not on the clock that day: it is put forward past it",
            where=where,
            mend=f"{_words(ways[0])} or {_words(ways[1])}",
        )
        self.ways = ways


class TimeDoubledError(InputError):
    """The clock is put back and shows this time twice; `offsets` are those of the earlier and of the later one."""

    def __init__(self, text: str, where: str, offsets: tuple[str, str]) -> None:
        super().__init__(
            "time-doubled",
            f"{_words(text)} is on the clock twice that day: it is put back",
            where=where,
            mend=f"say which: the earlier (UTC{offsets[0]}) or the later (UTC{offsets[1]})",
        )
        self.offsets = offsets


def read(form: LocalForm, zone: str, *, where: str) -> datetime | None:
    """The instant, aware UTC, of a time typed in a zone; None where nothing was typed.

    Parameters
    ----------
    form : LocalForm
        What was typed.
    zone : str
        IANA name.
    where : str
        Name of the form's field.

    Raises
    ------
    TimeSkippedError
        The clock is put forward past it.
    TimeDoubledError
        The clock shows it twice, and nobody said which.
    InputError
        It is no date and time.
    """
    text = form.text.strip()
    if not text:
        return None
    local = _parsed(text, where)
    here = ZoneInfo(zone)
    # PEP 495: in a gap and in a fold the two values of `fold` have different offsets; only in a gap they do not come
    # back as they went in.
    first, second = (local.replace(tzinfo=here, fold=fold) for fold in (0, 1))
    there = first.astimezone(UTC)
    if there.astimezone(here).replace(tzinfo=None) != local:
        raise TimeSkippedError(text, where, (written(second.astimezone(UTC), zone), written(there, zone)))
    if first.utcoffset() != second.utcoffset():
        if form.which not in WHICH:
            raise TimeDoubledError(text, where, (_offset(first), _offset(second)))
        return (first if form.which == "earlier" else second).astimezone(UTC)
    return there


def written(at: datetime, zone: str) -> str:
    """An instant as a form's field holds it, in a zone: `2026-12-04T20:00`."""
    return at.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%dT%H:%M")


def in_words(at: datetime, zone: str) -> str:
    """An instant as a notice says it: `4 Dec 2026, 20:00 (Europe/Zurich)`."""
    local = at.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M} ({zone})"


def shown(at: datetime, zone: str) -> LocalForm:
    """An instant as the form asks for it again, with the word for one of two equal readings."""
    local = at.astimezone(ZoneInfo(zone))
    doubled = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return LocalForm(written(at, zone), WHICH[local.fold] if doubled else "")


def days_later_at(now: datetime, zone: str, *, days: int, hour: int, minute: int = 0) -> datetime:
    """The instant, aware UTC, of an hour on the wall clock so many days from today; past a gap where it is skipped."""
    day = now.astimezone(ZoneInfo(zone)).date() + timedelta(days=days)
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo(zone)).astimezone(UTC)


def days_later_like(now: datetime, zone: str, like: datetime, like_zone: str, *, days: int) -> datetime:
    """The instant, aware UTC, so many days from today at the hour and minute that `like` has in its own zone."""
    clock = like.astimezone(ZoneInfo(like_zone))
    return days_later_at(now, zone, days=days, hour=clock.hour, minute=clock.minute)


def days_between(first: datetime, then: datetime, zone: str) -> int:
    """How many days of a zone's calendar lie between two instants."""
    here = ZoneInfo(zone)
    return (then.astimezone(here).date() - first.astimezone(here).date()).days


def _parsed(text: str, where: str) -> datetime:
    found = _WRITTEN.fullmatch(text)
    try:
        if not found:
            raise ValueError
        local = datetime(*(int(part) for part in found.groups()))  # type: ignore[arg-type]
        if not _YEARS[0] <= local.year <= _YEARS[1]:
            raise ValueError
    except ValueError:
        raise InputError(
            "time-unreadable",
            f"'{text[:40]}' is not a date and a time",
            where=where,
            mend="year-month-day and hour:minute, such as 2026-12-04 20:00",
        ) from None
    return local


def _offset(local: datetime) -> str:
    written = local.strftime("%z")
    return f"{written[:3]}:{written[3:5]}"


def _words(text: str) -> str:
    return text.replace("T", " ")

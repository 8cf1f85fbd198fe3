"""Times and days: days of the memory model, days of a person's zone, and the clocks of clients."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from quizsvc.errors import InputError

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY = timedelta(days=1)


def days_since_epoch(at: datetime) -> float:
    """A time as the memory model takes it: days since 1970-01-01 UTC."""
    return (at - _EPOCH) / _DAY


def time_at(days: float) -> datetime:
    """The time of so many days since 1970-01-01 UTC."""
    return _EPOCH + timedelta(days=days)


def local_day(at: datetime, time_zone: str) -> int:
    """Ordinal of the date in a zone at a time."""
    return at.astimezone(_zone(time_zone)).toordinal()


def start_of_day(day: date, time_zone: str) -> float:
    """The first moment of a date in a zone, in days since the epoch."""
    return days_since_epoch(datetime(day.year, day.month, day.day, tzinfo=_zone(time_zone)).astimezone(UTC))


def time_zone_name(value: Any) -> str:
    """A time zone's name that can be used.

    Raises
    ------
    InputError
        It is none.
    """
    if isinstance(value, str) and 0 < len(value) <= 80:
        try:
            _zone(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            pass
        else:
            return value
    raise InputError(
        "time-zone-unknown",
        f"'{str(value)[:80]}' is not a time zone",
        where="time_zone",
        mend="an IANA name such as UTC or Europe/Lisbon",
    )


@lru_cache(maxsize=64)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def effective_time(
    *, issued_at: datetime, received_at: datetime, given_at: datetime | None, sent_at: datetime | None
) -> datetime:
    """When an answer counts as given.

    min(received_at, given_at + (received_at - sent_at)), never before issued_at: a client's clock that is wrong by a
    day is wrong by a day at sending too, so the difference between its two times can be trusted and neither of them.
    """
    effective = received_at
    if given_at is not None:
        offset = received_at - sent_at if sent_at is not None else timedelta()
        try:
            effective = min(received_at, given_at + offset)
        except OverflowError:
            effective = received_at
    return max(effective, issued_at)

"""The rules of homework as functions of times alone: open or over, late or not, when feedback is released.

All times are aware; an arrival is compared to the second, because a closing is shown to the second.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

__all__ = [
    "GRACE",
    "Times",
    "all_over_at",
    "feedback_at",
    "handed_in_by_service_at",
    "is_late",
    "own_times",
    "phase",
    "sitting_end",
    "takes",
]

GRACE = timedelta(seconds=60)
"""What is received so long after the end of a Sitting still counts: it was on its way."""


@dataclass(frozen=True)
class Times:
    """When an assignment is open for one person; None for a rule that is not there.

    Handing in counts as in time until `closes_at`, and is taken as late until `late_until_at`.
    """

    opens_at: datetime | None
    closes_at: datetime | None
    late_until_at: datetime | None = None

    @property
    def last_at(self) -> datetime | None:
        """The last second at which anything is taken; None where nothing closes."""
        if self.closes_at is None or self.late_until_at is None:
            return self.closes_at
        return max(self.closes_at, self.late_until_at)


def own_times(
    opens_at: datetime | None,
    closes_at: datetime | None,
    late_until_at: datetime | None,
    extended_until: datetime | None = None,
) -> Times:
    """An assignment's times for one person; an extension moves the closing, never to an earlier time."""
    if closes_at is not None and extended_until is not None:
        closes_at = max(closes_at, extended_until)
    return Times(opens_at, closes_at, late_until_at)


def phase(times: Times, now: datetime) -> str:
    """`not yet`, `open`, `late` (taken, but late) or `over`."""
    if times.opens_at is not None and now < times.opens_at:
        return "not yet"
    if times.closes_at is None or _second(now) <= times.closes_at:
        return "open"
    return "late" if times.last_at is not None and _second(now) <= times.last_at else "over"


def sitting_end(times: Times, minutes: int, begun_at: datetime) -> datetime:
    """When a Sitting that begins now ends for this person; never after the last second at which anything is taken."""
    end = begun_at + timedelta(minutes=minutes)
    return end if times.last_at is None else min(end, times.last_at)


def takes(times: Times, ends_at: datetime | None, now: datetime) -> bool:
    """Whether what arrives now still counts: until the end of a Sitting and a minute, else until the last second."""
    if ends_at is not None:
        return now <= ends_at + GRACE
    return phase(times, now) in ("open", "late")


def is_late(times: Times, arrived_at: datetime, ends_at: datetime | None = None) -> bool:
    """Whether what is handed in counts as late. In a Sitting's last minute it counts as arrived at its end."""
    if times.closes_at is None:
        return False
    return _second(arrived_at if ends_at is None else min(arrived_at, ends_at)) > times.closes_at


def handed_in_by_service_at(ends_at: datetime, now: datetime) -> datetime | None:
    """The time at which the service hands a Sitting in by itself, which is its end; None before its last minute is
    over.
    """
    return ends_at if now > ends_at + GRACE else None


def all_over_at(
    closes_at: datetime | None,
    late_until_at: datetime | None,
    extensions: Iterable[datetime] = (),
    *,
    sitting: bool = False,
) -> datetime | None:
    """From when nobody can hand in: closing, late rule and every extension are past; None where nothing closes.

    What arrives within the last second is taken, so it is over with the second after it.
    """
    if closes_at is None:
        return None
    last = max([closes_at, *([late_until_at] if late_until_at is not None else []), *extensions])
    return last + (GRACE if sitting else timedelta()) + timedelta(seconds=1)


def feedback_at(
    feedback: str, *, sitting: bool, handed_in_at: datetime | None, all_over: datetime | None
) -> datetime | None:
    """From when a work's feedback is shown; None while that is not known.

    `straight away` shows each answer's feedback at once, and the work as a whole is released by handing in; a Sitting
    gives none before its end.
    """
    if handed_in_at is None:
        return None
    if feedback != "after closing":
        return handed_in_at
    return None if all_over is None else max(all_over, handed_in_at)


def _second(at: datetime) -> datetime:
    return at.replace(microsecond=0)

"""What can happen on a flight, and who controls the cabin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

__all__ = ["EVENTS", "Event", "Mode"]

EVENTS: Mapping[str, bool] = {
    "air data lost": False,
    "air data back": False,
    "controller dead": False,
    "inflow lost": False,
    "inflow back": False,
    "manual up": False,
    "manual hold": False,
    "manual down": False,
    "dump": False,
    "dump off": False,
    "target": True,
    "setting": True,
}
"""Each event, and whether it comes with a value: a cabin altitude or a landing setting, m."""


@dataclass(frozen=True)
class Event:
    """Something that happens at a time, s after lift-off; `value` in m, where the event has one."""

    at_s: float
    what: str
    value: float | None = None


class Mode(Enum):
    """Who controls the cabin."""

    AUTOMATIC = "automatic"
    HOLDING = "air data lost"
    CREW_TARGET = "crew target"
    DEAD = "controller dead"
    MANUAL = "manual"

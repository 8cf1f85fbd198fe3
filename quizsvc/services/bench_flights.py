"""The flights of the Fault bench: a few prepared ones, flown by the aircraft's own numbers, failing on the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft.description import Aircraft

__all__ = ["PHASES", "FlightView", "flown"]

PHASES: Mapping[str, str] = {"climb": "in the climb", "cruise": "in cruise", "descent": "in the descent"}


@dataclass(frozen=True)
class FlightView:
    """The flight as it went: names of the prepared ones, the plot, the instrument at a minute."""

    names: tuple[str, ...]
    phases: tuple[tuple[str, str], ...]
    words: str
    plot: Mapping[str, Any]
    gauge: Mapping[str, Any] | None
    minute: int
    last: int
    reading: str


def flown(
    aircraft: Aircraft, fail: Sequence[str], switches: Mapping[str, str], chosen: int, phase: str, minute: int | None
) -> FlightView | None:
    return None

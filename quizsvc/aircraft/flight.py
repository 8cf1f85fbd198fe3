"""A flight as the described aircraft flies it: where the cabin is at each moment, and what happens on the way.

The cabin follows a few rules, each of which has a closed form between two moments: it is on what the controller wants,
or on a rate limit towards it, or on a differential line, or it leaks. The moments at which one rule gives way to
another are found by bisection; nothing is stepped through in small time. Everything is SI.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from quizsvc.aircraft.flight_beliefs import BELIEFS, Belief, belief_of
from quizsvc.aircraft.flight_cabin import Cabin
from quizsvc.aircraft.flight_plan import Descent, Plan, Trajectory
from quizsvc.aircraft.flight_rules import EVENTS, Event, Mode
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.pressurisation import differential
from quizsvc.errors import InputError

__all__ = [
    "BELIEFS",
    "EVENTS",
    "Belief",
    "Break",
    "Descent",
    "Event",
    "History",
    "Plan",
    "belief_of",
    "fly",
]

_AFTER_S = 60.0  # shown after the valves are open on the ground
_SCAN_S = 30.0  # how far one looks ahead for the next change of rule
_LEAK_S = 12.0  # the same in a leak, whose line is the most curved: 4 ft off a straight one at the most
_FINE_S = 1e-4
_JUMP_M = 1.0  # within 0.1 ms: no rate does that
_JUST_M = 1e-3  # a cabin that is held at a threshold does not pass it


@dataclass(frozen=True, order=True)
class Break:
    """A moment, s after lift-off, and what changes then, in words."""

    at_s: float
    what: str


@dataclass(frozen=True)
class History:
    """A flight as it went: three sequences of one length (s, m, m), and what changed when.

    Between two points a line is straight, but for differential lines and leaks, which have a point every 12 to 30 s.
    Where two points have one time the cabin jumps. `breaks` are changes of what moves the cabin, `modes` those of who
    controls it, `warnings` what sounds or drops.
    """

    time_s: tuple[float, ...]
    aircraft_m: tuple[float, ...]
    cabin_m: tuple[float, ...]
    breaks: tuple[Break, ...]
    modes: tuple[Break, ...]
    warnings: tuple[Break, ...]

    def at(self, time_s: float) -> tuple[float, float]:
        """Aircraft and cabin at a time.

        Parameters
        ----------
        time_s : float
            Time after lift-off, s; before it and after the end the nearest point.

        Returns
        -------
        tuple of float
            Pressure altitudes of the aircraft and of the cabin, m; at a jump the values after it.
        """
        times = self.time_s
        if time_s <= times[0]:
            return self.aircraft_m[0], self.cabin_m[0]
        place = bisect_right(times, time_s)
        if place == len(times):
            return self.aircraft_m[-1], self.cabin_m[-1]
        part = (time_s - times[place - 1]) / (times[place] - times[place - 1])
        return (
            self.aircraft_m[place - 1] + part * (self.aircraft_m[place] - self.aircraft_m[place - 1]),
            self.cabin_m[place - 1] + part * (self.cabin_m[place] - self.cabin_m[place - 1]),
        )

    def differential_at(self, time_s: float) -> float:
        """Differential at a time.

        Parameters
        ----------
        time_s : float
            Time after lift-off, s.

        Returns
        -------
        float
            Differential, Pa.
        """
        aircraft, cabin = self.at(time_s)
        return differential(aircraft, cabin)


def fly(aircraft: Aircraft, plan: Plan, *, events: Sequence[Event] = (), belief: Belief | None = None) -> History:
    """Fly a plan.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    plan : Plan
        The flight.
    events : sequence of Event
        What fails and what the crew does on the way.
    belief : Belief, optional
        Wrong beliefs by which the cabin moves instead; none where it is computed as it is.

    Returns
    -------
    History
        From lift-off until a minute after the valves are open on the ground.

    Raises
    ------
    InputError
        `flight-plan`, `flight-event-unknown`: a plan that cannot be flown, an event that is none.
    OutOfRangeError
        A level above the schedule, a setting that the knob does not have, a cabin outside the atmosphere.

    Notes
    -----
    Relief heads are taken to hold exactly at the crack pressure, both ways. Valves of a dead controller close, and a
    dump empties the cabin, evenly in the times of the aircraft's file. In manual the crew is taken to keep to the
    controller's rates, up to the altitude limiters; they close an open valve, they do not stop a leak. Without inflow
    the largest allowed leak is taken, and by hand the differential alone moves the valve, as far as the aircraft's file
    says. As the relief heads hold below the differential warning, that one never sounds.
    """
    path = Trajectory(plan)
    cabin = Cabin(aircraft, plan, path, belief or Belief())
    end = path.touchdown_s + aircraft.pressurisation.touchdown_full_open + _AFTER_S
    waiting = sorted(_checked(events), key=lambda event: event.at_s)
    log = _Log(path)
    log.add(0.0, cabin.altitude)
    now = 0.0
    while now < end - _FINE_S:
        while waiting and waiting[0].at_s <= now + _FINE_S:
            cabin.happen(waiting.pop(0), now)
        cabin.turn(now)
        if cabin.altitude != log.cabin[-1]:
            log.add(now, cabin.altitude)
        log.mode(now, cabin.mode)
        bound = min(end, now + _SCAN_S, cabin.next_turn(now), waiting[0].at_s if waiting else end)
        now = _advance(cabin, now, max(bound, now + _FINE_S), log)
    return log.history(aircraft, cabin)


def _advance(cabin: Cabin, now: float, bound: float, log: _Log) -> float:
    """Move on under one rule, until it gives way to another or the bound is reached."""
    start, rule = cabin.step(now, _FINE_S)
    if abs(start - cabin.altitude) > _JUMP_M:
        cabin.move(start, now)
        log.add(now, start)
    span = min(bound - now, _LEAK_S) if rule == "leak" else bound - now
    altitude, found = cabin.step(now, span)
    if found != rule:
        low, high = 0.0, span
        while high - low > _FINE_S:
            middle = (low + high) / 2
            if cabin.step(now, middle)[1] == rule:
                low = middle
            else:
                high = middle
        # At least a moment under the rule that holds now: two rules that meet must not stop the clock.
        span = max(low, _FINE_S)
        altitude = cabin.step(now, span)[0]
    cabin.move(altitude, now + span)
    log.rule(now, rule)
    log.add(now + span, altitude)
    return now + span


class _Log:
    """Collects the points and the breaks."""

    def __init__(self, path: Trajectory) -> None:
        self.path = path
        self.times: list[float] = []
        self.cabin: list[float] = []
        self.breaks: list[Break] = []
        self.modes: list[Break] = []

    def add(self, at_s: float, cabin_m: float) -> None:
        """A point; the one before is dropped where all three lie on one straight line."""
        times, cabin = self.times, self.cabin
        if len(times) >= 2 and at_s > times[-1] > times[-2]:
            part = (times[-1] - times[-2]) / (at_s - times[-2])
            straight = cabin[-2] + part * (cabin_m - cabin[-2])
            aircraft = [self.path.altitude(time) for time in (times[-2], times[-1], at_s)]
            if abs(straight - cabin[-1]) < 0.003 and abs(
                aircraft[0] + part * (aircraft[2] - aircraft[0]) - aircraft[1]
            ) < 0.003:  # fmt: skip
                times.pop()
                cabin.pop()
        times.append(at_s)
        cabin.append(cabin_m)

    def rule(self, at_s: float, what: str) -> None:
        """Another rule moves the cabin from now on; one that lasts no time is none."""
        if self.breaks and at_s - self.breaks[-1].at_s < 0.01:
            self.breaks.pop()
        if not self.breaks or self.breaks[-1].what != what:
            self.breaks.append(Break(at_s, what))

    def mode(self, at_s: float, mode: Mode) -> None:
        """Another mode controls the cabin from now on."""
        if not self.modes or self.modes[-1].what != mode.value:
            self.modes.append(Break(at_s, mode.value))

    def history(self, aircraft: Aircraft, cabin: Cabin) -> History:
        """All of it."""
        aircraft_m = tuple(self.path.altitude(time) for time in self.times)
        flown = History(tuple(self.times), aircraft_m, tuple(self.cabin), tuple(self.breaks), tuple(self.modes), ())
        return replace(flown, warnings=tuple(_warnings(aircraft, cabin, flown, self.path)))


def _warnings(aircraft: Aircraft, cabin: Cabin, flown: History, path: Trajectory) -> list[Break]:
    """When the cabin altitude warning begins to sound and the masks drop, the first time each.

    Between two moments the cabin's line is straight and the threshold one number; at a moment the threshold may jump.
    """
    masks = aircraft.safety_altitudes.pax_mask_auto.nominal
    moments = sorted({*flown.time_s, *(at for at in cabin.changes() if at < flown.time_s[-1])})
    found: dict[str, float] = {}
    for start, end in zip(moments, moments[1:], strict=False):
        if end - start < _FINE_S:
            continue
        middle = (start + end) / 2
        begins, halfway = flown.at(start)[1], flown.at(middle)[1]
        ends = 2 * halfway - begins  # not where it may jump to at the end
        sounds = cabin.warning_at(middle, path.altitude(middle))
        for what, most in (("cabin altitude warning", sounds), ("automatic mask drop", masks)):
            if what in found or max(begins, ends) <= most + _JUST_M:
                continue
            found[what] = start if begins > most else start + (most - begins) / (ends - begins) * (end - start)
    return sorted(Break(at, what) for what, at in found.items())


def _checked(events: Sequence[Event]) -> list[Event]:
    for event in events:
        if event.what not in EVENTS:
            raise InputError(
                "flight-event-unknown",
                f"'{event.what}' is no event of a flight",
                where="events",
                mend=f"one of {', '.join(EVENTS)}",
            )
        if EVENTS[event.what] != (event.value is not None):
            needs = "needs a value" if EVENTS[event.what] else "takes no value"
            raise InputError("flight-event-unknown", f"'{event.what}' {needs}", where="events", mend="mend it")
        if not (math.isfinite(event.at_s) and event.at_s >= 0):
            raise InputError(
                "flight-event-unknown", f"'{event.what}' at {event.at_s} s", where="events", mend="after lift-off"
            )
    return list(events)

"""The flights of the Fault bench: a few prepared ones, flown by the aircraft's own numbers, failing on the way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.failures import State, evaluate
from quizsvc.aircraft.flight import Descent, Event, History, Plan, fly
from quizsvc.aircraft.flight_plan import Trajectory
from quizsvc.aircraft.instrument import cabin_gauge, dials
from quizsvc.aircraft.pressurisation import landing_setting
from quizsvc.aircraft.sections import Airfield
from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.units import format_quantity, to_si

__all__ = ["PHASES", "FlightView", "flown"]

PHASES: Mapping[str, str] = {"climb": "half way up", "cruise": "in cruise", "descent": "half way down"}
"""When it fails: word in the address, and words on the page."""

# How the bench flies: rates and times that any aircraft of this sort can keep, and that no rule hangs on.
_CLIMB_FPM, _DOWN_FPM, _SLOW_FPM = 1600.0, 2000.0, 1500.0
_CRUISE_MIN, _FAILS_MIN, _CREW_MIN, _LOOK_MIN = 25.0, 8.0, 5.0, 10.0
_MINUTE = 60.0
_LOW = 0.6  # of the ceiling: the low cruise
_SEEN_FT = 200.0  # from here on a disturbed cabin is drawn beside the undisturbed one


@dataclass(frozen=True)
class FlightView:
    """A flight as it went.

    `names` are those of all prepared flights; `words` say what happens; `plot` and `gauge` are picture descriptions,
    the gauge at `minute`, None where the cabin is beyond any atmosphere; `last` is the last minute.
    """

    names: tuple[str, ...]
    phases: tuple[tuple[str, str], ...]
    words: tuple[str, ...]
    plot: Mapping[str, Any]
    gauge: Mapping[str, Any] | None
    minute: int
    last: int
    reading: str


@dataclass(frozen=True)
class _Control:
    """Who controls the cabin in a state, and whether air comes in."""

    mode: str
    inflow: bool


def flown(
    aircraft: Aircraft, fail: Sequence[str], switches: Mapping[str, str], chosen: int, phase: str, minute: int | None
) -> FlightView | None:
    """Fly one of the prepared flights with its failures; None where the aircraft's file has no two airfields.

    Parameters
    ----------
    fail : sequence of str
        Nodes that fail.
    switches : mapping of str to str
        Where the crew puts the switches, some minutes after the failure.
    chosen : int
        Which flight, from 0.
    phase : str
        When it fails, a word of `PHASES`.
    minute : int or None
        When the instrument is read; None for some minutes after the failure.

    Raises
    ------
    InputError
        There is no such flight.
    """
    flights = _prepared(aircraft)
    if not flights:
        return None
    if not 0 <= chosen < len(flights):
        raise InputError(
            "bench-name-unknown", f"there is no flight {chosen}", where="the address", mend="choose on the bench's page"
        )
    name, plan = flights[chosen]
    path = Trajectory(plan)
    fails_s = {
        "climb": path.top_s / 2,
        "cruise": path.top_s + _FAILS_MIN * _MINUTE,
        "descent": (path.descent_s + path.touchdown_s) / 2,
    }[phase]
    moves_s = fails_s + _CREW_MIN * _MINUTE
    events = _events(aircraft, fail, switches, fails_s, moves_s)
    history = fly(aircraft, plan, events=events)
    last = math.ceil(history.time_s[-1] / _MINUTE)
    looked = fails_s / _MINUTE + _LOOK_MIN if minute is None else float(minute)
    at = min(last, max(0, round(looked)))
    return FlightView(
        names=tuple(flight for flight, _ in flights),
        phases=tuple(PHASES.items()),
        words=_words(aircraft, fail, switches, history, fails_s, moves_s),
        plot=_plot(aircraft, plan, history, fail, switches, fails_s, moves_s, name),
        gauge=_gauge(aircraft, history, at),
        minute=at,
        last=last,
        reading=_reading(history, at),
    )


def _prepared(aircraft: Aircraft) -> list[tuple[str, Plan]]:
    """From the home base to a middle and to the highest field, back from there, and low."""
    fields = sorted(aircraft.airfields, key=lambda field: field.elevation_m)
    if len(fields) < 2:
        return []
    home, highest, middle = aircraft.airfields[0], fields[-1], fields[len(fields) // 2]
    ceiling = min(aircraft.pressurisation.ceiling, aircraft.pressurisation.schedule[-1][0])
    level = to_si(1000.0, "ft")
    low = math.floor(ceiling * _LOW / level) * level
    wanted = [(home, middle, ceiling), (home, highest, ceiling), (highest, home, ceiling), (home, fields[0], low)]
    found: dict[str, Plan] = {}
    for start, end, cruise in wanted:
        plan = _plan(aircraft, start, end, cruise)
        try:
            landing_setting(aircraft, end.elevation_m)
            Trajectory(plan)
        except InputError:
            continue
        if start != end:
            found[f"{start.name} to {end.name}, {format_quantity(cruise, 'FL', 0)}"] = plan
    return list(found.items())


def _plan(aircraft: Aircraft, start: Airfield, end: Airfield, cruise_m: float) -> Plan:
    climb, down, slow = (to_si(rate, "fpm") for rate in (_CLIMB_FPM, _DOWN_FPM, _SLOW_FPM))
    top_s = (cruise_m - start.elevation_m) / climb
    gate = aircraft.high_field.gate_aircraft_below if aircraft.high_field else end.elevation_m
    legs: tuple[Descent, ...] = (Descent(None, slow),)
    if end.elevation_m < gate < cruise_m:
        legs = (Descent(gate, down), Descent(None, slow))
    return Plan(start.elevation_m, end.elevation_m, cruise_m, climb, top_s + _CRUISE_MIN * _MINUTE, legs)


def _events(
    aircraft: Aircraft, fail: Sequence[str], switches: Mapping[str, str], fails_s: float, moves_s: float
) -> list[Event]:
    """What the graph's states mean for the cabin, by the parts that the aircraft's file names."""
    before = _control(aircraft, (), {})
    failed, moved = _control(aircraft, fail, {}), _control(aircraft, fail, switches)
    return [*_between(before, failed, fails_s), *_between(failed, moved, moves_s)]


def _control(aircraft: Aircraft, fail: Sequence[str], switches: Mapping[str, str]) -> _Control:
    roles, state = aircraft.roles, evaluate(aircraft.graph, fail, switches)
    if roles is None:
        return _Control("automatic", True)
    chosen = evaluate(aircraft.graph, (), switches)
    inflow = _works(state, roles.inflow)
    if _works(state, roles.automatic):
        return _Control("automatic", inflow)
    if roles.crew_target is not None and _works(state, roles.crew_target):
        return _Control("crew target", inflow)
    # By switch alone neither is on: the crew has chosen manual.
    by_hand = not _works(chosen, roles.automatic) and not (roles.crew_target and _works(chosen, roles.crew_target))
    if by_hand and _works(state, roles.manual):
        return _Control("manual", inflow)
    return _Control("dead", inflow)


def _works(state: State, node: str | None) -> bool:
    return node is None or node in state.works


def _between(one: _Control, other: _Control, at_s: float) -> list[Event]:
    words = {
        "automatic": "air data back",
        "crew target": "air data lost",
        "manual": "manual hold",
        "dead": "controller dead",
    }
    found = [Event(at_s, words[other.mode])] if one.mode != other.mode else []
    if one.inflow != other.inflow:
        found.append(Event(at_s, "inflow back" if other.inflow else "inflow lost"))
    return found


def _words(
    aircraft: Aircraft,
    fail: Sequence[str],
    switches: Mapping[str, str],
    history: History,
    fails_s: float,
    moves_s: float,
) -> tuple[str, ...]:
    """What happens when, in sentences, in the order of time."""
    words: list[tuple[float, str]] = []
    if fail:
        words.append((fails_s, f"It fails at minute {fails_s / _MINUTE:.0f}."))
    if switches:
        words.append((moves_s, f"The crew moves the switches at minute {moves_s / _MINUTE:.0f}."))
    for mode in history.modes[1:]:
        if mode.what in _MODES:
            words.append((mode.at_s, f"Minute {mode.at_s / _MINUTE:.1f}: {_MODES[mode.what]}."))
    roles = aircraft.roles
    state = evaluate(aircraft.graph, fail, switches)
    for warning in history.warnings:
        altitude = history.at(warning.at_s)[1]
        node = None if roles is None else roles.masks if "mask" in warning.what else roles.warning
        minute, shown = warning.at_s / _MINUTE, format_quantity(altitude, "ft", -2)
        named = aircraft.nodes[node].name.partition(" (")[0] if node else warning.what
        does = "comes" if _works(state, node) else "does not come: it is lost"
        words.append((warning.at_s, f"Minute {minute:.1f}, cabin at {shown}: the {named} {does}."))
    return tuple(text for _, text in sorted(words, key=lambda entry: round(entry[0]))) or ("Nothing fails.",)


_MODES: Mapping[str, str] = {
    "automatic": "the automatic control is back",
    "crew target": "the cabin is held for the crew's target",
    "controller dead": "the controller is dead and the valves close",
    "manual": "the crew controls by hand and holds",
}


def _plot(
    aircraft: Aircraft,
    plan: Plan,
    history: History,
    fail: Sequence[str],
    switches: Mapping[str, str],
    fails_s: float,
    moves_s: float,
    name: str,
) -> dict[str, Any]:
    """Cabin and aircraft, the cabin as it would have gone where that is another, and what happens when."""
    calm = fly(aircraft, plan)
    lines = [{"id": "cabin", "label": "cabin", "style": "cabin", "points": _points(history, history.cabin_m)}]
    seen = to_si(_SEEN_FT, "ft")
    if any(abs(history.at(at)[1] - calm.at(at)[1]) > seen for at in history.time_s):
        lines.append({"id": "calm", "label": "undisturbed", "style": "other", "points": _points(calm, calm.cabin_m)})
    lines.append(
        {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": _points(history, history.aircraft_m)}
    )
    marks = [{"at": round(fails_s / _MINUTE, 1), "label": "it fails"}] if fail else []
    if switches:
        marks.append({"at": round(moves_s / _MINUTE, 1), "label": "switches"})
    return {"type": "profile", "title": name, "lines": lines, "marks": marks}


def _points(history: History, line: Sequence[float]) -> list[list[float]]:
    foot = to_si(1.0, "ft")
    return [
        [round(at / _MINUTE, 3), round(altitude / foot, 1)] for at, altitude in zip(history.time_s, line, strict=True)
    ]


def _gauge(aircraft: Aircraft, history: History, minute: int) -> dict[str, Any] | None:
    """The instrument; a pointer that would leave its scale rests at the end, as in the aircraft."""
    at = minute * _MINUTE
    found = dials(aircraft)
    try:
        values = {"cabin": history.at(at)[1], "differential": history.differential_at(at)}
    except OutOfRangeError:
        return None
    for key, dial in found.items():
        values[key] = min(max(values[key], dial.low / dial.per_si), dial.high / dial.per_si)
    return cabin_gauge(aircraft, values["cabin"], values["differential"])


def _reading(history: History, minute: int) -> str:
    level, cabin = history.at(minute * _MINUTE)
    words = f"Aircraft at {format_quantity(level, 'ft', -2)}, cabin at {format_quantity(cabin, 'ft', -2)}"
    try:
        return f"{words}, differential {format_quantity(history.differential_at(minute * _MINUTE), 'psi', 1)}."
    except OutOfRangeError:
        return f"{words}."

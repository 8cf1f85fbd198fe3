"""The flights of a handbook's figures: flown by the aircraft's own numbers, from and to fields of its file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from quizsvc.aircraft.diagram import short_name
from quizsvc.aircraft.flight import Descent, Event, History, Plan, fly
from quizsvc.aircraft.flight_plan import Trajectory
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.pressurisation import hold_end, landing_setting
from quizsvc.aircraft.sections import Airfield
from quizsvc.physics.units import format_quantity, to_si

__all__ = ["flight", "high_field", "leak"]

# Rates and times that any aircraft of this sort can keep, and that no rule hangs on.
_CLIMB_FPM, _DOWN_FPM = 1600.0, 1500.0
_CRUISE_MIN, _LEAK_AFTER_MIN, _LEAK_SHOWN_MIN = 20.0, 5.0, 8.0
_MINUTE = 60.0


def flight(aircraft: Aircraft) -> tuple[str, str, dict[str, Any]] | None:
    """A whole flight to a normal field, from one with a departure hold.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.

    Returns
    -------
    tuple or None
        Title, caption and picture description of type `profile`; None without a field that has a departure hold.

    Raises
    ------
    InputError
        The flight cannot be flown.
    """
    p = aircraft.pressurisation
    held = [
        field
        for field in aircraft.airfields
        if field.elevation_m <= p.departure_hold.max_field and not _is_high(aircraft, field)
    ]
    if not held:
        return None
    end = held[0]
    away = sorted(held[1:], key=lambda field: field.elevation_m)
    start = away[len(away) // 2] if away else end
    plan = _plan(aircraft, start, end)
    path, history = Trajectory(plan), fly(aircraft, plan)
    hold = hold_end(aircraft, start.elevation_m)
    marks = [(path.top_s, "level"), (path.descent_s, "descent"), (path.touchdown_s, "touchdown")]
    waits = ""
    if start.elevation_m < hold < plan.cruise_m:
        marks.insert(0, ((hold - start.elevation_m) / plan.climb_m_s, "hold ends"))
        waits = f"waits at the departure field up to {format_quantity(hold, 'ft', -2)}, "
    caption = (
        f"{_between(start, end)}, {_flown(plan)}. The cabin {waits}climbs with the schedule, stands in cruise and "
        f"sinks at up to {_rate(p.cabin_down_limit)} to the landing target."
    )
    return "The cabin on a flight", caption, _profile(history, marks)


def high_field(aircraft: Aircraft) -> tuple[str, str, dict[str, Any]] | None:
    """A flight to the highest field: the cabin waits for the gate, then climbs.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.

    Returns
    -------
    tuple or None
        As `flight`; None where the file has no such regime, or no field that is in it.

    Raises
    ------
    InputError
        The flight cannot be flown.
    """
    regime = aircraft.high_field
    high = [field for field in aircraft.airfields if _is_high(aircraft, field)]
    if regime is None or not high or len(aircraft.airfields) < 2:
        return None
    end = max(high, key=lambda field: field.elevation_m)
    start = next(field for field in aircraft.airfields if field != end)
    plan = _plan(aircraft, start, end)
    path, history = Trajectory(plan), fly(aircraft, plan)
    gate = regime.gate_aircraft_below
    down = [at for at in path.passes(gate) if at >= path.descent_s]
    marks = [(path.descent_s, "descent"), *((at, f"gate {format_quantity(gate, 'FL', 0)}") for at in down[:1])]
    caption = (
        f"{_between(start, end)}, {_flown(plan)}. The cabin waits at its cruise value until the gate, then climbs at "
        f"up to {_rate(aircraft.pressurisation.cabin_up_limit)} to the target above the field."
    )
    return "To a high field", caption, _profile(history, [*marks, (path.touchdown_s, "touchdown")])


def leak(aircraft: Aircraft) -> tuple[str, str, dict[str, Any]] | None:
    """The minutes after the last inflow is lost in cruise.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.

    Returns
    -------
    tuple or None
        As `flight`; None without an airfield.

    Raises
    ------
    InputError
        The flight cannot be flown.
    """
    if not aircraft.airfields:
        return None
    home = aircraft.airfields[0]
    plan = _plan(aircraft, home, home)
    lost = Trajectory(plan).top_s + _LEAK_AFTER_MIN * _MINUTE
    until = lost + _LEAK_SHOWN_MIN * _MINUTE
    history = fly(aircraft, plan, events=[Event(lost, "inflow lost")])
    words = {"cabin altitude warning": _role(aircraft, "warning"), "automatic mask drop": _role(aircraft, "masks")}
    marks = [
        (warning.at_s, words.get(warning.what, warning.what))
        for warning in history.warnings
        if lost <= warning.at_s <= until
    ]
    caption = (
        f"No air comes in at minute 0, at {format_quantity(plan.cruise_m, 'FL', 0)} with the largest leak allowed. The "
        f"cabin climbs fastest at first; the marks are its thresholds."
    )
    return "The cabin with no inflow", caption, _profile(history, marks, lost, until)


def _is_high(aircraft: Aircraft, field: Airfield) -> bool:
    """Whether the knob, set to the field, arms the high-field regime."""
    regime = aircraft.high_field
    return regime is not None and landing_setting(aircraft, field.elevation_m) > regime.switch_ldg_above + 1e-6


def _plan(aircraft: Aircraft, start: Airfield, end: Airfield) -> Plan:
    cruise = min(aircraft.pressurisation.ceiling, aircraft.pressurisation.schedule[-1][0])
    climb = to_si(_CLIMB_FPM, "fpm")
    until = (cruise - start.elevation_m) / climb + _CRUISE_MIN * _MINUTE
    return Plan(start.elevation_m, end.elevation_m, cruise, climb, until, (Descent(None, to_si(_DOWN_FPM, "fpm")),))


def _between(start: Airfield, end: Airfield) -> str:
    fields = [f"{field.name} ({format_quantity(field.elevation_m, 'ft', 0)})" for field in (start, end)]
    return " to ".join(fields) if start != end else f"{fields[0]} and back"


def _flown(plan: Plan) -> str:
    return (
        f"{format_quantity(plan.cruise_m, 'FL', 0)}, up at {_rate(plan.climb_m_s)}, down at "
        f"{_rate(plan.descent[0].rate_m_s)}"
    )


def _rate(metres_a_second: float) -> str:
    return format_quantity(metres_a_second, "fpm", 0)


def _role(aircraft: Aircraft, role: str) -> str:
    """The aircraft's own name of what plays a part, else the part's."""
    node = getattr(aircraft.roles, role, None)
    return short_name(aircraft.graph, node) if node else role


def _profile(
    history: History, marks: Sequence[tuple[float, str]], begin_s: float = 0.0, end_s: float | None = None
) -> dict[str, Any]:
    """Cabin and aircraft between two moments, counted from the first."""
    end = history.time_s[-1] if end_s is None else end_s
    inside = [begin_s, *(at for at in history.time_s if begin_s < at < end), end]
    foot = to_si(1.0, "ft")
    lines = [
        {
            "id": key,
            "label": key,
            "style": key,
            "points": [[round((at - begin_s) / _MINUTE, 3), round(history.at(at)[place] / foot, 1)] for at in inside],
        }
        for place, key in ((1, "cabin"), (0, "aircraft"))
    ]
    shown = [{"at": round((at - begin_s) / _MINUTE, 2), "label": label} for at, label in marks]
    return {"type": "profile", "lines": lines, "marks": shown}

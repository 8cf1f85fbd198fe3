"""The figures that a handbook may show, drawn from the aircraft's own file: no number of them is typed.

What is returned holds a picture description (`quizsvc.pictures`): JSON-able, in the units that people read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft import handbook_flights
from quizsvc.aircraft.diagram import edges_between, node_kind, node_state, short_name
from quizsvc.aircraft.failures import evaluate
from quizsvc.aircraft.instrument import cabin_gauge
from quizsvc.aircraft.model import Aircraft
from quizsvc.aircraft.needs import named_in
from quizsvc.aircraft.pressurisation import cabin_altitude, differential, highest_altitude, schedule
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, from_si, to_si

__all__ = ["FIGURES", "Figure", "figure"]

_COLUMNS = 3
_STEPS = 12  # parts of a line that is no straight one


@dataclass(frozen=True)
class Figure:
    """A figure's name, title, caption and picture description."""

    name: str
    title: str
    caption: str
    picture: Mapping[str, Any]


def figure(aircraft: Aircraft, name: str) -> Figure | None:
    """One figure of an aircraft.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    name : str
        A name of `FIGURES`.

    Returns
    -------
    Figure or None
        None where the aircraft's file lacks what the figure is drawn from.

    Raises
    ------
    KeyError
        There is no figure of that name.
    """
    try:
        found = FIGURES[name][0](aircraft)
    except InputError:
        # A file may describe a flight that cannot be flown, or a number off every dial.
        return None
    if found is None:
        return None
    title, caption, picture = found
    return Figure(name, title, caption, {"title": title, **picture})


Drawn = tuple[str, str, dict[str, Any]]


def _schedule(aircraft: Aircraft) -> Drawn:
    p = aircraft.pressurisation
    rows = p.schedule
    lowest, top = rows[0][1], rows[-1][0]
    # Below its first row the schedule stands still; further down than its own cabin no aircraft would be pressurised.
    corners = [(lowest, lowest), *rows] if lowest < rows[0][0] else list(rows)
    start = highest_altitude(lowest, p.diff_control_limit)
    lines = [_line("schedule", "schedule", [(_level(a), _feet(c)) for a, c in corners])]
    limit = format_quantity(p.diff_control_limit, "psi", 1)
    ends = f"{format_quantity(rows[0][0], 'FL', 0)} to {format_quantity(top, 'FL', 0)}"
    caption = f"Cabin altitude by the automatic schedule, {ends}."
    if start < top:
        levels = [start + (top - start) * part / _STEPS for part in range(_STEPS + 1)]
        points = [(_level(level), _feet(cabin_altitude(level, p.diff_control_limit))) for level in levels]
        lines.append(_line("limit", limit, points))
        caption += f" The second line is the lowest cabin that {limit} allows; the room between is what is left to it."
    return "Cabin altitude against level", caption, _curve("aircraft, FL", "cabin, ft", lines)


def _gauge(aircraft: Aircraft) -> Drawn:
    p, safety = aircraft.pressurisation, aircraft.safety_altitudes
    top = p.schedule[-1][0]
    cabin = schedule(aircraft, top)
    caption = (
        f"In cruise at {format_quantity(top, 'FL', 0)} on the schedule. Outer scale and long pointer: cabin altitude, "
        f"amber from the warning at {format_quantity(safety.cab_alt_warn, 'ft', 0)}. Inner scale and short pointer: "
        f"differential, amber from {format_quantity(p.warn_diff, 'psi', 1)}, red from "
        f"{format_quantity(p.red_line_diff, 'psi', 1)}."
    )
    gauge = cabin_gauge(aircraft, cabin, differential(top, cabin), readings=True)
    # As finely as an eye reads a dial.
    dials = [{**dial, "value": round(dial["value"], 1)} for dial in gauge["dials"]]
    return "The cabin gauge", caption, {**gauge, "dials": dials}


def _feeding(aircraft: Aircraft) -> tuple[list[str], list[str]]:
    """The buses, and what feeds them at any remove, in the order of the file."""
    graph = aircraft.graph
    buses = [key for key in graph.nodes if node_kind(graph, key) == "bus"]
    found, waiting = set(buses), list(buses)
    while waiting:
        for need in named_in(graph.nodes[waiting.pop()].needs):
            if need not in found:
                found.add(need)
                waiting.append(need)
    return buses, [key for key in graph.nodes if key in found and key not in buses]


def _tree(aircraft: Aircraft, keys: set[str], feeding: set[str]) -> dict[str, Any]:
    graph = aircraft.graph
    state = evaluate(graph, (), {})

    def kind(key: str) -> str:
        return "source" if key in feeding else node_kind(graph, key)

    order = [key for key in graph.nodes if key in keys]
    return {
        "type": "graph",
        "columns": _COLUMNS,
        "feeds": True,
        "nodes": [
            {"id": key, "name": short_name(graph, key), "state": node_state(state, key, ()), "kind": kind(key)}
            for key in order
        ],
        "edges": edges_between(graph, order),
    }


def _power(aircraft: Aircraft) -> Drawn | None:
    buses, feeding = _feeding(aircraft)
    if not buses:
        return None
    caption = (
        f"{_named(aircraft, buses)}, and what stands behind each, with nothing failed. A plain line has to live. A "
        f"dashed line belongs to one way of several: one whole way is enough."
    )
    return "Where the buses get their power", caption, _tree(aircraft, {*buses, *feeding}, set(feeding))


def _loads(aircraft: Aircraft) -> Drawn | None:
    buses, feeding = _feeding(aircraft)
    if not buses:
        return None
    loads = {key for key, node in aircraft.nodes.items() if node.bus in buses}
    caption = f"What dies with each bus. {len(loads)} parts draw their power from {_named(aircraft, buses)}."
    return "What sits on which bus", caption, _tree(aircraft, {*buses, *loads}, set(feeding))


def _bleed(aircraft: Aircraft) -> Drawn | None:
    bleed = aircraft.bleed
    if bleed is None:
        return None
    ceiling, one, emer = (
        format_quantity(level, "FL", 0)
        for level in (aircraft.pressurisation.ceiling, bleed.single_source_max, bleed.emer_max)
    )
    each, emergency = (from_si(flow, "lb/min") for flow in (bleed.flow_each, bleed.flow_emer))
    rows = [
        {"label": f"both sources, up to {ceiling}", "value": _round(2 * each)},
        {"label": f"one source, up to {one}", "value": _round(each)},
        {"label": f"emergency pressurisation, up to {emer}", "value": _round(emergency)},
    ]
    caption = "Air into the cabin by source, with the highest level at which it holds the cabin."
    return "Air flow by source", caption, {"type": "bars", "unit": "lb/min", "rows": rows}


def _oxygen(aircraft: Aircraft) -> Drawn | None:
    oxygen = aircraft.oxygen
    if oxygen is None:
        return None
    lines = [
        _line(key, label, [(from_si(row.cabin, "ft") / 1000, from_si(row.flow, "L/min")) for row in rows])
        for key, label, rows in (("pure", "100 %", oxygen.crew_100pct), ("mixed", "NORM", oxygen.crew_norm))
        if len(rows) > 1
    ]
    if not lines:
        return None
    ends = [
        f"{line['label']} from {low[1]:.1f} L/min at {1000 * low[0]:,.0f} ft "
        f"to {high[1]:.1f} at {1000 * high[0]:,.0f} ft"
        for line in lines
        for low, high in [(line["points"][0], line["points"][-1])]
    ]
    caption = f"Flow from the bottle for one crew mask: {'; '.join(ends)}."
    return "Oxygen flow against cabin altitude", caption, _curve("cabin, 1,000 ft", "L/min", lines)


def _named(aircraft: Aircraft, keys: list[str]) -> str:
    names = [short_name(aircraft.graph, key) for key in keys]
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _curve(x: str, y: str, lines: list[dict[str, Any]]) -> dict[str, Any]:
    return {"type": "curve", "x": x, "y": y, "lines": lines}


def _line(key: str, label: str, points: list[tuple[float, float]]) -> dict[str, Any]:
    return {"id": key, "label": label, "points": [[round(x, 4), round(y, 2)] for x, y in points]}


def _feet(altitude_m: float) -> float:
    return altitude_m / to_si(1.0, "ft")


def _level(altitude_m: float) -> float:
    return _feet(altitude_m) / 100.0


def _round(value: float) -> float:
    return float(f"{value:.6g}")


FIGURES: Mapping[str, tuple[Callable[[Aircraft], Drawn | None], str]] = {
    "schedule": (_schedule, "`pressurisation`"),
    "flight": (handbook_flights.flight, "an airfield with a departure hold"),
    "high-field": (handbook_flights.high_field, "`high_field` and an airfield above its switch"),
    "gauge": (_gauge, "`pressurisation`"),
    "power": (_power, "`nodes` with a bus"),
    "loads": (_loads, "`nodes` with a bus"),
    "bleed": (_bleed, "`bleed`"),
    "leak": (handbook_flights.leak, "an airfield"),
    "oxygen": (_oxygen, "`oxygen` with a table of crew flows"),
}
"""By name: what draws it, and what of the aircraft's file it needs."""

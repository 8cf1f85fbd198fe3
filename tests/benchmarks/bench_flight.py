"""A flight of one, two and four hours, calm and with failures, against `scipy.integrate.solve_ivp` of the same cabin.

The peer integrates the same rate-limited cabin, d(cabin)/dt towards what the schedule or the landing target asks for,
with steps of at most 10 s (longer ones step over the corners) and a relative tolerance of 1e-6.
"""

from __future__ import annotations

from functools import partial

from scipy.integrate import solve_ivp

from quizsvc.aircraft.flight import Descent, Event, Plan, fly
from quizsvc.aircraft.flight_plan import Trajectory
from quizsvc.aircraft.pressurisation import landing_target, schedule
from quizsvc.pictures import draw
from tests.aircraft.files import TOLQUENNY, aircraft_of
from tests.benchmarks import Row, best_seconds

FT, FPM, HOUR = 0.3048, 0.3048 / 60, 3600.0
AIRCRAFT = aircraft_of(TOLQUENNY)


def plan(hours: float) -> Plan:
    """Dunquerry to Tarn Ebbick at FL390; the descent takes 22 minutes of it."""
    until = hours * HOUR - 36763 * FT / (1700 * FPM)
    return Plan(412 * FT, 2237 * FT, 39000 * FT, 1600 * FPM, until, (Descent(None, 1700 * FPM),))


def integrated(flight: Plan) -> object:
    """The same cabin by a general solver."""
    path, p = Trajectory(flight), AIRCRAFT.pressurisation
    target, sensed = landing_target(AIRCRAFT, flight.to_m), path.falls_below(p.descent_leg.below_highest, 0.0)

    def rate(at: float, y: list[float]) -> list[float]:
        level = path.altitude(at)
        wanted = target if at > sensed + p.descent_leg.for_ else max(flight.from_m, schedule(AIRCRAFT, level))
        return [min(p.cabin_up_limit, max(-p.cabin_down_limit, (wanted - y[0]) / 2.0))]

    return solve_ivp(rate, (0.0, path.touchdown_s), [flight.from_m], max_step=10.0, rtol=1e-6)


def picture(flight: Plan) -> str:
    """The plot of a flight, drawn."""
    history = fly(AIRCRAFT, flight)
    points = [[at / 60, cabin / FT] for at, cabin in zip(history.time_s, history.cabin_m, strict=True)]
    levels = [[at / 60, level / FT] for at, level in zip(history.time_s, history.aircraft_m, strict=True)]
    return draw(
        {
            "type": "profile",
            "title": "A",
            "lines": [
                {"id": "cabin", "label": "cabin", "style": "cabin", "points": points},
                {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": levels},
            ],
        }
    )


def run() -> list[Row]:
    """Flights, their growth, and the solver."""
    leak = [Event(0.75 * HOUR, "inflow lost")]
    dead = [Event(0.75 * HOUR, "controller dead")]
    one = best_seconds(partial(fly, AIRCRAFT, plan(1)))
    two = best_seconds(partial(fly, AIRCRAFT, plan(2)))
    four = best_seconds(partial(fly, AIRCRAFT, plan(4)))
    leaking = best_seconds(partial(fly, AIRCRAFT, plan(2), events=leak))
    sinking = best_seconds(partial(fly, AIRCRAFT, plan(2), events=dead))
    solver = best_seconds(partial(integrated, plan(2)), repeats=3)
    drawn = best_seconds(partial(picture, plan(2)))
    return [
        Row("flight of one hour", one * 1e3, "ms"),
        Row("flight of two hours, against one", two * 1e3, "ms", two / one, "at most 2.5"),
        Row("flight of four hours, against one", four * 1e3, "ms", four / one, "at most 5"),
        Row("two hours, inflow lost, against calm", leaking * 1e3, "ms", leaking / two, "at most 6"),
        Row("two hours, controller dead, against calm", sinking * 1e3, "ms", sinking / two, "at most 3"),
        Row("solve_ivp of two hours, against ours", solver * 1e3, "ms", solver / two, "at least 5"),
        Row("two hours flown and drawn, against flown", drawn * 1e3, "ms", drawn / two, "at most 4"),
    ]

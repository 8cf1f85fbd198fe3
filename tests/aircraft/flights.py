"""Flights in the units in which people say them, for the tests."""

from __future__ import annotations

from quizsvc.aircraft.flight import Descent, History, Plan
from tests.aircraft.files import TOLQUENNY, aircraft_of

FT, FPM, MIN, PSI = 0.3048, 0.3048 / 60.0, 60.0, 6894.757293168
AIRCRAFT = aircraft_of(TOLQUENNY)
DUNQUERRY, VARREL, SINK, EBBICK, TALLAY, KARSK, QUENNA, ORRIN = 412, 23, -168, 2237, 4764, 7215, 8483, 10641
STRAIGHT_DOWN = ((None, 2000),)


def plan(
    from_ft: float = DUNQUERRY,
    to_ft: float = DUNQUERRY,
    cruise_ft: float = 39000,
    climb_fpm: float = 1600,
    until_min: float = 60,
    descent: tuple[tuple[float | None, float], ...] = STRAIGHT_DOWN,
    setting_ft: float | None = None,
) -> Plan:
    """A plan in ft, ft/min and minutes."""
    legs = tuple(Descent(None if to is None else to * FT, rate * FPM) for to, rate in descent)
    return Plan(
        from_ft * FT, to_ft * FT, cruise_ft * FT, climb_fpm * FPM, until_min * MIN, legs,
        None if setting_ft is None else setting_ft * FT,
    )  # fmt: skip


def cabin_ft(history: History, minute: float) -> float:
    """The cabin's altitude, ft, at a minute."""
    return history.at(minute * MIN)[1] / FT


def first(history: History, what: str) -> tuple[float, float]:
    """Minute and cabin altitude, ft, of the first break, mode or warning of a name."""
    every = sorted([*history.breaks, *history.modes, *history.warnings])
    at = next(one.at_s for one in every if one.what == what)
    return at / MIN, history.at(at)[1] / FT


S07 = plan(to_ft=ORRIN, descent=((23000, 2000), (None, 1500)))
"""The flight of S07 in domain/items.md: Dunquerry to Sant Orrin."""

"""The kinds of item, by name: a new one is a class in a file of its own and a line here."""

from __future__ import annotations

from quizsvc.bank.kinds.base import Kind
from quizsvc.bank.kinds.choice import One, Some
from quizsvc.bank.kinds.gauge import Gauge
from quizsvc.bank.kinds.match import Match
from quizsvc.bank.kinds.number import Number
from quizsvc.bank.kinds.order import Order
from quizsvc.bank.kinds.profile import Profile
from quizsvc.bank.kinds.say import Say
from quizsvc.bank.kinds.scenario import Scenario
from quizsvc.bank.kinds.still_works import StillWorks

__all__ = ["KINDS"]

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        One(),
        Some(),
        Order(),
        Match(),
        Number(),
        Gauge(),
        Profile(),
        StillWorks(),
        Scenario(),
        Say(),
    )
}

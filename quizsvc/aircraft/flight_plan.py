"""Where the aircraft is: a plan of a flight, and its altitude over time."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

from quizsvc.errors import InputError, OutOfRangeError
from quizsvc.physics.units import format_quantity

__all__ = ["Descent", "Plan", "Trajectory"]


@dataclass(frozen=True)
class Descent:
    """A part of the descent: down to an altitude, m, or with None to the field, at a rate, m/s."""

    to_m: float | None
    rate_m_s: float


@dataclass(frozen=True)
class Plan:
    """A flight as a crew plans it, SI.

    Parameters
    ----------
    from_m, to_m : float
        Elevations of the fields, m.
    cruise_m : float
        Cruising level, m.
    climb_m_s : float
        Rate of climb, m/s.
    cruise_until_s : float
        Top of descent, s after lift-off.
    descent : tuple of Descent
        From the top down; the last one leads to the field.
    setting_m : float or None
        Landing field setting, m; the step nearest to the field's elevation where none is given.
    """

    from_m: float
    to_m: float
    cruise_m: float
    climb_m_s: float
    cruise_until_s: float
    descent: tuple[Descent, ...]
    setting_m: float | None = None


class Trajectory:
    """The aircraft's altitude over time: straight lines from lift-off to touchdown, then the field.

    Parameters
    ----------
    plan : Plan
        The flight.

    Raises
    ------
    InputError
        `flight-plan`: it cannot be flown as it stands, and why.
    """

    def __init__(self, plan: Plan) -> None:
        _check(plan)
        corners = [(0.0, plan.from_m)]
        top_s = (plan.cruise_m - plan.from_m) / plan.climb_m_s
        if top_s > plan.cruise_until_s:
            raise _unflyable(
                f"the climb to {_feet(plan.cruise_m)} takes {top_s / 60:.1f} min, which is after the top of descent",
                "let the cruise last longer",
            )
        corners.append((top_s, plan.cruise_m))
        self.top_s, self.descent_s = top_s, plan.cruise_until_s
        if plan.cruise_until_s > top_s:
            corners.append((plan.cruise_until_s, plan.cruise_m))
        for leg in plan.descent:
            at, level = corners[-1]
            below = plan.to_m if leg.to_m is None else leg.to_m
            if not plan.to_m <= below <= level:
                raise _unflyable(f"a descent from {_feet(level)} to {_feet(below)}", "let each part lead further down")
            if below < level:
                corners.append((at + (level - below) / leg.rate_m_s, below))
        if corners[-1][1] != plan.to_m:
            raise _unflyable(f"the descent ends at {_feet(corners[-1][1])}", "let its last part lead to the field")
        self.corners = tuple(corners)
        self.touchdown_s = corners[-1][0]
        self._times = [at for at, _ in corners]

    def altitude(self, at_s: float) -> float:
        """The aircraft's pressure altitude.

        Parameters
        ----------
        at_s : float
            Time after lift-off, s.

        Returns
        -------
        float
            Altitude, m; after touchdown that of the field.
        """
        place = bisect_right(self._times, at_s)
        if place >= len(self.corners):
            return self.corners[-1][1]
        (t0, h0), (t1, h1) = self.corners[max(place, 1) - 1], self.corners[max(place, 1)]
        return h0 + (h1 - h0) * (at_s - t0) / (t1 - t0)

    def passes(self, altitude_m: float) -> list[float]:
        """When the aircraft passes an altitude, up or down.

        Parameters
        ----------
        altitude_m : float
            Pressure altitude, m.

        Returns
        -------
        list of float
            Times, s.
        """
        found = []
        for (t0, h0), (t1, h1) in zip(self.corners, self.corners[1:], strict=False):
            if min(h0, h1) < altitude_m < max(h0, h1) or (altitude_m == h1 != h0):
                found.append(t0 + (altitude_m - h0) * (t1 - t0) / (h1 - h0))
        return found

    def highest(self, from_s: float, to_s: float) -> float:
        """The highest altitude between two times.

        Parameters
        ----------
        from_s, to_s : float
            Times, s.

        Returns
        -------
        float
            Altitude, m.
        """
        inside = [h for t, h in self.corners if from_s < t < to_s]
        return max(self.altitude(from_s), self.altitude(to_s), *inside)

    def falls_below(self, drop_m: float, from_s: float) -> float:
        """When the aircraft is first so far below its highest altitude since a time.

        Parameters
        ----------
        drop_m : float
            How far, m.
        from_s : float
            Since when, s.

        Returns
        -------
        float
            Time, s; infinite where it never is.
        """
        highest = self.altitude(from_s)
        for (t0, h0), (t1, h1) in zip(self.corners, self.corners[1:], strict=False):
            if t1 <= from_s:
                continue
            highest = max(highest, h0) if t0 >= from_s else highest
            if h1 < h0 and h1 <= highest - drop_m:
                return max(from_s, t0 + (h0 - (highest - drop_m)) * (t1 - t0) / (h0 - h1))
            highest = max(highest, h1)
        return math.inf


def _check(plan: Plan) -> None:
    numbers = [plan.from_m, plan.to_m, plan.cruise_m, plan.climb_m_s, plan.cruise_until_s]
    numbers += [leg.rate_m_s for leg in plan.descent] + [leg.to_m for leg in plan.descent if leg.to_m is not None]
    if not all(math.isfinite(number) for number in numbers):
        raise OutOfRangeError("flight-plan", "a number of the flight is not finite", mend="give plain numbers")
    if plan.climb_m_s <= 0 or any(leg.rate_m_s <= 0 for leg in plan.descent):
        raise _unflyable("a rate of climb or descent that is not above zero", "give rates as positive numbers")
    if not plan.descent:
        raise _unflyable("a flight without a descent", "say how it comes down")
    if not (plan.cruise_m > plan.from_m and plan.cruise_m > plan.to_m):
        raise _unflyable(f"a cruise at {_feet(plan.cruise_m)}, below a field", "cruise above both fields")


def _unflyable(what: str, mend: str) -> InputError:
    return InputError("flight-plan", what, where="flight", mend=mend)


def _feet(altitude_m: float) -> str:
    return format_quantity(altitude_m, "ft", 0)

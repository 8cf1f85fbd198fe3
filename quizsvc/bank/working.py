"""The numbers of one draw: lets, key, tolerance, rounding, traps, and whether the draw is fair to ask.

Judging uses this order of widths everywhere: a trap stands too near where its value lies within two tolerances of the
key or rounds to the same value, because then a right answer and a wrong belief could not be told apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.bank.draw import Drawn
from quizsvc.bank.formula import Formula, FormulaError
from quizsvc.physics.units import UNITS, from_si, to_si

__all__ = ["Rounding", "Trap", "TrapValue", "Working", "decimals_for", "same_number"]

_SAME = 1e-6
_GUARD = 1e-9


@dataclass(frozen=True)
class Rounding:
    """The cockpit rule: `nearest`, `down` or `up` to a step, which is a number of the shown unit."""

    direction: str
    step: float

    def apply(self, value_si: float, unit: str) -> float:
        """The rounded value, SI."""
        count = from_si(value_si, unit) / self.step
        if self.direction == "down":
            whole = math.floor(count + _GUARD)
        elif self.direction == "up":
            whole = math.ceil(count - _GUARD)
        else:
            whole = int(math.copysign(math.floor(abs(count) + 0.5 + _GUARD), count))
        return to_si(float(f"{whole * self.step:.12g}"), unit)


@dataclass(frozen=True)
class Trap:
    """A belief that leads to a number of its own; without `value` it leads to none and is never matched."""

    id: str
    belief: str
    value: Formula | None
    when: Formula | None


@dataclass(frozen=True)
class TrapValue:
    """A trap in one draw, SI."""

    id: str
    belief: str
    value: float
    rounded: float | None


@dataclass(frozen=True)
class Working:
    """A number item's key and what is judged beside it, SI."""

    values: Mapping[str, float]
    key: float
    within: float
    exact: bool
    rounded: float | None
    traps: tuple[TrapValue, ...]

    def collision(self, unit: str) -> str | None:
        """The id of the first trap that this draw cannot tell from the key, or None."""
        for trap in self.traps:
            near = abs(trap.value - self.key) <= 2 * self.within * (1 + _GUARD)
            alike = same_number(trap.value, self.key, unit) or (
                self.rounded is not None and trap.rounded is not None and same_number(trap.rounded, self.rounded, unit)
            )
            if near or alike:
                return trap.id
        return None


def same_number(left_si: float, right_si: float, unit: str) -> bool:
    """Whether two values are the same number in the shown unit, to a millionth of it or of the unit itself."""
    left, right = from_si(left_si, unit), from_si(right_si, unit)
    return abs(left - right) <= _SAME * max(1.0, abs(left), abs(right))


def let_values(lets: tuple[tuple[str, Formula], ...], drawn: Drawn) -> tuple[dict[str, float], FormulaError | None]:
    """Values of all draws and lets, SI, and the first error of a let; a let with an error has no value."""
    values = {name: float(entry["si"]) for name, entry in drawn.items() if "si" in entry}
    first: FormulaError | None = None
    for name, formula in lets:
        try:
            values[name] = formula(values)
        except FormulaError as error:
            first = first or error
        except KeyError:
            continue  # an earlier let without a value
    return values, first


def refused(formulas: tuple[Formula, ...], values: Mapping[str, float]) -> bool:
    """Whether a draw is refused: one formula is true, or cannot be computed."""
    for formula in formulas:
        try:
            if formula(values):
                return True
        except (FormulaError, KeyError):
            return True
    return False


def work(
    answer: Formula,
    traps: tuple[Trap, ...],
    values: Mapping[str, float],
    unit: str,
    within: Mapping[str, Any],
    rounding: Rounding | None,
) -> Working:
    """Key, tolerance and traps of one draw.

    Parameters
    ----------
    answer : Formula
        The key.
    traps : tuple of Trap
        In the order of judgement.
    values : mapping of str to float
        Draws and lets, SI.
    unit : str
        The shown unit.
    within : mapping
        `si`, a width; `part`, of the key; or `exact`.
    rounding : Rounding or None
        The cockpit rule.

    Returns
    -------
    Working
        With every trap that has a value in this draw.

    Raises
    ------
    FormulaError
        The key has no value.
    """
    key = answer(values)
    exact = bool(within.get("exact"))
    width = 0.0 if exact else float(within["si"]) if "si" in within else float(within["part"]) * abs(key)
    found: list[TrapValue] = []
    for trap in traps:
        if trap.value is None:
            continue
        try:
            if trap.when is not None and not trap.when(values):
                continue
            value = trap.value(values)
        except FormulaError:
            continue  # the belief leads to no number in this draw
        found.append(TrapValue(trap.id, trap.belief, value, rounding.apply(value, unit) if rounding else None))
    rounded = rounding.apply(key, unit) if rounding else None
    return Working(values, key, width, exact, rounded, tuple(found))


def decimals_for(value_si: float, unit: str, within_si: float, exact: bool) -> int:
    """Digits in which a key is shown: finer than the tolerance, two below one unit; as many as an exact value has."""
    if exact:
        number = from_si(value_si, unit)
        return next((digits for digits in range(4) if abs(round(number, digits) - number) <= 1e-6), 4)
    width = within_si / UNITS[unit].factor
    if width >= 1 or width <= 0:
        return 0
    return min(6, max(2, math.floor(-math.log10(width) + _GUARD) + 1))


def decimals_of_step(step: float) -> int:
    """Digits after the point of a rounding step."""
    return next((digits for digits in range(7) if abs(round(step, digits) - step) <= 1e-9), 6)

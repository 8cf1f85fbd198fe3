"""One formula without an item: what `quizsvc compute` evaluates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.dimension import dimensioned
from quizsvc.bank.formula import compile_formula
from quizsvc.bank.functions import library

__all__ = ["SHOWN_UNITS", "Computed", "compute"]

SHOWN_UNITS: Mapping[str, tuple[str, int]] = {
    "length": ("ft", 0), "pressure": ("psi", 2), "time": ("min", 2), "speed": ("fpm", 0),
    "pressure-rate": ("psi/min", 2),
    "temperature": ("C", 1), "current": ("A", 1), "voltage": ("V", 1), "charge": ("Ah", 1), "volume": ("L", 0),
    "mass": ("lb", 1), "mass-flow": ("lb/min", 1), "volume-flow": ("L/min", 1), "force": ("lbf", 0), "area": ("in2", 1),
    "number": ("ratio", 3),
}  # fmt: skip
"""Unit and decimals in which a value of each dimension is shown where nobody asked for another."""


@dataclass(frozen=True)
class Computed:
    """The value of a formula: SI, its dimension (`truth` for a comparison, 1 or 0), and a unit to show it in.

    `unit` is None for a truth and for a dimension without units of its own.
    """

    value_si: float
    dimension: str
    unit: str | None


def compute(expression: str, aircraft: Aircraft | None = None) -> Computed:
    """Evaluate one formula and check its dimensions.

    Parameters
    ----------
    expression : str
        A formula of the bank's language.
    aircraft : Aircraft or None
        Whose functions and constants it may use.

    Returns
    -------
    Computed
        Value, dimension and unit.

    Raises
    ------
    FormulaError
        Anything that the language refuses, a dimension that does not fit, or no finite value; says the column.

    Examples
    --------
    >>> compute("1013.25*hPa - 300*hPa").unit
    'psi'
    """
    formula = compile_formula(expression, library(aircraft))
    dimension, _ = dimensioned(formula, {}, {})
    shown = SHOWN_UNITS.get(dimension)
    return Computed(formula({}), dimension, shown[0] if shown else None)

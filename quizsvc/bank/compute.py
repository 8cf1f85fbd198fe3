"""One formula without an item: what `quizsvc compute` evaluates."""

from __future__ import annotations

from dataclasses import dataclass

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.dimension import SHOWN_UNITS, dimensioned
from quizsvc.bank.formula import compile_formula
from quizsvc.bank.functions import library

__all__ = ["SHOWN_UNITS", "Computed", "compute"]


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

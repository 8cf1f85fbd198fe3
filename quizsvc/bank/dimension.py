"""Dimension check of a formula with quantities of pint, which only checking and `compute` load (it takes 0.3 s).

The formula's own tree is walked once more with quantities: unit names are pint's units, so the second walk also
checks the factors of our unit table against pint's.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Collection, Mapping
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from quizsvc.bank.formula import Formula, FormulaError
from quizsvc.errors import QuizsvcError

if TYPE_CHECKING:
    import pint

__all__ = ["BASE_UNITS", "SHOWN_UNITS", "bare_name_cure", "dimension_of", "dimensioned"]

BASE_UNITS: Mapping[str, str] = {
    "length": "m", "pressure": "Pa", "time": "s", "speed": "m/s", "pressure-rate": "Pa/s", "temperature": "K",
    "current": "A", "voltage": "V", "charge": "C", "volume": "m^3", "mass": "kg", "mass-flow": "kg/s",
    "volume-flow": "m^3/s", "force": "N", "area": "m^2", "density": "kg/m^3", "number": "",
}  # fmt: skip
"""The SI unit in which a value of each dimension is held, as pint reads it."""

SHOWN_UNITS: Mapping[str, tuple[str, int]] = {
    "length": ("ft", 0), "pressure": ("psi", 2), "time": ("min", 2), "speed": ("fpm", 0),
    "pressure-rate": ("psi/min", 2),
    "temperature": ("C", 1), "current": ("A", 1), "voltage": ("V", 1), "charge": ("Ah", 1), "volume": ("L", 0),
    "mass": ("lb", 1), "mass-flow": ("lb/min", 1), "volume-flow": ("L/min", 1), "force": ("lbf", 0), "area": ("in2", 1),
    "number": ("ratio", 3),
}  # fmt: skip
"""Unit and decimals in which a value of each dimension is shown where nobody asked for another."""

_PINT_NAMES: Mapping[str, tuple[float, str]] = {
    "m": (1, "m"), "ft": (1, "ft"), "FL": (100, "ft"), "km": (1, "km"), "NM": (1, "nautical_mile"), "inch": (1, "inch"),
    "Pa": (1, "Pa"), "hPa": (1, "hPa"), "kPa": (1, "kPa"), "bar": (1, "bar"), "psi": (1, "psi"), "inHg": (1, "inHg"),
    "mmHg": (1, "mmHg"), "s": (1, "s"), "min": (1, "min"), "h": (1, "hour"), "fpm": (1, "ft/min"), "kt": (1, "knot"),
    "K": (1, "K"), "A": (1, "A"), "V": (1, "V"), "Ah": (1, "A*hour"), "m3": (1, "m^3"), "L": (1, "liter"),
    "ft3": (1, "ft^3"), "kg": (1, "kg"), "lb": (1, "lb"), "N": (1, "N"), "lbf": (1, "lbf"), "m2": (1, "m^2"),
    "cm2": (1, "cm^2"), "in2": (1, "inch^2"), "ft2": (1, "ft^2"), "ratio": (1, ""),
}  # fmt: skip


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    import pint

    return pint.UnitRegistry()


@cache
def _unit(pint_name: str) -> Any:
    return _registry().Unit(pint_name)


@cache
def _named_unit(name: str) -> Any:
    factor, pint_name = _PINT_NAMES[name]
    return _registry().Quantity(factor, _unit(pint_name)).to_base_units()


@cache
def _dimensionality(dimension: str) -> Any:
    return _unit(BASE_UNITS[dimension]).dimensionality


def dimension_of(quantity: Any) -> str:
    """Our name of a pint quantity's dimension; pint's own words where we have none."""
    for name in BASE_UNITS:
        if quantity.dimensionality == _dimensionality(name):
            return name
    return str(quantity.dimensionality).replace("[", "").replace("]", "")


def bare_name_cure(
    trees: Collection[ast.expr],
    has: str,
    wanted: str,
    dimensions: Mapping[str, str],
    values: Mapping[str, float],
    drawn: Collection[str] | None = None,
) -> str:
    """What to do where a name without a unit stands behind a mismatch; nothing where there is no such name.

    Parameters
    ----------
    trees : collection of ast.expr
        Where to look.
    has, wanted : str
        Dimension of what stands there, and what should stand there.
    dimensions, values : mapping
        Of the declared names.
    drawn : collection of str or None
        Names of draws, which get their unit where they are drawn; None where all are.

    Returns
    -------
    str
        Such as "'minutes' has no unit; write '2 min' in its draw".
    """
    names = [node.id for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Name)]
    name = next((name for name in names if dimensions.get(name) == "number"), None)
    if name is None:
        return ""
    factor = ""
    if has in BASE_UNITS and wanted in BASE_UNITS:
        # The name stands as a factor: what it must measure is the quotient of what is wanted and what is there.
        factor = dimension_of(_registry().Quantity(1.0, _unit(BASE_UNITS[wanted]) / _unit(BASE_UNITS[has])))
    unit = SHOWN_UNITS[factor][0] if factor in SHOWN_UNITS and factor != "number" else ""
    if not unit:
        return ""  # no unit of the name mends it: something else is wrong
    value = values.get(name, math.nan)
    if drawn is not None and name not in drawn:
        return f"'{name}' has no unit; give it one in its formula, such as *{unit}"
    if not math.isfinite(value):
        return f"'{name}' has no unit; write one in its draw"
    return f"'{name}' has no unit; write '{value:g} {unit}' in its draw"


def dimensioned(
    formula: Formula,
    dimensions: Mapping[str, str],
    values: Mapping[str, float],
    drawn: Collection[str] | None = None,
) -> tuple[str, float]:
    """Walk a formula with quantities.

    Parameters
    ----------
    formula : Formula
        Compiled.
    dimensions : mapping of str to str
        Dimension of each declared name.
    values : mapping of str to float
        A value of each, SI; NaN serves where none is known.
    drawn : collection of str or None
        Which of the names are draws; None where all are. For the cure of a mismatch.

    Returns
    -------
    tuple of (str, float)
        Dimension of the result (`truth` for a comparison) and its value in SI by pint; NaN where there is none.

    Raises
    ------
    FormulaError
        `formula-dimension` where dimensions do not fit, with the column.
    """
    return _Walk(formula, dimensions, values, drawn).result()


class _Walk:
    def __init__(
        self,
        formula: Formula,
        dimensions: Mapping[str, str],
        values: Mapping[str, float],
        drawn: Collection[str] | None,
    ) -> None:
        self.formula = formula
        self.dimensions = dimensions
        self.values = values
        self.drawn = drawn
        self.quantity = _registry().Quantity

    def result(self) -> tuple[str, float]:
        if self.formula.kind == "truth":
            self.truth(self.formula.tree)
            return "truth", math.nan
        value = self.number(self.formula.tree)
        return dimension_of(value), float(value.to_base_units().magnitude)

    def number(self, node: ast.expr) -> Any:
        if isinstance(node, ast.Constant):
            return self.quantity(float(node.value), "")  # type: ignore[arg-type]
        if isinstance(node, ast.Name):
            return self.name(node.id)
        if isinstance(node, ast.UnaryOp):
            value = self.number(node.operand)
            return -value if isinstance(node.op, ast.USub) else value
        if isinstance(node, ast.BinOp):
            return self.arithmetic(node)
        if isinstance(node, ast.IfExp):
            holds = self.truth(node.test)
            body, other = self.number(node.body), self.number(node.orelse)
            self.same(body, other, (node.body, node.orelse), "the two ways of 'if ... else'")
            return body if holds else other
        assert isinstance(node, ast.Call) and isinstance(node.func, ast.Name)  # the compiler let nothing else through
        return self.call(node, node.func.id)

    def name(self, name: str) -> Any:
        if name in self.formula.names:
            return self.quantity(self.values.get(name, math.nan), _unit(BASE_UNITS[self.dimensions[name]]))
        constant = self.formula.library.constants.get(name)
        if constant is not None:
            return self.quantity(constant.value_si, _unit(BASE_UNITS[constant.dimension]))
        return _named_unit(name)

    def arithmetic(self, node: ast.BinOp) -> Any:
        left, right = self.number(node.left), self.number(node.right)
        if isinstance(node.op, ast.Pow):
            if not right.dimensionless:
                raise self.wrong(node.right, f"a power of {_words(right)}", "a power is a plain number")
            power = float(right.to_base_units().magnitude)
            if not left.dimensionless and not isinstance(node.right, ast.Constant | ast.UnaryOp):
                raise self.wrong(node.right, f"{_words(left)} to a power that varies", "write the power as a number")
            return self.guarded(lambda: left**power, left.units**power if math.isfinite(power) else left.units)
        if isinstance(node.op, ast.Mult):
            return left * right
        if isinstance(node.op, ast.Div):
            return self.guarded(lambda: left / right, left.units / right.units)
        self.same(left, right, (node.left, node.right), {ast.Add: "'+'", ast.Sub: "'-'"}.get(type(node.op), "'%'"))
        if isinstance(node.op, ast.Add):
            return left + right
        if isinstance(node.op, ast.Sub):
            return left - right
        return self.guarded(lambda: left % right.to(left.units), left.units)

    def truth(self, node: ast.expr) -> bool:
        assert isinstance(node, ast.Compare)
        left, right = self.number(node.left), self.number(node.comparators[0])
        self.same(left, right, (node.left, node.comparators[0]), "a comparison")
        a, b = float(left.to_base_units().magnitude), float(right.to_base_units().magnitude)
        equal = math.isclose(a, b, rel_tol=1e-9, abs_tol=0.0)
        operator = type(node.ops[0])
        if operator in (ast.Eq, ast.NotEq):
            return equal is (operator is ast.Eq)
        if operator in (ast.Lt, ast.LtE):
            return a < b and not equal or (equal and operator is ast.LtE)
        return a > b and not equal or (equal and operator is ast.GtE)

    def call(self, node: ast.Call, name: str) -> Any:
        function = self.formula.library.functions[name]
        declared = [dimension for _, dimension in function.arguments]
        declared += [declared[-1]] * (len(node.args) - len(declared))
        shared: Any = None
        magnitudes: list[float] = []
        for position, (argument, dimension) in enumerate(zip(node.args, declared, strict=True)):
            value = self.number(argument)
            if dimension == "any":
                if shared is None:
                    shared = value
                self.same(shared, value, (node.args[0], argument), f"arguments of {name}")
            elif value.dimensionality != _dimensionality(dimension):
                label = function.arguments[min(position, len(function.arguments) - 1)][0]
                raise self.wrong(
                    argument,
                    f"{name} takes {_article(dimension)} for '{label}', not {_words(value)}",
                    function.signature,
                )
            magnitudes.append(float(value.to_base_units().magnitude))
        try:
            magnitude = math.nan if any(map(math.isnan, magnitudes)) else function.call(*magnitudes)
        except (QuizsvcError, ArithmeticError, ValueError):
            magnitude = math.nan
        if function.result == "any":
            return self.quantity(magnitude, shared.to_base_units().units)
        if function.result == "root":
            return self.quantity(magnitude, shared.to_base_units().units ** 0.5)
        return self.quantity(magnitude, _unit(BASE_UNITS[function.result]))

    def guarded(self, compute: Any, units: Any) -> Any:
        """A value, or NaN of the same dimension where there is none in this draw."""
        try:
            return compute()
        except (ArithmeticError, ValueError):
            return self.quantity(math.nan, units)

    def same(self, left: Any, right: Any, nodes: tuple[ast.expr, ast.expr], where: str) -> None:
        if left.dimensionality == right.dimensionality:
            return
        one, other = dimension_of(left), dimension_of(right)
        cure = next(
            (
                found
                for node, has, wanted in ((nodes[1], other, one), (nodes[0], one, other))
                if (found := bare_name_cure((node,), has, wanted, self.dimensions, self.values, self.drawn))
            ),
            "",
        )
        what = f"{where} with {_words(left)} and {_words(right)}"
        raise self.wrong(nodes[1], what, cure or _cure(left, right))

    def wrong(self, at: ast.expr, what: str, mend: str) -> FormulaError:
        return FormulaError("formula-dimension", what, at.col_offset + 1, mend=mend)


def _words(quantity: Any) -> str:
    return _article(dimension_of(quantity))


def _article(dimension: str) -> str:
    if dimension == "number":
        return "a bare number"
    if dimension not in BASE_UNITS:
        return dimension
    return f"{'an' if dimension[0] in 'aeiou' else 'a'} {dimension}"


def _cure(left: Any, right: Any) -> str:
    if "number" in (dimension_of(left), dimension_of(right)):
        return "give the bare number its unit, such as 150*ft"
    return "both sides must measure the same"

"""Formulas that authors write: a small arithmetic language on floats, compiled once to closures.

Numbers, declared names, `+ - * / % **`, one comparison, `a if c else b`, and functions from one table. Nothing else
gets through: no attribute, subscript, text, keyword argument or loop exists in the language, every number is a float
at once (so no power can grow without bound), and length, nodes and depth are capped, so no timer is needed. All
quantities are SI; unit names are values (`39000*ft`).

Floats that should be equal often differ in the last bit (7,200 ft reached by steps of 50 ft, or written down). The
six comparisons therefore take two values within 1e-9 of each other, relatively, for equal: `>` is true only beyond
that.
"""

from __future__ import annotations

import ast
import difflib
import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from quizsvc.bank.formula_text import FormulaError, parse_formula
from quizsvc.bank.functions import NAMED_UNITS, Function, Library
from quizsvc.errors import QuizsvcError

__all__ = ["Formula", "FormulaError", "compile_formula"]

_EQUAL_WITHIN = 1e-9

Environment: TypeAlias = Mapping[str, float]
Run: TypeAlias = Callable[[Environment], float]
Kind: TypeAlias = Literal["number", "truth"]


@dataclass(frozen=True)
class Formula:
    """A compiled formula.

    `kind` is `truth` for a comparison and `number` for everything else; `names` are the declared names that it uses.
    Calling it with the values of those names (SI floats) gives a float; a truth gives 1.0 or 0.0.
    """

    text: str
    kind: Kind
    names: frozenset[str]
    uses_aircraft: bool
    tree: ast.expr = field(repr=False, compare=False)
    library: Library = field(repr=False, compare=False)
    run: Run = field(repr=False, compare=False)

    def __call__(self, environment: Environment) -> float:
        """The value; FormulaError where there is none (division by zero, out of a function's range, not finite)."""
        return self.run(environment)


def compile_formula(text: str, library: Library, names: Collection[str] = ()) -> Formula:
    """Compile one formula.

    Parameters
    ----------
    text : str
        The formula; at most 500 characters, 120 parts, 25 levels.
    library : Library
        Functions and constants (of an aircraft, or the general ones).
    names : collection of str
        Names whose values are given at each run.

    Returns
    -------
    Formula
        Ready to run, about a microsecond a run.

    Raises
    ------
    FormulaError
        Anything outside the language; says the column.
    """
    tree = parse_formula(text)
    compiler = _Compiler(text, library, frozenset(names))
    run, kind, _ = compiler.compile(tree)
    if kind == "truth":
        truth = run

        def run(environment: Environment) -> float:
            return 1.0 if truth(environment) else 0.0

    return Formula(text, kind, frozenset(compiler.used), compiler.uses_aircraft, tree, library, run)


def _no_value(what: str, column: int) -> FormulaError:
    return FormulaError("formula-no-value", what, column, mend="refuse such draws under 'refuse'")


def _less(left: float, right: float) -> bool:
    return right - left > _EQUAL_WITHIN * max(abs(left), abs(right))


_COMPARE: Mapping[type[ast.cmpop], Callable[[float, float], bool]] = {
    ast.Lt: _less,
    ast.Gt: lambda left, right: _less(right, left),
    ast.LtE: lambda left, right: not _less(right, left),
    ast.GtE: lambda left, right: not _less(left, right),
    ast.Eq: lambda left, right: not _less(left, right) and not _less(right, left),
    ast.NotEq: lambda left, right: _less(left, right) or _less(right, left),
}
_ARITHMETIC: Mapping[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: lambda left, right: left + right,
    ast.Sub: lambda left, right: left - right,
    ast.Mult: lambda left, right: left * right,
    ast.Div: lambda left, right: left / right,
    ast.Mod: lambda left, right: left % right,
    ast.Pow: math.pow,
}


@dataclass
class _Compiler:
    text: str
    library: Library
    names: frozenset[str]
    used: set[str] = field(default_factory=set)
    uses_aircraft: bool = False

    def compile(self, node: ast.expr) -> tuple[Run, Kind, bool]:
        """Closure, kind, and whether the value is the same at every run."""
        column = node.col_offset + 1
        if isinstance(node, ast.Constant):
            return self._constant(node, column)
        if isinstance(node, ast.Name):
            return self._name(node.id, column)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.UAdd | ast.USub):
            inner, fixed = self._number(node.operand)
            if isinstance(node.op, ast.UAdd):
                return inner, "number", fixed
            return self._fold(lambda environment: -inner(environment), fixed)
        if isinstance(node, ast.BinOp):
            return self._arithmetic(node, self._operator(node.left))
        if isinstance(node, ast.Compare):
            return self._comparison(node, self._operator(node.left))
        if isinstance(node, ast.IfExp):
            return self._choice(node)
        if isinstance(node, ast.Call):
            return self._call(node, column)
        raise FormulaError(
            "formula-refused",
            "this form is not used in formulas",
            column,
            mend="numbers, names, + - * / % **, functions",
        )

    def _number(self, node: ast.expr) -> tuple[Run, bool]:
        run, kind, fixed = self.compile(node)
        if kind == "truth":
            raise FormulaError(
                "formula-truth",
                "a comparison stands where a number is needed",
                node.col_offset + 1,
                mend="write 'a if c else b'",
            )
        return run, fixed

    def _fold(self, run: Run, fixed: bool) -> tuple[Run, Kind, bool]:
        """Compute once what is the same at every run."""
        if not fixed:
            return run, "number", False
        value = run({})
        return lambda environment: value, "number", True

    def _operator(self, after: ast.expr) -> int:
        """Column of the operator that follows an operand."""
        position = after.end_col_offset or 0
        while position < len(self.text) and self.text[position] in " \t\r\n)":
            position += 1
        return position + 1

    def _constant(self, node: ast.Constant, column: int) -> tuple[Run, Kind, bool]:
        if isinstance(node.value, bool) or not isinstance(node.value, int | float):
            raise FormulaError("formula-refused", f"{node.value!r} is no number", column, mend="write a number")
        try:
            value = float(node.value)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise FormulaError(
                "formula-number", "a number too large to compute with", column, mend="write a smaller one"
            )
        return lambda environment: value, "number", True

    def _name(self, name: str, column: int) -> tuple[Run, Kind, bool]:
        if name in self.names:
            self.used.add(name)
            return lambda environment: environment[name], "number", False
        value: float
        if name in self.library.constants:
            self.uses_aircraft = True
            value = self.library.constants[name].value_si
            return lambda environment: value, "number", True
        if name in NAMED_UNITS:
            if NAMED_UNITS[name].offset != 0:
                raise FormulaError(
                    "formula-offset-unit",
                    f"'{name}' has its zero elsewhere and cannot be a factor",
                    column,
                    mend="use K for a difference; 0 C is 273.15*K",
                )
            value = NAMED_UNITS[name].factor
            return lambda environment: value, "number", True
        if name in self.library.functions:
            raise FormulaError("formula-function", f"'{name}' is a function", column, mend=f"write {name}(...)")
        raise self._unknown(name, column, [*self.names, *self.library.constants, *NAMED_UNITS], "name")

    def _unknown(self, name: str, column: int, known: Collection[str], sort: str) -> FormulaError:
        if name in self.library.aircraft_only:
            return FormulaError(
                "formula-needs-aircraft",
                f"'{name}' needs an aircraft, and there is none here",
                column,
                mend="put the item into an aircraft's folder",
            )
        near = difflib.get_close_matches(name, known, 3)
        mend = "did you mean " + " or ".join(f"'{word}'" for word in near) + "?" if near else ""
        more = "declare it under 'draw' or 'let'" if sort == "name" else "'quizsvc compute --list' prints all functions"
        return FormulaError(f"formula-{sort}-unknown", f"unknown {sort} '{name}'", column, mend=mend or more)

    def _arithmetic(self, node: ast.BinOp, column: int) -> tuple[Run, Kind, bool]:
        compute = _ARITHMETIC.get(type(node.op))
        if compute is None:
            raise FormulaError(
                "formula-operator", "this operator is not used in formulas", column, mend="use + - * / % **"
            )
        left, left_fixed = self._number(node.left)
        right, right_fixed = self._number(node.right)

        def run(environment: Environment) -> float:
            try:
                value = compute(left(environment), right(environment))
            except ZeroDivisionError:
                raise _no_value("division by zero", column) from None
            except (OverflowError, ValueError) as error:
                if isinstance(error, QuizsvcError):
                    raise
                raise _no_value("no finite value", column) from None
            if value - value != 0.0:  # infinite or no number
                raise _no_value("no finite value", column)
            return value

        return self._fold(run, left_fixed and right_fixed)

    def _comparison(self, node: ast.Compare, column: int) -> tuple[Run, Kind, bool]:
        if len(node.ops) > 1:
            raise FormulaError(
                "formula-chain",
                "more than one comparison",
                self._operator(node.comparators[0]),
                mend="write two formulas, or use min() and max()",
            )
        compare = _COMPARE.get(type(node.ops[0]))
        if compare is None:
            raise FormulaError(
                "formula-operator", "this comparison is not used in formulas", column, mend="use < <= > >= =="
            )
        left, _ = self._number(node.left)
        right, _ = self._number(node.comparators[0])
        return lambda environment: compare(left(environment), right(environment)), "truth", False

    def _choice(self, node: ast.IfExp) -> tuple[Run, Kind, bool]:
        test, kind, _ = self.compile(node.test)
        if kind != "truth":
            raise FormulaError(
                "formula-truth",
                "a number stands where a comparison is needed",
                node.test.col_offset + 1,
                mend="write for instance 'x > 0'",
            )
        body, _ = self._number(node.body)
        other, _ = self._number(node.orelse)
        return lambda environment: body(environment) if test(environment) else other(environment), "number", False

    def _call(self, node: ast.Call, column: int) -> tuple[Run, Kind, bool]:
        if not isinstance(node.func, ast.Name):
            raise FormulaError(
                "formula-refused",
                "only a function of the table can be called",
                column,
                mend="see 'quizsvc compute --list'",
            )
        name = node.func.id
        function = self.library.functions.get(name)
        if function is None:
            raise self._unknown(name, column, self.library.functions, "function")
        for argument in node.args:
            if isinstance(argument, ast.Starred):
                raise FormulaError(
                    "formula-refused", "'*' before an argument", argument.col_offset + 1, mend="take it out"
                )
        if node.keywords:
            by_name = node.keywords[0].col_offset + 1
            raise FormulaError("formula-refused", "an argument by name", by_name, mend=f"write {function.signature}")
        if not function.takes(len(node.args)):
            raise FormulaError(
                "formula-arguments",
                f"{name} with {len(node.args)} arguments",
                column,
                mend=f"write {function.signature}",
            )
        if function.aircraft:
            self.uses_aircraft = True
        parts = [self._number(argument) for argument in node.args]
        run = _calling(function, [part[0] for part in parts], column)
        try:
            return self._fold(run, all(part[1] for part in parts))
        except FormulaError:
            # Left to the run: arguments of the wrong dimension, found later, explain better why there is no value.
            return run, "number", False


def _calling(function: Function, arguments: list[Run], column: int) -> Run:
    call, name = function.call, function.name
    if len(arguments) == 1:
        only = arguments[0]

        def apply(environment: Environment) -> float:
            return call(only(environment))

    elif len(arguments) == 2:
        first, second = arguments

        def apply(environment: Environment) -> float:
            return call(first(environment), second(environment))

    else:

        def apply(environment: Environment) -> float:
            return call(*[argument(environment) for argument in arguments])

    def run(environment: Environment) -> float:
        try:
            value = apply(environment)
        except FormulaError:
            raise
        except QuizsvcError as error:
            raise _no_value(f"{name}: {error.what}", column) from None
        except (ZeroDivisionError, OverflowError, ValueError):
            raise _no_value(f"{name} has no finite value here", column) from None
        if value - value != 0.0:
            raise _no_value(f"{name} has no finite value here", column)
        return value

    return run

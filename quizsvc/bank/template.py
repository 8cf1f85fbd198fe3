"""Braces in stems, options and workings: `{level}`, `{answer:ft:-2}`, `{ambient + diff:psi:2}`."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from quizsvc.bank.formula import Formula, FormulaError, compile_formula
from quizsvc.bank.functions import Library
from quizsvc.bank.quantity import bank_unit
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity, from_si

__all__ = ["Slot", "Template", "compile_template"]

_DECIMALS = re.compile(r"-?[0-6]\Z")
_MAX_SLOTS = 40


@dataclass(frozen=True)
class Slot:
    """One pair of braces. With `formula`, its value in `unit`; otherwise what is shown for `name`."""

    column: int
    name: str
    formula: Formula | None = None
    unit: str = "ratio"
    decimals: int = 0


@dataclass(frozen=True)
class Template:
    """A text with places for numbers."""

    parts: tuple[str | Slot, ...]

    @property
    def slots(self) -> tuple[Slot, ...]:
        """Its places, in order."""
        return tuple(part for part in self.parts if isinstance(part, Slot))

    def fill(self, shown: Mapping[str, str], values: Mapping[str, float]) -> str:
        """The text with numbers.

        Parameters
        ----------
        shown : mapping of str to str
            What stands for a bare name.
        values : mapping of str to float
            Values of the names in formulas, SI.

        Returns
        -------
        str
            Markdown.

        Raises
        ------
        FormulaError
            A formula has no value here.
        """
        return "".join(part if isinstance(part, str) else _shown(part, shown, values) for part in self.parts)


def _shown(slot: Slot, shown: Mapping[str, str], values: Mapping[str, float]) -> str:
    if slot.formula is None:
        return shown[slot.name]
    return format_quantity(slot.formula(values), slot.unit, slot.decimals)


def compile_template(text: str, library: Library, shown: Collection[str], names: Collection[str]) -> Template:
    """Compile the braces of a text.

    Parameters
    ----------
    text : str
        Markdown with braces; `{{` and `}}` stand for one.
    library : Library
        Functions and constants of the formulas.
    shown : collection of str
        Names that may stand alone: they have a text of their own.
    names : collection of str
        Names that formulas may use.

    Returns
    -------
    Template
        Ready to fill.

    Raises
    ------
    FormulaError
        A brace that is not closed, an unknown name or unit, a formula that the language refuses; with its column.
    """
    parts: list[str | Slot] = []
    literal: list[str] = []
    position = 0
    while position < len(text):
        character = text[position]
        if character not in "{}":
            literal.append(character)
            position += 1
        elif text[position : position + 2] == character * 2:
            literal.append(character)
            position += 2
        elif character == "}":
            raise FormulaError("bank-brace", "'}' without '{'", position + 1, mend="write '}}' for a brace in the text")
        else:
            end = text.find("}", position)
            if end < 0:
                raise FormulaError("bank-brace", "'{' is not closed", position + 1, mend="close it with '}'")
            parts.append("".join(literal))
            literal = []
            parts.append(_slot(text[position + 1 : end], position + 2, library, shown, names))
            position = end + 1
    parts.append("".join(literal))
    if len(parts) > 2 * _MAX_SLOTS:
        raise FormulaError("bank-brace", f"more than {_MAX_SLOTS} pairs of braces", 1, mend="shorten the text")
    return Template(tuple(part for part in parts if part != ""))


def _slot(inside: str, column: int, library: Library, shown: Collection[str], names: Collection[str]) -> Slot:
    pieces = inside.split(":")
    name = pieces[0].strip()
    if len(pieces) == 1:
        if name in shown:
            return Slot(column, name)
        if name in names:
            raise FormulaError(
                "bank-brace",
                f"'{{{name}}}' does not say its unit",
                column,
                mend=f"write '{{{name}:ft:0}}' with your unit",
            )
        constant = library.constants.get(name)
        if constant is not None:
            number = from_si(constant.value_si, constant.unit)
            digits = next((digits for digits in range(4) if abs(round(number, digits) - number) <= 1e-6), 4)
            raise FormulaError(
                "bank-brace",
                f"'{{{name}}}' does not say its unit",
                column,
                mend=f"write '{{{name}:{constant.unit}{f':{digits}' if digits else ''}}}'",
            )
        _formula(inside, column, library, names)
        raise FormulaError(
            "bank-brace", f"'{{{inside}}}' does not say its unit", column, mend="write '{formula:unit:decimals}'"
        )
    if len(pieces) > 3:
        raise FormulaError(
            "bank-brace", f"too many ':' in '{{{inside}}}'", column, mend="write '{formula:unit:decimals}'"
        )
    if name in shown and name not in names:
        raise FormulaError("bank-brace", f"'{name}' is a text and has no unit", column, mend=f"write '{{{name}}}'")
    formula = _formula(pieces[0], column, library, names)
    if formula.kind == "truth":
        raise FormulaError("bank-brace", "a comparison cannot be shown", column, mend="show a number")
    try:
        unit = bank_unit(pieces[1].strip())
    except InputError as error:
        raise FormulaError(error.reference, error.what, column + len(pieces[0]) + 1, mend=error.mend) from None
    decimals = pieces[2].strip() if len(pieces) == 3 else "0"
    if not _DECIMALS.match(decimals):
        raise FormulaError(
            "bank-brace",
            f"'{decimals}' is no number of decimals",
            column + len(pieces[0]) + len(pieces[1]) + 2,
            mend="write -6 to 6; -2 rounds to hundreds",
        )
    return Slot(column, name, formula, unit, int(decimals))


def _formula(text: str, column: int, library: Library, names: Collection[str]) -> Formula:
    """The formula of a pair of braces; its faults with their column in the whole text."""
    try:
        return compile_formula(text, library, names)
    except FormulaError as error:
        raise FormulaError(error.reference, error.what, column + error.column - 1, mend=error.mend) from None

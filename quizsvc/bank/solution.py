"""The working of an answer, line by line, with one draw's numbers in the places of the names."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

from quizsvc.bank.formula import Formula
from quizsvc.bank.functions import Library
from quizsvc.bank.quantity import read_bank_quantity
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, format_quantity, from_si

__all__ = ["let_lines", "names_behind", "with_numbers"]

_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_TIMES_UNIT = re.compile(r"(?<=[0-9])\s*\*\s*([A-Za-z][A-Za-z0-9]*)\b(?!\s*\()")


def let_lines(
    names: Library,
    lets: Sequence[tuple[str, Formula]],
    entries: Sequence[Mapping[str, Any]],
    values: Mapping[str, float],
    shown: Mapping[str, str],
    needed: Collection[str],
) -> tuple[list[str], dict[str, str]]:
    """One line for each let.

    Parameters
    ----------
    names : Library
        Constants are shown by their values.
    lets : sequence of (str, Formula)
        Names and formulas.
    entries : sequence of mapping
        The lets of the item's body, with the unit and decimals in which each is shown.
    values : mapping of str to float
        Their values, SI.
    shown : mapping of str to str
        What stands for each drawn name.
    needed : collection of str
        Lets that lead to the answer; the others serve traps and refusals and would only confuse.

    Returns
    -------
    lines : list of str
        Markdown, such as "ambient = isa pressure(FL330) = 3.80 psi".
    shown : dict of str to str
        What stands for each drawn name and each let.
    """
    known = dict(shown)
    lines: list[str] = []
    for (name, formula), entry in zip(lets, entries, strict=True):
        value = format_quantity(values[name], entry["unit"], entry["decimals"]) if entry.get("unit") else ""
        filled = with_numbers(names, formula.text, known)
        line = f"{name.replace('_', ' ')} = {filled}"
        if not value or _is_quantity(filled):
            # A let that is one quantity, such as a limit by another name, has nothing to work out.
            known[name] = filled
        else:
            known[name] = value
            line = f"{line} = {value}"
        if name in needed:
            lines.append(line)
    return lines, known


def names_behind(names: Iterable[str], lets: Mapping[str, Formula]) -> set[str]:
    """The names, and all names that their lets are made of.

    Parameters
    ----------
    names : iterable of str
        Where to begin.
    lets : mapping of str to Formula
        The lets by name.

    Returns
    -------
    set of str
        Draws and lets.
    """
    found: set[str] = set()
    open_names = list(names)
    while open_names:
        name = open_names.pop()
        if name not in found:
            found.add(name)
            open_names.extend(lets[name].names if name in lets else ())
    return found


def with_numbers(names: Library, formula: str, shown: Mapping[str, str]) -> str:
    """A formula with the drawn numbers and the aircraft's in the places of their names, safe as Markdown.

    Parameters
    ----------
    names : Library
        Whose constants are shown by their values.
    formula : str
        As the author wrote it.
    shown : mapping of str to str
        What stands for each name.

    Returns
    -------
    str
        Times as a cross, powers as a caret, no underscores.
    """

    def number(match: re.Match[str]) -> str:
        word = match.group()
        if word in shown:
            return shown[word]
        constant = names.constants.get(word)
        if constant is None:
            return word.replace("_", " ")
        return f"{from_si(constant.value_si, constant.unit):,.6g} {constant.unit}"

    text = _TIMES_UNIT.sub(lambda match: f" {match.group(1)}" if match.group(1) in UNITS else match.group(), formula)
    text = _WORD.sub(number, " ".join(text.split()))
    text = re.sub(r" *\* *", " \u00d7 ", text.replace("**", "^"))
    # A negative number behind a sign: people write one sign.
    return re.sub(r"- ?-(?=[0-9])", "+ ", re.sub(r"\+ ?-(?=[0-9])", "- ", text))


def _is_quantity(text: str) -> bool:
    try:
        read_bank_quantity(text)
    except InputError:
        return False
    return True

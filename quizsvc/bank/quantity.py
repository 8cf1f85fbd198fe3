"""Quantities as bank texts write them: a number and a unit of the table, strictly (`39000 ft`, `8.7 psi`, `FL390`)."""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from decimal import Decimal

from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, find_unit, from_si, to_si

__all__ = ["BankQuantity", "bank_unit", "read_bank_quantity", "span_in"]

_LEVEL = re.compile(r"FL([0-9]{2,3})\Z")
_QUANTITY = re.compile(r"(-?(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]+)?)(?:\s*([A-Za-z%°].*))?\Z")


@dataclass(frozen=True)
class BankQuantity:
    """A quantity of a bank text: the number as written, its unit (`ratio` for none), and the digits after the point."""

    number: float
    unit: str
    decimals: int

    @property
    def dimension(self) -> str:
        """What the unit measures."""
        return UNITS[self.unit].dimension

    @property
    def value_si(self) -> float:
        """The value in SI."""
        return to_si(self.number, self.unit)


def bank_unit(name: str) -> str:
    """The unit of a bank text; `number` or nothing means none.

    Raises
    ------
    InputError
        `bank-unit-unknown`, with the nearest names.
    """
    if name in ("", "number"):
        return "ratio"
    if name in UNITS:
        return name
    meant = find_unit(name)
    near = [meant.name] if meant else difflib.get_close_matches(name, UNITS, 3, 0.5)
    mend = f"did you mean {' or '.join(map(repr, near))}?" if near else f"accepted: {', '.join(UNITS)}"
    raise InputError("bank-unit-unknown", f"'{name}' is not a unit", mend=mend)


def read_bank_quantity(text: str) -> BankQuantity:
    """Read a quantity of a bank text.

    Parameters
    ----------
    text : str
        Number and unit, or a flight level of two or three digits. The point is the decimal sign; a comma only
        separates thousands.

    Returns
    -------
    BankQuantity
        Number, unit, digits.

    Raises
    ------
    InputError
        `bank-quantity`, `bank-unit-unknown`.
    """
    text = " ".join(text.split())
    level = _LEVEL.match(text)
    if level:
        return BankQuantity(float(level.group(1)), "FL", 0)
    match = _QUANTITY.match(text)
    if match is None:
        raise InputError(
            "bank-quantity",
            f"'{text}' is not a quantity",
            mend="write a number and a unit, such as '39000 ft' or '8.7 psi'",
        )
    digits = match.group(1).replace(",", "")
    number = float(digits)
    if not math.isfinite(number) or abs(number) > 1e15:
        raise InputError("bank-quantity", f"'{text}' is too large", mend="write a smaller number")
    decimals = -int(Decimal(digits).as_tuple().exponent)
    return BankQuantity(number, bank_unit(match.group(2) or ""), decimals)


def span_in(quantity: BankQuantity, unit: str) -> float:
    """A difference (a step, a tolerance) as a number of another unit: where that unit has its zero does not count."""
    ratio = quantity.number * UNITS[quantity.unit].factor / UNITS[unit].factor
    return float(f"{ratio:.12g}")


def number_in(quantity: BankQuantity, unit: str) -> float:
    """A value as a number of another unit of its dimension."""
    if unit == quantity.unit:
        return quantity.number
    return float(f"{from_si(quantity.value_si, unit):.12g}")

"""The words of a `gauge` item: what the picture shows, and which dials are read within what."""

from __future__ import annotations

from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.instrument import DIALS, dials
from quizsvc.bank.block import Block
from quizsvc.bank.functions import NAMED_UNITS
from quizsvc.bank.quantity import read_bank_quantity
from quizsvc.bank.text import Scalar
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, format_quantity

__all__ = ["formula_of", "read_picture", "read_readings"]

_EDGE = 1e-9


def formula_of(text: str) -> str:
    """A value of the picture as a formula: `4700 ft` becomes `4700*ft`, anything else is a formula already."""
    try:
        quantity = read_bank_quantity(text)
    except InputError:
        return text
    if quantity.unit == "FL":
        return f"{quantity.number * 100:g}*ft"
    return f"{quantity.number:.12g}*{quantity.unit}" if quantity.unit in NAMED_UNITS else text


def read_picture(block: Block) -> tuple[dict[str, str], dict[str, Scalar]]:
    """The word `picture` as formulas by dial, with their places; faults go to the block's report."""
    values: dict[str, str] = {}
    places: dict[str, Scalar] = {}
    picture = block.block("picture", required=True)
    gauge = picture.block("gauge", required=True) if picture else None
    if picture and gauge:
        for dial in DIALS:
            scalar = gauge.scalar(dial, required=True)
            if scalar is not None:
                values[dial] = formula_of(scalar.text.strip())
                places[f"picture/{dial}"] = scalar
        gauge.done()
    if picture:
        picture.done()
    return values, places


def read_readings(block: Block, aircraft: Aircraft) -> list[dict[str, Any]]:
    """The word `readings`: which dials are read, and within what, SI; faults go to the block's report."""
    report = block.report
    readings = block.block("readings", required=True)
    found: list[dict[str, Any]] = []
    if readings is None:
        return found
    known = dials(aircraft)
    for dial, unit in DIALS.items():
        asked = readings.block(dial)
        if asked is None:
            continue
        scalar = asked.scalar("within", required=True)
        asked.done()
        within = _within(asked, scalar, unit) if scalar else None
        if within is None or scalar is None:
            continue
        if within < known[dial].finest * (1 - _EDGE):
            finest = format_quantity(known[dial].finest, unit, 0 if unit == "ft" else 2)
            report.remark(
                scalar,
                "bank-gauge-fine",
                f"a reading within '{scalar.text}' is finer than a quarter of the dial's smallest mark, {finest}",
                "widen it: nobody can read that",
            )
        found.append({"id": dial, "within": within})
    readings.done()
    if not found and not readings.table.entries:
        report.fault(readings.place, "bank-gauge-readings", "no dial is to be read", "write {cabin: {within: 100 ft}}")
    return found


def _within(asked: Block, scalar: Scalar, unit: str) -> float | None:
    try:
        quantity = read_bank_quantity(scalar.text)
    except InputError as error:
        asked.report.error(scalar, error)
        return None
    if quantity.dimension != UNITS[unit].dimension:
        what = f"'{scalar.text}' is a {quantity.dimension}, the dial shows a {UNITS[unit].dimension}"
        asked.report.fault(scalar, "bank-within", what, f"write it in {unit}")
        return None
    if quantity.number <= 0:
        asked.report.fault(scalar, "bank-within", f"'{scalar.text}' is not above 0", "write a width")
        return None
    return quantity.number * UNITS[quantity.unit].factor

"""Working out one formula of the bank's language, for `quizsvc compute`."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from quizsvc.aircraft.description import Aircraft, read_aircraft
from quizsvc.aircraft.flight import BELIEFS, EVENTS
from quizsvc.bank import compute as formulas
from quizsvc.bank.functions import listing
from quizsvc.bank.text import plain, read_text
from quizsvc.errors import FindingsError, InputError
from quizsvc.physics.unit_table import find_unit, from_si, names_of, unit
from quizsvc.physics.units import format_quantity
from quizsvc.services.bank_files import read_file, refuse_missing

# Decimals that a person reads with pleasure, for units that were asked for; the bank's own choice for the usual ones.
_DECIMALS = {name: decimals for name, decimals in formulas.SHOWN_UNITS.values()} | {
    "FL": 0,
    "m": 0,
    "in": 0,
    "Pa": 0,
    "hPa": 1,
    "mmHg": 0,
    "s": 0,
    "kt": 0,
    "K": 1,
    "kg": 1,
}
_OTHERWISE = 2


@dataclass(frozen=True)
class Result:
    """A formula worked out: `value` is in `unit`, `value_si` in SI, `text` for people. A plain number has no unit."""

    expression: str
    value: float
    unit: str | None
    text: str
    value_si: float
    dimension: str


@dataclass(frozen=True)
class FunctionEntry:
    """A function as formulas call it; `gives` is the dimension of its result."""

    call: str
    gives: str
    says: str


@dataclass(frozen=True)
class UnitEntry:
    """The accepted units of one kind of quantity."""

    kind: str
    names: tuple[str, ...]


@dataclass(frozen=True)
class ConstantEntry:
    """A number of the aircraft's description."""

    name: str
    value: float
    unit: str | None
    text: str


@dataclass(frozen=True)
class ChangeEntry:
    """A wrong belief by which a plot of a `profile` item may be flown, as its `change` names it."""

    change: str
    says: str


@dataclass(frozen=True)
class EventEntry:
    """Something that may happen on the flight of a `profile` item."""

    what: str
    takes_value: bool


@dataclass(frozen=True)
class Vocabulary:
    """Every name that formulas may use, and those that flights may."""

    functions: tuple[FunctionEntry, ...]
    units: tuple[UnitEntry, ...]
    constants: tuple[ConstantEntry, ...]
    changes: tuple[ChangeEntry, ...]
    events: tuple[EventEntry, ...]
    aircraft: str | None


class Calculator:
    """Works out formulas with one aircraft of a bank.

    Parameters
    ----------
    bank : Path
        Folder of the bank.
    aircraft : str, optional
        Folder name of the aircraft; the first one of the bank where none is named, none where the bank has none.

    Raises
    ------
    InputError
        The bank has no such aircraft. FindingsError where its file has faults.
    """

    def __init__(self, bank: Path, aircraft: str | None = None) -> None:
        self.aircraft = _read_aircraft(bank, aircraft)

    def work_out(self, expression: str, wanted_unit: str | None = None) -> Result:
        """Work out a formula.

        Parameters
        ----------
        expression : str
            The formula, at most 500 characters.
        wanted_unit : str, optional
            Unit of the result; the trade's usual one where none is named.

        Raises
        ------
        InputError
            The formula cannot be read or worked out, or its result has no such unit.
        """
        computed = formulas.compute(expression, self.aircraft)
        name = computed.unit if computed.dimension != "number" else None
        if wanted_unit is not None:
            name = (find_unit(wanted_unit) or unit(wanted_unit)).name
            if unit(name).dimension != computed.dimension:
                raise _other_kind(computed.dimension, name)
        if computed.dimension == "truth":
            text = "true" if computed.value_si else "false"
            return Result(expression, computed.value_si, None, text, computed.value_si, "truth")
        value, text = _shown(computed.value_si, name)
        return Result(expression, value, name, text, computed.value_si, computed.dimension)

    def vocabulary(self) -> Vocabulary:
        """Every name that formulas may use, and those that flights may."""
        names = listing(self.aircraft)
        kinds: dict[str, list[str]] = {}
        for row in names.units:
            kinds.setdefault(row.dimension, []).append(row.name)
        constants = []
        for constant in names.constants:
            name = constant.unit if constant.dimension != "number" else None
            value = from_si(constant.value_si, constant.unit)
            text = f"{value:,.10g}" + (f" {name}" if name else "")
            constants.append(ConstantEntry(constant.name, value, name, text))
        return Vocabulary(
            tuple(
                FunctionEntry(f"{row.name}({', '.join(name for name, _ in row.arguments)})", row.result, row.what)
                for row in names.functions
            ),
            tuple(UnitEntry(kind.replace("-", " "), tuple(units)) for kind, units in kinds.items()),
            tuple(constants),
            tuple(
                ChangeEntry(f"{word}: {value}", says) for word, said in BELIEFS.items() for value, says in said.items()
            ),
            tuple(EventEntry(what, takes_value) for what, takes_value in EVENTS.items()),
            self.aircraft.key if self.aircraft else None,
        )


def _other_kind(dimension: str, name: str) -> InputError:
    kind = dimension.replace("-", " ")
    accepted = names_of(dimension)
    return InputError(
        "compute-unit",
        f"'{name}' is no unit of the result, which is a {'plain number' if dimension == 'number' else kind}",
        where="--unit",
        mend=f"one of: {', '.join(accepted)}" if accepted else "leave --unit out",
    )


def _shown(value_si: float, name: str | None) -> tuple[float, str]:
    if name is None:
        return value_si, f"{value_si:,.6g}" if abs(value_si) < 1e6 else f"{value_si:,.0f}"
    return from_si(value_si, name), format_quantity(value_si, name, _DECIMALS.get(name, _OTHERWISE))


def _read_aircraft(bank: Path, key: str | None) -> Aircraft | None:
    refuse_missing(bank)
    described = {path.parent.name: path for path in sorted(bank.glob("*/aircraft.yaml"))}
    if key is None:
        key = next(iter(described), None)
        if key is None:
            return None
    if key not in described:
        raise _unknown(bank, key, described)
    path = described[key]
    document = read_text(f"{key}/aircraft.yaml", read_file(path))
    aircraft, findings = read_aircraft(plain(document.root) or {}, document.place, document.file)
    faults = [finding for finding in (*document.findings, *findings) if finding.severity == "fault"]
    if aircraft is None or faults:
        raise FindingsError(
            "compute-aircraft", f"the description of '{key}' has faults", faults, mend=f"quizsvc bank check {bank}"
        )
    return aircraft


def _unknown(bank: Path, key: str, described: Mapping[str, Path]) -> InputError:
    near = difflib.get_close_matches(key, described, n=1)
    known = ", ".join(described) or "none"
    return InputError(
        "compute-aircraft-unknown",
        f"the bank has no aircraft '{key}'",
        where=str(bank),
        mend=f"did you mean '{near[0]}'?" if near else f"aircraft of this bank: {known}",
    )

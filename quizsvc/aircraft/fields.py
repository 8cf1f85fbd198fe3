"""How a section of an aircraft file is declared, read, written as canonical JSON and listed as constants.

A section is a frozen dataclass whose fields say with `quantity`, `count`, `words`, `pairs`, `part` or `table` what may
stand there. A quantity's word in the file is the field's name and the unit's ending: `ceiling` in ft is `ceiling_ft`.
"""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from quizsvc.errors import Finding
from quizsvc.physics.units import UNITS, format_quantity

__all__ = [
    "Constant",
    "Path",
    "Reader",
    "Spec",
    "canonical_of",
    "constants_of",
    "count",
    "from_canonical",
    "node",
    "pairs",
    "part",
    "quantity",
    "read_section",
    "table",
    "text",
    "texts",
]

Path = tuple[str | int, ...]
Section = TypeVar("Section")

# What a number of this unit may be, in the unit; the rest must not be negative. Altitudes stay inside the atmosphere.
_BOUNDS = {"ft": (-2_000.0, 65_600.0), "psi": (-15.0, 5_000.0), "C": (-100.0, 1_000.0), "hPa": (1.0, 2_000.0)}

_NO_LIMIT = 1e9


@dataclass(frozen=True)
class Constant:
    """A number of the aircraft file.

    Parameters
    ----------
    value_si : float
        The value, in the SI unit of its dimension.
    dimension : str
        Such as `length`.
    unit : str
        The unit the file gives it in.
    """

    value_si: float
    dimension: str
    unit: str


@dataclass(frozen=True)
class Spec:
    """What a field of a section may hold."""

    kind: str
    unit: str = "ratio"
    section: type[Any] | None = None
    positive: bool = False
    word: str = ""
    optional: bool = False


def quantity(unit: str, *, positive: bool = False, word: str = "", optional: bool = False) -> Any:
    """Declare a number with a unit; `positive` refuses zero and less, `word` stands for the attribute's name.

    One that may be left out stands behind all others of its class.
    """
    spec = Spec("quantity", unit, positive=positive, word=word, optional=optional)
    return field(default=None, metadata={"spec": spec}) if optional else field(metadata={"spec": spec})


def count() -> Any:
    """Declare a bare number of zero or more."""
    return field(metadata={"spec": Spec("quantity", "ratio")})


def text() -> Any:
    """Declare a text."""
    return field(metadata={"spec": Spec("text")})


def node() -> Any:
    """Declare the id of a node of the graph; it may be left out."""
    return field(default=None, metadata={"spec": Spec("text", optional=True)})


def texts() -> Any:
    """Declare a list of texts."""
    return field(metadata={"spec": Spec("texts")})


def pairs(unit: str) -> Any:
    """Declare rows of two numbers of one unit, at least two rows."""
    return field(metadata={"spec": Spec("pairs", unit)})


def part(section: type[Any]) -> Any:
    """Declare a section inside the section."""
    return field(metadata={"spec": Spec("part", section=section)})


def table(section: type[Any]) -> Any:
    """Declare a list of sections of one kind."""
    return field(metadata={"spec": Spec("table", section=section)})


def _specs(section: type[Any]) -> Iterator[tuple[str, str, Spec]]:
    """Attribute, word in the file, and declaration of each field."""
    for entry in dataclasses.fields(section):
        spec = entry.metadata["spec"]
        name = spec.word or entry.name.removesuffix("_")
        ending = "" if spec.unit == "ratio" else "_" + spec.unit.lower().replace("/", "_per_")
        yield entry.name, name + ending, spec


class Reader:
    """Takes a raw mapping apart and gathers what is wrong with it.

    Parameters
    ----------
    place : callable
        Line and column, from 1, of a path of keys and indices.
    file : str
        Name of the file, for the findings.
    """

    def __init__(self, place: Callable[[Path], tuple[int, int]], file: str) -> None:
        self.place = place
        self.file = file
        self.findings: list[Finding] = []

    def fault(self, path: Path, reference: str, what: str, mend: str) -> None:
        """Add a fault at a path."""
        line, column = self.place(path)
        self.findings.append(Finding(self.file, line, column, reference, what, mend))

    def mapping(self, raw: object, path: Path, required: set[str], optional: set[str]) -> Mapping[str, Any] | None:
        """The raw value as a mapping with known words; None if it is none or lacks a required word."""
        if not isinstance(raw, Mapping):
            self.fault(
                path, "aircraft-section-shape", f"'{_name(path)}' is {_kind(raw)}", "write `word: value` lines under it"
            )
            return None
        known = required | optional
        for word in raw:
            if word not in known:
                near = difflib.get_close_matches(str(word), sorted(known), n=1, cutoff=0.6)
                cure = f"did you mean '{near[0]}'?" if near else f"take it out; accepted: {', '.join(sorted(known))}"
                self.fault((*path, word), "aircraft-word-unknown", f"'{word}' is not a word of '{_name(path)}'", cure)
        missing = sorted(required - set(raw))
        for word in missing:
            self.fault(path, "aircraft-word-missing", f"'{_name(path)}' lacks '{word}'", f"add `{word}: ...`")
        return None if missing else raw

    def sequence(self, raw: object, path: Path) -> list[Any] | None:
        """The raw value as a list."""
        if isinstance(raw, list | tuple):
            return list(raw)
        self.fault(path, "aircraft-section-shape", f"'{_name(path)}' is {_kind(raw)}", "write a list: [a, b]")
        return None

    def text(self, raw: object, path: Path, *, number_too: bool = False) -> str:
        """The raw value as a text; a switch position may also be written as a bare number."""
        if isinstance(raw, str) and raw.strip():
            return raw
        if number_too and isinstance(raw, int) and not isinstance(raw, bool):
            return str(raw)
        self.fault(path, "aircraft-value-shape", f"'{_name(path)}' is {_kind(raw)}", "write a text")
        return ""

    def number(self, raw: object, path: Path, spec: Spec) -> float:
        """The raw value as a number in SI."""
        value = _as_float(raw)
        unit = "" if spec.unit == "ratio" else f" {spec.unit}"
        if value is None:
            self.fault(
                path,
                "aircraft-value-shape",
                f"'{_name(path)}' is {_kind(raw)}",
                f"write a plain number{unit and ' of' + unit}",
            )
            return math.nan
        low, high = _BOUNDS.get(spec.unit, (0.0, _NO_LIMIT))
        if not low <= value <= high or (spec.positive and value <= 0):
            least = "above 0" if spec.positive else f"from {low:,g}"
            asked = least if high == _NO_LIMIT else f"{least} to {high:,g}"
            self.fault(
                path, "aircraft-value-range", f"'{_name(path)}' is {value:,g}{unit}", f"write a number {asked}{unit}"
            )
            return math.nan
        entry = UNITS[spec.unit]
        return value * entry.factor + entry.offset


def _as_float(raw: object) -> float | None:
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return None
    try:
        value = float(raw)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def _name(path: Path) -> str:
    return ".".join(str(step) for step in path) or "the file"


def _kind(raw: object) -> str:
    if raw is None or raw == "":
        return "empty"
    if isinstance(raw, Mapping):
        return "a group of words"
    if isinstance(raw, list | tuple):
        return "a list"
    shown = repr(raw)
    return shown if len(shown) <= 40 else shown[:40] + "..."


def read_section(reader: Reader, section: type[Section], raw: object, path: Path) -> Section | None:
    """Read one section; None where a finding was added that leaves it incomplete."""
    specs = list(_specs(section))
    required = {word for _, word, spec in specs if not spec.optional}
    words = reader.mapping(raw, path, required, {word for _, word, spec in specs if spec.optional})
    if words is None:
        return None
    before = len(reader.findings)
    values = {
        attribute: _read_value(reader, spec, words[word], (*path, word))
        for attribute, word, spec in specs
        if word in words
    }
    return section(**values) if len(reader.findings) == before else None


def _read_value(reader: Reader, spec: Spec, raw: object, path: Path) -> Any:
    if spec.kind == "quantity":
        return reader.number(raw, path, spec)
    if spec.kind == "text":
        return reader.text(raw, path)
    if spec.kind == "part":
        assert spec.section is not None
        return read_section(reader, spec.section, raw, path)
    rows = reader.sequence(raw, path) or []
    if spec.kind == "texts":
        return tuple(reader.text(row, (*path, i)) for i, row in enumerate(rows))
    if spec.kind == "table":
        assert spec.section is not None
        return tuple(read_section(reader, spec.section, row, (*path, i)) for i, row in enumerate(rows))
    if isinstance(raw, list | tuple) and len(rows) < 2:
        reader.fault(path, "aircraft-rows", f"'{_name(path)}' has {len(rows)} rows", "write two rows or more")
    return tuple(_read_pair(reader, spec, row, (*path, i)) for i, row in enumerate(rows))


def _read_pair(reader: Reader, spec: Spec, raw: object, path: Path) -> tuple[float, float]:
    if not isinstance(raw, list | tuple) or len(raw) != 2:
        reader.fault(path, "aircraft-rows", f"'{_name(path)}' is no pair of numbers", "write [aircraft, cabin]")
        return (math.nan, math.nan)
    return (reader.number(raw[0], (*path, 0), spec), reader.number(raw[1], (*path, 1), spec))


def canonical_of(section: Any) -> dict[str, Any]:
    """A section as JSON-able values in SI, by attribute name."""
    return {attribute: _canonical_value(getattr(section, attribute)) for attribute, _, _ in _specs(type(section))}


def _canonical_value(value: Any) -> Any:
    if dataclasses.is_dataclass(value):
        return canonical_of(value)
    return [_canonical_value(entry) for entry in value] if isinstance(value, tuple) else value


def from_canonical(section: type[Section], values: Mapping[str, Any]) -> Section:
    """A section from its canonical values."""
    return section(
        **{
            attribute: None if spec.optional and values.get(attribute) is None else _value_of(spec, values[attribute])
            for attribute, _, spec in _specs(section)
        }
    )


def _value_of(spec: Spec, value: Any) -> Any:
    if spec.kind == "part":
        assert spec.section is not None
        return from_canonical(spec.section, value)
    if spec.kind == "table":
        assert spec.section is not None
        return tuple(from_canonical(spec.section, entry) for entry in value)
    if spec.kind == "pairs":
        return tuple((float(first), float(second)) for first, second in value)
    return tuple(value) if spec.kind == "texts" else value


def constants_of(section: Any, front: str) -> Iterator[tuple[str, Constant]]:
    """Name and value of each number of a section; `front` is put before each name."""
    for attribute, _, spec in _specs(type(section)):
        name = front + attribute.removesuffix("_")
        value = getattr(section, attribute)
        if spec.kind == "quantity" and value is not None:
            yield name, Constant(value, UNITS[spec.unit].dimension, spec.unit)
        elif spec.kind == "part":
            yield from constants_of(value, name + "_")


def shown(value_si: float, unit: str, decimals: int = 0) -> str:
    """A number for a finding: `9,500 ft`, `8.70 psi`."""
    return format_quantity(value_si, unit, decimals)

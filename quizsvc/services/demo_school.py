"""The invented school of the demo, as its text describes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from quizsvc.bank.text import plain, read_text
from quizsvc.errors import Finding, FindingsError


@dataclass(frozen=True)
class Practice:
    """How somebody has practised before the demo starts. `hold` is how well things stay, 0 to 1."""

    weeks: int
    days_a_week: int
    hold: float
    idle_for: int


@dataclass(frozen=True)
class Member:
    """One person of the school; `check_in` counts the days to their check."""

    name: str
    roles: tuple[str, ...]
    experience: str
    minutes_a_day: int = 10
    check_in: int | None = None
    practice: Practice | None = None


@dataclass(frozen=True)
class School:
    """The school; `aircraft` is the folder of the aircraft its people fly."""

    name: str
    aircraft: str
    time_zone: str
    people: tuple[Member, ...]


def read_school(file: str, text: str) -> School:
    """Read the text of a demo school.

    Raises
    ------
    FindingsError
        The text has faults; every one of them is named with its place.
    """
    document = read_text(file, text)
    reading = _Reading(document, list(document.findings))
    raw = plain(document.root)
    if not isinstance(raw, dict):
        raw = {}
        reading.fault((), "no words", "write school, aircraft, time-zone and people")
    reading.words((), raw, {"school": str, "aircraft": str, "time-zone": str, "people": list}, optional=())
    people = tuple(_member(reading, index, entry) for index, entry in enumerate(_listed(raw.get("people"))))
    if not people:
        reading.fault(("people",), "nobody is in the school", "write at least one person")
    if reading.findings:
        raise FindingsError("demo-school", "the text of the demo school has faults", sorted(reading.findings))
    return School(raw["school"], raw["aircraft"], raw["time-zone"], people)


@dataclass
class _Reading:
    document: Any
    findings: list[Finding] = field(default_factory=list)

    def fault(self, path: tuple[str | int, ...], what: str, mend: str) -> None:
        line, column = self.document.place(path)
        self.findings.append(Finding(self.document.file, line, column, "demo-school", what, mend))

    def words(
        self,
        path: tuple[str | int, ...],
        raw: Mapping[str, Any],
        types: Mapping[str, type | tuple[type, ...]],
        optional: tuple[str, ...],
    ) -> None:
        """Note unknown and missing words and values of another type."""
        for word in raw:
            if word not in types:
                self.fault((*path, word), f"'{word}' is not a word here", f"words: {', '.join(types)}")
        for word, kind in types.items():
            if word not in raw:
                if word not in optional:
                    self.fault(path, f"'{word}' is missing", f"write {word}:")
            elif not isinstance(raw[word], kind) or isinstance(raw[word], bool):
                names = {str: "a text", int: "a whole number", list: "a list", dict: "a map"}
                expected = names.get(kind, "a number") if isinstance(kind, type) else "a number"
                self.fault((*path, word), f"'{word}' is '{raw[word]}'", f"{expected} is needed")


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


_EMPTY = Member("", (), "")


def _member(reading: _Reading, index: int, raw: Any) -> Member:
    path = ("people", index)
    if not isinstance(raw, dict):
        reading.fault(path, "a person is a map", "write - name: ...")
        return _EMPTY
    before = len(reading.findings)
    types: dict[str, type | tuple[type, ...]] = {
        "name": str,
        "roles": list,
        "experience": str,
        "minutes-a-day": int,
        "check-in": int,
        "practice": dict,
    }
    reading.words(path, raw, types, optional=("minutes-a-day", "check-in", "practice"))
    habits = raw.get("practice")
    if isinstance(habits, dict):
        numbers: dict[str, type | tuple[type, ...]] = {
            "weeks": int,
            "days-a-week": int,
            "hold": (int, float),
            "idle-for": int,
        }
        reading.words((*path, "practice"), habits, numbers, optional=())
    if len(reading.findings) > before:
        return _EMPTY
    practice = None
    if habits:
        practice = Practice(habits["weeks"], habits["days-a-week"], float(habits["hold"]), habits["idle-for"])
    return Member(
        raw["name"],
        tuple(str(role) for role in raw["roles"]),
        raw["experience"],
        raw.get("minutes-a-day", 10),
        raw.get("check-in"),
        practice,
    )

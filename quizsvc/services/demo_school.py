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
class SchoolGroup:
    """A group of the school, its people by name. With days it is an intake: since so many, and for so many more."""

    name: str
    instructors: tuple[str, ...]
    students: tuple[str, ...]
    waiting: tuple[str, ...] = ()
    days: tuple[int, int] | None = None


@dataclass(frozen=True)
class School:
    """The school; `aircraft` is the folder of the aircraft its people fly."""

    name: str
    aircraft: str
    time_zone: str
    people: tuple[Member, ...]
    groups: tuple[SchoolGroup, ...] = ()


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
    reading.words(
        (), raw, {"school": str, "aircraft": str, "time-zone": str, "people": list, "groups": list}, ("groups",)
    )
    people = tuple(_member(reading, index, entry) for index, entry in enumerate(_listed(raw.get("people"))))
    if not people:
        reading.fault(("people",), "nobody is in the school", "write at least one person")
    roles = {member.name: member.roles for member in people}
    groups = tuple(_group(reading, index, entry, roles) for index, entry in enumerate(_listed(raw.get("groups"))))
    if reading.findings:
        raise FindingsError("demo-school", "the text of the demo school has faults", sorted(reading.findings))
    return School(raw["school"], raw["aircraft"], raw["time-zone"], people, groups)


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


def _group(reading: _Reading, index: int, raw: Any, roles: Mapping[str, tuple[str, ...]]) -> SchoolGroup:
    path = ("groups", index)
    empty = SchoolGroup("", (), ())
    if not isinstance(raw, dict):
        reading.fault(path, "a group is a map", "write - name: ...")
        return empty
    before = len(reading.findings)
    types: dict[str, type | tuple[type, ...]] = {
        "name": str,
        "instructors": list,
        "students": list,
        "waiting": list,
        "since": int,
        "for": int,
    }
    reading.words(path, raw, types, optional=("waiting", "since", "for"))
    if ("since" in raw) != ("for" in raw):
        reading.fault(path, "an intake has a first and a last day", "write since: and for:, or neither")
    for word in ("instructors", "students", "waiting"):
        for place, name in enumerate(_listed(raw.get(word))):
            if name not in roles:
                reading.fault((*path, word, place), f"'{name}' is nobody of the school", "name one of its people")
            elif word == "instructors" and "instructor" not in roles[name]:
                reading.fault((*path, word, place), f"'{name}' is no instructor", "give them the role")
    if not _listed(raw.get("instructors")):
        reading.fault(path, "nobody instructs the group", "name an instructor")
    if len(reading.findings) > before:
        return empty
    named = {word: tuple(str(name) for name in raw.get(word, ())) for word in ("instructors", "students", "waiting")}
    return SchoolGroup(raw["name"], **named, days=(raw["since"], raw["for"]) if "since" in raw else None)

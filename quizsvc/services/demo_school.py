"""The invented school of the demo, as its text describes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from quizsvc.bank.text import plain, read_text
from quizsvc.errors import Finding, FindingsError


@dataclass(frozen=True)
class Practice:
    """How somebody has practised before the demo starts. `hold` is how well things stay, 0 to 1.

    `away` has an absence: days ago it began, and how many days it went on.
    """

    weeks: int
    days_a_week: int
    hold: float
    idle_for: int
    away: tuple[int, int] | None = None


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
class Extension:
    """An extension of some days for somebody who hands in after the closing."""

    name: str
    days: int
    reason: str


@dataclass(frozen=True)
class Disputed:
    """A squawk of somebody on the first item that they missed."""

    name: str
    text: str


@dataclass(frozen=True)
class Picked:
    """So many items of some systems and kinds."""

    systems: tuple[str, ...]
    kinds: tuple[str, ...]
    count: int


@dataclass(frozen=True)
class SchoolHomework:
    """An assignment to a group: opened so many days ago, closing in so many (before 0: closed).

    `done` has who handed in, with the share of it that they hold; `begun` who has drafts, with how many.
    """

    title: str
    group: str
    by: str
    pick: tuple[Picked, ...]
    feedback: str
    opened: int
    closes: int
    done: Mapping[str, float]
    begun: Mapping[str, int]
    extended: Extension | None = None
    squawk: Disputed | None = None


@dataclass(frozen=True)
class School:
    """The school; `aircraft` is the folder of the aircraft its people fly."""

    name: str
    aircraft: str
    time_zone: str
    people: tuple[Member, ...]
    groups: tuple[SchoolGroup, ...] = ()
    homework: tuple[SchoolHomework, ...] = ()


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
    words: dict[str, type | tuple[type, ...]] = {"school": str, "aircraft": str, "time-zone": str, "people": list}
    reading.words((), raw, words | {"groups": list, "homework": list}, ("groups", "homework"))
    people = tuple(_member(reading, index, entry) for index, entry in enumerate(_listed(raw.get("people"))))
    if not people:
        reading.fault(("people",), "nobody is in the school", "write at least one person")
    roles = {member.name: member.roles for member in people}
    groups = tuple(_group(reading, index, entry, roles) for index, entry in enumerate(_listed(raw.get("groups"))))
    homework = tuple(_homework(reading, index, one, groups) for index, one in enumerate(_listed(raw.get("homework"))))
    if reading.findings:
        raise FindingsError("demo-school", "the text of the demo school has faults", sorted(reading.findings))
    return School(raw["school"], raw["aircraft"], raw["time-zone"], people, groups, homework)


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
            "away": dict,
        }
        reading.words((*path, "practice"), habits, numbers, optional=("away",))
        if isinstance(habits.get("away"), dict):
            reading.words((*path, "practice", "away"), habits["away"], {"since": int, "for": int}, optional=())
    if len(reading.findings) > before:
        return _EMPTY
    practice = None
    if habits:
        away = (habits["away"]["since"], habits["away"]["for"]) if "away" in habits else None
        practice = Practice(habits["weeks"], habits["days-a-week"], float(habits["hold"]), habits["idle-for"], away)
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


def _homework(reading: _Reading, index: int, raw: Any, groups: tuple[SchoolGroup, ...]) -> SchoolHomework:
    path = ("homework", index)
    empty = SchoolHomework("", "", "", (), "", 0, 0, {}, {})
    if not isinstance(raw, dict):
        reading.fault(path, "homework is a map", "write - title: ...")
        return empty
    before = len(reading.findings)
    types: dict[str, type | tuple[type, ...]] = {
        "title": str,
        "group": str,
        "by": str,
        "pick": list,
        "feedback": str,
        "opened": int,
        "closes": int,
        "done": dict,
        "begun": dict,
        "extension": dict,
        "squawk": dict,
    }
    reading.words(path, raw, types, optional=("done", "begun", "extension", "squawk"))
    parts: dict[str, dict[str, type | tuple[type, ...]]] = {
        "extension": {"name": str, "days": int, "reason": str},
        "squawk": {"name": str, "text": str},
    }
    for word, inner in parts.items():
        if isinstance(raw.get(word), dict):
            reading.words((*path, word), raw[word], inner, optional=())
    of_pick: dict[str, type | tuple[type, ...]] = {"systems": list, "kinds": list, "count": int}
    for place, one in enumerate(_listed(raw.get("pick"))):
        reading.words((*path, "pick", place), one if isinstance(one, dict) else {}, of_pick, optional=())
    if len(reading.findings) > before:
        return empty
    done, begun = raw.get("done", {}), raw.get("begun", {})
    group = next((one for one in groups if one.name == raw["group"]), None)
    if group is None:
        reading.fault((*path, "group"), f"'{raw['group']}' is no group here", "name one of groups:")
        return empty
    if not raw["pick"]:
        reading.fault((*path, "pick"), "nothing is picked", "write - {systems: [...], kinds: [...], count: ...}")
    if raw["by"] not in group.instructors:
        reading.fault((*path, "by"), f"'{raw['by']}' does not instruct the group", "name one of its instructors")
    for word, named in (("done", done), ("begun", begun)):
        for name in named:
            if name not in group.students:
                reading.fault((*path, word), f"'{name}' is no student of the group", "name one of them")
    for word in parts:
        if word in raw and raw[word]["name"] not in done:
            reading.fault((*path, word), f"'{raw[word]['name']}' hands in nothing", "name one of done:")
    return SchoolHomework(
        raw["title"],
        raw["group"],
        raw["by"],
        tuple(Picked(tuple(one["systems"]), tuple(one["kinds"]), one["count"]) for one in raw["pick"]),
        raw["feedback"],
        raw["opened"],
        raw["closes"],
        {str(name): float(hold) for name, hold in done.items()},
        {str(name): int(most) for name, most in begun.items()},
        Extension(**raw["extension"]) if "extension" in raw else None,
        Disputed(**raw["squawk"]) if "squawk" in raw else None,
    )

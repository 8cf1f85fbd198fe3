"""The evidence sheet of a person: by system when, how much and on which revisions, the expectation, the homework.

What there is no evidence of is said as such. A sheet says how things stand on a day, so that two sheets of one day
on which nothing happened between them have the same bytes. It never says what was answered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from quizsvc.services import edge, homework_marks, looks, planned, produced_files, school_access, sharing
from quizsvc.services.clocks import local_day
from quizsvc.services.expectation import expectation_of
from quizsvc.services.homework_reading import assigned_views
from quizsvc.services.homework_release import settle_person
from quizsvc.services.homework_views import AssignmentView
from quizsvc.services.produced_files import KeptLine
from quizsvc.services.system_names import system_names
from quizsvc.services.views import ExpectationView
from quizsvc.store import bank, evidence, homework, people, questions
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Person

__all__ = ["ExpectedShare", "HomeworkLine", "Revised", "Sheet", "SystemLine", "sheet"]


@dataclass(frozen=True)
class Revised:
    """An item and the number of its revision that was used."""

    item: str
    number: int

    def __str__(self) -> str:
        return f"{self.item} revision {self.number}"


@dataclass(frozen=True)
class ExpectedShare:
    """Expected right of so many fresh items, with the plausible range; all in items."""

    expected: float
    low: float
    high: float
    of: int


@dataclass(frozen=True)
class SystemLine:
    """One system. `last` is None where it was never practised; of `of_concepts` in use now `concepts` were asked."""

    system: str
    last: date | None
    concepts: int
    of_concepts: int
    items: int
    expectation: ExpectedShare | None
    revisions: tuple[Revised, ...]


@dataclass(frozen=True)
class HomeworkLine:
    """One assignment. `mark` is only in sheets for the instructors of its group; times are in the group's `zone`."""

    title: str
    group: str
    zone: str
    state: str
    handed_in_at: datetime | None
    closes_at: datetime | None
    tries: int
    questions: int
    mark: str | None
    sha256: str | None
    revisions: tuple[Revised, ...]


@dataclass(frozen=True)
class Sheet:
    """An evidence sheet as `what` kind of reader gets it.

    `practice` is whether it says anything of practice. `expectation` is `given`, `too little` or `not shared`.
    """

    person_id: int
    name: str
    what: str
    day: date
    zone: str
    practice: bool
    expectation: str
    expected: ExpectedShare | None
    expected_day: date | None
    systems: tuple[SystemLine, ...]
    homework: tuple[HomeworkLine, ...]
    missing: tuple[str, ...]
    caution_ids: tuple[str, ...]
    kept: tuple[KeptLine, ...]

    @property
    def title(self) -> str:
        """`Evidence sheet: Nadir Eshvale, 2 Mar 2026`."""
        return f"Evidence sheet: {self.name}, {self.day.day} {self.day:%b %Y}"


def sheet(db: Database, by: int, person_id: int, *, now: datetime) -> Sheet:
    """The evidence sheet of a person as it is for `by`; the look is noted, and that person can see it.

    A head of training gets everybody's. Instructors get those of the students of their groups, with the homework of
    these groups, and what the person shares of practice. Everybody gets their own, as the head of training gets it.

    Raises
    ------
    NotFoundError
        No such person with an account, or not for `by` to see.
    """
    with db.reading() as session:
        _reader(session, by, person_id)
    settle_person(db, person_id, now=now)
    reckoned = expectation_of(db, person_id, now=now)
    with db.writing() as session:
        person, what, groups = _reader(session, by, person_id)
        looks.note(session, person_id, by, "evidence sheet", now)
        shares = sharing.shared(session, person_id)
        practice = what != produced_files.FOR_INSTRUCTOR or shares.practice_to_instructors
        shown = practice if what == produced_files.FOR_INSTRUCTOR else shares.expectation_to_head
        state = "not shared" if not shown else "given" if reckoned.enough else "too little"
        zone = person.time_zone
        systems, invented = _systems(session, person, reckoned if state == "given" else None)
        done = _homework(session, person_id, groups, now)
        return Sheet(
            person_id=person_id,
            name=person.name or "",
            what=what,
            day=date.fromordinal(local_day(now, zone)),
            zone=zone,
            practice=practice,
            expectation=state,
            expected=ExpectedShare(reckoned.expected, reckoned.low, reckoned.high, reckoned.items)
            if state == "given"
            else None,
            expected_day=reckoned.day if state == "given" else None,
            systems=systems if practice else (),
            homework=done,
            missing=_missing(systems, done, practice, state),
            caution_ids=("C1", "C2", "C4") if invented else ("C1", "C4"),
            kept=produced_files.lines(session, by, person_id, what),
        )


def _reader(session: Session, by: int, person_id: int) -> tuple[Person, str, Sequence[int] | None]:
    """The person, the kind of sheet that `by` gets, and the groups whose homework stands in it (None: all)."""
    person = people.by_id(session, edge.row_id(person_id, "evidence sheet"))
    if person is not None and person.name is not None:
        if school_access.head(session, by) and by != person_id:
            return person, produced_files.FOR_HEAD, None
        if by == person_id:
            return person, produced_files.OWN_SHEET, None
        if school_access.INSTRUCTOR in people.roles(session, by):
            groups = evidence.taught(session, by, person_id)
            if groups:
                return person, produced_files.FOR_INSTRUCTOR, groups
    raise edge.not_found("evidence sheet")


def _systems(session: Session, person: Person, reckoned: ExpectationView | None) -> tuple[tuple[SystemLine, ...], bool]:
    """A line for each system that the person is asked from or has practised; whether any is of invented aircraft."""
    concepts = bank.active_concepts(session, planned.folders_of(person))
    touched = evidence.touched(session, person.id)
    called = system_names(
        session,
        ((concept.folder, concept.system) for concept in concepts),
        ((row.folder, row.system) for row in touched),
    )
    in_use: dict[str, set[str]] = defaultdict(set)
    for concept in concepts:
        in_use[called[concept.folder, concept.system]].add(concept.id)
    rows: dict[str, list[Any]] = {system: [] for system in in_use}
    for row in touched:
        rows.setdefault(called[row.folder, row.system], []).append(row)
    shares = {one.system: one for one in reckoned.systems} if reckoned is not None else {}
    lines = []
    for system in sorted(rows):
        found, share = rows[system], shares.get(system)
        last = max((row.last for row in found), default=None)
        lines.append(
            SystemLine(
                system=system,
                last=last.astimezone(ZoneInfo(person.time_zone)).date() if last is not None else None,
                concepts=len({row.concept_id for row in found} & in_use[system]),
                of_concepts=len(in_use[system]),
                items=len({row.item_id for row in found}),
                expectation=ExpectedShare(
                    round(10 * share.share, 1), round(10 * share.low, 1), round(10 * share.high, 1), 10
                )
                if share is not None
                else None,
                revisions=tuple(Revised(row.item_id, row.number) for row in found),
            )
        )
    return tuple(lines), any(concept.folder != planned.GENERAL for concept in concepts)


def _homework(
    session: Session, person_id: int, groups: Sequence[int] | None, now: datetime
) -> tuple[HomeworkLine, ...]:
    of_group = {one.id: one.group_id for one, _ in homework.assigned(session, person_id)}
    lines = []
    for one in assigned_views(session, person_id, None, now):
        if groups is not None and of_group[one.id] not in groups:
            continue
        work = one.counts
        rows = questions.shown_of_work(session, work.id) if work is not None else []
        lines.append(
            HomeworkLine(
                title=one.title,
                group=one.group,
                zone=one.zone,
                state=_state(one),
                handed_in_at=work.handed_in_at if work is not None else None,
                closes_at=one.closes_at,
                tries=sum(each.handed_in for each in one.works),
                questions=len(rows) or one.questions,
                mark=homework_marks.mark(rows).shown if rows and groups is not None else None,
                sha256=work.content_hash if work is not None else None,
                revisions=tuple(Revised(item, number) for item, number in evidence.revisions_of_work(session, work.id))
                if work is not None
                else (),
            )
        )
    return tuple(lines)


def _state(one: AssignmentView) -> str:
    if one.counts is not None:
        return "handed in late" if one.counts.late else "handed in"
    if one.taken_back:
        return "taken back"
    if one.excused:
        return "excused"
    if one.phase == "over":
        return "not handed in"
    return "begun" if one.works else "not yet open" if one.phase == "not yet" else "not begun"


def _missing(
    systems: Sequence[SystemLine], done: Sequence[HomeworkLine], practice: bool, state: str
) -> tuple[str, ...]:
    """What there is no evidence of, in sentences."""
    found = []
    if not practice:
        found.append("Practice is not shared: this sheet says nothing of it.")
    else:
        found += [f"{one.system}: never practised." for one in systems if one.last is None]
        found += [
            f"{one.system}: {one.of_concepts - one.concepts} of {one.of_concepts} concepts never asked."
            for one in systems
            if one.last is not None and one.concepts < one.of_concepts
        ]
        if state == "not shared":
            found.append("The expectation is not shared.")
        if state == "too little":
            found.append("There is too little practice for an expectation.")
    found += [f"Homework “{one.title}”: not handed in." for one in done if one.state == "not handed in"]
    if not done:
        found.append("No homework was assigned.")
    return tuple(sentence[:1].upper() + sentence[1:] for sentence in found)

"""The mark list of an assignment: who handed in what and when, and the mark; as a page and as a file."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from quizsvc.services import allowances, csv_files, older_handbooks, pseudonyms
from quizsvc.services.homework_marks import Mark
from quizsvc.services.homework_release import settle_assignment
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.services.views import CitesOlder
from quizsvc.store import bank, marking
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment

__all__ = ["MarkList", "MarkRow", "as_csv", "mark_list"]


@dataclass(frozen=True)
class MarkRow:
    """One person.

    `mark` is None before anything was handed in; `late` goes by arrival, `device_at` is what the phone's clock said.
    `standing` is `excused`, `extension` or empty. `credits` stand in the order of the list's `columns`: None where
    nothing was handed in, or the answer is void. `released` says whether the person has seen the mark. By `address`
    the opened row is asked for: the person's number, or the key of who has left the service.
    """

    person_id: int
    name: str
    left: bool
    mark: Mark | None
    void: int
    handed_in_at: datetime | None
    device_at: datetime | None
    late: bool
    tries: int
    begun_at: datetime | None
    standing: str
    extended_until: datetime | None
    released: bool
    work_id: str | None
    credits: tuple[float | None, ...] = ()
    address: str = ""

    @property
    def state(self) -> str:
        """In words: handed in, late, begun, excused, or nothing yet."""
        if self.handed_in_at is not None:
            return "handed in late" if self.late else "handed in"
        if self.standing == "excused":
            return "excused"
        return "begun" if self.begun_at is not None else "nothing yet"


@dataclass(frozen=True)
class MarkList:
    """The list, by name. `columns` name the questions: `3`, or `3 b` for a part; `cautions` what its items owe.

    `older` are the questions, by column, that cite an older revision of a handbook than is loaded.
    """

    assignment_id: int
    title: str
    group_id: int
    group_name: str
    time_zone: str
    closes_at: datetime | None
    rows: tuple[MarkRow, ...]
    columns: tuple[str, ...]
    handed_in: int
    caution_ids: tuple[str, ...]
    older: tuple[tuple[str, CitesOlder], ...] = ()


def mark_list(db: Database, by: int, assignment_id: int, *, now: datetime, credits: bool = False) -> MarkList:
    """The mark list, with the credit of every question where asked.

    Raises
    ------
    NotFoundError
        No such assignment of a group that the person instructs.
    """
    with db.reading() as session:
        assignment_for_instructor(session, by, assignment_id)
    settle_assignment(db, assignment_id, now=now)
    with db.reading() as session:
        assignment, group = assignment_for_instructor(session, by, assignment_id)
        asked = marking.asked(session, assignment.id)
        rows = _rows(session, assignment, [(one.place, one.part) for one in asked] if credits else None)
        older = older_handbooks.of_revisions(session, {one.revision_id for one in asked})
        return MarkList(
            assignment_id=assignment.id,
            title=assignment.title,
            group_id=group.id,
            group_name=group.name,
            time_zone=group.time_zone,
            closes_at=assignment.closes_at,
            rows=rows,
            columns=tuple(_column(one) for one in asked),
            handed_in=sum(row.handed_in_at is not None for row in rows),
            caution_ids=_owed(asked),
            older=tuple((_column(one), older[one.revision_id]) for one in asked if one.revision_id in older),
        )


def _column(one: Any) -> str:
    return f"{one.place} {one.part}" if one.part else str(one.place)


def _owed(asked: Sequence[object]) -> tuple[str, ...]:
    """C2 where an item is of an invented aircraft; C4 always."""
    folders = {getattr(one, "folder", "") for one in asked}
    return ("C2", "C4") if folders - {"general"} else ("C4",)


def _rows(
    session: Session, assignment: Assignment, questions: list[tuple[int, str | None]] | None
) -> tuple[MarkRow, ...]:
    works = {work.person_id: work for work in marking.counting(session, assignment.id)}
    if questions is None:
        sums = marking.sums(session, assignment.id)
        totals = {person_id: _Total(*sums[work.id][1:]) for person_id, work in works.items() if work.id in sums}
        credits: dict[int, list[float | None]] = {}
    else:
        # With every credit come the sums: the database need not go through all answers twice.
        credits, totals = _credits(session, assignment.id, questions)
    tries = marking.tries(session, assignment.id)
    current: dict[int, str] = {}
    for person_id, state in marking.students(session, assignment.group_id):
        if current.get(person_id) != "in":
            current[person_id] = state
    # Who left before doing anything has nothing to be marked; whoever began stays in the list.
    begun = {person_id for person_id, (_, number, _) in tries.items() if number}
    shown = sorted({person_id for person_id, state in current.items() if state == "in"} | begun)
    persons = marking.people(session, shown).values()
    named, keys = pseudonyms.names(session, persons), pseudonyms.keys(session, persons)
    standings = allowances.standings(session, assignment, shown)
    nothing = [None] * len(questions or ())
    found = []
    for person_id in shown:
        work = works.get(person_id)
        total = totals.get(person_id)
        standing = standings[person_id]
        handed_in, _, begun_at = tries.get(person_id, (0, 0, None))
        found.append(
            MarkRow(
                person_id=person_id,
                name=named[person_id],
                left=current.get(person_id) != "in",
                mark=Mark(float(total.points), total.of) if total is not None else None,
                void=total.void if total is not None else 0,
                handed_in_at=work.handed_in_at if work is not None else None,
                device_at=work.device_at if work is not None else None,
                late=bool(work is not None and work.late),
                tries=handed_in,
                begun_at=begun_at,
                standing="excused" if standing.excused else "extension" if standing.extended_until else "",
                extended_until=standing.extended_until,
                released=bool(work is not None and work.released_at is not None),
                work_id=work.id if work is not None else None,
                credits=tuple(credits.get(person_id, nothing)),
                address=keys.get(person_id, str(person_id)),
            )
        )
    return tuple(sorted(found, key=lambda row: (row.left, row.name.casefold(), row.person_id)))


class _Total(NamedTuple):
    """Points, of how many questions that count, and how many do not."""

    points: float
    of: int
    void: int


def _credits(
    session: Session, assignment_id: int, questions: Sequence[tuple[int, str | None]]
) -> tuple[dict[int, list[float | None]], dict[int, _Total]]:
    """By person the credit of each question, None where there is no answer or a void one; and what they come to."""
    column = {one: number for number, one in enumerate(questions)}
    found: dict[int, list[float | None]] = {}
    void: Counter[int] = Counter()
    for person, place, part, outcome, credit in marking.credits(session, assignment_id):
        own = found.get(person)
        if own is None:
            own = found[person] = [None] * len(column)
        if outcome == "void":
            void[person] += 1
        else:
            own[column[place, part]] = credit
    totals = {}
    for person, own in found.items():
        counted = [one for one in own if one is not None]
        totals[person] = _Total(math.fsum(counted), len(counted), void[person])
    return found, totals


def as_csv(db: Database, by: int, assignment_id: int, *, now: datetime) -> tuple[str, bytes]:
    """Name and bytes of the list as a file: comma-separated, a line for each person, after the cautions it owes.

    Times are those of the group's zone. A text that a spreadsheet would run as a formula gets an apostrophe before it.

    Raises
    ------
    NotFoundError
        No such assignment of a group that the person instructs.
    """
    found = mark_list(db, by, assignment_id, now=now, credits=True)
    with db.reading() as session:
        cautions = bank.all_cautions(session)
        owed = [cautions[one].text for one in ("C1", *found.caution_ids) if one in cautions]
        owed += [f"question {column}: {one.put_into(cautions[one.id].text)}" for column, one in found.older]
    zone = ZoneInfo(found.time_zone)
    # Each line carries its own caution: a line copied out of the file is still no proof of anything.
    short = cautions["C4"].text if "C4" in cautions else ""
    lines: list[list[Any]] = [
        [f"{found.title}, {found.group_name}, {found.time_zone}"],
        *([text] for text in owed),
        ["name", "state", "points", "of", "void", "handed in", "phone's clock", "late", "tries", "standing",
         *[f"question {one}" for one in found.columns], "caution"],
    ]  # fmt: skip
    for row in found.rows:
        lines.append(
            [
                row.name,
                row.state + (", left the group" if row.left else ""),
                "" if row.mark is None else _number(row.mark.points),
                "" if row.mark is None else row.mark.of,
                row.void,
                _time(row.handed_in_at, zone),
                _time(row.device_at, zone),
                "late" if row.late else "",
                row.tries,
                row.standing,
                *["" if one is None else _number(one) for one in row.credits],
                short,
            ]
        )
    return f"mark-list-{found.assignment_id}.csv", csv_files.written(lines)


def _number(value: float) -> str:
    return f"{round(value, 4):g}"


def _time(at: datetime | None, zone: ZoneInfo) -> str:
    return "" if at is None else at.astimezone(zone).isoformat(sep=" ", timespec="seconds")

"""The mark list of an assignment: who handed in what and when, and the mark; as a page and as a file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from quizsvc.services import allowances
from quizsvc.services.homework_marks import Mark
from quizsvc.services.homework_release import settle_assignment
from quizsvc.services.school_access import assignment_for_instructor
from quizsvc.store import bank, groups, marking
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment

__all__ = ["GONE", "MarkList", "MarkRow", "as_csv", "mark_list", "neutral"]

GONE = "somebody who left the service"
_STATES = ("in", "left")
# What a spreadsheet would take for a formula. A number with its sign is none.
_FORMULA = re.compile(r"[=+\-@\t\r\n]")
_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")


@dataclass(frozen=True)
class MarkRow:
    """One person.

    `mark` is None before anything was handed in; `late` goes by arrival, `device_at` is what the phone's clock said.
    `standing` is `excused`, `extension` or empty. `credits` stand in the order of the list's `columns`: None where
    nothing was handed in, or the answer is void. `released` says whether the person has seen the mark.
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
    """The list, by name. `columns` name the questions: `3`, or `3 b` for a part; `cautions` what its items owe."""

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
        return MarkList(
            assignment_id=assignment.id,
            title=assignment.title,
            group_id=group.id,
            group_name=group.name,
            time_zone=group.time_zone,
            closes_at=assignment.closes_at,
            rows=rows,
            columns=tuple(f"{one.place} {one.part}" if one.part else str(one.place) for one in asked),
            handed_in=sum(row.handed_in_at is not None for row in rows),
            caution_ids=_owed(asked),
        )


def _owed(asked: Sequence[object]) -> tuple[str, ...]:
    """C2 where an item is of an invented aircraft; C4 always."""
    folders = {getattr(one, "folder", "") for one in asked}
    return ("C2", "C4") if folders - {"general"} else ("C4",)


def _rows(
    session: Session, assignment: Assignment, questions: list[tuple[int, str | None]] | None
) -> tuple[MarkRow, ...]:
    works = {work.person_id: work for work in marking.counting(session, assignment.id)}
    sums = marking.sums(session, assignment.id)
    tries = marking.tries(session, assignment.id)
    current: dict[int, str] = {}
    for membership, _ in groups.members(session, assignment.group_id, _STATES):
        if membership.part == "student" and current.get(membership.person_id) != "in":
            current[membership.person_id] = membership.state
    # Who left before doing anything has nothing to be marked; whoever began stays in the list.
    begun = {person_id for person_id, (_, number, _) in tries.items() if number}
    shown = sorted({person_id for person_id, state in current.items() if state == "in"} | begun)
    named = marking.people(session, shown)
    standings = allowances.standings(session, assignment, shown)
    credits = _credits(session, assignment.id, questions) if questions is not None else {}
    found = []
    for person_id in shown:
        work = works.get(person_id)
        total = sums.get(work.id) if work is not None else None
        standing = standings[person_id]
        handed_in, _, begun_at = tries.get(person_id, (0, 0, None))
        found.append(
            MarkRow(
                person_id=person_id,
                name=named[person_id].name or GONE,
                left=current.get(person_id) != "in",
                mark=Mark(float(total.points), int(total.of)) if total is not None else None,
                void=int(total.void) if total is not None else 0,
                handed_in_at=work.handed_in_at if work is not None else None,
                device_at=work.device_at if work is not None else None,
                late=bool(work is not None and work.late),
                tries=handed_in,
                begun_at=begun_at,
                standing="excused" if standing.excused else "extension" if standing.extended_until else "",
                extended_until=standing.extended_until,
                released=bool(work is not None and work.released_at is not None),
                work_id=work.id if work is not None else None,
                credits=tuple(credits.get(person_id, {}).get(one) for one in questions or ()),
            )
        )
    return tuple(sorted(found, key=lambda row: (row.left, row.name.casefold(), row.person_id)))


def _credits(
    session: Session, assignment_id: int, questions: Iterable[tuple[int, str | None]]
) -> dict[int, dict[tuple[int, str | None], float]]:
    """By person and question the credit of each answer that counts and is not void."""
    found: dict[int, dict[tuple[int, str | None], float]] = {}
    for person, place, part, outcome, credit in marking.credits(session, assignment_id):
        if outcome != "void":
            found.setdefault(person, {})[place, part] = credit
    return found


def as_csv(db: Database, by: int, assignment_id: int, *, now: datetime) -> tuple[str, str]:
    """Name and text of the list as a file: comma-separated, a line for each person, after the cautions it owes.

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
    zone = ZoneInfo(found.time_zone)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([neutral(f"{found.title}, {found.group_name}, {found.time_zone}")])
    for text in owed:
        writer.writerow([neutral(text)])
    # Each line carries its own caution: a line copied out of the file is still no proof of anything.
    writer.writerow(
        ["name", "state", "points", "of", "void", "handed in", "phone's clock", "late", "tries", "standing",
         *[f"question {one}" for one in found.columns], "caution"]
    )  # fmt: skip
    short = cautions["C4"].text if "C4" in cautions else ""
    for row in found.rows:
        writer.writerow(
            [
                neutral(row.name),
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
                neutral(short),
            ]
        )
    return f"mark-list-{found.assignment_id}.csv", out.getvalue()


def neutral(text: str) -> str:
    """A text that no spreadsheet takes for a formula; a plain number keeps its sign."""
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def _number(value: float) -> str:
    return f"{round(value, 4):g}"


def _time(at: datetime | None, zone: ZoneInfo) -> str:
    return "" if at is None else at.astimezone(zone).isoformat(sep=" ", timespec="seconds")

"""A class of 1,000 with 50 questions: answer spread, mark list and its file, against reading the same rows and no more.

The floor of each is plain SQL on the same database, in the same run: what it takes to read the rows that the screen is
made of, and to sum them where the database sums. Growth is from 100 students to 10,000, beside the floor's own: reading
a hundred times the rows out of indexes that no longer fit SQLite's cache takes more than a hundred times as long.
Everything runs in this process, so processor time is measured, which the machine's other work does not touch.
"""

from __future__ import annotations

import json
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from quizsvc.services import answer_spread, banks, mark_list
from quizsvc.settings import migrations_folder
from quizsvc.store import assignments, migration
from quizsvc.store.session import Database
from tests import factories
from tests.benchmarks import Row
from tests.benchmarks.school_rows import BEGUN, OVER, write_class

SIZES, PLACES = (100, 1000, 10_000), 50
REPEATS = {100: 5, 1000: 3, 10_000: 1}

_ANSWERS = """FROM work JOIN question ON question.work_id = work.id
    JOIN answer ON answer.question_id = question.id AND answer.again = 0
    JOIN grade ON grade.answer_id = answer.id AND grade.number = 1 WHERE work.assignment_id = ?"""
_MARKS = f"SELECT work.person_id, question.place, grade.outcome, grade.credit, grade.belief, grade.marks {_ANSWERS}"
_SUMS = f"SELECT work.id, sum(grade.credit), count(*) {_ANSWERS} GROUP BY work.id"
_CREDITS = f"SELECT work.person_id, question.place, grade.credit {_ANSWERS}"


def run() -> list[Row]:
    """Milliseconds for each size, ratios to the floors at 1,000, and growth."""
    times: dict[str, dict[int, float]] = {}
    with tempfile.TemporaryDirectory() as name:
        db = Database.open(f"sqlite:///{Path(name) / 'quizsvc.db'}")
        migration.upgrade(db, migrations_folder())
        banks.load(db, factories.write_bank(Path(name) / "bank"), now=BEGUN, rng=random.Random(1))
        for students in SIZES:
            by, assignment = write_class(db, students, PLACES)
            for what, call in _calls(db, by, assignment).items():
                times.setdefault(what, {})[students] = _best(call, REPEATS[students])
        db.close()
    rows = []
    for what, floor, goal in (
        ("answer spread with statistics, counted", "  its rows read, marks parsed", "at most 4"),
        ("mark list", "  its sums by the database", "at most 3"),
        ("mark list as a file, every credit", "  its credits read", "at most 6"),
    ):
        ours, bare = times[what], times[floor]
        rows.append(Row(f"{what}, 1,000 x {PLACES}", ours[1000] * 1e3, "ms", ours[1000] / bare[1000], goal))
        rows.append(Row(floor, bare[1000] * 1e3, "ms"))
        growth = ours[10_000] / ours[100]
        rows.append(
            Row(f"  from 100 to 10,000 students ({ours[10_000] * 1e3:.0f} ms)", growth, "x", growth, "at most 150")
        )
    fixed = times["answer spread, shown again"]
    growth = fixed[10_000] / fixed[100]
    rows.append(Row(f"answer spread, shown again, 1,000 x {PLACES}", fixed[1000] * 1e3, "ms"))
    rows.append(Row("  from 100 to 10,000 students", growth, "times", growth, "at most 3"))
    return rows


def _calls(db: Database, by: int, assignment: int) -> dict[str, Callable[[], object]]:
    def count() -> None:
        with db.writing() as session:
            found = assignments.lock(session, assignment)
            assert found is not None
            found.summary = found.summed_at = None
            session.flush()
            assert answer_spread.fix(session, found, OVER)

    def read(statement: str, *, parse: bool = False) -> Callable[[], object]:
        def bare() -> None:
            with db.reading_rows() as connection:
                for row in connection.exec_driver_sql(statement, (assignment,)):
                    if parse:
                        json.loads(row[-1])

        return bare

    return {
        "answer spread with statistics, counted": count,
        "  its rows read, marks parsed": read(_MARKS, parse=True),
        "answer spread, shown again": lambda: answer_spread.spread(db, by, assignment, now=OVER),
        "mark list": lambda: mark_list.mark_list(db, by, assignment, now=OVER),
        "  its sums by the database": read(_SUMS),
        "mark list as a file, every credit": lambda: mark_list.as_csv(db, by, assignment, now=OVER),
        "  its credits read": read(_CREDITS),
    }


def _best(call: Callable[[], object], repeats: int) -> float:
    call()
    best = float("inf")
    for _ in range(repeats):
        begun = time.process_time()
        call()
        best = min(best, time.process_time() - begun)
    return best

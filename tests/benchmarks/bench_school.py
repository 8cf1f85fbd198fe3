"""A class of 1,000 with 50 questions: answer spread, mark list, evidence, against reading the same rows and no more.

The floor of each is plain SQL on the same database, in the same run: what it takes to read the rows that the screen is
made of, and to sum them where the database sums. Growth is from 100 students to 10,000, beside the floor's own: reading
a hundred times the rows out of indexes that no longer fit SQLite's cache takes more than a hundred times as long.
Everything runs in this process, so processor time is measured, which the machine's other work does not touch.
"""

from __future__ import annotations

import gc
import json
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from quizsvc.services import answer_spread, banks, evidence, mark_list, memory_log
from quizsvc.services.expectation import expectation_of
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
_LAST = """SELECT answer.person_id, max(effective_at) FROM answer JOIN question ON question.id = answer.question_id
    WHERE NOT question.sealed GROUP BY answer.person_id"""
_CREDITS = f"SELECT work.person_id, question.place, grade.credit {_ANSWERS}"


def run() -> list[Row]:
    """Milliseconds for each size, ratios to the floors at 1,000, and growth."""
    times: dict[str, dict[int, float]] = {}
    with tempfile.TemporaryDirectory() as name:
        db = Database.open(f"sqlite:///{Path(name) / 'quizsvc.db'}")
        migration.upgrade(db, migrations_folder())
        banks.load(db, factories.write_bank(Path(name) / "bank"), now=BEGUN, rng=random.Random(1))
        for students in SIZES:
            by, assignment, people = write_class(db, students, PLACES)
            memory_log.rebuild_one(db, people[0])
            for what, call in _calls(db, by, assignment, people[0]).items():
                times.setdefault(what, {})[students] = _best(call, REPEATS[students])
        db.close()
    rows = []
    for what, floor, goal in (
        ("answer spread with statistics, counted", "  its rows read, marks parsed", "at most 4"),
        ("mark list", "  its sums by the database", "at most 3"),
        ("mark list as a file, every credit", "  its credits read", "at most 6"),
        ("evidence: everybody's line", "  the last answer of each person", "at most 4"),
    ):
        ours, bare = times[what], times[floor]
        rows.append(Row(f"{what}, 1,000 x {PLACES}", ours[1000] * 1e3, "ms", ours[1000] / bare[1000], goal))
        rows.append(Row(floor, bare[1000] * 1e3, "ms"))
        growth, own = (taken[10_000] / taken[100] for taken in (ours, bare))
        name = f"  from 100 to 10,000 students ({ours[10_000] * 1e3:.0f} ms), over the floor's"
        rows.append(Row(name, growth, "times", growth / own, "at most 1.5"))
    sheets, expected = times["evidence: a sheet"], times["  that person's expectation"]
    rows.append(Row("evidence: a sheet", sheets[1000] * 1e3, "ms", sheets[1000] / expected[1000], "at most 6"))
    rows.append(Row("  that person's expectation", expected[1000] * 1e3, "ms"))
    for what in ("evidence: a sheet", "answer spread, shown again"):
        growth = times[what][10_000] / times[what][100]
        if what not in [row.name for row in rows]:
            rows.append(Row(what, times[what][1000] * 1e3, "ms"))
        rows.append(Row("  from 100 to 10,000 students", growth, "times", growth, "at most 3"))
    return rows


def _calls(db: Database, by: int, assignment: int, student: int) -> dict[str, Callable[[], object]]:
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
                for row in connection.exec_driver_sql(statement, (assignment,) if "?" in statement else ()):
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
        "evidence: everybody's line": lambda: evidence.training(db, by),
        "  the last answer of each person": read(_LAST),
        "evidence: a sheet": lambda: evidence.sheet(db, by, student, now=OVER),
        "  that person's expectation": lambda: expectation_of(db, student, now=OVER),
    }


def _best(call: Callable[[], object], repeats: int) -> float:
    call()
    best = float("inf")
    for _ in range(repeats):
        gc.collect()  # what an earlier call has left is not this one's
        begun = time.process_time()
        call()
        best = min(best, time.process_time() - begun)
    return best

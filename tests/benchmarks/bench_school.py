"""A class of 1,000 with 50 questions: answer spread, mark list, evidence, against reading the same rows and no more.

The floor of each is plain SQL on the same database, in the same run: what it takes to read the rows that the screen is
made of, and to sum them where the database sums. Each size has a database of its own, so that 10,000 students are
10,000 and not those of the smaller classes too. Everything runs in this process, so processor time is measured, which
the machine's other work touches least.

Why the goals are what they are:

- Counting a spread, and the page of marks, may cost as much again as their floor: at most 2. The spread visits no
  answer that the floor has not read; the page adds to fifty summed answers of a person four rows of that person's own.
- The file does with each credit five things of which reading is one: read, put into its column, made into text, looked
  at for a formula, written. None may cost more than the reading: at most 5.
- Everybody's line joins to the last answers three tables with a row for each person (accounts, groups, works), none of
  which may cost more than the index over fifty answers each: at most 4.
- A sheet is the expectation and three readings (what was touched, the homework, looks and files kept), none of which
  may cost more than the expectation, which is reckoned: at most 4.
- Growth: a hundred times the rows take a hundred times as long, in trees that are deeper. A page of an index holds
  about eighty keys, so 5,000 rows lie two levels deep and 500,000 three: 100 x 3 / 2 = 150. What does not hang on the
  class (a sheet of one person, a spread that is fixed) looks rows up in these trees and no more: 3 / 2 = 1.5.
"""

from __future__ import annotations

import gc
import json
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from quizsvc.services import answer_spread, banks, evidence, mark_list, memory_log, spread_fixing, training
from quizsvc.services.expectation import expectation_of
from quizsvc.settings import migrations_folder
from quizsvc.store import assignments, migration
from quizsvc.store.session import Database
from tests import factories
from tests.benchmarks import Row
from tests.benchmarks.school_rows import BEGUN, OVER, write_class

SIZES, PLACES = (100, 1000, 10_000), 50
REPEATS = {100: 9, 1000: 5, 10_000: 3}
# What does not hang on how many people there are; and how many times as long the rest, and this, may take of 100 times.
ONE = ("evidence: a sheet", "answer spread, shown again")
DEEPER, FLAT = 150, 1.5

_ANSWERS = """FROM work JOIN question ON question.work_id = work.id
    JOIN answer ON answer.question_id = question.id AND answer.again = 0
    JOIN grade ON grade.answer_id = answer.id AND grade.number = 1 WHERE work.assignment_id = ?"""
_MARKS = f"SELECT work.person_id, question.place, grade.outcome, grade.credit, grade.belief, grade.marks {_ANSWERS}"
_SUMS = f"SELECT work.id, sum(grade.credit), count(*) {_ANSWERS} GROUP BY work.id"
_LAST = "SELECT person_id, max(effective_at) FROM answer GROUP BY person_id"
_CREDITS = f"SELECT work.person_id, question.place, grade.credit {_ANSWERS}"


def run() -> list[Row]:
    """Milliseconds for a class of 1,000, ratios to the floors, and growth from 100 to 10,000."""
    times: dict[str, dict[int, float]] = {}
    for students in SIZES:
        with tempfile.TemporaryDirectory() as name:
            db = Database.open(f"sqlite:///{Path(name) / 'quizsvc.db'}")
            migration.upgrade(db, migrations_folder())
            banks.load(db, factories.write_bank(Path(name) / "bank"), now=BEGUN, rng=random.Random(1))
            by, assignment, people = write_class(db, students, PLACES)
            memory_log.rebuild_one(db, people[0])
            for what, call in _calls(db, by, assignment, people[0]).items():
                times.setdefault(what, {})[students] = _best(call, REPEATS[students])
            db.close()
    rows = []
    for what, floor, goal in (
        ("answer spread with statistics, counted", "  its rows read, marks parsed", "at most 2"),
        ("mark list", "  its sums by the database", "at most 2"),
        ("mark list as a file, every credit", "  its credits read", "at most 5"),
        ("evidence: everybody's line", "  the last answer of each person", "at most 4"),
        ("evidence: a sheet", "  that person's expectation", "at most 4"),
        ("answer spread, shown again", None, ""),
    ):
        ours = times[what]
        bare = times[floor][1000] if floor else None
        rows.append(Row(f"{what}, 1,000 x {PLACES}", ours[1000] * 1e3, "ms", ours[1000] / bare if bare else None, goal))
        if floor:
            rows.append(Row(floor, times[floor][1000] * 1e3, "ms"))
        growth = ours[10_000] / ours[100]
        name = f"  from 100 to 10,000 students ({ours[10_000] * 1e3:.0f} ms)"
        rows.append(Row(name, growth, "times", growth, f"at most {FLAT if what in ONE else DEEPER}"))
        if floor and what not in ONE:
            rows.append(Row("  the floor's own growth", times[floor][10_000] / times[floor][100], "times"))
    return rows


def _calls(db: Database, by: int, assignment: int, student: int) -> dict[str, Callable[[], object]]:
    def count() -> None:
        with db.writing() as session:
            found = assignments.lock(session, assignment)
            assert found is not None
            found.summary = found.summed_at = None
            session.flush()
            assert spread_fixing.fix(session, found, OVER)

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
        "evidence: everybody's line": lambda: training.listed(db, by, page=None),
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

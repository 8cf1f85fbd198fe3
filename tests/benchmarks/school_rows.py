"""A big class that has handed in, written straight into the tables: what the benchmarks of the school read."""

from __future__ import annotations

import json
import random
import secrets
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa

from quizsvc.bank.grade import grade
from quizsvc.bank.question import issue
from quizsvc.services.compiled import compiled_in
from quizsvc.services.question_views import marks_stored
from quizsvc.services.sessions import new_people
from quizsvc.store.session import Database
from quizsvc.store.tables import (
    Answer,
    Assignment,
    AssignmentPlace,
    Group,
    Item,
    Membership,
    PersonRole,
    Revision,
)

BEGUN = datetime(2026, 3, 2, 9, tzinfo=UTC)
OVER = BEGUN + timedelta(days=8)
_QUESTION = "item_id revision_id concept_id kind drawn option_order record draw_key sealed reason offline issued_at"


def write_class(db: Database, students: int, places: int) -> tuple[int, int, list[int]]:
    """A group whose students have all handed in so many questions; returns instructor, assignment and students.

    Each place is asked with one draw, and each person chooses one of its options, or a number, at random.
    """
    rng = random.Random(students)
    with db.writing() as session:
        people = _people(session, students)
        group = Group(
            name=f"Class of {students}", name_key=f"class of {students}", time_zone="UTC", aircraft=[], made_at=BEGUN
        )
        session.add(group)
        session.flush()
        session.execute(
            sa.insert(Membership),
            [
                {"group_id": group.id, "person_id": person, "part": "student" if place else "instructor",
                 "state": "in", "asked_at": BEGUN, "joined_at": BEGUN}
                for place, person in enumerate(people)
            ],
        )  # fmt: skip
        assignment = Assignment(
            group_id=group.id, title="Everything", state="released", version=1, numbers="common",
            feedback="with the mark", tries=1, opens_at=BEGUN, closes_at=BEGUN + timedelta(days=7), made_at=BEGUN,
            changed_at=BEGUN, released_at=BEGUN,
        )  # fmt: skip
        session.add(assignment)
        session.flush()
        asked = _asked(session, places, rng)
        session.execute(
            sa.insert(AssignmentPlace),
            [
                {"assignment_id": assignment.id, "position": place, "item_id": one["item_id"],
                 "revision_id": one["revision_id"]}
                for place, one in enumerate(asked, 1)
            ],
        )  # fmt: skip
        for start in range(1, len(people), 500):
            _hand_in(session, assignment.id, people[start : start + 500], asked, rng)
        return people[0], assignment.id, people[1:]


def _people(session, students: int) -> list[int]:
    """An instructor, who is head of training too, and so many students; their ids."""
    names = [(f"Class {students} no {number}", f"class {students} no {number}") for number in range(students + 1)]
    ids = list(new_people(session, names, aircraft=["tolquenny-19"], time_zone="UTC", now=BEGUN).values())
    session.execute(
        sa.insert(PersonRole), [{"person_id": ids[0], "role": role} for role in ("instructor", "head of training")]
    )
    return ids


def _asked(session, places: int, rng) -> list[dict]:
    """For each place a drawn question as columns, and the answers that are given to it with their grades."""
    rows = session.execute(
        sa.select(Item.id, Revision.id.label("revision_id"), Revision.hash, Revision.kind, Revision.concept_id)
        .join(Revision, Revision.id == Item.revision_id)
        .where(Revision.kind.in_(("one", "some", "number")))
        .order_by(Item.id)
    ).all()
    found = []
    for place in range(places):
        row = rows[place % len(rows)]
        issued = issue(compiled_in(session, row.hash, row.revision_id).item, rng)
        answers = []
        for response in _responses(issued.record):
            judged = grade(issued.record, response)
            marks = json.dumps(marks_stored(judged))
            answers.append((json.dumps(response), (judged.outcome, judged.credit, judged.trap, judged.belief, marks)))
        values = {
            "item_id": row.id, "revision_id": row.revision_id, "concept_id": row.concept_id, "kind": row.kind,
            "drawn": json.dumps(issued.drawn), "option_order": json.dumps(issued.order),
            "record": json.dumps(issued.record), "draw_key": f"{row.id} {place}", "sealed": 0, "reason": "homework",
            "offline": 0, "issued_at": _time(BEGUN),
        }  # fmt: skip
        found.append({**values, "columns": tuple(values.values()), "answers": answers})
        assert " ".join(values) == _QUESTION
    return found


def _responses(record) -> list[dict]:
    if record["kind"] == "number":
        values = [record["key"], *[trap["value"] for trap in record["traps"]], record["key"] * 3 + 1e4]
        return [{"typed": str(value), "unit": record["unit"], "si": value} for value in values]
    if record["kind"] == "one":
        return [{"option": option} for option in record["order"]]
    return [{"options": [option]} for option in record["order"]]


def _hand_in(session, assignment: int, people: list[int], asked: list[dict], rng) -> None:
    """Work, questions, answers and grades as bare rows: what is the same for everybody is made into text once."""
    works, questions, answers, grades = [], [], [], []
    answer_id = session.scalar(sa.select(sa.func.max(Answer.id))) or 0
    for person in people:
        work = secrets.token_hex(16)
        at = _time(BEGUN + timedelta(minutes=rng.randrange(9000)))
        works.append((work, assignment, person, 1, _time(BEGUN), at, at, 0, "0" * 64, at))
        for place, one in enumerate(asked, 1):
            question = secrets.token_hex(16)
            response, grade_columns = rng.choice(one["answers"])
            questions.append((question, person, work, place, place, *one["columns"]))
            answer_id += 1
            uuid = f"00000000-0000-4000-8000-{answer_id:012x}"
            answers.append((answer_id, uuid, question, person, 0, response, response, at, at, 20000, 0))
            grades.append((answer_id, 1, *grade_columns, at))
    connection = session.connection()
    for table, names, rows in (
        ("work", "id assignment_id person_id number drawn_at begun_at handed_in_at late content_hash released_at",
         works),
        ("question", f"id person_id work_id place position {_QUESTION}", questions),
        ("answer", "id uuid question_id person_id again raw response received_at effective_at local_day offline",
         answers),
        ("grade", "answer_id number outcome credit trap belief marks graded_at", grades),
    ):  # fmt: skip
        columns = names.split()
        places = ", ".join("?" * len(columns))
        connection.exec_driver_sql(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({places})", rows)


def _time(at: datetime) -> str:
    """As SQLite holds it."""
    return at.strftime("%Y-%m-%d %H:%M:%S.%f+00:00")

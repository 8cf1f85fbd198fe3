"""The homework of the demo's school: open and half done, closed and marked, extended and disputed; counted by hand."""

from __future__ import annotations

import contextlib
import dataclasses
from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from quizsvc.errors import FindingsError
from quizsvc.services import answer_spread, demo, evidence, homework, mark_list, schema
from quizsvc.services.demo_school import read_school
from quizsvc.settings import question_bank_folder, settings_from
from quizsvc.store.tables import Answer, Assignment, Grade, Person, Question, Squawk, Work
from tests import factories

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
HEAD = """\
school: A small school
aircraft: tolquenny-19
time-zone: Europe/Zurich
people:
  - {name: Anna, roles: [instructor], experience: rated}
"""
STUDENTS = ["Berta", "Carla", "Dora", "Emil", "Franz"]
STORY = (
    HEAD
    + "".join(f"  - {{name: {name}, roles: [pilot], experience: in training}}\n" for name in STUDENTS)
    + f"groups:\n  - {{name: An intake, instructors: [Anna], students: {STUDENTS}}}\n"
    + """\
homework:
  - title: Closed and marked
    group: An intake
    by: Anna
    pick:
      - {systems: [21 high field, 24 DC power], kinds: [one], count: 2}
      - {systems: [21 automatic], kinds: [number], count: 1}
    feedback: after closing
    opened: 9
    closes: -4
    done: {Berta: 1.0, Carla: 0.7, Dora: 0.0, Emil: 0.5, Franz: 0.3}
    extension: {name: Emil, days: 1, reason: Ill on Monday.}
    squawk: {name: Dora, text: The key is not what the handbook says.}
  - title: Open
    group: An intake
    by: Anna
    pick:
      - {systems: [21 degraded], kinds: [some], count: 1}
      - {systems: [21 automatic], kinds: [number], count: 1}
    feedback: with the mark
    opened: 2
    closes: 3
    done: {Carla: 1.0}
    begun: {Berta: 1}
"""
)


@pytest.fixture
def settings(tmp_path):
    """The demo's settings, with a school of six and the tests' bank."""
    bank = factories.write_bank(tmp_path / "question_bank")
    (bank / "demo-school.yaml").write_text(STORY)
    made = settings_from({"QUIZSVC_DATA_DIR": str(tmp_path / "data")})
    return dataclasses.replace(demo.demo_settings(made), bank=bank)


def given(session):
    """Every answer with its grade: assignment, place, item, who, raw, outcome, credit; in an order of its own."""
    rows = (
        session.query(
            *(Assignment.title, Question.position, Question.item_id, Person.name),
            *(Answer.raw, Grade.outcome, Grade.credit),
        )
        .select_from(Grade)
        .join(Answer, Answer.id == Grade.answer_id)
        .join(Question, Question.id == Answer.question_id)
        .join(Work, Work.id == Question.work_id)
        .join(Assignment, Assignment.id == Work.assignment_id)
        .join(Person, Person.id == Work.person_id)
    )
    return sorted((tuple(row) for row in rows), key=lambda row: (row[0], row[3], row[1]))


def test_the_story_is_all_there_and_its_figures_are_those_of_the_answers(settings):
    """Two assignments through the services: spread, marks and evidence say what a count of the answers says."""
    report = demo.prepare(settings, fresh=False, now=NOW, progress=lambda label: lambda done, total: None)
    with contextlib.closing(schema.open_database(settings)) as db:
        with db.reading() as session:
            ids = dict(session.query(Person.name, Person.id))
            numbers = dict(session.query(Assignment.title, Assignment.id))
            answers = given(session)
            squawk = session.query(Squawk).one()
            asked = session.get(Question, squawk.question_id)
            assert (squawk.status, squawk.person_id, asked.work_id is not None) == ("open", ids["Dora"], True)
        closed = [row for row in answers if row[0] == "Closed and marked"]
        # Five times three, and Carla's two of the open one.
        assert len(closed) == 15 and report.answers == len(answers) == 17

        spread = answer_spread.spread(db, ids["Anna"], numbers["Closed and marked"], now=NOW)
        assert (spread.people, spread.too_few, spread.fixed_at is not None) == (5, False, True)
        for question in spread.questions:
            at_place = [row for row in closed if row[2] == question["item"]]
            assert question["answers"] == len(at_place) == 5
            counted = Counter(row[5] for row in at_place)
            assert {word: times for word, times in question["outcomes"].items() if times} == dict(counted)
            if question["kind"] == "one":
                picked = Counter(row[4].get("option") for row in at_place)
                assert {one["id"]: one["count"] for one in question["options"] if one["count"]} == {
                    option: times for option, times in picked.items() if option
                }
        marks = mark_list.mark_list(db, ids["Anna"], numbers["Closed and marked"], now=NOW, credits=True)
        assert [row.name for row in marks.rows] == STUDENTS and marks.handed_in == 5
        for row in marks.rows:
            own = [one[6] for one in closed if one[3] == row.name]
            assert list(row.credits) == own and row.mark.points == pytest.approx(sum(own))
        shown = {row.name: row for row in marks.rows}
        # Who holds everything and who holds nothing.
        assert (shown["Berta"].mark.points, shown["Dora"].mark.points) == (3.0, 0.0)
        # 26 February is four days back; 20:00 in Zurich is 19:00 UTC. Emil came after it, within his extension.
        closes = datetime(2026, 2, 26, 19, 0, tzinfo=UTC)
        assert marks.closes_at == closes
        assert {row.name for row in marks.rows if row.handed_in_at > closes} == {"Emil"}
        assert (shown["Emil"].standing, shown["Emil"].late) == ("extension", False)
        assert shown["Emil"].handed_in_at < closes + timedelta(days=1)

        sheet = evidence.sheet(db, ids["Anna"], ids["Berta"], now=NOW)
        lines = {line.title: (line.state, line.mark, line.questions) for line in sheet.homework}
        assert lines == {"Closed and marked": ("handed in", "3 of 3", 3), "Open": ("begun", None, 2)}
        own = {one.title: one for one in homework.list_homework(db, ids["Berta"], now=NOW)}
        drafts = homework.work(db, ids["Berta"], own["Open"].at_work.id, now=NOW).questions
        assert [one.state for one in drafts] == ["answered", "open"]
        assert own["Open"].phase == "open" and own["Closed and marked"].works[0].mark.shown == "3 of 3"

    again = demo.prepare(settings, fresh=True, now=NOW, progress=lambda label: lambda done, total: None)
    with contextlib.closing(schema.open_database(settings)) as db, db.reading() as session:
        assert (again.answers, given(session)) == (17, answers)


def test_the_shipped_school_tells_the_whole_story():
    """One open with drafts, one closed with five at least, an extension, a squawk; its systems are the bank's."""
    text = (question_bank_folder() / "demo-school.yaml").read_text()
    school = read_school("demo-school.yaml", text)
    concepts = "".join(file.read_text() for file in question_bank_folder().glob("*/concepts.yaml"))
    closed = [one for one in school.homework if one.closes < 0]
    begun = [one for one in school.homework if one.closes > 0 and one.begun]

    assert len(closed) == len(begun) == 1
    assert len(closed[0].done) >= 5 and closed[0].extended is not None and closed[0].squawk is not None
    for one in school.homework:
        for system in {system for picked in one.pick for system in picked.systems}:
            assert f"system: {system}\n" in concepts, system


def test_the_faults_of_homework_are_named():
    """No such group, nobody who instructs it, no student of it, a squawk of who hands in nothing, nothing picked."""
    rules = "pick: [{systems: [a], kinds: [one], count: 1}], feedback: with the mark, opened: 2, closes: 1"
    text = f"""\
{HEAD}  - {{name: Berta, roles: [pilot], experience: rated}}
groups:
  - {{name: One, instructors: [Anna], students: []}}
homework:
  - {{title: A, group: Two, by: Anna, {rules}}}
  - {{title: B, group: One, by: Berta, {rules}, done: {{Berta: 1}}}}
  - {{title: C, group: One, by: Anna, {rules}, squawk: {{name: Berta, text: No.}}}}
  - {{title: D, group: One, by: Anna, {rules.replace("count: 1", "count: many")}}}
  - {{title: E, group: One, by: Anna, pick: [], feedback: with the mark, opened: 2, closes: 1}}
  - F
"""
    with pytest.raises(FindingsError) as refused:
        read_school("demo-school.yaml", text)

    assert [(finding.line, finding.what) for finding in refused.value.findings] == [
        (10, "'Two' is no group here"),
        (11, "'Berta' does not instruct the group"),
        (11, "'Berta' is no student of the group"),
        (12, "'Berta' hands in nothing"),
        (13, "'count' is 'many'"),
        (14, "nothing is picked"),
        (15, "homework is a map"),
    ]

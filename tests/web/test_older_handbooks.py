"""Caution C3 on every page, print and file that shows an item whose section a newer handbook's revision changed.

Its words are those of question_bank/cautions.yaml; manual and first revision are those of the aircraft's file,
`handbook: "TQ19 Systems Handbook (SH), revision 2"`.
"""

from __future__ import annotations

import csv
import io
import json
import random
import uuid

import pytest
import sqlalchemy as sa

from quizsvc.services import desk_items, handbook_revisions, older_handbooks, practice, squawks
from quizsvc.store.tables import Item, Question, Revision
from tests import factories
from tests.services import assigned, desk_texts, doing, drills, handed_in
from tests.services.desk_doing import put_into_use
from tests.web.pages import Page
from tests.web.test_monday import signed_in

CHANGED, SAME = "essential-bus-feeds", "gate-slow-leak"
OWN = "school-essential-bus"
SENTENCE = (
    "This item cites TQ19 Systems Handbook (SH) revision 2. Newer revision loaded: 7. Treat the answer as unknown."
)


def record(db, clock, by, *sections, name="Revision 7"):
    clock.advance(minutes=1)
    return handbook_revisions.record(db, by, folder="tolquenny-19", name=name, sections=sections, now=clock())


def asked(db, person, item):
    with db.reading() as session:
        return session.scalar(sa.select(Question.id).where(Question.person_id == person, Question.item_id == item))


@pytest.fixture
def reader(bank_db, clock):
    """A reviewer."""
    return assigned.add_person(bank_db, clock, "Ysolt Brandreth", ("reviewer",))


@pytest.fixture
def open_drill(bank_db, clock, browsers):
    """A pilot with a question of each item before them."""
    person = assigned.add_person(bank_db, clock, "Pim Holloquist")
    drills.start(bank_db, clock, random.Random(3), person, minutes=200)
    pilot = signed_in(browsers, bank_db, clock, person)
    pilot.changed = asked(bank_db, person, CHANGED)
    pilot.same = asked(bank_db, person, SAME)
    return pilot


def test_practice_log_and_own_files(bank_db, clock, browsers, reader, open_drill):
    """The open question, the answered one, the log, the export as JSON and as CSV, and the answer call."""
    answered = signed_in(browsers, bank_db, clock, assigned.add_person(bank_db, clock, "Una Brightmoor"))
    drills.start(bank_db, clock, random.Random(3), answered.person, minutes=200)
    for item in (CHANGED, SAME):
        question = asked(bank_db, answered.person, item)
        practice.record_answer(
            bank_db, answered.person, question, uuid=str(uuid.uuid4()), raw=drills.right(bank_db, question),
            sureness=None, now=clock.advance(minutes=1),
        )  # fmt: skip
    feedback = f"/questions/{asked(bank_db, answered.person, CHANGED)}"
    assert "C3" not in answered.get(feedback).cautions
    assert "C3" not in answered.get("/log").cautions
    record(bank_db, clock, reader, "24-10")

    for visitor, path in ((open_drill, f"/questions/{open_drill.changed}"), (answered, feedback), (answered, "/log")):
        assert visitor.get(path).cautions["C3"] == SENTENCE, path
        assert visitor.page.html.count('data-caution="C3"') == 1, path
    assert "C3" not in open_drill.get(f"/questions/{open_drill.same}").cautions
    assert "C3" not in answered.get(f"/questions/{asked(bank_db, answered.person, SAME)}").cautions

    rows = json.loads(answered.client.get("/account/export.json").get_data(as_text=True))["answers"]
    assert {row["item"]: row["older_handbook"] for row in rows} == {CHANGED: SENTENCE, SAME: None}
    rows = list(csv.DictReader(io.StringIO(answered.client.get("/account/export.csv").get_data().decode("utf-8-sig"))))
    assert {row["item"]: row["older_handbook"] for row in rows} == {CHANGED: SENTENCE, SAME: ""}

    told = open_drill.client.post(
        "/api/v1/answers",
        json={"question": open_drill.changed, "uuid": str(uuid.uuid4()), "response": {"pass": True}},
        headers={"Origin": "http://127.0.0.1:8019"},
    ).get_json()
    assert {one["id"]: one["text"] for one in told["answer"]["cautions"]}["C3"] == SENTENCE


def test_homework_before_and_after_the_release(bank_db, clock, browsers, reader):
    """With the student: at work, and looked at again. With the instructor: everything about the assignment."""
    by, students, given = handed_in.school(bank_db, clock, [SAME, CHANGED])
    for student in students[:5]:
        work = handed_in.do(bank_db, clock, student, given, ["right", "wrong"])
    begun = doing.begin(bank_db, clock, random.Random(3), students[5], given)
    record(bank_db, clock, reader, "24-10")

    pages = []
    at_work = signed_in(browsers, bank_db, clock, students[5])
    same, changed = (f"/works/{begun.id}/questions/{one.id}" for one in begun.questions)
    pages.append(at_work.get(changed))
    assert "C3" not in at_work.get(same).cautions
    pages.append(at_work.get(f"/works/{begun.id}/all"))
    done = signed_in(browsers, bank_db, clock, students[4])
    same, changed = (f"/works/{work}/questions/{one}" for one in handed_in.questions_of(bank_db, work))
    pages.append(done.get(changed))
    assert "C3" not in done.get(same).cautions

    clock.advance(days=8)
    instructor = signed_in(browsers, bank_db, clock, by)
    address = f"/assignments/{given}"
    for path in (
        "/items", f"/preview/{students[0]}", "/print", "/print/answers", "/spread", "/statistics", "/marks",
        f"/marks/{students[0]}", "/places/2/re-mark",
    ):  # fmt: skip
        pages.append(instructor.get(address + path))
        assert instructor.status == 200, path
    for page in pages:
        assert page.cautions.get("C3") == SENTENCE, page.heading
    # On the answer spread it stands with its own question and not with the other.
    html = instructor.get(f"{address}/spread").html
    first, second = html[html.index("q-1") : html.index("q-2")], html[html.index("q-2") :]
    assert ("C3" in Page(first).cautions, "C3" in Page(second).cautions) == (False, True)
    assert "C3" not in instructor.get(f"{address}/places/1/re-mark").cautions
    assert "Question 2" in instructor.get(f"{address}/marks").text
    lines = list(csv.reader(io.StringIO(instructor.client.get(f"{address}/marks.csv").get_data().decode("utf-8-sig"))))
    assert [f"question 2: {SENTENCE}"] in lines


def test_a_draft_cannot_be_released_with_it(bank_db, clock, browsers, reader):
    """It blocks use in assignments, and stands beside the item."""
    by = assigned.add_person(bank_db, clock, "Odalys Brandt", roles=("instructor",))
    group = assigned.add_group(bank_db, clock, instructors=[by])
    given = assigned.add_assignment(bank_db, clock, group, [SAME, CHANGED], released=False)
    record(bank_db, clock, reader, "24-10")
    instructor = signed_in(browsers, bank_db, clock, by)

    page = instructor.get(f"/assignments/{given}/items")
    assert page.cautions["C3"] == SENTENCE and "Cannot be released: withdrawn." in page.text
    page = instructor.send(instructor.get(f"/assignments/{given}/preview").form(f"/assignments/{given}/release"))
    assert instructor.status == 422 and f"{CHANGED} (withdrawn)" in page.text


def test_where_the_bank_is_looked_after(bank_db, settings, clock, browsers, reader, open_drill):
    """A squawk, the list of a handbook's revision, the preview of files, the bank desk and its export."""
    factories.write_bank(settings.bank)
    author = assigned.add_person(bank_db, clock, "Wenna Astley", ("item author",))
    desk_items.start(bank_db, author, folder="tolquenny-19", text=desk_texts.RUDDER, now=clock())
    put_into_use(bank_db, clock, reader, OWN)
    squawk = squawks.raise_squawk(bank_db, open_drill.person, open_drill.changed, "Two are right.", now=clock())
    reviewer = signed_in(browsers, bank_db, clock, reader)
    paths = [f"/squawks/{squawk.id}", f"/preview/{CHANGED}", f"/bank-desk/items/{OWN}"]
    for path in paths:
        assert "C3" not in reviewer.get(path).cautions, path
    number = record(bank_db, clock, reader, "24-10")

    for path in (*paths, f"/bank-desk/handbook/{number}"):
        assert reviewer.get(path).cautions.get("C3") == SENTENCE, path
    assert "C3" not in reviewer.get(f"/preview/{SAME}").cautions
    exported = reviewer.client.get("/bank-desk/export.yaml").get_data(as_text=True)
    assert f"# {SENTENCE}\n- item: {OWN}\n" in exported

    handbook_revisions.read_again(bank_db, reader, number, CHANGED)
    assert "C3" not in reviewer.get(f"/squawks/{squawk.id}").cautions
    handbook_revisions.read_again(bank_db, reader, number, OWN)
    assert "C3" not in reviewer.get(f"/bank-desk/handbook/{number}").cautions


class TestWhichRevisions:
    """Both names, for each text."""

    def older(self, db, item):
        with db.reading() as session:
            found = older_handbooks.of_item(session, item)
        return (found.cited, found.newer) if found else None

    def test_a_later_revision(self, bank_db, clock, reader):
        """What it withdraws cited the one before; what was withdrawn before cites what it did."""
        record(bank_db, clock, reader, "24-10", name="Revision 7")
        assert self.older(bank_db, CHANGED) == ("2", "7")
        record(bank_db, clock, reader, "21-10", name="rev. 8")
        assert self.older(bank_db, CHANGED) == ("2", "8")
        assert self.older(bank_db, "cabin-from-differential") == ("7", "8")
        record(bank_db, clock, reader, "24-10", name="9 (temporary)")
        assert self.older(bank_db, CHANGED) == ("2", "9 (temporary)")
        assert self.older(bank_db, SAME) is None

    def test_read_again_it_cites_the_newer_one(self, bank_db, clock, reader):
        """And the next revision says so."""
        number = record(bank_db, clock, reader, "24-10", name="Revision 7")
        handbook_revisions.read_again(bank_db, reader, number, CHANGED)
        record(bank_db, clock, reader, "24-10", name="Revision 8")
        assert self.older(bank_db, CHANGED) == ("7", "8")

    def test_what_a_squawk_withdrew_owes_nothing(self, bank_db, clock, reader, open_drill):
        """Its handbook still says what it says."""
        instructor = assigned.add_person(bank_db, clock, "Odalys Brandt", roles=("pilot", "instructor"))
        drills.start(bank_db, clock, random.Random(3), instructor, minutes=200)
        squawks.raise_squawk(bank_db, instructor, asked(bank_db, instructor, CHANGED), "Two are right.", now=clock())
        with bank_db.reading() as session:
            assert session.get(Item, CHANGED).withdrawn_by == "squawk"
        record(bank_db, clock, reader, "24-10")
        assert self.older(bank_db, CHANGED) is None

    def test_an_old_text_owes_it_when_a_new_one_is_in_use(self, bank_db, clock, reader):
        """Whoever looks at what they were asked has the old text before them."""
        author = assigned.add_person(bank_db, clock, "Wenna Astley", ("item author",))
        desk_items.start(bank_db, author, folder="tolquenny-19", text=desk_texts.RUDDER, now=clock())
        put_into_use(bank_db, clock, reader, OWN)
        record(bank_db, clock, reader, "24-10")
        desk_items.save(
            bank_db, author, OWN, text=desk_texts.RUDDER.replace("alive", "powered"), version=3, now=clock()
        )
        put_into_use(bank_db, clock, reader, OWN)
        with bank_db.reading() as session:
            first, second = session.scalars(
                sa.select(Revision.id).where(Revision.item_id == OWN).order_by(Revision.number)
            )
            assert set(older_handbooks.of_revisions(session, [first, second])) == {first}

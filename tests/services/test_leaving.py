"""Leaving the service with homework: what is blanked, what goes, what stays, and what everybody else then sees."""

from __future__ import annotations

import json
import random
import re
import uuid
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.services import (
    accounts,
    homework,
    homework_release,
    housekeeping,
    looks,
    mark_list,
    memory_replay,
    notices,
    practice,
    squawks,
)
from quizsvc.store import learners, leaving
from quizsvc.store.tables import (
    Allowance,
    Answer,
    CalendarFeed,
    Look,
    Membership,
    Notice,
    Person,
    PracticeSet,
    ProducedFile,
    Question,
    Sharing,
    Squawk,
    Work,
)
from tests.services import drills, handed_in

ITEMS = ["gate-slow-leak", "cabin-from-differential"]


@pytest.fixture
def school(bank_db, clock):
    """An instructor, six students of whom the first has handed in and practised, their assignment."""
    by, students, given = handed_in.school(bank_db, clock, ITEMS)
    handed_in.do(bank_db, clock, students[0], given, ["right", "wrong"])
    drill = drills.start(bank_db, clock, random.Random(3), students[0])
    practice.record_answer(
        bank_db, students[0], drill.questions[0].id, uuid=str(uuid.uuid4()), raw={"pass": True}, sureness=None,
        now=clock(),
    )  # fmt: skip
    squawks.raise_squawk(bank_db, students[0], drill.questions[0].id, "Two are right.", now=clock())
    with bank_db.writing() as session:
        looks.note(session, students[0], by, "homework", clock())
        notices.tell(session, students[0], "You are in.", now=clock())
        session.add(
            Sharing(person_id=students[0], practice_to_instructors=True, expectation_to_head=True, changed_at=clock())
        )
        session.add(CalendarFeed(person_id=students[0], secret_hash="0" * 64, made_at=clock()))
        for number, what in ((1, "evidence, own"), (2, "evidence, head of training")):
            session.add(
                ProducedFile(
                    id=f"{number:032x}", what=what, title="Evidence sheet", person_id=students[0],
                    media_type="text/csv", body=b"x", sha256="0" * 64, made_at=clock(),
                )
            )  # fmt: skip
    return by, students, given


def _count(db, table, *where):
    with db.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(table).where(*where))


def _leave(db, clock, person_id, way):
    """By their own wish, or by the keeper's command."""
    if way == "own":
        accounts.delete_account(db, person_id, now=clock())
    else:
        accounts.remove_account(db, "Student 01", now=clock())


@pytest.mark.parametrize("way", ["own", "keeper"])
def test_homework_stays_without_the_name(bank_db, clock, school, way):
    """The row is blanked; practice, looks, notices, switches, feeds go; memberships are left; the mark stays."""
    by, students, given = school
    gone = students[0]
    before = mark_list.mark_list(bank_db, by, given, now=clock())
    assert [row.mark.shown for row in before.rows if row.mark] == ["1 of 2"]
    clock.advance(hours=1)
    _leave(bank_db, clock, gone, way)

    with bank_db.reading() as session:
        row = session.get(Person, gone)
        blank = (row.name, row.name_key, row.password_hash, row.check_date, list(row.aircraft))
        left = session.execute(
            sa.select(Membership.state, Membership.left_at).where(Membership.person_id == gone)
        ).all()
        asked = session.scalars(sa.select(Question.work_id).where(Question.person_id == gone)).all()
        files = session.scalars(sa.select(ProducedFile.what)).all()
        squawk = session.scalars(sa.select(Squawk)).one()
    assert blank == (None, None, None, None, [])
    assert [tuple(one) for one in left] == [("left", clock())]
    assert len(asked) == 2 and all(asked), "the two questions of the homework, none of practice"
    assert _count(bank_db, Answer, Answer.person_id == gone) == 2
    for table in (PracticeSet, Look, Notice, Sharing, CalendarFeed):
        assert _count(bank_db, table, table.person_id == gone) == 0, table
    # What the school had made stays, what they had made for themselves goes.
    assert files == ["evidence, head of training"]
    assert (squawk.person_id, squawk.text) == (None, "Two are right.")
    after = mark_list.mark_list(bank_db, by, given, now=clock())
    assert [(row.mark.shown, row.left) for row in after.rows if row.mark] == [("1 of 2", True)]
    (name,) = (row.name for row in after.rows if row.mark)
    assert re.fullmatch(r"somebody who left the service \([0-9]{4} [0-9]{4}\)", name)
    # The name is free again.
    assert accounts.add_account(bank_db, "Student 01", now=clock()) != gone


def test_nobody_signs_in_as_who_has_left(bank_db, clock, school):
    """Sessions end and no link is made for the name."""
    _, students, _ = school
    token = accounts.use_link(
        bank_db, accounts.make_link(bank_db, "Student 01", hours=1, by=None, now=clock()), "ochre lantern nine",
        device="phone", now=clock(),
    ).token  # fmt: skip
    assert accounts.person_of(bank_db, token, now=clock()).id == students[0]
    accounts.delete_account(bank_db, students[0], now=clock())

    assert accounts.person_of(bank_db, token, now=clock()) is None


def test_time_goes_on_without_them(bank_db, clock, school):
    """Feedback of theirs is released, memory replayed and the house tidied after a year: nothing falls over them."""
    _, students, given = school
    with bank_db.writing() as session:
        session.execute(sa.update(Work).values(released_at=None))
    accounts.delete_account(bank_db, students[0], now=clock())
    clock.advance(days=8)

    assert homework_release.settle_assignment(bank_db, given, now=clock()) == 1
    memory_replay.replay_all(bank_db, now=clock())
    clock.advance(days=400)
    housekeeping.tidy(bank_db, now=clock())
    assert _count(bank_db, Work, Work.person_id == students[0]) == 1
    with bank_db.reading() as session:
        assert learners.get(session, students[0]) is None


def test_without_homework_everything_goes(bank_db, clock, school):
    """Also who was given an extension, and whose questions were drawn at the preview and never opened."""
    by, students, given = school
    other = students[1]
    homework.begin(bank_db, other, given, now=clock(), rng=random.Random(5))
    with bank_db.writing() as session:
        session.execute(sa.update(Work).where(Work.person_id == other).values(begun_at=None))
        session.add(
            Allowance(
                assignment_id=given, person_id=other, what="extension", until_at=clock() + timedelta(days=9),
                reason="a flight", taken_back=False, given_by=by, given_at=clock(),
            )
        )  # fmt: skip
    accounts.delete_account(bank_db, other, now=clock())

    for table in (Membership, Work, Question, Allowance):
        assert _count(bank_db, table, table.person_id == other) == 0, table
    assert _count(bank_db, Person, Person.id == other) == 0


def test_the_own_export_has_homework_but_no_mark_before_the_release(bank_db, clock):
    """What was typed at once; outcome and mark after the closing, a week later."""
    _, students, given = handed_in.school(bank_db, clock, ITEMS, feedback="after closing")
    handed_in.do(bank_db, clock, students[0], given, [{"option": "shifted"}, "right"])
    own = accounts.export_own(bank_db, students[0], now=clock())
    (done,) = own["homework"]
    assert [one["typed"] for one in done["answers"]][0] == {"option": "shifted"}
    assert done["mark"] is None and not any("outcome" in one for one in done["answers"])
    assert (own["allowances"], own["bank_desk"], own["calendar"]) == ([], [], [])
    assert own["groups"][0]["group"] == "Ochre intake" and own["shares"]["practice_to_instructors"] is False

    clock.advance(days=8)
    homework_release.settle_person(bank_db, students[0], now=clock())
    own = accounts.export_own(bank_db, students[0], now=clock())
    (done,) = own["homework"]
    assert (done["mark"], [one["outcome"] for one in done["answers"]]) == ("1 of 2", ["miss", "full"])
    json.dumps(own)


def test_every_table_that_names_a_person_is_thought_of():
    """A new one fails here until `store.leaving` deletes it, keeps it on purpose, or the database does it alone."""
    named = {
        (table.name, key.ondelete)
        for table in Person.metadata.tables.values()
        for column in table.columns
        for key in column.foreign_keys
        if column.name == "person_id" and key.column.table.name == "person"
    }
    own = {(one.__tablename__, "CASCADE") for one in leaving.OWN}
    # The homework with its questions and answers, extensions and memberships stay with the blanked row; squawks and
    # produced sheets lose the person or stay by `remove` itself, and so does what a roll expected.
    kept = {
        ("work", None), ("allowance", None), ("membership", "CASCADE"), ("question", "CASCADE"), ("answer", "CASCADE"),
        ("squawk", "SET NULL"), ("produced_file", "SET NULL"), ("roll_entry", "SET NULL"),
    }  # fmt: skip

    assert named == own | kept

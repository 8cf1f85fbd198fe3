"""What deleting an account does to every table that names a person, by really deleting one that has rows in each."""

from __future__ import annotations

import json
import random

import pytest
import sqlalchemy as sa

from quizsvc.services import accounts, squawks
from quizsvc.services.sessions import open_session
from quizsvc.store import tables
from quizsvc.store.tables import Answer, Person, Question
from quizsvc.store.tables_people import CheckDebrief, LastCheck
from tests.migrations import school_rows
from tests.services import drills

GOES, STAYS, UNNAMED = "goes", "stays", "stays without the person"
OWN_GOES = "one's own goes, the school's stays"
OWN_GOES_UNNAMED = "one's own goes, the school's stays without the person"

# Issue 5, item 8: "the person is blanked, practice deleted, homework kept under a pseudonym, produced sheets stay".
# First what becomes of a row where the person's own row stays, blanked, since homework hangs on it; then where nothing
# does and it is deleted. `stays` in the first column means: with the blanked row, under a pseudonym.
ROWS = {
    "acknowledgement.person_id": (GOES, GOES),
    "allowance.given_by": (STAYS, UNNAMED),
    "allowance.person_id": (STAYS, GOES),
    "answer.person_id": (OWN_GOES, GOES),
    "assignment.made_by": (STAYS, UNNAMED),
    "assignment.released_by": (STAYS, UNNAMED),
    "calendar_feed.person_id": (GOES, GOES),
    "check_debrief.person_id": (GOES, GOES),
    "concept_state.person_id": (GOES, GOES),
    "desk_item.author_id": (STAYS, UNNAMED),
    "desk_item.read_by": (STAYS, None),  # who read an item is blanked, never deleted
    "desk_step.by": (STAYS, UNNAMED),
    "device_session.claim_from": (STAYS, UNNAMED),
    "device_session.person_id": (GOES, GOES),
    "grade.graded_by": (STAYS, UNNAMED),
    "handbook_revision.made_by": (STAYS, UNNAMED),
    "join_code.made_by": (STAYS, UNNAMED),
    "last_check.person_id": (GOES, GOES),
    "learner.person_id": (GOES, GOES),
    "look.looked_by": (STAYS, UNNAMED),
    "look.person_id": (GOES, GOES),
    "membership.decided_by": (STAYS, UNNAMED),
    "membership.person_id": (STAYS, GOES),
    "notice.person_id": (GOES, GOES),
    "one_time_link.made_by": (STAYS, UNNAMED),
    "one_time_link.person_id": (GOES, GOES),
    "person_alias.person_id": (GOES, GOES),
    "person_role.person_id": (GOES, GOES),
    "practice_set.person_id": (GOES, GOES),
    "produced_file.made_by": (STAYS, UNNAMED),
    "produced_file.person_id": (OWN_GOES, OWN_GOES_UNNAMED),
    "question.person_id": (OWN_GOES, GOES),
    "roll_entry.person_id": (UNNAMED, UNNAMED),
    "school_group.made_by": (STAYS, UNNAMED),
    "sharing.person_id": (GOES, GOES),
    "squawk.person_id": (UNNAMED, UNNAMED),
    "squawk_step.by": (STAYS, UNNAMED),
    "work.person_id": (STAYS, GOES),
}
# Names without a number: the tries to sign in of a day, which housekeeping deletes.
BY_NAME = {"sign_in_failure"}


def columns():
    """Every column that names a person, as table and column."""
    return {
        (table, column)
        for table in Person.metadata.tables.values()
        for column in table.columns
        for key in column.foreign_keys
        if key.column.table.name == "person"
    }


def test_every_column_that_names_a_person_has_a_row():
    """A new one fails here until somebody has said what deleting an account does to it, and done it."""
    assert {f"{table.name}.{column.name}" for table, column in columns()} == set(ROWS)
    named = {table.name for table in Person.metadata.tables.values() if "name_key" in table.columns}
    assert named == BY_NAME | {"person", "roll_entry", "school_group"}


@pytest.fixture
def leaver(bank_db, clock):
    """Somebody with a row in every such table: a student with homework, and a keeper's colleague who made things."""
    db, rng = bank_db, random.Random(7)
    one = accounts.add_account(db, "Aluna Dreywick", ("pilot", "instructor", "item author", "reviewer"), now=clock())
    accounts.make_link(db, "Aluna Dreywick", now=clock(), by=None)
    drill = drills.start(db, clock, rng, one)
    for question in drill.questions[:2]:
        drills.answer(db, clock, one, question.id, {"pass": True})
    squawks.raise_squawk(db, one, drill.questions[0].id, "Two are right.", now=clock())
    school_rows.write(db, clock(), question_id=drill.questions[1].id)
    other = accounts.add_account(db, "Wenna Aldous", now=clock())
    accounts.make_link(db, "Wenna Aldous", now=clock(), by=one)
    asked = drills.start(db, clock, rng, other).questions[0].id
    drills.answer(db, clock, other, asked, {"pass": True})
    with db.writing() as session:
        open_session(session, session.get(Person, one), device="phone", now=clock())
        open_session(session, session.get(Person, other), device="phone", now=clock())
        session.add_all(
            [
                LastCheck(
                    person_id=one, taken_on=clock().date(), interval_months=12, counts_in=clock().date().replace(day=1)
                ),
                CheckDebrief(person_id=one, taken_on=clock().date(), concepts=["bleed"], told_at=clock()),
                tables.PersonAlias(old_id=10**6, person_id=one, claimed_at=clock(), answers=3),
                tables.Look(person_id=other, looked_by=one, what="evidence sheet", at=clock()),
                tables.Membership(
                    group_id=session.scalar(sa.select(tables.Group.id)), person_id=other, part="student", state="in",
                    asked_at=clock(), joined_at=clock(), decided_by=one,
                ),
                *(
                    tables.ProducedFile(
                        id=f"{number:032x}", what=what, title="Evidence sheet", person_id=one, media_type="text/csv",
                        body=b"x", sha256="0" * 64, made_at=clock(), made_by=by,
                    )
                    for number, what, by in ((1, "evidence, own", None), (2, "evidence, instructor", one))
                ),
                tables.DeskItem(
                    id="read-item", folder="tolquenny-19", text="item: read-item", state="read", version=1,
                    author_id=other, read_by=one, changed_at=clock(), read_at=clock(),
                ),
            ]
        )  # fmt: skip
        session.add(
            tables.Allowance(
                assignment_id=session.scalar(sa.select(tables.Assignment.id)), person_id=other, what="excused",
                reason="Ill.", taken_back=False, given_by=one, given_at=clock(),
            )
        )  # fmt: skip
        session.flush()
        # What is about the person was given and looked at by somebody else.
        session.execute(sa.update(tables.Look).where(tables.Look.person_id == one).values(looked_by=other))
        session.execute(sa.update(tables.Allowance).where(tables.Allowance.person_id == one).values(given_by=other))
        session.execute(
            sa.update(tables.DeviceSession).where(tables.DeviceSession.person_id == other).values(claim_from=one)
        )
        session.execute(sa.update(tables.RollEntry).values(person_id=one))
        session.execute(
            sa.update(tables.Grade)
            .where(tables.Grade.answer_id.in_(sa.select(Answer.id).where(Answer.person_id == other)))
            .values(graded_by=one)
        )
    return one


def _naming(db, person_id):
    """By table and column, the keys of the rows that name the person, and of those that are there at all."""
    found = {}
    with db.reading() as session:
        for table, column in columns():
            keys = list(table.primary_key.columns)
            rows = session.execute(sa.select(column, *keys)).all()
            found[f"{table.name}.{column.name}"] = (
                {tuple(row[1:]) for row in rows if row[0] == person_id},
                {tuple(row[1:]) for row in rows},
            )
    return found


def _became(before, after):
    """What became of the rows that named the person."""
    named, _ = before
    still, there = after
    words = {STAYS if key in still else UNNAMED if key in there else GOES for key in named}
    if words == {GOES, STAYS}:
        return OWN_GOES
    if words == {GOES, UNNAMED}:
        return OWN_GOES_UNNAMED
    return words.pop() if len(words) == 1 else sorted(words)


@pytest.mark.parametrize("way", ["blanked", "deleted"])
def test_what_becomes_of_each_row(bank_db, clock, leaver, way):
    """Each column named somebody before; afterwards each row is as the list says, and nothing else was touched."""
    if way == "deleted":
        with bank_db.writing() as session:
            session.execute(sa.update(tables.Work).values(begun_at=None))
            session.execute(sa.delete(tables.DeskItem).where(tables.DeskItem.read_by == leaver))
    before = _naming(bank_db, leaver)
    empty = {column for column, (named, _) in before.items() if not named}
    assert empty == (set() if way == "blanked" else {"desk_item.read_by"}), "a column that names nobody tests nothing"

    accounts.delete_account(bank_db, leaver, now=clock())
    after = _naming(bank_db, leaver)
    became = {column: _became(before[column], after[column]) for column in ROWS if column not in empty}
    assert became == {column: words[way == "deleted"] for column, words in ROWS.items() if column not in empty}
    with bank_db.reading() as session:
        assert (session.get(Person, leaver) is None) is (way == "deleted")
        assert session.scalar(sa.select(sa.func.count()).select_from(Question).where(Question.person_id == leaver)) == (
            1 if way == "blanked" else 0
        )


def test_the_blanked_row_says_nothing_of_the_person(bank_db, clock, leaver):
    """Every column of it is empty, as new, or the time of leaving; only when they came is left."""
    clock.advance(days=3)
    accounts.delete_account(bank_db, leaver, now=clock())
    with bank_db.reading() as session:
        row = session.get(Person, leaver)
        found = {column.name: getattr(row, column.name) for column in Person.__table__.columns}
    assert found.pop("created_at") < clock()
    assert found == {
        "id": leaver, "name": None, "name_key": None, "password_hash": None, "aircraft": [], "check_date": None,
        "minutes_a_day": 15, "time_zone": "UTC", "experience": "in training", "last_seen_at": clock(),
    }  # fmt: skip


# Under which key of that person's own export the rows stand that a column gives to a person.
EXPORTED = {
    "acknowledgement.person_id": "acknowledgements",
    "allowance.given_by": "allowances_given",
    "allowance.person_id": "allowances",
    "answer.person_id": "answers",
    "assignment.made_by": "assignments_made",
    "assignment.released_by": "assignments_made",
    "calendar_feed.person_id": "calendar",
    "check_debrief.person_id": "debriefs",
    "concept_state.person_id": "holds",
    "desk_item.author_id": "bank_desk",
    "desk_item.read_by": "bank_desk_read",
    "desk_step.by": "bank_desk_steps",
    "device_session.person_id": "devices",
    "grade.graded_by": "re_marks_made",
    "handbook_revision.made_by": "handbook_revisions",
    "last_check.person_id": "last_check",
    "look.looked_by": "looks_made",
    "look.person_id": "looks",
    "membership.person_id": "groups",
    "notice.person_id": "notices",
    "person_role.person_id": "person",
    "produced_file.made_by": "files_made",
    "produced_file.person_id": "produced_files",
    "school_group.made_by": "groups_made",
    "sharing.person_id": "shares",
    "squawk.person_id": "squawks",
    "squawk_step.by": "squawk_answers",
    "work.person_id": "homework",
}
NOT_EXPORTED = {
    "device_session.claim_from": "the number of answers' anonymous owner, until they are claimed in the same visit",
    "join_code.made_by": "a key to a group's door, for a week",
    "learner.person_id": "numbers of the memory model, reckoned from the answers at any time",
    "membership.decided_by": "of somebody else's joining; what was decided stands in that person's export",
    "one_time_link.made_by": "the hash of somebody else's secret",
    "one_time_link.person_id": "the hash of a secret",
    "person_alias.person_id": "the number that the person had before signing up",
    "practice_set.person_id": "when a set was begun stands with its answers",
    "question.person_id": "what was asked stands with its answer; what was not answered is deleted after a month",
    "roll_entry.person_id": "a name on the school's paper",
}
# Of the person's own row.
NOT_EXPORTED_OF_ONES_OWN_ROW = {
    "name_key": "the name as it is compared",
    "password_hash": "made so that nobody learns the password from it",
}


def test_the_own_export_has_every_column(bank_db, clock, leaver):
    """A new column that names a person fails here until its rows are in that person's export, or there is a reason."""
    assert not set(EXPORTED) & set(NOT_EXPORTED)
    assert {f"{table.name}.{column.name}" for table, column in columns()} == set(EXPORTED) | set(NOT_EXPORTED)
    own = accounts.export_own(bank_db, leaver, now=clock())
    assert {key for key, value in own.items() if value} >= set(EXPORTED.values())
    own_row = {column.name for column in Person.__table__.columns}
    assert own_row == (set(own["person"]) - {"roles"}) | set(NOT_EXPORTED_OF_ONES_OWN_ROW)


def test_what_was_written_is_in_the_own_export_and_of_others_nothing(bank_db, clock, leaver):
    """The words that the fixture and `school_rows` have the person write; not the other's name nor why they are ill."""
    with bank_db.writing() as session:
        other = session.scalar(sa.select(Person.id).where(Person.name == "Wenna Aldous"))
        session.execute(
            sa.update(tables.Allowance).where(tables.Allowance.person_id == other).values(reason="Broke a leg.")
        )
        session.execute(sa.update(tables.Grade).where(tables.Grade.graded_by == leaver).values(why="A wrong key."))
        session.execute(sa.update(tables.DeskItem).where(tables.DeskItem.id == "own-item").values(live_text="older"))
    own = accounts.export_own(bank_db, leaver, now=clock())

    written = {
        "bank_desk": [("text", "item: own-item"), ("text_in_use", "older")],
        "bank_desk_steps": [("text", "The key is wrong.")],
        "squawks": [("text", "Two are right.")],
        "squawk_answers": [("text", "Later.")],
        "handbook_revisions": [("sections", ["8.1"])],
        "assignments_made": [("assignment", "Bleed air")],
        "groups_made": [("group", "Winter intake")],
        "re_marks_made": [("why", "A wrong key.")],
        "looks_made": [("what", "evidence sheet")],
        "allowances_given": [("what", "excused")],
        "bank_desk_read": [("item", "read-item")],
    }
    for key, cells in written.items():
        assert all(own[key][0][name] == value for name, value in cells), key
    assert [one["item"] for one in own["bank_desk"]] == ["own-item"]
    text = json.dumps({key: value for key, value in own.items() if key != "looks"})
    assert "Broke a leg." not in text and "Wenna" not in text
    theirs = accounts.export_own(bank_db, other, now=clock())
    assert theirs["allowances"][0]["reason"] == "Broke a leg."


def test_groups_that_were_left_and_feeds_that_were_ended_are_in_the_own_export(bank_db, clock, leaver):
    """Both are kept, so both are in it."""
    with bank_db.writing() as session:
        session.execute(
            sa.update(tables.Membership)
            .where(tables.Membership.person_id == leaver)
            .values(state="left", left_at=clock())
        )
        session.execute(sa.update(tables.CalendarFeed).values(revoked_at=clock()))
    own = accounts.export_own(bank_db, leaver, now=clock())
    assert [(one["group"], one["state"], one["left_at"]) for one in own["groups"]] == [
        ("Winter intake", "left", clock().isoformat())
    ]
    assert [one["revoked_at"] for one in own["calendar"]] == [clock().isoformat()]

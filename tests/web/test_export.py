"""The person's own copy of everything."""

from __future__ import annotations

import csv
import io
import json

import pytest
import sqlalchemy as sa
from sqlalchemy import update

from quizsvc.services import accounts
from quizsvc.store.tables import Answer, DeskItem, DeskStep, Person
from tests.services.assigned import add_person
from tests.services.desk_texts import CLIMB, RUDDER


def _rows(visitor):
    text = visitor.client.get("/account/export.csv").get_data(as_text=True)
    return list(csv.DictReader(io.StringIO(text)))


def test_the_json_export_holds_person_and_answers(member):
    """Readable by a program, with the cautions that an export owes."""
    member.start()
    member.pass_on()
    response = member.client.get("/account/export.json")
    own = json.loads(response.get_data(as_text=True))

    assert own["person"]["name"] == "Nadir Eshvale"
    assert len(own["answers"]) == 1
    assert {"C1", "C2", "C4"} <= set(own["cautions"])
    assert "attachment" in response.headers["Content-Disposition"]
    assert "scrypt" not in json.dumps(own)


def test_the_csv_export_has_one_answer_a_line_with_cautions(member):
    """Each line carries C1, C2 and C4: lines are copied without their header."""
    member.start()
    member.pass_on()
    member.next()
    member.pass_on()
    rows = _rows(member)

    assert len(rows) == 2
    for row in rows:
        assert row["outcome"] == "pass"
        assert "Not for operational use." in row["caution"]
        assert "Invented aircraft." in row["caution"]
        assert "proof of currency" in row["caution"]


def test_the_csv_export_of_nothing_still_says_the_cautions(member):
    """An empty log."""
    text = member.client.get("/account/export.csv").get_data(as_text=True)

    assert "Not for operational use." in text


def test_no_cell_is_a_formula(member, bank_db):
    """A typed answer that a spreadsheet would run gets an apostrophe in front.

    A plain number with its sign stays a number (issue 5): tests/web/test_csv_files.py.
    """
    for typed in ("=1+1", "+1 ft", "-150 ft", "@SUM(A1)", "\t=1", "  =HYPERLINK(1)"):
        member.start()
        member.pass_on()
        with bank_db.writing() as session:
            session.execute(update(Answer).values(raw={"text": typed}))
        cells = [cell for row in _rows(member) for cell in row.values() if cell]

        assert not [cell for cell in cells if cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t"))]
        assert any(cell.startswith("'") and typed.strip() in cell for cell in cells)


def test_another_persons_answers_are_not_in_it(member, visitor):
    """Only one's own."""
    visitor.start()
    visitor.pass_on()

    assert _rows(member)[0].get("outcome") is None


@pytest.fixture
def two_texts(member, bank_db, clock):
    """At the bank desk a text of the member's, and one of somebody else's."""
    author = add_person(bank_db, clock, "Wenna Astley", ("item author",))
    with bank_db.writing() as session:
        mine = session.scalar(sa.select(Person.id).where(Person.name == "Nadir Eshvale"))
        for item, by, text in (("school-climb", mine, CLIMB), ("school-essential-bus", author, RUDDER)):
            session.add(
                DeskItem(
                    id=item, folder="tolquenny-19", text=text, state="draft", version=1, author_id=by,
                    changed_at=clock(),
                )
            )  # fmt: skip
            session.flush()
            session.add(DeskStep(item_id=item, what="made a draft again", text="", version=1, by=author, at=clock()))
    return mine, author


@pytest.mark.parametrize("left", ["there", "deleted", "blanked"])
def test_texts_of_the_bank_desk_are_the_persons_own_only(member, bank_db, clock, two_texts, left):
    """Also where the other author has left: with an unnamed text comes a key that homework may ask for."""
    _, author = two_texts
    if left == "blanked":
        with bank_db.writing() as session:
            session.execute(update(DeskItem).where(DeskItem.id == "school-climb").values(
                state="read", read_by=author, read_at=clock()
            ))  # fmt: skip
    if left != "there":
        accounts.delete_account(bank_db, author, now=clock())
        with bank_db.reading() as session:
            assert (session.get(Person, author) is None) is (left == "deleted")
    answered = member.client.get("/account/export.json").get_data(as_text=True)

    assert [(one["item"], one["text"]) for one in json.loads(answered)["bank_desk"]] == [("school-climb", CLIMB)]
    for text in (answered, member.client.get("/account/export.csv").get_data(as_text=True)):
        assert "school-essential-bus" not in text and "Dump hangs" not in text


def test_each_file_is_called_what_it_holds(member, two_texts):
    """The CSV has the answers, a line each; all else, such as texts of the bank desk, is in the JSON."""
    member.start()
    member.pass_on()
    for path, words in (("/account", "Export my answers as CSV"), ("/log", "your answers as CSV")):
        page = member.get(path)
        assert words in page.text
        assert {"/account/export.csv", "/account/export.json"} <= set(page.links)
    (row,) = _rows(member)
    assert {"given_at", "item", "outcome", "caution"} <= set(row)
    own = json.loads(member.client.get("/account/export.json").get_data(as_text=True))
    assert len(own["answers"]) == 1 and own["bank_desk"][0]["text"] == CLIMB

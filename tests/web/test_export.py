"""The person's own copy of everything."""

from __future__ import annotations

import csv
import io
import json

from sqlalchemy import update

from quizsvc.store.tables import Answer


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
    """A typed answer that a spreadsheet would run gets an apostrophe in front; negative numbers stay text too."""
    for typed in ("=1+1", "+1", "-150", "@SUM(A1)", "\t=1", "  =HYPERLINK(1)"):
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

"""The head of training's list over pages, its search, and the whole of it as a file."""

from __future__ import annotations

import csv
import io

import pytest

from quizsvc.services import reading
from quizsvc.services.sessions import new_people, open_session
from quizsvc.store.tables import Person
from quizsvc.web.people import COOKIE
from tests.services import assigned, handed_in

# 243 pilots, five of them students of a group, an instructor and the head of training: 245 people, 100 a page.
PILOTS = 243


@pytest.fixture
def head(browsers, bank_db, clock):
    """The browser of a head of training."""
    by, students, given = handed_in.school(bank_db, clock, ["gate-slow-leak", "cabin-from-differential"], students=5)
    handed_in.do(bank_db, clock, students[0], given, ["right", "wrong"])
    names = [f"Pilot {number:03d}" for number in range(PILOTS - 5)]
    with bank_db.writing() as session:
        new_people(
            session, [(name, name.casefold()) for name in names], aircraft=["tolquenny-19"], time_zone="UTC",
            now=clock(),
        )  # fmt: skip
    person = assigned.add_person(
        bank_db, clock, "Imre Fallowmere", roles=("head of training",), time_zone="Asia/Tokyo"
    )  # fmt: skip
    one = browsers()
    with bank_db.writing() as session:
        token = open_session(session, session.get(Person, person), device="desk", now=clock()).token
    one.client.set_cookie(COOKIE, token)
    return one


def _people(page):
    return [link for link in page.links if link.startswith("/people/")]


def _rows(response):
    text = response.get_data().decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def test_every_person_is_on_one_page(head):
    """245 people: 100, 100 and 45; `Next` leads on and `Previous` back, and nobody is on two pages."""
    page, seen, sizes = head.get("/training"), [], []
    assert "245 people, by name; page 1 of 3." in page.text
    for number in (1, 2, 3):
        found = _people(page)
        seen += found
        sizes.append(len(found))
        onward = f"/training?page={number + 1}"
        assert (onward in page.links) is (number < 3)
        assert (f"/training?page={number - 1}" in page.links) is (number > 1)
        page = head.get(onward) if number < 3 else page
    assert sizes == [100, 100, 45] and len(set(seen)) == 245
    # A page beyond the last is the last: a list may have become shorter since.
    assert "page 3 of 3" in head.get("/training?page=4000").text


def test_a_search_stays_over_the_pages(head):
    """By name or group, whatever the case; the words go on with the links, to the file too."""
    page = head.get("/training?q=PILOT 1")
    assert "100 people." in page.text and "/training.csv?q=PILOT+1" in page.links
    page = head.get("/training?q=pilot")
    assert "238 people, by name; page 1 of 3." in page.text
    assert "/training?q=pilot&page=2" in page.links
    assert "5 people." in head.get("/training?q=ochre").text
    page = head.get("/training?q=nobody")
    assert "0 people." in page.text and not any(link.startswith("/training.csv") for link in page.links)


def test_a_page_that_cannot_be_is_told(head):
    """In a sentence."""
    for page in ("0", "-1", "x", "9" * 12, "1.5", ""):
        found = head.get(f"/training?page={page}")
        assert head.status in (400, 422)
        assert "is not a whole number from 1 to 1000000" in found.text


def test_the_file_has_everybody_and_its_cautions(head, bank_db):
    """Independent reader: all 245, the same columns in each line, C4 in each, times in the reader's zone."""
    words = reading.cautions(bank_db)
    response = head.client.get("/training.csv")
    assert response.mimetype == "text/csv" and response.headers["Cache-Control"] == "no-store"
    assert response.headers["Content-Disposition"] == 'attachment; filename="training-2026-03-02.csv"'
    rows = _rows(response)
    assert rows[0] == ["Training on 2026-03-02 18:00:00+09:00 (Asia/Tokyo)"]
    assert [row[0] for row in rows[1:4]] == [words["C1"], words["C2"], words["C4"]]
    assert rows[4] == ["name", "groups", "last practised", "homework handed in", "caution"]
    lines = rows[5:]
    assert len(lines) == 245 and {len(line) for line in lines} == {5} and {line[4] for line in lines} == {words["C4"]}
    by_name = {line[0]: line[1:4] for line in lines}
    assert len(by_name) == 245
    assert by_name["Student 01"] == ["Ochre intake", "2026-03-02 18:00:00+09:00", "1"]
    assert by_name["Pilot 000"] == ["", "", "0"]


def test_the_file_of_a_search_says_so(head):
    """Five of the group."""
    rows = _rows(head.client.get("/training.csv?q=Ochre"))
    assert rows[0][0].endswith("(Asia/Tokyo), name or group with: Ochre")
    assert [row[0] for row in rows[5:]] == [f"Student {number:02d}" for number in range(1, 6)]
    assert head.client.get("/training.csv?q=" + "a" * 101).status_code in (400, 422)

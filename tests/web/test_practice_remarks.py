"""Practice re-marked, on the pages: what the reviewer reads before and after, and the person whose answer it is."""

from __future__ import annotations

import random

import pytest

from quizsvc.services import banks, practice_remarking, squawks
from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Person
from quizsvc.web.people import COOKIE
from tests import factories
from tests.services.assigned import add_person
from tests.services.drills import answer, start
from tests.services.test_remarking import BUS, LEFT_BUS

WHY = "The dump switch hangs on the <left> bus."


@pytest.fixture
def signed_in(browsers, bank_db, clock):
    """Makes a visitor who is a person."""

    def visitor(person_id):
        one = browsers()
        with bank_db.writing() as session:
            token = open_session(session, session.get(Person, person_id), device="phone", now=clock()).token
        one.client.set_cookie(COOKIE, token)
        return one

    return visitor


@pytest.fixture
def dispute(bank_db, clock):
    """So many pilots answer the left bus, which the test bank does not key; the first one disputes it."""

    def made(count):
        people = []
        for number in range(count):
            person = add_person(bank_db, clock, f"Pilot {number:02d}")
            drill = start(bank_db, clock, random.Random(number), person, minutes=200)
            question = next(one.id for one in drill.questions if one.item == BUS)
            answer(bank_db, clock, person, question, {"option": "left"})
            people.append((person, question))
        found = squawks.raise_squawk(bank_db, *people[0], "It is the left bus.", now=clock())
        return people, f"/squawks/{found.id}"

    return made


@pytest.fixture
def reviewer(bank_db, clock, signed_in):
    """A reviewer's browser."""
    return signed_in(add_person(bank_db, clock, "Wenna Ostrander", roles=("reviewer",)))


def correct(db, clock, folder):
    text = factories.AIRCRAFT_ITEMS
    for old, new in LEFT_BUS:
        text = text.replace(old, new, 1)
    banks.load(
        db,
        factories.write_bank(folder / "corrected", extra={"tolquenny-19/items.yaml": text}),
        now=clock(),
        rng=random.Random(4),
    )


def test_from_fixed_to_the_notice(bank_db, clock, tmp_path, signed_in, reviewer, dispute):
    """Four people: the reviewer reads neither number nor name; the pilot reads both marks, the name and the words."""
    people, address = dispute(4)
    assert "until a reviewer says" in reviewer.get(address).text
    correct(bank_db, clock, tmp_path)
    page = reviewer.get(address)
    assert "judges them again by revision 2, each on the numbers that were drawn" in page.text
    assert "read these words as the reason" in page.text
    page = reviewer.send(page.form(address), status="fixed", text=WHY)
    assert "Judged again by revision 2: answers of fewer than five people." in page.text
    assert "Pilot" not in page.text and not page.has_form(f"{address}/practice")

    pilot = signed_in(people[1][0])
    assert "/account/re-marks" in pilot.get("/account/notices").links
    page = pilot.get("/account/re-marks")
    assert f"/questions/{people[1][1]}" in page.links
    assert "miss, 0: " in page.text and "full, 1: " in page.text
    assert f", by Wenna Ostrander. {WHY}" in page.text and "&lt;left&gt;" in page.html
    assert "the left bus" in pilot.get(f"/questions/{people[1][1]}").text


def test_what_is_not_finished_is_said_and_gone_on_with(
    bank_db, clock, tmp_path, signed_in, reviewer, dispute, monkeypatch
):
    """Two at once, of five: an instructor reads that it goes on, the reviewer has the button."""
    people, address = dispute(5)
    correct(bank_db, clock, tmp_path)
    monkeypatch.setattr(practice_remarking, "AT_ONCE", 2)
    page = reviewer.send(reviewer.get(address).form(address), status="fixed", text=WHY)
    assert "being judged again by revision 2; it is not finished" in page.text
    instructor = signed_in(add_person(bank_db, clock, "Odalys Brandt", roles=("instructor",)))
    theirs = instructor.get(address)
    assert "it is not finished" in theirs.text and not theirs.has_form(f"{address}/practice")
    for _ in range(2):
        page = reviewer.send(page.form(f"{address}/practice"))
    assert "Judged again by revision 2: answers of 5 people." in page.text
    assert all("Pilot" not in one.get(address).text for one in (reviewer, instructor))


def test_nothing_re_marked(bank_db, clock, signed_in):
    """Said so."""
    page = signed_in(add_person(bank_db, clock, "Nadir Eshvale")).get("/account/re-marks")
    assert "No practice answer of yours was re-marked." in page.text

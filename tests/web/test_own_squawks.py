"""A squawk from the side of whoever raised it: what they are told, and what a void answer leaves in what they see."""

from __future__ import annotations

import json
import random

import pytest
import sqlalchemy as sa

from quizsvc.services import banks
from quizsvc.store.tables import Question
from tests import factories
from tests.services import assigned, drills
from tests.web.pages import on_both
from tests.web.test_monday import signed_in

BUS, LEVEL = "essential-bus-feeds", "highest-level-mental"
WORDS = "The key is <wrong>."
MINUTES = "minutes: {from: 4 min, to: 12 min, step: 1 min}"


@pytest.fixture
def learner(bank_db, clock, browsers):
    """Somebody with one item answered wrongly, and its squawk sent by the form below the feedback."""

    def asked(item, raw):
        one = signed_in(browsers, bank_db, clock, assigned.add_person(bank_db, clock, "Pim Holloquist"))
        drill = drills.start(bank_db, clock, random.Random(3), one.person, minutes=200)
        one.asked = next(found.id for found in drill.questions if found.item == item)
        drills.answer(bank_db, clock, one.person, one.asked, raw)
        address = f"/questions/{one.asked}"
        one.send(one.get(address).form(f"{address}/squawks"), text=WORDS)
        assert "Squawk received." in one.page.text
        return one

    return asked


@pytest.fixture
def reviewer(bank_db, clock, browsers):
    """Who answers, by the form."""
    one = signed_in(
        browsers, bank_db, clock, assigned.add_person(bank_db, clock, "Wenna Ostrander", roles=("reviewer",))
    )

    def answers(status, text):
        (address,) = [link for link in one.get("/squawks?status=all").links if link.startswith("/squawks/")]
        page = one.send(one.get(address).form(address), status=status, text=text)
        assert text in page.text

    return answers


def set_of(db, question):
    with db.reading() as session:
        return session.scalar(sa.select(Question.set_id).where(Question.id == question))


def export(visitor):
    return json.loads(visitor.client.get("/account/export.json").get_data(as_text=True))


def test_whoever_raised_it_reads_the_answer(learner, reviewer):
    """Also where nothing is re-marked: the notice leads to a page with the words, and whose they are."""
    one = learner(BUS, {"option": "left"})
    page = one.get("/account/squawks")
    assert WORDS in page.text and "Nobody has answered it yet." in page.text
    reviewer("deferred", "Drawing 24-10 is being <read> again.")
    reviewer("no fault found", "The book says essential.")

    assert one.get("/account/notices").links.count("/account/squawks") == 2
    page = one.get("/account/squawks")
    assert "/account/squawks" in one.get("/account").links
    assert "No fault found. Raised " in page.text and f"/questions/{one.asked}" in page.links
    assert "Deferred. Drawing 24-10 is being <read> again. Wenna Ostrander" in page.text
    assert "No fault found. The book says essential. Wenna Ostrander" in page.text
    assert [(answer["status"], answer["text"]) for answer in export(one)["squawks"][0]["answers"]] == [
        ("deferred", "Drawing 24-10 is being <read> again."), ("no fault found", "The book says essential."),
    ]  # fmt: skip


def test_nobody_elses_squawks_are_there(learner, reviewer, browsers, bank_db, clock):
    """Only one's own."""
    learner(BUS, {"option": "left"})
    other = signed_in(browsers, bank_db, clock, assigned.add_person(bank_db, clock, "Una Brightmoor"))
    page = other.get("/account/squawks")
    assert "You have disputed no item." in page.text and WORDS not in page.text


@on_both
def test_a_void_practice_answer_counts_as_not_asked(bank_db, clock, tmp_path, learner, reviewer):
    """The corrected item draws other numbers, so that the answer cannot be judged by it and is void.

    Before: one miss, on one concept. After: each page and file that counts it counts nothing, and the log says why.
    """
    one = learner(LEVEL, {"pass": True})

    def untried():
        return one.get("/thin-spots").text.count("untried")

    def items_touched():
        sheet = json.loads(one.client.get(f"/people/{one.person}/evidence.json").get_data(as_text=True))
        return sum(system["items"] for system in sheet["systems"])

    before = untried()
    assert items_touched() == 1 and len(export(one)["holds"]) == 1
    text = factories.AIRCRAFT_ITEMS
    assert MINUTES in text
    text = text.replace(MINUTES, MINUTES.replace("step: 1 min", "step: 2 min"), 1)
    folder = factories.write_bank(tmp_path / "corrected", extra={"tolquenny-19/items.yaml": text})
    banks.load(bank_db, folder, now=clock.advance(days=1), rng=random.Random(4))
    reviewer("fixed", "The minutes were drawn too finely.")

    assert {"/account/squawks", "/account/re-marks"} <= set(one.get("/account/notices").links)
    page = one.get("/account/re-marks")
    assert "pass, 0: " in page.text and "void, the item was judged faulty: " in page.text
    assert "by Wenna Ostrander. The minutes were drawn too finely." in page.text
    page = one.get("/log")
    assert "void" in page.text and "Answered: pass (the item was judged faulty)." in page.text
    assert untried() == before + 1
    own = export(one)
    assert own["holds"] == []
    assert [(row["outcome"], row["void_reason"]) for row in own["answers"]] == [("void", "the item was judged faulty")]
    assert items_touched() == 0
    assert "the item was judged faulty" in one.get(f"/questions/{one.asked}").text
    one.send(one.page.form(f"/sets/{set_of(bank_db, one.asked)}/end"))
    assert "1 of 16 answered: 1 void." in one.page.text and "to take again" not in one.page.text

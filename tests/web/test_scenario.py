"""A scenario without scripts: part after part, feedback with the last, own numbers followed, nothing told early."""

from __future__ import annotations

import random

import pytest
from sqlalchemy import select

from quizsvc.services import banks, practice
from quizsvc.store.tables import Answer, ConceptState, Grade, Question
from quizsvc.web.app import create_app
from tests import factories, kinds_bank
from tests.web.pages import on_both


@pytest.fixture
def app(settings, kinds_db, clock, chance):
    """The application on the bank with one item of every kind."""
    return create_app(settings, clock=clock, db=kinds_db, rng=chance)


@pytest.fixture
def parts(visitor, kinds_db):
    """A Long set's scenario: its questions by part; the first is on the screen."""
    visitor.start(60, long=True)
    with kinds_db.reading() as session:
        found = dict(session.execute(select(Question.part, Question.id).where(Question.part.is_not(None))).all())
    visitor.get(f"/questions/{found['a']}")
    return found


def answer(visitor, **fields):
    """Answer the part on the screen."""
    return visitor.send(visitor.answer_form(), **fields)


def grades(db):
    """Outcome by part."""
    with db.reading() as session:
        return dict(
            session.execute(
                select(Question.part, Grade.outcome)
                .join(Answer, Answer.question_id == Question.id)
                .join(Grade, Grade.answer_id == Answer.id)
                .where(Question.part.is_not(None))
            ).all()
        )


@on_both
def test_parts_come_one_after_the_other_and_feedback_with_the_last(visitor, parts):
    """7,100 by the placard (worked item S09); (7,100 - 5,600)/550 is 2.7 min by hand."""
    first = visitor.page
    second = answer(visitor, text="7,100")
    third_after_reveal = answer(visitor, option="none")
    visitor.next()
    third = visitor.page
    last = answer(visitor, text="2.7")

    assert "Part a, 1 of 3" in first.text and "CREW TGT shows" in first.text
    assert "Part b, 2 of 3" in second.text
    assert "Both outputs are gone" in third_after_reveal.text, "a part that is put right shows its feedback at once"
    assert "Part c, 3 of 3" in third.text and "7,100 ft" in third.text, "own earlier answers stand beside"
    assert "The whole scenario" in last.text
    for words in ("The placard is the schedule plus 200", "Both outputs are gone", "at 550 fpm is 2.73 min"):
        assert words in last.text


@on_both
def test_own_numbers_are_followed_and_the_page_says_so(visitor, parts, kinds_db):
    """6,900 off the schedule is a miss; from there (6,900 - 5,600)/550 = 2.36 min by hand is full."""
    answer(visitor, text="6,900")
    answer(visitor, option="none")
    visitor.next()
    last = answer(visitor, text="2.4")

    assert grades(kinds_db) == {"a": "miss", "b": "full", "c": "full"}
    assert "Judged on your own earlier answers: a 6,900 ft." in last.text
    assert "From 5,600 ft to 6,900 ft" in last.text


def test_nothing_is_told_before_the_last_part(visitor, parts, kinds_db):
    """Neither by the page of an answered part, nor by the set, the log or the export."""
    answer(visitor, text="6,900")
    kept = visitor.get(f"/questions/{parts['a']}").text
    log = visitor.get("/log").text
    export = visitor.client.get("/account/export.json").get_json()["answers"]

    assert "Feedback comes after the last part" in kept
    assert "schedule plus 200" not in kept and "miss" not in kept
    assert "No answers yet" in log
    assert export == []
    visitor.get(f"/questions/{parts['b']}")
    answer(visitor, option="back")
    visitor.next()
    answer(visitor, text="2.4")
    assert "6,900" in visitor.get("/log").text
    assert len(visitor.client.get("/account/export.json").get_json()["answers"]) == 3


def test_stopping_in_the_middle_releases_what_was_answered(visitor, parts):
    """The set has ended; the part's own page shows its feedback."""
    answer(visitor, text="6,900")
    stop = next(one for one in visitor.page.forms if one.action.endswith("/end"))
    visitor.send(stop)

    assert "schedule plus 200" in visitor.get(f"/questions/{parts['a']}").text


def test_every_part_feeds_its_own_concept_at_once(visitor, parts, kinds_db):
    """Three concepts, one answer each."""
    answer(visitor, text="7,100")
    with kinds_db.reading() as session:
        assert set(session.scalars(select(ConceptState.concept_id))) == {"K-SCENARIO"}
    answer(visitor, option="none")
    with kinds_db.reading() as session:
        assert set(session.scalars(select(ConceptState.concept_id))) == {"K-SCENARIO", "K-PART-B"}


def test_a_passed_part_is_followed_by_its_key(visitor, parts, kinds_db):
    """The key is 7,100: 2.7 min is full."""
    visitor.pass_on()
    answer(visitor, option="none")
    visitor.next()
    answer(visitor, text="2.7")

    assert grades(kinds_db) == {"a": "pass", "b": "full", "c": "full"}


def test_a_missed_part_without_another_item_is_not_offered_again(visitor, parts):
    """No item asks K-SCENARIO by one question; the others of the set were not answered."""
    answer(visitor, text="6,900")
    answer(visitor, option="none")
    visitor.next()
    answer(visitor, text="2.4")
    stop = next(one for one in visitor.page.forms if one.action.endswith("/end"))
    page = visitor.send(stop)

    assert "End of set" in page.text
    assert not any(one.action.endswith("/repeats") for one in page.forms)


def test_the_same_answer_sent_again_returns_the_stored_result(app, visitor, parts, kinds_db, clock):
    """Also of a part, whose feedback waits, and of one that followed."""
    with kinds_db.reading() as session:
        person = session.scalars(select(Question.person_id)).first()

    def send(part, uuid, raw):
        return practice.record_answer(kinds_db, person, parts[part], uuid=uuid, raw=raw, sureness=None, now=clock())

    uuids = [f"00000000-0000-4000-8000-00000000000{number}" for number in range(3)]
    assert send("a", uuids[0], {"text": "6900"}).feedback is None
    assert send("b", uuids[1], {"option": "none"}).feedback.outcome == "full"
    done = send("c", uuids[2], {"text": "2.4"})
    again = send("c", uuids[2], {"text": "2.4"})

    assert done.feedback.outcome == "full" and len(done.question.chain) == 3
    assert again.already_stored and again.feedback == done.feedback
    assert send("a", uuids[0], {"text": "6900"}).feedback.outcome == "miss", "told now"


def test_a_squawk_on_a_part_disputes_the_whole_item(visitor, parts):
    """Every part of it says so."""
    answer(visitor, text="7,100")
    answer(visitor, option="none")
    form = next(one for one in visitor.page.forms if one.action.endswith("/squawks"))
    visitor.send(form, text="Which source is meant?")

    assert "disputed" in visitor.get(f"/questions/{parts['c']}").text


def _load(db, folder, now, *, items):
    """Load the bank of every kind with other items."""
    kinds_bank.write_kinds_bank(folder)
    (folder / "tolquenny-19" / "items.yaml").write_text(items, encoding="utf-8")
    banks.load(db, folder, now=now, rng=random.Random(19))


def test_a_missed_part_is_offered_again_by_another_item_of_its_concept(visitor, parts, kinds_db, clock, tmp_path):
    """The scenario as a whole does not come again for one slip in it."""
    other = factories.one_item("another-way", "K-SCENARIO", handbook="21-10")
    _load(kinds_db, tmp_path / "more", clock(), items=f"{kinds_bank.items(tuple(kinds_bank.BY_KIND))}\n{other}")
    answer(visitor, text="6,900")
    answer(visitor, option="none")
    visitor.next()
    answer(visitor, text="2.4")
    page = visitor.send(next(one for one in visitor.page.forms if one.action.endswith("/end")))
    visitor.send(next(one for one in page.forms if one.action.endswith("/repeats")))
    with kinds_db.reading() as session:
        again = session.scalars(select(Question).where(Question.repeat_of == parts["a"])).all()

    assert [(one.item_id, one.concept_id, one.part) for one in again] == [("another-way", "K-SCENARIO", None)]


def test_a_scenario_withdrawn_in_the_middle_counts_for_nothing_from_there(visitor, parts, kinds_db, clock, tmp_path):
    """The part answered before keeps its grade; the next ones are void, and nobody sees a fault of ours."""
    answer(visitor, text="7,100")
    others = tuple(kind for kind in kinds_bank.BY_KIND if kind != "scenario")
    _load(kinds_db, tmp_path / "less", clock(), items=kinds_bank.items(others))
    visitor.get(f"/questions/{parts['b']}")
    answer(visitor, option="none")

    assert grades(kinds_db) == {"a": "full", "b": "void"}
    assert visitor.status == 200

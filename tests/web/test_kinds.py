"""Every kind of item without scripts: shown, answered right, wrong and not at all, and what comes back."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import func, select

from quizsvc.bank.kinds import KINDS
from quizsvc.store.tables import Answer, Grade, Question
from quizsvc.web.app import create_app
from tests.web.keys import fields, right, wrong
from tests.web.pages import on_both

ASKED = sorted(set(KINDS) - {"scenario"})


@pytest.fixture
def app(settings, kinds_db, clock, chance):
    """The application on the bank with one item of every kind."""
    return create_app(settings, clock=clock, db=kinds_db, rng=chance)


@pytest.fixture
def at(visitor, kinds_db):
    """Starts a Long set and opens its question of a kind; returns that question's id."""

    def open_kind(kind):
        visitor.start(60, long=True)
        with kinds_db.reading() as session:
            found = session.scalars(select(Question.id).where(Question.kind == kind, Question.part.is_(None))).one()
        visitor.get(f"/questions/{found}")
        return found

    return open_kind


def _grade(db):
    with db.reading() as session:
        return session.scalars(select(Grade).order_by(Grade.id.desc())).first()


def _send(visitor, response):
    """Fill in the form of the question on the screen; a spoken one is looked at first."""
    form = visitor.answer_form()
    if "points" in response:
        first = next(one for one in visitor.page.forms if ("spoken", "1") in one.buttons)
        visitor.send(first, ("spoken", "1"), sureness="think")
        form = visitor.answer_form()
    return visitor.send(form, **fields(response))


def test_a_long_set_asks_every_kind(visitor, kinds_db):
    """Each has one item of a concept of its own."""
    visitor.start(60, long=True)
    with kinds_db.reading() as session:
        rows = session.execute(select(Question.kind, Question.part)).all()

    assert sorted(row.kind for row in rows if row.part is None) == ASKED
    assert [row.part for row in rows if row.part] == ["a", "b", "c"]


@on_both
@pytest.mark.parametrize("kind", ASKED)
def test_the_key_is_full_and_the_page_says_why(visitor, kinds_db, at, kind):
    """Answered by the form's own fields."""
    question = at(kind)
    page = _send(visitor, right(kinds_db, question))

    assert _grade(kinds_db).outcome == "full"
    assert "full" in page.text and "Working" in page.text


@on_both
@pytest.mark.parametrize("kind", ASKED)
def test_a_wrong_answer_is_no_full_one_and_shows_the_key(visitor, kinds_db, at, kind):
    """With the key beside what was given."""
    question = at(kind)
    page = _send(visitor, wrong(kinds_db, question))
    grade = _grade(kinds_db)

    assert grade.outcome in ("miss", "part") and grade.credit < 1
    assert "key" in page.text.lower() or kind == "say"


@pytest.mark.parametrize("kind", ASKED)
def test_an_answer_with_nothing_in_it_is_refused_beside_the_question(visitor, kinds_db, at, kind):
    """Nothing is stored, the question stays. A spoken answer in which nothing came is an answer."""
    at(kind)
    if kind == "say":
        return
    page = visitor.send(visitor.answer_form())

    assert visitor.status == 422
    assert visitor.answer_form()
    assert re.search(r'id="refusal"[^>]*>\s*<p><strong>\w', page.html)
    with kinds_db.reading() as session:
        assert session.scalar(select(func.count()).select_from(Answer)) == 0


@pytest.mark.parametrize("kind", ["order", "match", "still-works", "gauge"])
def test_what_was_entered_stays_where_one_row_is_open(visitor, kinds_db, at, kind):
    """The row is named, and the others need not be filled in again."""
    question = at(kind)
    filled = fields(right(kinds_db, question))
    left_open = next(name for name in filled if "-" in name)
    kept = {name: value for name, value in filled.items() if name != left_open}
    page = visitor.send(visitor.answer_form(), **kept)

    assert visitor.status == 422
    again = visitor.answer_form()
    preset = dict(again.fields)
    for name, value in kept.items():
        assert preset.get(name) == value, name
    assert "yet" in page.text or "open" in page.text
    said = page.html.index('id="refusal"')
    asked = page.html.index(f'name="{left_open}"')
    others = [page.html.index(f'name="{name}"') for name in kept if "-" in name and not name.startswith("after-")]
    assert asked < said < min([other for other in others if other > asked], default=len(page.html)), "beside the row"


@pytest.mark.parametrize("kind", ASKED)
def test_a_pass_shows_the_key_and_counts_as_missed(visitor, kinds_db, at, kind):
    """From the first screen of the question."""
    at(kind)
    page = visitor.pass_on()

    assert _grade(kinds_db).outcome == "pass"
    assert "Left unanswered on purpose" in page.text


def test_two_steps_with_one_place_are_refused_by_place(visitor, kinds_db, at):
    """The place is named."""
    question = at("order")
    filled = fields(right(kinds_db, question))
    first, second = list(filled)[:2]
    page = visitor.send(visitor.answer_form(), **(filled | {second: filled[first]}))

    assert visitor.status == 422
    assert "two steps have place 1" in page.text.lower()


def test_the_model_answer_is_not_on_the_first_screen(visitor, kinds_db, at):
    """The points and the reason come after speaking; sureness is asked before."""
    at("say")
    first = visitor.page
    _send(visitor, {"points": ["cpc"]})

    assert "valves closing" not in first.html and "ESS lives" not in first.html
    with kinds_db.reading() as session:
        assert session.scalars(select(Answer.sureness)).one() == "think"


def test_no_page_of_a_question_holds_its_key(visitor, kinds_db):
    """Reasons, beliefs and computed states stand only behind the answer."""
    visitor.start(60, long=True)
    with kinds_db.reading() as session:
        questions = session.scalars(select(Question)).all()
        rows = [(one.id, one.record) for one in questions]
    for question, record in rows:
        html = visitor.get(f"/questions/{question}").html
        assert record["why"] not in html
        for belief in record.get("beliefs", {}) if isinstance(record.get("beliefs"), dict) else ():
            assert record["beliefs"][belief] not in html


def test_log_and_export_say_what_was_answered(visitor, kinds_db, at):
    """In the words of the question, not in ids."""
    at("match")
    _send(visitor, {"pairs": {"adc": "hold", "cpc": "out"}})
    log = visitor.get("/log").text
    export = visitor.client.get("/account/export.json").get_json()

    assert "CPC fails: climbs to aircraft altitude" in log
    assert export["answers"][0]["answered"].startswith("ADC 1 fails (selector 1): holds its")


def test_a_gauge_shows_its_instrument_and_not_its_readings(visitor, kinds_db, at):
    """Pointer angles for a reader who cannot see it; the readings come with the feedback."""
    question = at("gauge")
    before = visitor.page
    page = _send(visitor, right(kinds_db, question))

    assert "<svg" in before.html and "<desc" in before.html
    assert "4,700" not in before.text and "8.9" not in before.text
    assert "<svg" in page.html and "4,700" in page.text


def test_rows_that_are_lost_are_explained_by_the_way_that_is_broken(visitor, kinds_db, at):
    """A picture of the chain, and a sentence."""
    question = at("still-works")
    page = _send(visitor, wrong(kinds_db, question))

    assert page.html.count("<svg") >= 2
    assert "left generator" in page.text.lower()

"""A whole work on one page without scripts: one form for every kind, what is refused beside it, and nothing lost."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.store.tables import Answer, DraftResponse, Group, Person, Question
from quizsvc.web.app import create_app
from tests.services.assigned import add_assignment, add_group
from tests.services.drills import count
from tests.web.keys import fields, right, wrong
from tests.web.pages import on_both
from tests.web.test_homework import ITEMS, WITH_SAY, asked, begin, outcomes


@pytest.fixture
def app(settings, kinds_db, clock, chance):
    """The application on the bank with one item of every kind."""
    return create_app(settings, clock=clock, db=kinds_db, rng=chance)


@pytest.fixture
def given(kinds_db, clock, member):
    """Makes an assignment for the group of who is signed in."""
    with kinds_db.reading() as session:
        person = session.scalars(sa.select(Person.id).where(Person.name.is_not(None))).one()

    def make(items=ITEMS, **rules):
        with kinds_db.reading() as session:
            group = session.scalar(sa.select(Group.id))
        group = group or add_group(kinds_db, clock, students=[person])
        return add_assignment(kinds_db, clock, group, items, **rules)

    return make


def whole(visitor, work):
    """The form of the page with all questions."""
    return visitor.get(f"/works/{work}/all").form(f"/works/{work}/all")


def at(position, response):
    """A response as the fields of the question at a place, from 1."""
    return {f"q{position}-{name}": value for name, value in fields(response).items()}


def drafts(db, work):
    """What stands in each field of a work, with its number; None where nothing does."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(DraftResponse)
            .select_from(Question)
            .outerjoin(DraftResponse, DraftResponse.question_id == Question.id)
            .where(Question.work_id == work)
            .order_by(Question.position)
        ).scalars()
        return [None if one is None else (one.raw, one.version) for one in rows]


@on_both
def test_every_kind_is_answered_in_one_form_and_handed_in(member, kinds_db, given):
    """All right at once, by the page's own fields; each is full, and the page leads to handing in."""
    work = begin(member, given())
    sent = {}
    for position, (question, _) in enumerate(asked(kinds_db, work), 1):
        sent |= at(position, right(kinds_db, question))
    assert f"/works/{work}/all" in member.get(f"/works/{work}").links
    form = whole(member, work)
    assert set(sent) <= form.names | {name for name in sent if "-place-" in name or "-after-" in name}  # selects
    member.send(form, ("on", "1"), **sent)
    assert member.path == f"/works/{work}/hand-in" and "11 of 11 answered or passed" in member.page.text
    assert count(kinds_db, Answer) == 0
    member.send(member.page.form(f"/works/{work}/hand-in"))

    # Eight kinds with one question each, and a scenario of three parts.
    assert outcomes(kinds_db, work) == ["full"] * 11


def test_sent_again_unchanged_it_writes_nothing(member, kinds_db, given):
    """Every kind's fields come back as they were; the running numbers stay where they were."""
    work = begin(member, given())
    sent = {"q1-sureness": "guess"}
    for position, (question, _) in enumerate(asked(kinds_db, work), 1):
        sent |= at(position, wrong(kinds_db, question))
    page = member.send(whole(member, work), ("stay", "1"), **sent)
    assert member.path == f"/works/{work}/all" and "Saved." in page.text
    before = drafts(kinds_db, work)
    member.send(page.form(f"/works/{work}/all"), ("stay", "1"))

    assert drafts(kinds_db, work) == before
    assert [version for _, version in before] == [1] * 11
    assert [raw for raw, _ in before] == [wrong(kinds_db, question) for question, _ in asked(kinds_db, work)]
    with kinds_db.reading() as session:
        assert session.get(DraftResponse, asked(kinds_db, work)[0][0]).sureness == "guess"


def test_lists_and_boxes_that_nobody_touched_are_open(member, kinds_db, given):
    """A browser sends them empty: places of steps, readings of dials, actions; none of it is a draft."""
    work = begin(member, given(["asked-as-order", "asked-as-gauge", "asked-as-still-works"]))
    page = member.get(f"/works/{work}/all")
    lists = {at["name"]: "" for tag, at in page.tags if tag == "select"}
    assert {name[:2] for name in lists} == {"q1", "q3"}
    page = member.send(page.form(f"/works/{work}/all"), ("on", "1"), **lists)

    assert "0 of 3 answered or passed" in page.text
    assert drafts(kinds_db, work) == [None, None, None]


def test_what_cannot_be_kept_or_read_is_said_beside_it(member, kinds_db, given):
    """Two steps on one place are refused, a word for a number is kept; both stay typed, and the others are saved."""
    work = begin(member, given(["asked-as-number", "asked-as-order", "asked-as-one"]))
    (_, _), (order, _), (one, _) = asked(kinds_db, work)
    steps = right(kinds_db, order)["order"]
    answered = right(kinds_db, one)
    twice = {f"q2-place-{step}": "1" for step in steps[:2]}
    page = member.send(
        whole(member, work), ("on", "1"), **{"q1-text": "many"}, **twice, **at(3, answered)
    )  # fmt: skip

    assert member.status == 422 and member.path == f"/works/{work}/all"
    first, second = page.html.index('id="item-1"'), page.html.index('id="item-2"')
    third = page.html.index('id="item-3"')
    assert (
        "Saved as it stands" in page.html[first:second] and "two steps have place 1" in page.html[second:third].lower()
    )
    assert 'role="alert"><p>' not in page.html[third:]
    form = page.form(f"/works/{work}/all")
    assert {("q1-text", "many"), *twice.items()} <= set(form.fields)
    assert drafts(kinds_db, work) == [({"text": "many"}, 1), None, (answered, 1)]
    # The way on although it cannot be read.
    assert f"/works/{work}/hand-in" in page.links


def test_a_pass_is_ticked_and_taken_back_by_answering(member, kinds_db, given):
    """Ticked over a picked option it stands; ticked still when something is typed, it is taken back."""
    work = begin(member, given(["asked-as-number", "asked-as-one"]))
    answered = at(2, right(kinds_db, asked(kinds_db, work)[1][0]))
    member.send(whole(member, work), ("stay", "1"), **{"q1-pass": "1", "q2-pass": "1"}, **answered)
    assert drafts(kinds_db, work) == [({"pass": True}, 1), ({"pass": True}, 1)]
    form = whole(member, work)
    assert ("q1-pass", "1") in form.fields
    member.send(form, ("stay", "1"), **{"q1-text": "4400"})

    assert drafts(kinds_db, work) == [({"text": "4400"}, 2), ({"pass": True}, 1)]


@on_both
def test_another_device_has_written_one_of_them(member, browsers, kinds_db, given):
    """409 with the other answer in words beside that question; the others are saved; saved again, this one stands."""
    work = begin(member, given(["asked-as-number", "asked-as-one"]))
    answered = right(kinds_db, asked(kinds_db, work)[1][0])
    other = browsers()
    other.send(other.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")
    old = whole(other, work)
    member.send(whole(member, work), ("stay", "1"), **{"q1-text": "4400"})
    page = other.send(old, ("on", "1"), **{"q1-text": "5500"}, **at(2, answered))

    assert other.status == 409 and "Saved meanwhile, here or on another device: 4400" in page.text
    assert drafts(kinds_db, work) == [({"text": "4400"}, 1), (answered, 1)]
    other.send(page.form(f"/works/{work}/all"), ("on", "1"))
    assert drafts(kinds_db, work) == [({"text": "5500"}, 2), (answered, 1)]


def test_no_id_stands_twice_and_each_label_has_its_field(member, kinds_db, given):
    """Ten kinds on one page: what names an id names one that is there."""
    work = begin(member, given(WITH_SAY))
    tags = member.get(f"/works/{work}/all").tags
    ids = Counter(at["id"] for _, at in tags if at.get("id"))
    names = ("for", "aria-labelledby", "aria-describedby")
    named = {one for _, at in tags for name in names for one in (at.get(name) or "").split()}

    assert [one for one, times in ids.items() if times > 1] == []
    assert len(named) > 20 and named - set(ids) == set()


def test_a_spoken_one_has_its_own_page_and_is_left_as_it_is(member, kinds_db, given):
    """Its model answer is not on this page; saving the rest does not touch what was ticked there."""
    work = begin(member, given(["asked-as-say", "asked-as-number"]))
    (say, _), _ = asked(kinds_db, work)
    page = member.get(f"/works/{work}/questions/{say}")
    page = member.send(next(one for one in page.forms if ("spoken", "1") in one.buttons), ("spoken", "1"))
    points = right(kinds_db, say)["points"]
    member.send(page.forms[-1], points=points)
    before = drafts(kinds_db, work)[0]
    page = member.get(f"/works/{work}/all")
    assert "Model answer" not in page.text and "You have spoken and ticked." in page.text
    assert f"/works/{work}/questions/{say}" in page.links
    member.send(page.form(f"/works/{work}/all"), ("stay", "1"), **{"q2-text": "4400"})

    assert before[0] == {"points": points} and drafts(kinds_db, work) == [before, ({"text": "4400"}, 1)]


def test_straight_away_what_is_answered_stays_and_the_rest_is_a_draft(member, kinds_db, given):
    """Fields only for what is open; nothing is answered by saving."""
    work = begin(member, given(["asked-as-number", "asked-as-one"], feedback="straight away"))
    (number, _), (one, _) = asked(kinds_db, work)
    address = f"/works/{work}/questions/{number}"
    member.send(member.get(address).form(address), **fields(right(kinds_db, number)))
    page = member.get(f"/works/{work}/all")
    assert "Answered for good: full." in page.text and "q1-text" not in page.form(f"/works/{work}/all").names
    member.send(page.form(f"/works/{work}/all"), ("on", "1"), **at(2, wrong(kinds_db, one)), **{"q1-text": "1"})

    assert count(kinds_db, Answer) == 1
    assert drafts(kinds_db, work) == [None, (wrong(kinds_db, one), 1)]


def test_after_its_time_nothing_is_taken_and_the_page_leads_to_the_work(member, kinds_db, clock, given):
    """Sent a second after closing: the sentence of the service; opened then, it is the list."""
    work = begin(member, given(["asked-as-number"], closes_at=clock() + timedelta(hours=1)))
    form = whole(member, work)
    clock.advance(hours=1, seconds=1)
    page = member.send(form, ("on", "1"), **{"q1-text": "4400"})
    assert member.status == 409 and "time for this homework is over" in page.text
    member.get(f"/works/{work}/all")

    assert member.path == f"/works/{work}" and drafts(kinds_db, work) == [None]


@pytest.mark.parametrize(
    "sent", [{"q1-version": "x"}, {"q1-version": "-1"}, {"q1-sureness": "very"}, {"q1-text": "x" * 201}]
)
def test_bad_fields_get_a_sentence(member, kinds_db, given, sent):
    """422, nothing stored."""
    work = begin(member, given(["asked-as-number"]))
    page = member.send(whole(member, work), ("on", "1"), **({"q1-text": "4400"} | sent))

    assert member.status == 422 and 'id="q1-refusal" class="refusal" role="alert"><p>' in page.html
    assert drafts(kinds_db, work) == [None]


def test_cautions_of_all_stand_once_above(member, given):
    """C2 of both, inside the form and above the items; C1 at the foot."""
    work = begin(member, given(["asked-as-number", "asked-as-one"]))
    page = member.get(f"/works/{work}/all")
    first = page.html.index("<article")

    assert page.html.count('data-caution="C2"') == 1 and page.html.index('data-caution="C2"') < first
    assert page.html.index("<form") < page.html.index('data-caution="C2"') and "C1" in page.cautions

"""Homework without scripts: the list, its questions of every kind, handing in, the receipt, and nothing told early."""

from __future__ import annotations

import hashlib
import html
import json
import re
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.bank.kinds import KINDS
from quizsvc.store.tables import Answer, DraftResponse, Grade, Group, Person, Question, Work
from quizsvc.web.app import create_app
from tests.services.assigned import add_assignment, add_group
from tests.services.drills import count
from tests.web.description import Description
from tests.web.keys import fields, right, wrong
from tests.web.pages import on_both

ALONE = sorted(set(KINDS) - {"scenario", "say"})
ITEMS = [f"asked-as-{kind}" for kind in (*ALONE, "scenario")]
WITH_SAY = [*ITEMS, "asked-as-say"]


@pytest.fixture
def app(settings, kinds_db, clock, chance):
    """The application on the bank with one item of every kind."""
    return create_app(settings, clock=clock, db=kinds_db, rng=chance)


@pytest.fixture
def person(member, kinds_db):
    """The id of who is signed in."""
    with kinds_db.reading() as session:
        return session.scalars(sa.select(Person.id).where(Person.name.is_not(None))).one()


@pytest.fixture
def given(kinds_db, clock, person):
    """Makes an assignment for the group of who is signed in."""

    def make(items=ITEMS, **rules):
        with kinds_db.reading() as session:
            group = session.scalar(sa.select(Group.id))
        group = group or add_group(kinds_db, clock, students=[person])
        return add_assignment(kinds_db, clock, group, items, **rules)

    return make


def begin(visitor, assignment):
    """Open the assignment and press Begin; returns the work's id."""
    form = visitor.get(f"/homework/{assignment}").form(f"/homework/{assignment}/works")
    visitor.send(form)
    return visitor.path.split("/")[2]


def asked(db, work):
    """The ids of a work's questions with their kinds, in order."""
    with db.reading() as session:
        return session.execute(
            sa.select(Question.id, Question.kind).where(Question.work_id == work).order_by(Question.position)
        ).all()


def fill(visitor, work, question, given):
    """Open a question, and send what is given; a spoken one is looked at first."""
    address = f"/works/{work}/questions/{question}"
    page = visitor.get(address)
    if "points" in given:
        page = visitor.send(next(one for one in page.forms if ("spoken", "1") in one.buttons), ("spoken", "1"))
    form = next(one for one in page.forms if one.method == "post" and one.action == address)
    return visitor.send(form, **fields(given))


def outcomes(db, work):
    """What became of each question of a work."""
    with db.reading() as session:
        return session.scalars(
            sa.select(Grade.outcome)
            .join(Answer, Answer.id == Grade.answer_id)
            .join(Question, Question.id == Answer.question_id)
            .where(Question.work_id == work)
            .order_by(Question.position)
        ).all()


@on_both
def test_every_kind_is_filled_in_and_handed_in_without_scripts(member, kinds_db, clock, given):
    """Right answers by the form's own fields, changed once before; each is full, and the feedback is shown."""
    assignment = given(WITH_SAY)
    assert f"/homework/{assignment}" in member.get("/homework").links
    work = begin(member, assignment)
    for question, _ in asked(kinds_db, work):
        fill(member, work, question, wrong(kinds_db, question))
        fill(member, work, question, right(kinds_db, question))
    clock.advance(minutes=20)
    member.send(member.get(f"/works/{work}/hand-in").form(f"/works/{work}/hand-in"))

    assert member.path == f"/works/{work}/receipt"
    # A part that follows is judged on the right answer before it, so all are full.
    assert outcomes(kinds_db, work) == ["full"] * 12
    assert "12 of 12" in member.get(f"/works/{work}").heading
    for question, _ in asked(kinds_db, work):
        assert "Working" in member.get(f"/works/{work}/questions/{question}").text


def test_what_was_filled_in_stands_there_again(member, kinds_db, given):
    """Every kind: the form comes back with the same fields, so that saving it again changes nothing."""
    work = begin(member, given())
    for question, kind in asked(kinds_db, work):
        response = wrong(kinds_db, question)
        fill(member, work, question, response)
        address = f"/works/{work}/questions/{question}"
        member.send(member.get(address).form(address))
        with kinds_db.reading() as session:
            stored = session.get(DraftResponse, question)
            assert (stored.raw, stored.version) == (response, 2), kind


def secrets(record):
    """The sentences of a grading record that a page must not hold; the keys' own texts are options like others."""
    found = set()

    def walk(value, name=""):
        if isinstance(value, dict):
            for key, inner in value.items():
                walk(inner, key)
        elif isinstance(value, list):
            for inner in value:
                walk(inner, name)
        elif isinstance(value, str) and name in ("why", "belief", "beliefs", "note", "key_shown", "lines") and value:
            found.add(value)

    walk(record)
    return found


# Sentences of the test bank that stand only in beliefs, reasons and model answers; by hand from tests/kinds_bank.py.
BELIEFS = [
    "dump hangs on the left side", "Dump hangs on the essential bus", "the rate limit needs no controller",
    "Relief heads and thumbwheel need no controller", "used the down limit", "the limiter stops any climb",
    "The bands do not touch", "a dead controller opens the valves", "They fail closed", "L MAIN dies",
    "a lower cabin is better", "8.9 psi is where", "CPC dead, valves closing", "Both mains are gone",
    "the cabin starts up when the descent is sensed", "The cabin waits for the gate", "read the schedule",
    "the other source is good", "Both outputs are gone", "knows the cabin and not the aircraft",
]  # fmt: skip


def replies(visitor, work, questions):
    """Every reply about a work: pages, fragments of them after sending, and the JSON call's."""
    paths = [
        "/", "/homework", f"/works/{work}", f"/works/{work}/all", f"/works/{work}/hand-in", f"/works/{work}/receipt",
        "/log", "/thin-spots", "/account/export.json", "/account/export.csv", "/expectation",
    ]  # fmt: skip
    for path in paths + [f"/works/{work}/questions/{question}" for question, _ in questions]:
        yield path, visitor.client.get(path).get_data(as_text=True)
    for question, _ in questions:
        yield f"/questions/{question}", visitor.client.get(f"/questions/{question}").get_data(as_text=True)


@pytest.mark.parametrize("handed_in", [False, True])
def test_nothing_of_a_key_is_told_before_the_release(member, kinds_db, clock, given, settings, handed_in):
    """Ten kinds, answered wrong, before and after handing in: no belief, no reason, no mark in any reply.

    A spoken item shows its model answer when the person says that they have spoken; that page is not asked for here.
    """
    assignment = given(WITH_SAY, feedback="after closing", closes_at=clock() + timedelta(days=2))
    work = begin(member, assignment)
    questions = asked(kinds_db, work)
    seen = {}
    with kinds_db.reading() as session:
        records = {question: session.get(Question, question).record for question, _ in questions}
    for question, _ in questions:
        reply = fill_raw(member, settings, work, question, wrong(kinds_db, question))
        seen[f"draft of {question}"] = reply.get_data(as_text=True)
        if "points" not in wrong(kinds_db, question):
            fill(member, work, question, wrong(kinds_db, question))
            seen[f"sent {question}"] = member.page.html
    if handed_in:
        member.send(member.get(f"/works/{work}/hand-in").form(f"/works/{work}/hand-in"))
    seen |= dict(replies(member, work, questions))
    told = {word for record in records.values() for word in secrets(record)} | set(BELIEFS)

    assert {kind for _, kind in questions} == set(KINDS) - {"scenario"} and len(told) > 30
    for where, body in seen.items():
        plain = html.unescape(re.sub(r"<[^>]+>", "", body))
        for word in told:
            assert word not in plain, f"{where} tells {word!r}"
        assert "is-key" not in body and 'class="shape"' not in body, where
        if where.startswith("draft"):
            assert set(json.loads(body)) == {"saved", "version", "newer"}
    assert json.loads(seen["/account/export.json"])["answers"] == []
    assert member.get(f"/works/{work}").heading == ("Handed in" if handed_in else "Your work")
    if handed_in:
        # After the release the same words are there, so the walk above would have found them.
        clock.advance(days=2, seconds=1)
        after = "".join(member.get(f"/works/{work}/questions/{question}").text for question, _ in questions)
        assert sum(word in after for word in BELIEFS) > 12
        assert member.get(f"/works/{work}").heading.endswith(" of 12")


def fill_raw(visitor, settings, work, question, response, version=1, **more):
    """Save a draft as the page's script does."""
    body = {"work": work, "question": question, "version": version, "response": response, "sureness": None} | more
    return visitor.client.put("/api/v1/drafts", json=body, headers={"Origin": settings.public_url})


@on_both
def test_two_browsers_of_one_person(member, browsers, kinds_db, given, settings):
    """The second one's form is older than what the first saved since: it is told, keeps what it typed, and may win."""
    work = begin(member, given(["asked-as-number"]))
    ((question, _),) = asked(kinds_db, work)
    other = browsers()
    other.send(other.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")
    address = f"/works/{work}/questions/{question}"
    old = other.get(address).form(address)
    fill(member, work, question, {"text": "4400"})
    page = other.send(old, text="5500")

    assert other.status == 409 and "4400" in page.text
    form = page.form(address)
    assert ("text", "5500") in form.fields
    other.send(form)
    with kinds_db.reading() as session:
        assert session.get(DraftResponse, question).raw == {"text": "5500"}
    late = fill_raw(member, settings, work, question, {"text": "4500"}, version=2).get_json()
    assert late["saved"] is False and late["newer"]["response"] == {"text": "5500"}


@on_both
def test_handing_in_twice_gives_one_receipt(member, kinds_db, clock, given):
    """The same form sent again, an hour later: the same page to the last letter."""
    work = begin(member, given(["asked-as-one"]))
    form = member.get(f"/works/{work}/hand-in").form(f"/works/{work}/hand-in")
    first = member.send(form, ("anyway", "1"), device_at="2026-03-01T09:00:00Z").html
    clock.advance(hours=1)
    second = member.send(form, ("anyway", "1")).html

    token = re.compile(r'name="csrf_token" value="[^"]*"')
    assert token.sub("", first) == token.sub("", second)
    assert count(kinds_db, Answer) == 1
    # 10:00 in Zurich is the 09:00 UTC of the test's clock; the phone was a day behind.
    assert "2 Mar 2026, 10:00:00" in member.page.text and "1 Mar 2026, 10:00:00" in member.page.text
    content = html.unescape(re.search(r'<pre[^>]*id="content"[^>]*>(.*?)</pre>', second, re.S)[1])
    assert hashlib.sha256(content.encode()).hexdigest() in member.page.text


def test_a_re_mark_stands_under_the_feedback(member, kinds_db, clock, given):
    """Old and new, when and why."""
    work = begin(member, given(["asked-as-one"]))
    ((question, _),) = asked(kinds_db, work)
    fill(member, work, question, wrong(kinds_db, question))
    member.send(member.get(f"/works/{work}/hand-in").form(f"/works/{work}/hand-in"))
    assert "Re-marked" not in member.get(f"/works/{work}/questions/{question}").text
    with kinds_db.writing() as session:
        first = session.query(Grade).one()
        session.add(
            Grade(
                answer_id=first.answer_id, number=2, outcome="full", credit=1.0, marks=first.marks,
                graded_at=clock.advance(days=1), why="both buses feed it",
            )
        )  # fmt: skip
    page = member.get(f"/works/{work}/questions/{question}").text

    assert "miss, 0: 2 Mar 2026, 10:00" in page and "full, 1: 3 Mar 2026, 10:00. Both buses feed it." in page
    assert member.get(f"/works/{work}").heading == "1 of 1"


def test_what_is_open_is_asked_about(member, kinds_db, given):
    """422 where the question was not put; nothing is stored; the page lists what is open and why."""
    work = begin(member, given(["asked-as-one", "asked-as-number"]))
    (_, _), (number, _) = asked(kinds_db, work)
    page = fill(member, work, number, {"text": "many"})
    assert member.status == 422 and "Saved as it stands" in page.text
    form = member.get(f"/works/{work}/hand-in").form(f"/works/{work}/hand-in")
    page = member.send(form)

    assert member.status == 422 and "cannot be read" in page.text and "Item 1" in page.text
    assert count(kinds_db, Answer) == 0


def test_straight_away_answers_for_good(member, kinds_db, given):
    """Feedback at once; the same question opens with it; unreadable ones stay with what was typed."""
    work = begin(member, given(["asked-as-number", "asked-as-one"], feedback="straight away"))
    (number, _), (one, _) = asked(kinds_db, work)
    page = fill(member, work, number, {"text": "many"})
    assert member.status == 422 and ("text", "many") in page.form(f"/works/{work}/questions/{number}").fields
    page = fill(member, work, number, wrong(kinds_db, number))

    assert "Working" in page.text and "miss" in page.text
    assert "Working" not in member.get(f"/works/{work}/questions/{one}").text
    assert "miss" in member.get("/log").text
    assert f"/questions/{number}" in member.page.links
    member.get(f"/questions/{number}")
    assert member.path == f"/works/{work}/questions/{number}"


def test_a_sitting_says_what_is_left_and_ends_by_itself(member, kinds_db, clock, given):
    """Forty minutes; after that and a minute more it is handed in, and its page says so."""
    work = begin(member, given(["asked-as-one"], sitting_minutes=40))
    clock.advance(minutes=10)
    ((question, _),) = asked(kinds_db, work)
    assert "30 min left" in member.get(f"/works/{work}/questions/{question}").text
    fill(member, work, question, right(kinds_db, question))
    clock.advance(minutes=31, seconds=1)

    assert "1 of 1" in member.get(f"/works/{work}").heading
    assert outcomes(kinds_db, work) == ["full"]


def test_times_and_states_are_said_in_the_groups_zone(member, clock, given):
    """Not open, open, late, over; 09:00 UTC is 10:00 in Zurich in March."""
    given(["asked-as-one"], title="Not yet", opens_at=clock() + timedelta(hours=1))
    given(["asked-as-one"], title="At once", late_until_at=clock() + timedelta(days=8))
    page = member.get("/homework").text
    assert "Opens 2 Mar 2026, 11:00" in page and "Closes 9 Mar 2026, 10:00, Europe/Zurich" in page
    clock.advance(days=7, minutes=1)
    assert "Late is taken until 10 Mar 2026, 10:00" in member.get("/homework").text
    clock.advance(days=2)
    assert "not begun" in member.get("/homework").text


def test_another_persons_work_is_a_404_by_every_verb(member, browsers, kinds_db, settings, given):
    """Also for who is signed in, and nothing is stored."""
    assignment = given(["asked-as-one"])
    work = begin(member, assignment)
    ((question, _),) = asked(kinds_db, work)
    other = browsers()
    other.send(other.get("/sign-up").form("/sign-up"), name="Aluna Dreywick", password="ochre lantern nine")
    token = dict(other.get("/account").form("/sign-out").fields)
    for path in (
        f"/homework/{assignment}", f"/works/{work}", f"/works/{work}/questions/{question}", f"/works/{work}/hand-in",
        f"/works/{work}/all", f"/works/{work}/receipt",
    ):  # fmt: skip
        assert other.client.get(path).status_code == 404, path
    for path in (
        f"/homework/{assignment}/works", f"/works/{work}/questions/{question}", f"/works/{work}/hand-in",
        f"/works/{work}/questions/{question}/squawks", f"/works/{work}/all",
    ):  # fmt: skip
        sent = {
            **token,
            "option": "ess",
            "q1-option": "ess",
            "q1-version": "0",
            "anyway": "1",
            "text": "mine",
            "version": "0",
        }
        assert other.client.post(path, data=sent).status_code == 404, path
    assert fill_raw(other, settings, work, question, {"option": "ess"}).status_code == 404
    assert (count(kinds_db, DraftResponse), count(kinds_db, Answer), count(kinds_db, Work)) == (0, 0, 1)


def test_a_squawk_from_homework_is_stored_and_tells_nothing(member, kinds_db, given):
    """C11 comes back as a notice, with the feedback or, by the same address, before it."""
    work = begin(member, given(["asked-as-one", "asked-as-some"], feedback="straight away"))
    (told, _), (question, _) = asked(kinds_db, work)
    form = fill(member, work, told, right(kinds_db, told)).form(f"/works/{work}/questions/{told}/squawks")
    assert "Squawk received" in member.send(form, text="Which aircraft is meant?").text
    form.action = f"/works/{work}/questions/{question}/squawks"
    page = member.send(form, text="Which aircraft is meant?")

    assert "Squawk received" in page.text and "need no controller" not in page.text


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({"version": 0}, 422), ({"version": "1"}, 422), ({"version": 10**7}, 422), ({"response": None}, 422),
        ({"response": {"text": "x" * 201}}, 422), ({"work": "x"}, 422), ({"question": "0" * 32}, 404),
        ({"sureness": "very"}, 422), ({"given_at": "yesterday"}, 422), ({"key": 1}, 422),
        ({"response": {"text": "a\x00b"}}, 422), ({"response": {}}, 200),
    ],
)  # fmt: skip
def test_bad_drafts_get_a_sentence(member, kinds_db, settings, given, changes, status):
    """A problem document that names the field, and nothing stored."""
    work = begin(member, given(["asked-as-number"]))
    ((question, _),) = asked(kinds_db, work)
    reply = member.client.put(
        "/api/v1/drafts",
        json={"work": work, "question": question, "version": 1, "response": {"text": "4400"}} | changes,
        headers={"Origin": settings.public_url},
    )

    assert reply.status_code == status
    if status >= 400:
        assert reply.get_json()["detail"]
        assert count(kinds_db, DraftResponse) == 0


def test_drafts_are_as_described(member, browsers, app, kinds_db, clock, settings, given):
    """Every kind's own way of answering, a newer draft, and each refusal, held against openapi.json."""
    description = Description(app.test_client().get("/api/v1/openapi.json").get_json())
    work = begin(member, given())
    seen = []

    def put(visitor, **body):
        reply = visitor.client.put("/api/v1/drafts", json=body, headers={"Origin": settings.public_url})
        seen.append(reply.status_code)
        if reply.status_code == 200:
            description.check_request("PUT", "/api/v1/drafts", {"Content-Type": "application/json"}, body)
        description.check_reply("PUT", "/api/v1/drafts", reply.status_code, reply.headers, reply.get_json())
        return reply.get_json()

    for question, _ in asked(kinds_db, work):
        one = {"work": work, "question": question, "sureness": "sure", "given_at": "2026-03-02T09:00:00Z"}
        for response in (right(kinds_db, question), wrong(kinds_db, question), {"pass": True}, {}):
            put(member, **one, version=1 + len(seen), response=response)
        assert put(member, **one, version=1, response=right(kinds_db, question))["newer"]["said"]
    assert set(seen) == {200}
    put(browsers(), **one, version=1, response={})
    put(member, **(one | {"question": "0" * 32}), version=1, response={})
    put(member, **one, version=0, response={})
    clock.advance(days=8)
    put(member, **one, version=900, response={})
    assert seen[-4:] == [401, 404, 422, 409]


def test_cautions(member, kinds_db, given):
    """C7 before a first homework, C1 above the button, and the items' own inside the item."""
    assignment = given()
    page = member.get(f"/homework/{assignment}")
    assert {"C1", "C2", "C7"} <= set(page.cautions)
    work = begin(member, assignment)
    for question, _ in asked(kinds_db, work):
        item = member.get(f"/works/{work}/questions/{question}").html
        assert 'data-caution="C2"' in item[item.index("<article") :]

"""The JSON calls with every kind: shown without its key, answered, and a scenario's feedback kept until its end."""

from __future__ import annotations

import json
import uuid

import pytest
import schemathesis

from quizsvc.store.tables import Question
from quizsvc.web.app import create_app
from tests.web.keys import right, wrong
from tests.web.pages import on_both

TOLD = ("outcome", "credit", "key", "accepted", "belief", "remark", "why", "read_back", "void_reason")


@pytest.fixture
def app(settings, kinds_db, clock, chance):
    """The application on the bank with one item of every kind."""
    return create_app(settings, clock=clock, db=kinds_db, rng=chance)


@pytest.fixture
def described(app):
    """Holds a reply against the description of its call, by a validator that is not ours."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)

    def hold(call, reply):
        schema[f"/api/v1/{call}"]["POST"].validate_response(reply)
        return reply.get_json()

    return hold


@pytest.fixture
def call(app, described):
    """Posts JSON as a page of this service would; the reply must be as described."""
    client = app.test_client()
    origin = app.extensions["quizsvc"].settings.public_url

    def post(path, body, status=201):
        reply = client.post(f"/api/v1/{path}", json=body, headers={"Origin": origin})
        assert reply.status_code == status, reply.get_data(as_text=True)
        return described(path, reply)

    return post


@pytest.fixture
def drill(call):
    """The questions of a Long set: one of every kind and the parts of a scenario."""
    return call("sets", {"minutes": 60, "long": True, "acknowledged": ["C1", "C9"]})["set"]["questions"]


def send(call, question, response, status=201):
    """Answer a question of the set."""
    body = {"question": question["id"], "uuid": str(uuid.uuid4()), "response": response, "html": True}
    return call("answers", body, status)


def parts_of(drill):
    """The scenario's questions by part."""
    return {one["part"]: one for one in drill if one["part"]}


@on_both
@pytest.mark.parametrize("answer", [right, wrong], ids=["right", "wrong"])
def test_every_kind_is_answered(call, drill, kinds_db, answer):
    """Shown, answered and told as the description says; keys are full, the rest is not."""
    for question in drill:
        reply = send(call, question, answer(kinds_db, question["id"]))["answer"]
        if not reply["kept"]:
            assert (reply["outcome"] == "full") == (answer is right), question["kind"]
            assert reply["why"]

    assert {one["kind"] for one in drill} == {
        "one", "some", "number", "order", "match", "still-works", "gauge", "profile", "say",
    }  # fmt: skip


def test_no_question_brings_its_key(drill, kinds_db):
    """Reasons, beliefs, keys of rows and readings, the overlay of the plots: none is in the reply that begins a set."""
    for question in drill:
        with kinds_db.reading() as session:
            record = session.get_one(Question, question["id"]).record
        text = json.dumps(question)
        assert record["why"] not in text
        assert "belief" not in text
        assert not {"key", "keys", "right", "points", "model", "working"} & set(question)
        if question["kind"] == "order":
            assert [one["id"] for one in question["options"]] == record["order"] != record["right"]


def test_what_a_part_was_worth_is_kept_until_the_last(call, drill, kinds_db):
    """Nothing of it is told, in JSON or in a screen; a revealed part is; the last brings them all in its screen."""
    parts = parts_of(drill)
    first = send(call, parts["a"], wrong(kinds_db, parts["a"]["id"]))
    second = send(call, parts["b"], wrong(kinds_db, parts["b"]["id"]))
    last = send(call, parts["c"], right(kinds_db, parts["c"]["id"]))

    assert first["answer"]["kept"] is True
    assert [first["answer"][name] for name in TOLD] == [None] * len(TOLD)
    assert first["answer"]["working"] == first["answer"]["marks"] == first["answer"]["rows"] == []
    assert "html" not in first
    assert "schedule plus 200" not in json.dumps(first)
    assert first["next"]["url"].endswith(parts["b"]["id"])
    assert second["answer"]["outcome"] == "miss" and "Both outputs are gone" in second["html"]
    assert "schedule plus 200" not in json.dumps(second)
    assert "schedule plus 200" in last["html"] and last["answer"]["kept"] is False


@pytest.mark.parametrize(
    ("kind", "response"),
    [
        ("order", {"order": ["warn"]}),
        ("order", {"order": ["warn", "warn", "masks", "limiter", "fifteen"]}),
        ("match", {"pairs": {"adc": "hold"}}),
        ("match", {"pairs": {"adc": "hold", "cpc": "nowhere"}}),
        ("still-works", {"rows": {"AUTO": "works"}}),
        ("still-works", {"rows": {"AUTO": "after", "DUMP": "works", "SPDBRK": "lost"}}),
        ("gauge", {"readings": {"cabin": "4700"}, "option": "heads"}),
        ("gauge", {"readings": {"cabin": "4700", "differential": "8.9"}}),
        ("gauge", {"readings": {"cabin": "high", "differential": "8.9"}, "option": "heads"}),
        ("profile", {"option": "plot-z"}),
        ("say", {"points": ["all"]}),
    ],
)
def test_what_is_not_whole_is_refused_and_not_stored(call, drill, kinds_db, kind, response):
    """A sentence in words, and the question can still be answered."""
    question = next(one for one in drill if one["kind"] == kind)
    problem = send(call, question, response, status=422)
    again = send(call, question, right(kinds_db, question["id"]))

    assert problem["type"] == "urn:quizsvc:response-unreadable"
    assert problem["detail"] and problem["mend"]
    assert again["answer"]["outcome"] == "full"

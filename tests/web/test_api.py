"""The JSON calls of a drill, and their description."""

from __future__ import annotations

import threading
import uuid
from datetime import timedelta

import pytest
from sqlalchemy import func, select

from quizsvc.store.tables import Answer, Grade, Person, PracticeSet
from tests.web.keys import right, wrong
from tests.web.pages import on_both


def _count(db, table, *where):
    with db.reading() as session:
        return session.scalar(select(func.count()).select_from(table).where(*where))


@pytest.fixture
def call(app):
    """Posts JSON as a page of this service would."""
    origin = app.extensions["quizsvc"].settings.public_url

    def post(client, path, body, **headers):
        return client.post(f"/api/v1/{path}", json=body, headers={"Origin": origin, **headers})

    return post


@pytest.fixture
def drill(app, call):
    """A client with a set begun by the call, and the set's questions."""
    client = app.test_client()
    reply = call(client, "sets", {"minutes": 5, "acknowledged": ["C1", "C9"]})

    assert reply.status_code == 201

    return client, reply.get_json()["set"]["questions"]


class TestSets:
    def test_a_set_begins_without_an_account(self, app, call, bank_db):
        """The person is made by this call, the cookie comes with the reply."""
        client = app.test_client()
        reply = call(client, "sets", {"minutes": 5, "acknowledged": ["C1", "C9"], "html": True})
        body = reply.get_json()

        assert reply.status_code == 201
        assert client.get_cookie("session") is not None
        assert _count(bank_db, Person) == 1
        assert body["url"] == "/questions/" + body["set"]["questions"][0]["id"]
        assert body["set"]["questions"][0]["stem"]
        assert "<form" in body["html"]

    def test_no_key_is_in_it(self, drill, bank_db):
        """Neither key, belief nor working leave before an answer."""
        _, questions = drill
        for question in questions:
            assert not {"key", "keys", "record", "why", "belief", "working", "drawn"} & set(question)
            for option in question["options"]:
                assert set(option) == {"id", "text"}

    @pytest.mark.parametrize(
        "body",
        [
            {},
            {"minutes": 5},
            {"minutes": 5, "acknowledged": []},
            {"minutes": "5", "acknowledged": ["C1"]},
            {"minutes": 5.5, "acknowledged": ["C1"]},
            {"minutes": True, "acknowledged": ["C1"]},
            {"minutes": 2**70, "acknowledged": ["C1"]},
            {"minutes": 5, "acknowledged": "C1"},
            {"minutes": 5, "acknowledged": [1]},
            {"minutes": 5, "acknowledged": ["C1"], "long": 1},
            {"minutes": 5, "acknowledged": ["C1"], "html": "yes"},
            {"minutes": 5, "acknowledged": ["C1"], "seed": 7},
            {"minutes": 5, "acknowledged": ["C1\u0000"]},
            [],
            "C1",
            7,
        ],
    )
    def test_a_body_of_another_shape_is_refused(self, app, call, bank_db, body):
        """422 as a problem document; nobody is created."""
        reply = call(app.test_client(), "sets", body)

        assert reply.status_code == 422
        assert reply.mimetype == "application/problem+json"
        assert reply.get_json()["type"].startswith("urn:quizsvc:")
        assert _count(bank_db, Person) == 0
        assert _count(bank_db, PracticeSet) == 0


class TestAnswers:
    def test_an_answer_gives_the_feedback_and_the_next_screen(self, drill, call, bank_db):
        """One round trip an item."""
        client, questions = drill
        body = {
            "question": questions[0]["id"],
            "uuid": str(uuid.uuid4()),
            "response": right(bank_db, questions[0]["id"]),
            "sureness": "sure",
            "html": True,
        }
        reply = call(client, "answers", body)
        seen = reply.get_json()

        assert reply.status_code == 201
        assert seen["answer"]["outcome"] == "full"
        assert seen["answer"]["credit"] == 1.0
        assert seen["answer"]["sureness"] == "sure"
        assert seen["answer"]["next_question"] == questions[1]["id"]
        assert seen["next"]["url"] == "/questions/" + questions[1]["id"]
        assert "That is the key." in seen["html"]
        assert "csrf_token" in seen["next"]["html"]

    @on_both
    def test_the_same_uuid_again_gives_the_stored_result(self, drill, call, bank_db):
        """Ten times, with other contents too: stored once, the first content counts."""
        client, questions = drill
        body = {
            "question": questions[0]["id"],
            "uuid": str(uuid.uuid4()),
            "response": wrong(bank_db, questions[0]["id"]),
        }
        first = call(client, "answers", body)
        body["response"] = right(bank_db, questions[0]["id"])
        again = [call(client, "answers", body) for _ in range(9)]

        assert first.status_code == 201
        assert {reply.status_code for reply in again} == {200}
        assert {reply.get_json()["answer"]["outcome"] for reply in again} == {"miss"}
        assert all(reply.get_json()["answer"]["already_stored"] for reply in again)
        assert _count(bank_db, Answer) == 1

    @on_both
    def test_ten_at_once_are_stored_once(self, drill, call, bank_db, app):
        """The same answer from ten threads."""
        client, questions = drill
        cookie = client.get_cookie("session").value
        body = {"question": questions[0]["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}}
        statuses = []

        def send():
            other = app.test_client()
            other.set_cookie("session", cookie)
            statuses.append(call(other, "answers", body).status_code)

        threads = [threading.Thread(target=send) for _ in range(10)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert sorted(statuses) == [200] * 9 + [201]
        assert _count(bank_db, Answer) == 1

    def test_another_uuid_for_the_same_question_is_void(self, drill, call, bank_db):
        """Kept, counts for nothing."""
        client, questions = drill
        for _ in range(2):
            reply = call(
                client,
                "answers",
                {"question": questions[0]["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}},
            )

        assert reply.status_code == 201
        assert reply.get_json()["answer"]["outcome"] == "void"
        assert reply.get_json()["answer"]["void_reason"] == "already answered"
        assert _count(bank_db, Grade, Grade.outcome == "void") == 1

    def test_a_uuid_of_another_question_is_a_conflict(self, drill, call, bank_db):
        """409, and nothing stored for the second."""
        client, questions = drill
        one = str(uuid.uuid4())
        call(client, "answers", {"question": questions[0]["id"], "uuid": one, "response": {"pass": True}})
        reply = call(client, "answers", {"question": questions[1]["id"], "uuid": one, "response": {"pass": True}})

        assert reply.status_code == 409
        assert _count(bank_db, Answer) == 1

    @on_both
    def test_a_clock_a_day_wrong_does_not_move_the_answer(self, drill, call, bank_db, clock):
        """given_at is corrected by what sent_at says about the client's clock (design.md section 2)."""
        client, questions = drill
        clock.advance(minutes=10)
        wrong_clock = clock() + timedelta(days=1)
        reply = call(
            client,
            "answers",
            {
                "question": questions[0]["id"],
                "uuid": str(uuid.uuid4()),
                "response": {"pass": True},
                "given_at": (wrong_clock - timedelta(minutes=3)).isoformat(),
                "sent_at": wrong_clock.isoformat(),
            },
        )

        assert reply.status_code == 201
        with bank_db.reading() as session:
            effective = session.scalar(select(Answer.effective_at))
        assert abs((clock() - timedelta(minutes=3) - effective).total_seconds()) < 1

    def test_an_unreadable_response_is_no_answer(self, drill, call, bank_db):
        """422 with a sentence; the question stays open."""
        client, questions = drill
        question = next((one for one in questions if one["kind"] == "number"), questions[0])
        response = {"text": "about half"} if question["kind"] == "number" else {"option": "no-such"}
        reply = call(client, "answers", {"question": question["id"], "uuid": str(uuid.uuid4()), "response": response})

        assert reply.status_code == 422
        assert reply.get_json()["detail"].endswith((".", "?", "!"))
        assert _count(bank_db, Answer) == 0

    @pytest.mark.parametrize(
        "change",
        [
            {"question": None},
            {"question": "x"},
            {"question": 2**70},
            {"uuid": None},
            {"uuid": "x"},
            {"uuid": 7},
            {"response": None},
            {"response": {}},
            {"response": {"pass": False}},
            {"response": {"option": "a", "pass": True}},
            {"response": {"options": [[]]}},
            {"response": {"options": ["a"] * 1000}},
            {"response": {"text": "9" * 1000}},
            {"response": {"text": "6\u0000"}},
            {"response": {"text": "\ud800"}},
            {"sureness": "certain"},
            {"sureness": ["sure"]},
            {"given_at": "yesterday"},
            {"given_at": "2026-11-25T10:00:00"},
            {"given_at": 1764068400},
            {"sent_at": "0001-01-01T00:00:00+23:59"},
            {"sent_at": "9999-12-31T23:59:59-23:59"},
            {"key": "a"},
        ],
    )
    def test_a_body_of_another_shape_is_refused(self, drill, call, bank_db, change):
        """422 as a problem document; nothing is stored."""
        client, questions = drill
        body = {"question": questions[0]["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}, **change}
        reply = call(client, "answers", body)

        assert reply.status_code == 422
        assert reply.mimetype == "application/problem+json"
        assert _count(bank_db, Answer) == 0


class TestWhoMayCall:
    def test_a_call_without_a_session_is_refused(self, app, call):
        """401 as a problem document."""
        reply = call(app.test_client(), "answers", {"question": "0" * 32})

        assert reply.status_code == 401
        assert reply.mimetype == "application/problem+json"

    @pytest.mark.parametrize(
        "headers",
        [
            {"Origin": "https://evil.example"},
            {"Origin": "null"},
            {"Sec-Fetch-Site": "cross-site"},
            {"Sec-Fetch-Site": "same-site"},
            {"Sec-Fetch-Site": "none"},
            {"Origin": "https://evil.example", "Sec-Fetch-Site": "same-origin"},
        ],
    )
    def test_a_call_from_another_site_is_refused(self, drill, call, bank_db, headers):
        """Even with the cookie and the content type."""
        client, questions = drill
        reply = call(
            client,
            "answers",
            {"question": questions[0]["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}},
            **headers,
        )

        assert reply.status_code == 403
        assert _count(bank_db, Answer) == 0

    def test_a_call_that_does_not_say_where_from_is_refused(self, drill, bank_db):
        """No Origin, no Sec-Fetch-Site."""
        client, questions = drill
        reply = client.post("/api/v1/answers", json={"question": questions[0]["id"]})

        assert reply.status_code == 403

    @pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", None])
    def test_only_json_is_taken(self, drill, bank_db, app, kind):
        """A form of another site cannot send that content type."""
        client, questions = drill
        reply = client.post(
            "/api/v1/answers",
            data=b'{"question": "x"}',
            content_type=kind,
            headers={"Origin": app.extensions["quizsvc"].settings.public_url},
        )

        assert reply.status_code == 415
        assert reply.mimetype == "application/problem+json"

    @pytest.mark.parametrize(
        "body", [b"", b"{", b"\xff\xfe", b"[" * 60_000, b'{"minutes": NaN}', b'{"minutes": ' + b"9" * 5000 + b"}"]
    )
    def test_what_is_not_json_is_refused(self, drill, app, body):
        """Broken, not UTF-8, endlessly nested, no number: a problem document, never a 500."""
        client, _ = drill
        reply = client.post(
            "/api/v1/sets",
            data=body,
            content_type="application/json",
            headers={"Origin": app.extensions["quizsvc"].settings.public_url},
        )

        assert reply.status_code == 422
        assert reply.mimetype == "application/problem+json"

    def test_an_unknown_address_under_api_answers_in_json(self, app):
        """404 and 405 as problem documents too."""
        client = app.test_client()

        assert client.get("/api/v1/nowhere").mimetype == "application/problem+json"
        assert client.get("/api/v1/answers").status_code == 405
        assert client.get("/api/v1/answers").mimetype == "application/problem+json"
        assert "POST" in client.get("/api/v1/answers").headers["Allow"]

"""The calls of a device: questions to keep, and batches of answers, on both databases where rows are the subject."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import threading
import uuid
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
import schemathesis
import sqlalchemy as sa

from quizsvc.store.session import Database
from quizsvc.store.tables import Acknowledgement, Answer, Grade, PracticeSet, Question
from quizsvc.web.app import create_app
from tests.web.keys import right, wrong
from tests.web.pages import Visitor, on_both

# Issue 4 and the design: "at most 64 KB", "at most 40 answers", "at most 300,000 bytes as JSON".
BODY_BYTES = 64 * 1024
ANSWERS = 40
REPLY_BYTES = 300_000


class Device:
    """A phone that talks to the service by its two calls; every reply is held against the description."""

    def __init__(self, app, client=None):
        self.client = client or app.test_client()
        self.origin = app.extensions["quizsvc"].settings.public_url
        self.schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)

    def call(self, path, body, status=200):
        """Send JSON as a page of the service does."""
        reply = self.client.post(f"/api/v1/{path}", json=body, headers={"Origin": self.origin})
        assert reply.status_code == status, reply.get_data(as_text=True)[:2000]
        self.schema[f"/api/v1/{path}"]["POST"].validate_response(reply)
        return reply.get_json()

    def begin(self):
        """Become a person without a name."""
        self.client.post("/api/v1/sets", json={"minutes": 3, "acknowledged": ["C1"]}, headers={"Origin": self.origin})
        return self

    def keep(self, have=(), status=200):
        """Fill up."""
        return self.call("kept-questions", {"format": 1, "have": list(have)}, status)

    def send(self, person, answers, status=200, **more):
        """Send a batch."""
        return self.call("answer-batches", {"format": 1, "person": person, "answers": answers} | more, status)


def given(question, response, **more):
    """An answer as a device keeps it."""
    return {"question": question, "uuid": str(uuid.uuid4()), "response": response} | more


def stored(db, table=Answer):
    """Rows of a table, in the order of their ids."""
    with db.reading() as session:
        return list(session.scalars(sa.select(table).order_by(table.id)))


@pytest.fixture
def phone(app):
    """A device of somebody without a name."""
    return Device(app).begin()


@pytest.fixture
def kept(phone):
    """What it keeps."""
    return phone.keep()


def answers_to(db, kept, judge=right):
    """An answer to each kept question that is no spare."""
    return [given(one["id"], judge(db, one["id"])) for one in kept["questions"] if not one["spare_of"]]


@on_both
class TestKeeping:
    """POST /api/v1/kept-questions."""

    def test_what_a_device_gets(self, bank_db, kept):
        """Cautions, units and questions with all that drilling needs; a spare only behind its question."""
        assert set(kept["cautions"]) == {"C1", "C9"}
        assert "Not for operational use." in kept["cautions"]["C1"]
        # The definitions of foot and degree Celsius (NIST SP 811, appendix B.8): factor, offset, name.
        assert kept["units"]["length"]["ft"][:2] == [0.3048, 0.0]
        assert kept["units"]["temperature"]["°c"][:2] == [1.0, 273.15]
        seen = set()
        for one in kept["questions"]:
            assert one["spare_of"] is None or one["spare_of"] in seen
            seen.add(one["id"])
            assert "<form" not in one["html"] + one["feedback"]
            assert "csrf" not in one["html"] + one["feedback"]
            assert 'name="' in one["html"]
            assert "data-outcome" in one["feedback"]
        assert all("data-caution" in one["html"] for one in kept["questions"] if one["handbook"])

    def test_two_devices_of_one_person(self, app, member):
        """Signed in on two: the same questions; what a device has is not sent a second time."""
        phone, tablet = Device(app, member.client), Device(app)
        other = Visitor(tablet.client)
        other.send(other.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")
        first, second = phone.keep(), tablet.keep()

        assert [one["id"] for one in first["questions"]] == [one["id"] for one in second["questions"]]
        assert first["person"] == second["person"]
        ids = [one["id"] for one in first["questions"]]
        again = tablet.keep(ids)
        assert (again["keep"], again["questions"]) == (ids, [])
        half = tablet.keep(ids[::2])
        assert half["keep"] == ids[::2]
        assert [one["id"] for one in half["questions"]] == ids[1::2]

    def test_strangers_and_their_ids(self, app, phone, kept):
        """Another person has others, and learns nothing by asking for these."""
        other = Device(app).begin()
        theirs = other.keep([one["id"] for one in kept["questions"]])

        assert theirs["keep"] == []
        assert not {one["id"] for one in theirs["questions"]} & {one["id"] for one in kept["questions"]}

    def test_nobody(self, app):
        """401: questions are kept for a person."""
        Device(app).keep(status=401)

    def test_what_is_no_list_of_ids(self, phone):
        """422, by name."""
        for have in ("x", [1], ["0" * 31], ["0" * 32] * 401, None):
            assert phone.call("kept-questions", {"format": 1, "have": have}, 422)["where"] == "have"

    def test_an_acknowledged_day_is_told(self, bank_db, phone, kept, clock):
        """C9 is asked for once a day, wherever it was acknowledged."""
        assert kept["start"] == {"acknowledge": ["C1", "C9"]}
        phone.send(kept["person"], [], acknowledged=[{"id": "C9", "at": clock().isoformat()}])

        assert phone.keep()["start"] == {"acknowledge": ["C1"]}


@on_both
class TestBatches:
    """POST /api/v1/answer-batches."""

    def test_every_answer_once_and_in_order(self, bank_db, phone, kept):
        """Stored, graded, marked as given offline; the results stand in the order sent."""
        batch = answers_to(bank_db, kept)
        reply = phone.send(kept["person"], batch)

        assert [one["uuid"] for one in reply["results"]] == [one["uuid"] for one in batch]
        assert all(one["stored"] and not one["already_stored"] for one in reply["results"])
        assert {(one["outcome"], one["credit"], one["differs"]) for one in reply["results"]} == {("full", 1.0, False)}
        assert [one.uuid for one in stored(bank_db)] == [one["uuid"] for one in batch]
        assert all(one.offline for one in stored(bank_db))
        assert len(stored(bank_db, Grade)) == len(batch)

    def test_the_same_batch_again_adds_nothing(self, bank_db, phone, kept):
        """After a reply that was lost: the stored results, and as many rows as before."""
        batch = answers_to(bank_db, kept, wrong)
        first = phone.send(kept["person"], batch)
        again = phone.send(kept["person"], batch)

        assert all(one["already_stored"] for one in again["results"])
        assert [one | {"already_stored": False} for one in again["results"]] == first["results"]
        assert len(stored(bank_db)) == len(stored(bank_db, Grade)) == len(batch)

    def test_two_at_once(self, app, bank_db, phone, kept):
        """Two tabs send the same batch at the same moment: each answer is stored once, and both are told so."""
        batch = answers_to(bank_db, kept)
        acknowledged = [{"id": "C9", "at": "2026-03-02T08:59:00Z"}]
        waiting = threading.Barrier(2)
        replies = []

        def tab():
            client = app.test_client()
            client.set_cookie("session", phone.client.get_cookie("session").value)
            waiting.wait(timeout=30)
            reply = client.post(
                "/api/v1/answer-batches",
                json={"format": 1, "person": kept["person"], "answers": batch, "acknowledged": acknowledged},
                headers={"Origin": phone.origin},
            )
            replies.append(reply.get_json()["results"])

        threads = [threading.Thread(target=tab) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert [[one["stored"] for one in results] for results in replies] == [[True] * len(batch)] * 2
        assert sorted(one.uuid for one in stored(bank_db)) == sorted(one["uuid"] for one in batch)
        assert len(stored(bank_db, Grade)) == len(batch)
        # One of the set that began the person, one of the batches.
        assert [one.caution_id for one in stored(bank_db, Acknowledgement)] == ["C1", "C9"]

    def test_forty_of_which_one_is_bad(self, bank_db, phone, kept):
        """The bad one is named with its cure; the thirty-nine others are stored."""
        good = answers_to(bank_db, kept)[0]
        # Every further answer to the same question is kept as void: thirty-eight more of them fill the batch.
        batch = [good] + [given(good["question"], {"pass": True}) for _ in range(38)]
        batch.insert(20, given(kept["questions"][1]["id"], {"option": "no-such-option"}))
        results = phone.send(kept["person"], batch)["results"]

        assert len(batch) == len(results) == ANSWERS
        bad = results.pop(20)
        assert (bad["uuid"], bad["stored"]) == (batch[20]["uuid"], False)
        assert bad["problem"]["status"] == 422
        assert bad["problem"]["detail"] and bad["problem"]["mend"]
        assert all(one["stored"] for one in results)
        assert len(stored(bank_db)) == ANSWERS - 1

    @pytest.mark.parametrize(
        ("spoilt", "status"),
        [
            ({"uuid": "not-a-uuid"}, 422),
            ({"question": "0" * 32}, 404),
            ({"question": "zz"}, 422),
            ({"response": {"text": "12", "option": "a"}}, 422),
            ({"response": {"option": "a\x00b"}}, 422),
            ({"response": {"option": "\ud800"}}, 422),
            ({"sureness": "certain"}, 422),
            ({"given_at": "yesterday"}, 422),
            ({"outcome": "void"}, 422),
            ({"colour": "red"}, 422),
        ],
    )
    def test_a_spoilt_answer_holds_up_no_other(self, bank_db, phone, kept, spoilt, status):
        """Whatever is wrong with it, its neighbours are stored."""
        before, bad, after = answers_to(bank_db, kept)[:3]
        results = phone.send(kept["person"], [before, bad | spoilt, after])["results"]

        assert [one["stored"] for one in results] == [True, False, True]
        assert results[1]["problem"]["status"] == status
        assert [one.uuid for one in stored(bank_db)] == [before["uuid"], after["uuid"]]

    def test_things_that_are_no_answers(self, bank_db, phone, kept):
        """A number, a text, null, a list: each named, none a fault of the service."""
        good = answers_to(bank_db, kept)[0]
        results = phone.send(kept["person"], [1, "x", None, [], {}, good])["results"]

        assert [one["stored"] for one in results] == [False] * 5 + [True]
        assert [one["uuid"] for one in results] == [None] * 5 + [good["uuid"]]

    def test_an_answer_from_two_devices(self, bank_db, phone, kept):
        """The first to arrive counts; the second is kept as void, and is no difference of judgement."""
        question = kept["questions"][0]["id"]
        first = given(question, right(bank_db, question), outcome="full")
        second = given(question, wrong(bank_db, question), outcome="miss")
        phone.send(kept["person"], [first])
        (result,) = phone.send(kept["person"], [second])["results"]

        assert (result["outcome"], result["void_reason"], result["differs"]) == ("void", "already answered", False)
        assert [one.again for one in stored(bank_db)] == [False, True]

    def test_a_question_of_an_online_set(self, bank_db, phone, kept):
        """It was never given to a device: refused by name, nothing stored."""
        online = next(one.id for one in stored(bank_db, Question) if not one.offline)
        (result,) = phone.send(kept["person"], [given(online, right(bank_db, online))])["results"]

        assert not result["stored"]
        assert result["problem"]["type"] == "urn:quizsvc:question-not-kept"
        assert stored(bank_db) == []

    def test_somebody_elses_question(self, app, bank_db, phone, kept):
        """Looks like one that does not exist."""
        other = Device(app).begin()
        theirs = other.keep()
        (result,) = other.send(theirs["person"], answers_to(bank_db, kept)[:1])["results"]

        assert result["problem"]["status"] == 404
        assert stored(bank_db) == []

    def test_what_is_too_large(self, bank_db, phone, kept):
        """Forty-one answers, and a body of more than 64 KB: refused whole, nothing stored."""
        one = answers_to(bank_db, kept)[0]
        assert phone.send(kept["person"], [one] * (ANSWERS + 1), 422)["where"] == "answers"
        padded = [one, given(one["question"], {"text": "1" * BODY_BYTES})]
        phone.send(kept["person"], padded, 413)

        assert stored(bank_db) == []

    def test_nothing_waits(self, phone, kept):
        """An empty batch is a batch."""
        assert phone.send(kept["person"], [])["results"] == []

    def test_nobody(self, app, phone, kept):
        """A session that has run out: 401, and the same batch is stored after signing in again."""
        Device(app).send(kept["person"], [], 401)

    @pytest.mark.parametrize("version", [0, 2, "1", True, None])
    def test_another_version_of_the_page(self, bank_db, phone, kept, version):
        """409 for both calls before anything else is looked at, even where its fields are not ours; nothing stored."""
        batch = {"person": kept["person"], "answers": answers_to(bank_db, kept), "format": version}
        for path, body in (("answer-batches", batch), ("kept-questions", {"format": version, "later": 1})):
            problem = phone.call(path, body, 409)
            assert problem["type"] == "urn:quizsvc:client-format"
            assert "load the page again" in problem["mend"].lower()
        batch.pop("format")
        phone.call("answer-batches", batch | {"later": {}}, 409)

        assert stored(bank_db) == []

    def test_from_another_site(self, app, bank_db, phone, kept):
        """Refused like every call that no page of ours makes."""
        body = {"format": 1, "person": kept["person"], "answers": answers_to(bank_db, kept)}
        reply = phone.client.post("/api/v1/answer-batches", json=body, headers={"Origin": "https://elsewhere.example"})

        assert reply.status_code == 403
        assert stored(bank_db) == []


@on_both
class TestClocks:
    """When an answer given without signal counts as given."""

    @pytest.mark.parametrize("wrong_by", [timedelta(days=-1), timedelta(), timedelta(days=1), timedelta(days=9000)])
    def test_a_clock_that_is_wrong(self, bank_db, phone, kept, clock, wrong_by):
        """Ten minutes before sending is ten minutes before arriving, whatever day the device believes in."""
        clock.advance(hours=3)
        device = clock() + wrong_by
        answer = answers_to(bank_db, kept)[0] | {"given_at": (device - timedelta(minutes=10)).isoformat()}
        phone.send(kept["person"], [answer], sent_at=device.isoformat())

        (row,) = stored(bank_db)
        assert row.effective_at == clock() - timedelta(minutes=10)
        assert row.received_at == clock()

    def test_never_before_the_question_was_there(self, bank_db, phone, kept, clock):
        """A clock that jumped in between: not before it was issued, not after it arrived."""
        issued = clock()
        clock.advance(hours=1)
        early, late = answers_to(bank_db, kept)[:2]
        early["given_at"] = (clock() - timedelta(days=40)).isoformat()
        late["given_at"] = (clock() + timedelta(days=40)).isoformat()
        phone.send(kept["person"], [early, late], sent_at=clock().isoformat())

        assert [one.effective_at for one in stored(bank_db)] == [issued, clock()]

    def test_acknowledgements_are_stored_once_with_their_time(self, bank_db, phone, kept, clock):
        """C1 and C9 an hour ago by a clock a day ahead; sent three times, as retries do, seconds apart."""
        clock.advance(hours=2)
        before = len(stored(bank_db, Acknowledgement))
        for _ in range(3):
            device = clock() + timedelta(days=1)
            rows = [{"id": one, "at": "2026-03-03T10:00:00+00:00"} for one in ("C1", "C9")]
            phone.send(kept["person"], [], acknowledged=rows, sent_at=device.isoformat())
            clock.advance(seconds=7)
        added = stored(bank_db, Acknowledgement)[before:]

        assert [one.caution_id for one in added] == ["C1", "C9"]
        assert {one.at for one in added} == {datetime(2026, 3, 2, 10, 0, tzinfo=UTC)}
        # Another set an hour later is acknowledged anew.
        phone.send(kept["person"], [], acknowledged=[{"id": "C1", "at": "2026-03-02T11:00:00Z"}])
        assert len(stored(bank_db, Acknowledgement)) == before + 3

    def test_acknowledgements_that_are_none(self, bank_db, phone, kept):
        """Named; nothing of the batch is stored."""
        for rows in (
            "x",
            [1],
            [{"id": "C1"}],
            [{"id": "C2", "at": "2026-03-02T10:00:00Z"}],
            [{"id": "C1", "at": None}],
        ):
            problem = phone.send(kept["person"], answers_to(bank_db, kept), 422, acknowledged=rows)
            assert problem["where"] == "acknowledged"

        assert stored(bank_db) == []


@on_both
class TestWhose:
    """Answers land with who gave them, also when that person has got a name since."""

    @pytest.fixture
    def account(self, browsers):
        """An account, signed up on another device."""
        one = browsers()
        one.send(one.get("/sign-up").form("/sign-up"), name="Nadir Eshvale", password="ochre lantern nine")
        return Device(one.client.application, one.client)

    @staticmethod
    def sign_in(phone):
        """Sign in on the phone that was used without a name; returns the visitor."""
        visitor = Visitor(phone.client)
        visitor.send(visitor.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")
        return visitor

    def test_somebody_elses_batch(self, bank_db, account, phone, kept):
        """Another person's device, signed in as somebody else: 409, no claim, nothing stored."""
        mine = account.keep()["person"]
        problem = account.send(kept["person"], answers_to(bank_db, kept), 409)

        assert mine != kept["person"]
        assert problem["type"] == "urn:quizsvc:answers-of-another-person"
        assert problem["claim"] is False
        assert stored(bank_db) == []

    def test_after_a_claim_they_land(self, bank_db, account, phone, kept):
        """Answers that waited while their person signed in: offered, added, and stored for the account."""
        visitor = self.sign_in(phone)
        batch = answers_to(bank_db, kept)
        problem = phone.send(kept["person"], batch, 409)
        assert problem["claim"] is True
        assert "/claim" in problem["mend"]
        assert stored(bank_db) == []

        visitor.get("/claim")
        assert "wait on this device" in visitor.page.text
        visitor.send(visitor.page.form("/claim"), ("accept", "yes"))
        results = phone.send(kept["person"], batch)["results"]

        assert {one["outcome"] for one in results} == {"full"}
        mine = account.keep()["person"]
        assert {one.person_id for one in stored(bank_db)} == {mine}
        # Under the new number they are known as well: a retry after the device has learnt it.
        assert all(one["already_stored"] for one in phone.send(mine, batch)["results"])

    def test_left_out_they_stay_refused(self, bank_db, account, phone, kept):
        """Who says that they are somebody else's gets none of them."""
        visitor = self.sign_in(phone)
        visitor.get("/claim")
        visitor.send(visitor.page.form("/claim"), ("accept", "no"))

        assert phone.send(kept["person"], answers_to(bank_db, kept), 409)["claim"] is False
        assert stored(bank_db) == []

    def test_a_name_changes_nothing(self, bank_db, phone, kept):
        """Signing up keeps the person."""
        visitor = Visitor(phone.client)
        visitor.send(visitor.get("/sign-up").form("/sign-up"), name="Nadir Eshvale", password="ochre lantern nine")

        assert all(one["stored"] for one in phone.send(kept["person"], answers_to(bank_db, kept))["results"])


class TestShown:
    """What the pages say of it."""

    def test_log_feedback_and_export_say_so(self, bank_db, phone, kept):
        """Given offline; and what the device made of it, where the service judged otherwise."""
        one, other = answers_to(bank_db, kept, wrong)[:2]
        results = phone.send(kept["person"], [one | {"outcome": "full"}, other | {"outcome": "miss"}])["results"]
        assert [(row["outcome"], row["differs"]) for row in results] == [("miss", True), ("miss", False)]
        visitor = Visitor(phone.client)
        log = visitor.get("/log")

        assert log.text.count("given offline") == 2
        assert log.text.count("The device had made of it: full.") == 1
        assert {f"/questions/{row['question']}" for row in (one, other)} <= set(log.links)
        page = visitor.get(f"/questions/{one['question']}")
        assert "Given offline: the device made of it full, here it is miss, which counts." in page.text
        assert "Given offline." in visitor.get(f"/questions/{other['question']}").text
        exported = json.loads(phone.client.get("/account/export.json").get_data(as_text=True))["answers"]
        by_outcome = {row["device_outcome"]: row for row in exported}
        assert {word: row["offline"] for word, row in by_outcome.items()} == {"full": True, "miss": True}
        table = list(csv.DictReader(io.StringIO(phone.client.get("/account/export.csv").get_data(as_text=True))))
        assert {row["device_outcome"] for row in table} == {"full", "miss"}

    def test_an_online_answer_says_nothing_of_it(self, visitor):
        """No mark where nothing was given offline."""
        visitor.start()
        visitor.pass_on()

        assert "ffline" not in visitor.page.text
        assert "ffline" not in visitor.get("/log").text.replace("Given offline", "")

    def test_a_kept_question_opened_online(self, bank_db, phone, kept):
        """It can be answered here too; no place in a set, nothing to stop, and the way on is the device's screen."""
        visitor = Visitor(phone.client)
        question = next(one["id"] for one in kept["questions"] if one["kind"] == "one")
        page = visitor.get(f"/questions/{question}")
        assert page.heading == "Kept on a device"
        assert not any(form.action.endswith("/end") for form in page.forms)
        visitor.send(visitor.answer_form(), **right(bank_db, question))

        assert "/on-this-device" in visitor.page.links
        assert not any("data-swap" in at for tag, at in visitor.page.tags if tag == "a")
        assert "ffline" not in visitor.page.text
        # The device's own answer comes too late.
        (result,) = phone.send(kept["person"], [given(question, {"pass": True})])["results"]
        assert result["void_reason"] == "already answered"

    def test_its_set_has_no_page_and_no_end(self, bank_db, phone, kept):
        """Its address leads to the device's screen; `Stop here` sent by hand ends nothing."""
        device = next(one for one in stored(bank_db, PracticeSet) if one.for_device)
        visitor = Visitor(phone.client)
        visitor.get(f"/sets/{device.id}")
        assert visitor.path == "/on-this-device"
        form = next(one for one in visitor.get("/").forms if one.action == "/sets")
        phone.client.post(f"/sets/{device.id}/end", data=dict(form.fields))

        assert next(one for one in stored(bank_db, PracticeSet) if one.for_device).ended_at is None

    def test_start_offers_no_set_of_a_device(self, bank_db, phone, kept):
        """`Go on` is for sets drilled here."""
        with bank_db.writing() as session:
            session.execute(
                sa.update(PracticeSet).where(sa.not_(PracticeSet.for_device)).values(ended_at=sa.func.now())
            )
        page = Visitor(phone.client).get("/")

        assert not any(link.startswith(("/sets/", "/questions/")) for link in page.links)


# PostgreSQL locks rows, not the database.
def test_a_store_that_is_away_keeps_the_batch_waiting(settings, bank_db, clock, chance):
    """503 in the middle of nothing: no answer is called stored; the same batch is stored when the lock is gone."""
    db = Database.open(settings.database_url, busy_timeout_s=0.1)
    phone = Device(create_app(settings, clock=clock, db=db, rng=chance)).begin()
    kept = phone.keep()
    batch = answers_to(bank_db, kept)
    lock = sqlite3.connect(settings.database_url.removeprefix("sqlite:///"), isolation_level=None)
    with closing(lock):
        lock.execute("BEGIN IMMEDIATE")
        problem = phone.send(kept["person"], batch, 503)
        assert "results" not in problem
    assert stored(bank_db) == []
    results = phone.send(kept["person"], batch)["results"]
    db.close()

    assert [one["stored"] for one in results] == [True] * len(batch)

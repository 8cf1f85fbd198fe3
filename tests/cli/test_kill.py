"""The server is killed in the middle of a set, again and again: what was acknowledged is stored, once.

A real server (`quizsvc serve`, two workers) and a client over HTTP that never stops sending. SIGKILL hits the whole
process group at a random moment, so that nothing gets a chance to tidy up. The client does what a phone does: what was
not acknowledged is sent again with its UUID when the server is back.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import socket
import subprocess
import threading
import time
import uuid
from collections import Counter
from http.client import HTTPException
from pathlib import Path

import pytest

from quizsvc.cli import main
from quizsvc.settings import settings_from
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, ConceptState, Grade, Learner
from tests import factories
from tests.cli.conftest import PROGRAM
from tests.cli.form_client import FormClient

KILLS = 50
READY_S = 30.0


def free_port():
    """A port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Server:
    """The real server in a process group of its own."""

    def __init__(self, environment, port):
        self.base = f"http://127.0.0.1:{port}"
        self.log = Path(environment["HOME"], "server.log")
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [PROGRAM, "serve", "--bind", f"127.0.0.1:{port}"],
                env=environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def wait_until_ready(self):
        """Wait for the first reply."""
        client = FormClient(self.base, timeout_s=2.0)
        until = time.monotonic() + READY_S
        while time.monotonic() < until:
            if self.process.poll() is not None:
                break
            with contextlib.suppress(OSError, HTTPException):
                if client.get("/health").status == 200:
                    return
            time.sleep(0.02)
        raise AssertionError(f"the server did not come up:\n{self.log.read_text()[-3000:]}")

    def kill(self):
        """SIGKILL for master and workers at once."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=10)


class Drilling:
    """A client that drills without a pause, and remembers what was acknowledged and what was not."""

    def __init__(self, base):
        self.client = FormClient(base, timeout_s=10.0)
        self.left = []
        self.waiting = None  # sent, never acknowledged
        self.acknowledged = {}  # UUID -> the stored answer as acknowledged
        self.answering = threading.Event()  # an answer is on its way

    def drill(self, stop):
        """Answer until told to stop or cut off; True where it was cut off in the middle of a request."""
        try:
            while not stop.is_set():
                if self.waiting is None:
                    self.waiting = self.next_answer()
                self.answering.set()
                self.send_waiting()
                self.answering.clear()
        except (OSError, HTTPException, json.JSONDecodeError):
            return

    def next_answer(self):
        """The body of the next answer; begins a set where none is left."""
        if not self.left:
            status, reply = self.client.call(
                "/api/v1/sets", {"minutes": 60, "long": True, "acknowledged": ["C1", "C9"]}
            )
            assert status == 201, reply
            self.left = reply["set"]["questions"]
        question = self.left.pop(0)
        response = {
            "one": lambda: {"option": question["options"][0]["id"]},
            "some": lambda: {"options": [question["options"][0]["id"]]},
            "number": lambda: {"text": "1000"},
        }[question["kind"]]()
        return {"question": question["id"], "uuid": str(uuid.uuid4()), "response": response}

    def send_waiting(self):
        """Send what waits; keep its acknowledgement."""
        status, reply = self.client.call("/api/v1/answers", self.waiting)
        if status == 503:  # said to be not stored yet: it goes on waiting
            return
        assert status in (200, 201), (status, reply)
        answer = {name: reply["answer"][name] for name in ("question", "received_at", "outcome", "credit", "key")}
        self.acknowledged[self.waiting["uuid"]] = answer
        self.waiting = None


@pytest.fixture
def environment(database_url, tmp_path):
    """A prepared installation on this database: schema and the tests' own bank."""
    bank = factories.write_bank(tmp_path / "question_bank")
    environment = {
        "HOME": str(tmp_path),
        "PATH": os.environ["PATH"],
        "QUIZSVC_DATABASE_URL": database_url,
        "QUIZSVC_BANK": str(bank),
    }
    assert main.main(["db", "upgrade"], environment) == 0
    assert main.main(["bank", "load"], environment) == 0
    return environment


def test_an_acknowledged_answer_survives_and_an_unacknowledged_one_is_stored_once(environment):
    """Fifty kills in the middle of sets; then every count is made in the database."""
    rng = random.Random(KILLS)
    port = free_port()
    learner = Drilling(f"http://127.0.0.1:{port}")
    cut_off = stored_unheard = 0
    for _ in range(KILLS):
        server = Server(environment, port)
        try:
            server.wait_until_ready()
            if learner.waiting is not None:
                before = len(learner.acknowledged)
                status, reply = learner.client.call("/api/v1/answers", learner.waiting)
                stored_unheard += status == 200 and reply["answer"]["already_stored"]
                learner.send_waiting()
                assert len(learner.acknowledged) == before + 1
            stop = threading.Event()
            learner.answering.clear()
            drilling = threading.Thread(target=learner.drill, args=(stop,))
            drilling.start()
            # Some answers come through; then the kill falls into one that is on its way, early or late in it.
            time.sleep(rng.uniform(0.0, 0.2))
            assert learner.answering.wait(timeout=30)
            time.sleep(rng.uniform(0.0, 0.01))
        finally:
            server.kill()
        stop.set()
        drilling.join(timeout=30)
        assert not drilling.is_alive()
        cut_off += learner.waiting is not None

    server = Server(environment, port)
    try:
        server.wait_until_ready()
        if learner.waiting is not None:
            learner.send_waiting()
        again = [learner.client.call("/api/v1/answers", body) for body in sent_again(learner)]
    finally:
        server.kill()

    # The trial is only worth something where kills did fall into requests.
    assert cut_off >= KILLS // 2
    assert len(learner.acknowledged) > KILLS
    assert [status for status, _ in again] == [200] * len(again)
    count_in_database(environment, learner, again)
    print(f"{len(learner.acknowledged)} answers, {cut_off} cut off, {stored_unheard} of them stored before the kill")


def sent_again(learner):
    """Every acknowledged answer once more under its UUID, with another response: the stored one must come back."""
    return [
        {"question": answer["question"], "uuid": one, "response": {"pass": True}}
        for one, answer in learner.acknowledged.items()
    ]


def count_in_database(environment, learner, again):
    """Rows against acknowledgements; and the memory against its own replay."""
    with contextlib.closing(Database.open(settings_from(environment).database_url)) as db:
        with db.reading() as session:
            stored = Counter(answer.uuid for answer in session.query(Answer))
            graded = Counter(grade.answer_id for grade in session.query(Grade))
            answered = Counter(answer.question_id for answer in session.query(Answer))
            states = memory_of(session)

        assert set(stored) == set(learner.acknowledged)
        assert set(stored.values()) == {1}
        assert set(graded.values()) == {1}
        assert len(graded) == len(stored)
        assert set(answered.values()) == {1}
        for (_, reply), answer in zip(again, learner.acknowledged.values(), strict=True):
            assert reply["answer"]["already_stored"]
            assert {name: reply["answer"][name] for name in answer} == answer

        assert main.main(["memory", "replay"], environment) == 0
        with db.reading() as session:
            assert memory_of(session) == states


def memory_of(session):
    """Every learner's state, as stored."""
    learners = {row.person_id: row.state for row in session.query(Learner)}
    concepts = {(row.person_id, row.concept_id): row.state for row in session.query(ConceptState)}
    return learners, concepts

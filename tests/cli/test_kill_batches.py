"""The server is killed in the middle of batches, again and again: every answer of a device is stored once.

A real server (`quizsvc serve`, two workers) and a client over HTTP that does what a device does when it has signal
again: it sends what waits in batches, and sends a batch of which it has heard nothing once more. SIGKILL hits the whole
process group while a batch is on its way, so that some of its answers are stored and the others are not.
"""

from __future__ import annotations

import contextlib
import json
import random
import threading
import time
import uuid
from collections import Counter
from datetime import UTC, datetime
from http.client import HTTPException

from quizsvc.cli import main
from quizsvc.settings import settings_from
from quizsvc.store.session import Database
from quizsvc.store.tables import Acknowledgement, Answer, Grade, Question
from tests.cli.form_client import FormClient
from tests.cli.test_kill import Server, environment, free_port, memory_of

__all__ = ["environment"]  # the fixture of a prepared installation

KILLS = 25


class Device:
    """Keeps questions, answers all of them, and sends the answers in one batch; then another person takes it."""

    def __init__(self, base):
        self.base = base
        self.client = None
        self.waiting = None  # a batch sent, of which nothing was heard
        self.heard = {}  # UUID -> the result as first heard
        self.torn = self.whole = self.unheard = 0
        self.on_its_way = threading.Event()

    def run(self, stop):
        """Work until told to stop or cut off."""
        with contextlib.suppress(OSError, HTTPException, json.JSONDecodeError):
            while not stop.is_set():
                if self.waiting is None:
                    self.waiting = self.next_batch()
                self.on_its_way.set()
                self.send()
                self.on_its_way.clear()

    def next_batch(self):
        """Somebody new begins, and answers what the device keeps."""
        self.client = FormClient(self.base, timeout_s=10.0)
        self.client.call("/api/v1/sets", {"minutes": 1, "long": True, "acknowledged": ["C1"]})
        status, kept = self.client.call("/api/v1/kept-questions", {"format": 1})
        assert status == 200, kept
        assert kept["questions"]
        return {
            "format": 1,
            "person": kept["person"],
            "acknowledged": [{"id": "C9", "at": now()}],
            "answers": [
                {"question": one["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}, "given_at": now()}
                for one in kept["questions"]
            ],
        }

    def send(self, again=False):
        """Send what waits; a second sending tells how far the first had come."""
        status, reply = self.client.call("/api/v1/answer-batches", self.waiting | {"sent_at": now()})
        if status == 503:  # not all of it is stored: it goes on waiting
            return
        assert status == 200, reply
        assert [one["uuid"] for one in reply["results"]] == [one["uuid"] for one in self.waiting["answers"]]
        assert all(one["stored"] for one in reply["results"]), reply
        before = sum(one["already_stored"] for one in reply["results"])
        if again:
            self.whole += before == len(reply["results"])
            self.torn += 0 < before < len(reply["results"])
            self.unheard += before == 0
        for one in reply["results"]:
            self.heard[one["uuid"]] = {name: one[name] for name in ("outcome", "credit", "void_reason")}
        self.waiting = None


def now():
    """The device's clock."""
    return datetime.now(UTC).isoformat()


def test_every_answer_of_a_batch_is_stored_once(environment):
    """Twenty-five kills in the middle of batches; then every count is made in the database."""
    rng = random.Random(KILLS)
    port = free_port()
    device = Device(f"http://127.0.0.1:{port}")
    for _ in range(KILLS):
        server = Server(environment, port)
        try:
            server.wait_until_ready()
            if device.waiting is not None:
                device.send(again=True)
            stop = threading.Event()
            device.on_its_way.clear()
            sending = threading.Thread(target=device.run, args=(stop,))
            sending.start()
            assert device.on_its_way.wait(timeout=30)
            time.sleep(rng.uniform(0.0, 0.1))
        finally:
            server.kill()
        stop.set()
        sending.join(timeout=30)
        assert not sending.is_alive()

    server = Server(environment, port)
    try:
        server.wait_until_ready()
        if device.waiting is not None:
            device.send(again=True)
    finally:
        server.kill()

    cut_off = f"{device.torn} torn, {device.whole} stored whole, {device.unheard} not at all"
    print(f"{len(device.heard)} answers; of the batches cut off {cut_off}")
    # The trial is only worth something where kills did fall into batches.
    assert device.torn >= 3
    with contextlib.closing(Database.open(settings_from(environment).database_url)) as db:
        with db.reading() as session:
            stored = Counter(answer.uuid for answer in session.query(Answer))
            answered = Counter(answer.question_id for answer in session.query(Answer))
            graded = Counter(grade.answer_id for grade in session.query(Grade))
            kept = {one.id for one in session.query(Question) if one.offline}
            acknowledged = Counter((one.person_id, one.caution_id) for one in session.query(Acknowledgement))
            people = {answer.person_id for answer in session.query(Answer)}
            states = memory_of(session)
        # A batch whose person was begun, but which was cut off before it was made, has no answers at all.
        assert set(stored) == set(device.heard)
        assert set(stored.values()) == set(answered.values()) == set(graded.values()) == {1}
        assert len(graded) == len(stored)
        assert set(answered) <= kept
        assert {acknowledged[person, "C9"] for person in people} == {1}
        assert main.main(["memory", "replay"], environment) == 0
        with db.reading() as session:
            assert memory_of(session) == states

"""The server is killed in the middle of batches, again and again: every answer of a device is stored once.

A real server (`quizsvc serve`, two workers) and a client over HTTP that does what a device does when it has signal
again: it sends what waits in batches, and sends a batch of which it has heard nothing once more. SIGKILL hits the whole
process group. In most rounds it comes when some answers of a batch are stored and others are not, however fast the
machine is: the server is halted every few moments, what it has stored is counted from outside, and it either dies
there or goes on. In the other rounds the kill comes at any time.
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

import sqlalchemy as sa

from quizsvc.errors import StoreUnavailableError
from quizsvc.settings import settings_from
from quizsvc.store.session import Database
from quizsvc.store.tables import Acknowledgement, Answer, Question
from tests.cli.form_client import FormClient
from tests.cli.killing import Server, check_stored_once
from tests.ports import free_port

INSIDE = 15
ANY_TIME = 10
UNTIL_INSIDE_S = 300.0
STEP_S = 0.002


class Device:
    """Keeps questions, answers all of them, and sends the answers in one batch; then another person takes it."""

    def __init__(self, base):
        self.base = base
        self.client = None
        self.waiting = None  # a batch sent, of which nothing was heard
        self.heard = {}  # UUID -> the result as first heard
        self.torn = self.whole = self.unheard = 0
        self.on_its_way = threading.Event()
        self.fault = None  # what went wrong but for being cut off

    def run(self, stop):
        """Work until told to stop or cut off."""
        try:
            while not stop.is_set():
                if self.waiting is None:
                    self.waiting = self.next_batch()
                self.on_its_way.set()
                self.send()
                self.on_its_way.clear()
        except (OSError, HTTPException, json.JSONDecodeError):
            return
        except BaseException as fault:
            self.fault = fault

    def next_batch(self):
        """Somebody new begins, and answers what the device keeps."""
        self.client = FormClient(self.base, timeout_s=60.0)
        self.client.call("/api/v1/sets", {"minutes": 1, "long": True, "acknowledged": ["C1"]})
        status, kept = self.client.call("/api/v1/kept-questions", {"format": 1})
        assert status == 200, kept
        # With fewer there is no room for a kill between the first and the last.
        assert len(kept["questions"]) >= 4
        return {
            "format": 1,
            "person": kept["person"],
            "acknowledged": [{"id": "C9", "at": now()}],
            "answers": [
                {"question": one["id"], "uuid": str(uuid.uuid4()), "response": {"pass": True}, "given_at": now()}
                for one in kept["questions"]
            ],
        }

    def send(self):
        """Send what waits; returns how many of it were stored before, None where it goes on waiting."""
        status, reply = self.client.call("/api/v1/answer-batches", self.waiting | {"sent_at": now()})
        if status == 503:  # not all of it is stored
            return None
        assert status == 200, reply
        assert [one["uuid"] for one in reply["results"]] == [one["uuid"] for one in self.waiting["answers"]]
        assert all(one["stored"] for one in reply["results"]), reply
        for one in reply["results"]:
            self.heard[one["uuid"]] = {name: one[name] for name in ("outcome", "credit", "void_reason")}
        self.waiting = None
        return sum(one["already_stored"] for one in reply["results"])

    def send_again(self):
        """Send the batch that was cut off, if one was; returns how many of it were stored when the server died."""
        if self.waiting is None:
            return None
        size = len(self.waiting["answers"])
        before = self.send()
        assert before is not None  # nobody else writes
        self.whole += before == size
        self.torn += 0 < before < size
        self.unheard += before == 0
        return before


def now():
    """The device's clock."""
    return datetime.now(UTC).isoformat()


def halt_inside(server, device, db, rng):
    """Halt the server while a batch is partly stored; returns the batch and how many of its answers are stored."""
    until = time.monotonic() + UNTIL_INSIDE_S
    while time.monotonic() < until and device.fault is None:
        batch = device.waiting
        if batch is None:
            time.sleep(STEP_S)
            continue
        wanted = rng.randrange(1, len(batch["answers"]) - 1)
        while device.waiting is batch and device.fault is None:
            server.halt()
            stored = stored_of(db, batch)
            # One more may be written but not yet to be seen, or in the hands of PostgreSQL: it may come to be stored.
            if stored is not None and wanted <= stored <= len(batch["answers"]) - 2:
                return batch, stored
            server.go_on()
            time.sleep(STEP_S)
    raise AssertionError("no batch was ever found partly stored") from device.fault


def stored_of(db, batch):
    """How many answers of a batch are stored, seen from outside; None where the halted server is in the way."""
    uuids = [one["uuid"] for one in batch["answers"]]
    try:
        with db.reading() as session:
            return session.scalar(sa.select(sa.func.count()).where(Answer.uuid.in_(uuids)))
    except StoreUnavailableError:
        return None
    finally:
        # Nothing of this process may hold the database when the server dies: the next one has to find it alone.
        db.close()


def test_every_answer_of_a_batch_is_stored_once(prepared):
    """Fifteen kills in the middle of batches and ten at any time; then every count is made in the database."""
    rng = random.Random(INSIDE)
    port = free_port()
    device = Device(f"http://127.0.0.1:{port}")
    watching = Database.open(settings_from(prepared).database_url, busy_timeout_s=0.05)
    rounds = ["inside"] * INSIDE + ["any time"] * ANY_TIME
    rng.shuffle(rounds)
    halted = None
    stored_at_death = []
    for when in rounds:
        with Server(prepared, port) as server:
            check_cut_off(device, halted)
            stop = threading.Event()
            device.on_its_way.clear()
            sending = threading.Thread(target=device.run, args=(stop,))
            sending.start()
            if when == "inside":
                halted = halt_inside(server, device, watching, rng)
                stored_at_death.append(halted[1])
            else:
                assert device.on_its_way.wait(timeout=120)
                time.sleep(rng.uniform(0.0, 0.1))
                halted = None
        stop.set()
        sending.join(timeout=120)
        assert not sending.is_alive()
        assert device.fault is None, device.fault
    with Server(prepared, port):
        check_cut_off(device, halted)

    cut_off = f"{device.torn} torn, {device.whole} stored whole, {device.unheard} not at all"
    print(f"{len(device.heard)} answers; of the batches cut off {cut_off}; halted at {sorted(stored_at_death)}")
    assert device.torn >= INSIDE
    check_stored_once(prepared, device.heard)
    with contextlib.closing(Database.open(settings_from(prepared).database_url)) as db, db.reading() as session:
        kept = {one.id for one in session.query(Question) if one.offline}
        acknowledged = Counter((one.person_id, one.caution_id) for one in session.query(Acknowledgement))
        assert {answer.question_id for answer in session.query(Answer)} <= kept
        people = {answer.person_id for answer in session.query(Answer)}
        assert {acknowledged[person, "C9"] for person in people} == {1}


def check_cut_off(device, halted):
    """What was stored when the server died is still stored, one more at most; the rest of the batch comes in now."""
    waiting = device.waiting
    before = device.send_again()
    if halted is not None:
        batch, stored = halted
        assert waiting is batch
        assert stored <= before <= stored + 1 < len(batch["answers"])

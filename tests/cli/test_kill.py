"""The server is killed in the middle of a set, again and again: what was acknowledged is stored, once.

A real server (`quizsvc serve`, two workers) and a client over HTTP that never stops sending. SIGKILL hits the whole
process group at a random moment, so that nothing gets a chance to tidy up. The client does what a phone does: what was
not acknowledged is sent again with its UUID when the server is back.
"""

from __future__ import annotations

import json
import random
import threading
import time
import uuid
from http.client import HTTPException

from tests.cli.form_client import FormClient
from tests.cli.killing import Server, check_stored_once
from tests.ports import free_port

KILLS = 50


class Drilling:
    """A client that drills without a pause, and remembers what was acknowledged and what was not."""

    def __init__(self, base):
        self.client = FormClient(base, timeout_s=60.0)
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

    def send_at_last(self):
        """Send what waits until it is acknowledged: what is left of a killed server may hold the database a while."""
        until = time.monotonic() + 120
        while self.waiting is not None and time.monotonic() < until:
            self.send_waiting()

    def send_waiting(self):
        """Send what waits; keep its acknowledgement."""
        status, reply = self.client.call("/api/v1/answers", self.waiting)
        if status == 503:  # said to be not stored yet: it goes on waiting
            return
        assert status in (200, 201), (status, reply)
        answer = {name: reply["answer"][name] for name in ("question", "received_at", "outcome", "credit", "key")}
        self.acknowledged[self.waiting["uuid"]] = answer
        self.waiting = None


def test_an_acknowledged_answer_survives_and_an_unacknowledged_one_is_stored_once(prepared):
    """Fifty kills in the middle of sets; then every count is made in the database."""
    rng = random.Random(KILLS)
    port = free_port()
    learner = Drilling(f"http://127.0.0.1:{port}")
    cut_off = stored_unheard = 0
    for _ in range(KILLS):
        with Server(prepared, port):
            if learner.waiting is not None:
                before = len(learner.acknowledged)
                status, reply = learner.client.call("/api/v1/answers", learner.waiting)
                stored_unheard += status == 200 and reply["answer"]["already_stored"]
                learner.send_at_last()
                assert len(learner.acknowledged) == before + 1
            before = len(learner.acknowledged)
            stop = threading.Event()
            learner.answering.clear()
            drilling = threading.Thread(target=learner.drill, args=(stop,))
            drilling.start()
            # Some answers come through, however slow the machine; then the kill falls into one that is on its way,
            # early or late in it.
            until = time.monotonic() + 120
            while len(learner.acknowledged) == before and drilling.is_alive() and time.monotonic() < until:
                time.sleep(0.001)
            time.sleep(rng.uniform(0.0, 0.2))
            assert learner.answering.wait(timeout=120)
            time.sleep(rng.uniform(0.0, 0.01))
        stop.set()
        drilling.join(timeout=120)
        assert not drilling.is_alive()
        cut_off += learner.waiting is not None

    with Server(prepared, port):
        learner.send_at_last()
        again = [learner.client.call("/api/v1/answers", body) for body in sent_again(learner)]

    # The trial is only worth something where kills did fall into requests.
    assert cut_off >= KILLS // 2
    assert len(learner.acknowledged) > KILLS
    assert [status for status, _ in again] == [200] * len(again)
    for (_, reply), answer in zip(again, learner.acknowledged.values(), strict=True):
        assert reply["answer"]["already_stored"]
        assert {name: reply["answer"][name] for name in answer} == answer
    check_stored_once(prepared, learner.acknowledged)
    print(f"{len(learner.acknowledged)} answers, {cut_off} cut off, {stored_unheard} of them stored before the kill")


def sent_again(learner):
    """Every acknowledged answer once more under its UUID, with another response: the stored one must come back."""
    return [
        {"question": answer["question"], "uuid": one, "response": {"pass": True}}
        for one, answer in learner.acknowledged.items()
    ]

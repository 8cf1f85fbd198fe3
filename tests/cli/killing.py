"""What the tests that kill the server share: the real server in its own process group, and counts made afterwards."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections import Counter
from http.client import HTTPException
from pathlib import Path

from quizsvc.cli import main
from quizsvc.settings import settings_from
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, ConceptState, Grade, Learner
from tests.cli.form_client import FormClient
from tests.forking import Forked

READY_S = 120.0  # a busy machine; one that ended is seen at once


class Server:
    """The real server (`quizsvc serve`, two workers) in a process group of its own; killed where the block ends."""

    def __init__(self, environment, port):
        self.base = f"http://127.0.0.1:{port}"
        self.log = Path(environment["HOME"], "server.log")
        self.port = port
        self.environment = environment

    def __enter__(self):
        words = ["serve", "--bind", f"127.0.0.1:{self.port}"]
        self.process = Forked(main.main, words, environment=self.environment, log=self.log)
        try:
            self._wait_until_ready()
        except BaseException:
            self.kill()
            raise
        return self

    def __exit__(self, *_):
        self.kill()

    def _wait_until_ready(self):
        client = FormClient(self.base, timeout_s=20.0)
        until = time.monotonic() + READY_S
        while time.monotonic() < until:
            if self.process.ended:
                break
            with contextlib.suppress(OSError, HTTPException):
                if client.get("/health").status == 200:
                    return
            time.sleep(0.02)
        raise AssertionError(f"the server did not come up:\n{self.log.read_text()[-3000:]}")

    def halt(self):
        """Stop master and workers where they are; returns when none of them runs any more."""
        os.killpg(self.process.pid, signal.SIGSTOP)
        until = time.monotonic() + READY_S
        # A processor takes notice of the signal when it does, and a write to the disk is first brought to its end.
        while not all(_stands(process) for process in self._processes()):
            assert time.monotonic() < until, "the server did not halt"
            time.sleep(0.0005)

    def _processes(self):
        master = self.process.pid
        return [master, *map(int, Path(f"/proc/{master}/task/{master}/children").read_text().split())]

    def go_on(self):
        """Let them run again."""
        os.killpg(self.process.pid, signal.SIGCONT)

    def kill(self):
        """SIGKILL for master and workers at once, halted or not."""
        self.process.kill_group()


def _stands(process):
    """Whether every thread of a process is stopped (T) or has ended (proc(5), `stat`, field 3)."""
    states = []
    for stat in Path(f"/proc/{process}/task").glob("*/stat"):
        with contextlib.suppress(OSError):  # it has ended meanwhile
            states.append(stat.read_text().rpartition(")")[2].split()[0])
    return set(states) <= {"T", "Z"}


def check_stored_once(environment, uuids):
    """Exactly these answers are stored, each with one grade, and memory is what its own replay makes of them."""
    with contextlib.closing(Database.open(settings_from(environment).database_url)) as db:
        with db.reading() as session:
            stored = Counter(answer.uuid for answer in session.query(Answer))
            answered = Counter(answer.question_id for answer in session.query(Answer))
            graded = Counter(grade.answer_id for grade in session.query(Grade))
            states = _memory_of(session)
        assert set(stored) == set(uuids)
        assert set(stored.values()) == set(answered.values()) == set(graded.values()) == {1}
        assert len(graded) == len(stored)

        assert main.main(["memory", "replay"], environment) == 0
        with db.reading() as session:
            assert _memory_of(session) == states


def _memory_of(session):
    learners = {row.person_id: row.state for row in session.query(Learner)}
    concepts = {(row.person_id, row.concept_id): row.state for row in session.query(ConceptState)}
    return learners, concepts

"""Record an answer over HTTP, against a bare Flask route that runs as many raw statements in one transaction.

Both run under gunicorn with 2 sync workers on SQLite with synchronous FULL, files on tmpfs where there is one; the
same client sends to both in turns, 8 requests at a time, so that the machine's other work hits both alike.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import selectors
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from sqlalchemy import event

from quizsvc.services import accounts, banks, practice
from quizsvc.settings import migrations_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.store.tables import Question
from tests import factories
from tests.benchmarks import Row

ROUNDS, REQUESTS, WARM_UP, AT_ONCE = 5, 500, 100, 8
ORIGIN = "http://127.0.0.1:8019"


def run() -> list[Row]:
    """Requests a second and the slowest hundredth, ours and bare."""
    shared = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else None) as name:
        folder = Path(name)
        jobs = prepare(folder, ROUNDS * REQUESTS + WARM_UP)
        with served(folder, "service") as ours, served(folder, "bare") as bare:
            rates: dict[str, list[float]] = {"ours": [], "bare": []}
            worst: dict[str, list[float]] = {"ours": [], "bare": []}
            for place in range(ROUNDS + 1):
                size = REQUESTS if place else WARM_UP
                batch, jobs = jobs[:size], jobs[size:]
                for kind, server in (("bare", bare), ("ours", ours)):
                    seconds, times, _ = send(server.port, batch)
                    if place:
                        rates[kind].append(size / seconds)
                        worst[kind].append(sorted(times)[int(len(times) * 0.99)])
        _refuse_lost(folder, ROUNDS * REQUESTS + WARM_UP)
    ratios = [ours / bare for ours, bare in zip(rates["ours"], rates["bare"], strict=True)]
    slower = [ours / bare for ours, bare in zip(worst["ours"], worst["bare"], strict=True)]
    return [
        Row("answers: bare Flask route, same raw statements", median(rates["bare"]), "requests/s"),
        Row("answers: record an answer over HTTP", median(rates["ours"]), "requests/s", median(ratios), "at least 0.5"),
        Row("answers: bare p99", median(worst["bare"]) * 1e3, "ms"),
        Row("answers: record an answer, p99", median(worst["ours"]) * 1e3, "ms", median(slower), "at most 4"),
    ]


def prepare(folder: Path, wanted: int) -> list[bytes]:
    """Both databases, and as many requests as wanted, each for a question that is out."""
    database = Database.open(f"sqlite:///{folder / 'quizsvc.db'}")
    migration.upgrade(database, migrations_folder())
    rng = random.Random(19)
    now = datetime.now(UTC) - timedelta(hours=1)
    banks.load(database, factories.write_bank(folder / "question_bank"), now=now, rng=rng)
    jobs: list[bytes] = []
    counts: Counter[str] = Counter()
    while len(jobs) < wanted:
        somebody = accounts.begin_anonymous(database, device="benchmark", time_zone="UTC", now=now)
        drill = practice.start_set(database, somebody.person.id, minutes=200, long=True, now=now, rng=rng)
        if not counts:
            counts = _statements(database, somebody, drill.questions[:2])
        jobs += [_request(somebody.token, question.id, _right(database, question)) for question in drill.questions[2:]]
    with database.engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    rng.shuffle(jobs)
    shutil.copyfile(folder / "quizsvc.db", folder / "bare.db")
    (folder / "counts.json").write_text(json.dumps(counts))
    return jobs[:wanted]


def _statements(database: Database, somebody, questions) -> Counter[str]:
    """How many statements of each kind one request runs, as SQLite itself reports them: those of the second answer."""
    counts: Counter[str] = Counter()

    def trace(statement: str) -> None:
        word = statement.split(None, 1)[0]
        if word in ("SELECT", "INSERT", "UPDATE"):
            counts[word] += 1

    @event.listens_for(database.engine, "checkout")
    def watch(connection, _record, _proxy):
        connection.set_trace_callback(trace)

    now = datetime.now(UTC) - timedelta(hours=1)
    for question in questions:
        # What a process asks only once is asked by the first.
        counts.clear()
        accounts.person_of(database, somebody.token, now=now)
        practice.record_answer(
            database,
            somebody.person.id,
            question.id,
            uuid=str(uuid.uuid4()),
            raw={"pass": True},
            sureness=None,
            now=now,
        )
    event.remove(database.engine, "checkout", watch)
    with database.engine.connect() as connection:
        connection.connection.driver_connection.set_trace_callback(None)
    return counts


def _right(database: Database, question) -> dict:
    with database.reading() as session:
        record = session.get(Question, question.id).record
    if record["kind"] == "number":
        return {"text": "5,500 ft"}
    return {"option": record["keys"][0]} if record["kind"] == "one" else {"options": record["keys"]}


def _request(token: str, question: str, response: dict) -> bytes:
    body = json.dumps(
        {"question": question, "uuid": str(uuid.uuid4()), "response": response, "sureness": "think"}
    ).encode()
    head = (
        "POST /api/v1/answers HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n"
        f"Origin: {ORIGIN}\r\nCookie: session={token}\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    return head.encode() + body


@dataclass(frozen=True)
class Served:
    """A server on loopback: its port, and the process that began its workers."""

    port: int
    pid: int

    def spent_s(self) -> float:
        """Processor time of the process and its workers so far, s."""
        return sum(_spent_ticks(pid) for pid in (self.pid, *_children(self.pid))) / os.sysconf("SC_CLK_TCK")


def _children(pid: int) -> list[int]:
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()]


def _spent_ticks(pid: int) -> int:
    # After the name, which may hold anything, the 12th and 13th field: user and system time (proc_pid_stat(5)).
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(") ")[2].split()
    return int(fields[11]) + int(fields[12])


@contextlib.contextmanager
def served(folder: Path, name: str) -> Iterator[Served]:
    """One of the two applications under gunicorn, on a free port of loopback."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        *(sys.executable, "-m", "gunicorn", f"tests.benchmarks.answer_servers:{name}()"),
        *("--bind", f"127.0.0.1:{port}", "--workers", "2", "--worker-class", "sync", "--log-level", "error"),
        "--no-control-socket",
    ]
    process = subprocess.Popen(command, env={**os.environ, "BENCHMARK_FOLDER": str(folder)})
    try:
        for _ in range(300):
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                break
            time.sleep(0.1)
        else:
            raise RuntimeError(f"{name} did not start")
        yield Served(port, process.pid)
    finally:
        process.terminate()
        process.wait(timeout=30)


def send(port: int, jobs: Sequence[bytes], status: str = "201") -> tuple[float, list[float], list[bytes]]:
    """Send every request, some at a time; returns the seconds of all and of each, and the responses in their order.

    `status` is a pattern; a response of another one ends the run.
    """
    waiting = list(reversed(list(enumerate(jobs))))
    times: list[float] = []
    responses = [b""] * len(jobs)
    selector = selectors.DefaultSelector()

    def begin() -> None:
        place, job = waiting.pop()
        connection = socket.create_connection(("127.0.0.1", port))
        begun = time.perf_counter()
        connection.sendall(job)
        selector.register(connection, selectors.EVENT_READ, [begun, place])

    begun = time.perf_counter()
    for _ in range(min(AT_ONCE, len(waiting))):
        begin()
    while selector.get_map():
        for key, _ in selector.select():
            received = key.fileobj.recv(65536)
            sent_at, place = key.data
            if received:
                responses[place] += received
                continue
            times.append(time.perf_counter() - sent_at)
            if not re.match(rb"HTTP/1.1 (%s) " % status.encode(), responses[place]):
                raise RuntimeError(f"not as it should be, {status}: {responses[place][:300]!r}")
            selector.unregister(key.fileobj)
            key.fileobj.close()
            if waiting:
                begin()
    return time.perf_counter() - begun, times, responses


def _refuse_lost(folder: Path, sent: int) -> None:
    """Every acknowledged answer is there once; two more were given while counting statements."""
    with contextlib.closing(sqlite3.connect(folder / "quizsvc.db")) as connection:
        stored = connection.execute("SELECT count(*) FROM answer").fetchone()[0]
    if stored != sent + 2:
        raise RuntimeError(f"{sent} answers were acknowledged, {stored - 2} are stored")

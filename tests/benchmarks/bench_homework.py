"""A class of 200 opens one homework in the same minute, answers ten items and hands in, over HTTP.

Under `quizsvc serve` with 2 workers, told that it stands behind a proxy as in a school, on SQLite with its files on
tmpfs where there is one, and on PostgreSQL too where QUIZSVC_TEST_POSTGRES_URL names a server, in a database that is
dropped afterwards. After each batch the bare route of `bench_answers` gets one from the same client, as many at a time:
the floor, the same for both databases, under the same load of the machine. Processor time hangs least on that load; of
PostgreSQL it is the service's alone, without the server's. A tenth of what writes is sent twice, as a phone does that
has lost the reply. In the end the database is counted: each student's answers are there once, as they were sent.

Why a request may cost 5.7 times the floor: the class sends about 5,200 in the minute, 87 a second. Where two cores do
500 of the floor's a second, as those of a small rented server, a request may take as long as 500 / 87 = 5.7 of them.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import sqlalchemy as sa

from quizsvc.services import assignment_preview, assignment_release, banks, sessions
from quizsvc.settings import migrations_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, Grade, Person, Question, Work
from tests.benchmarks import Row
from tests.benchmarks.bench_answers import ORIGIN, Served, prepare, send, served
from tests.benchmarks.homework_statements import through
from tests.conftest import POSTGRES_URL, PostgresServer
from tests.services.assigned import add_assignment, add_group, add_person

STUDENTS, BARE = 200, 150
GOAL = "at most 5.7"
ITEMS = (
    "cabin-from-differential", "highest-level-mental", "gate-slow-leak", "controller-dead-what-holds",
    "essential-bus-feeds", "matter-1", "matter-2", "matter-3", "matter-4", "matter-5",
)  # fmt: skip


@dataclass
class Student:
    """One of the class: session, work, and the responses by question, in the order of the places."""

    token: str
    work: str
    responses: dict[str, dict]
    form_cookie: str = ""
    form_token: str = ""
    receipt: str = ""


class Turns:
    """Sends to the service and to the bare route in turns, and keeps what each took."""

    def __init__(self, ours: Served, bare: Served, jobs: list[bytes]) -> None:
        self.ours, self.bare, self.jobs = ours, bare, jobs
        self.begin()
        self._ask_bare()  # warms up; each part begins anew

    def begin(self) -> None:
        """Begin a part: what was taken until now is forgotten."""
        self.times: dict[str, list[float]] = {"ours": [], "bare": []}
        self.seconds = {"ours": 0.0, "bare": 0.0}
        self.spent = {"ours": 0.0, "bare": 0.0}

    def send(self, jobs: Sequence[bytes], status: str) -> list[bytes]:
        """Send these to the service and then a batch to the bare route; returns the service's responses."""
        responses = self._send("ours", self.ours, jobs, status)
        self._ask_bare()
        return responses

    def rows(self, what: str) -> list[Row]:
        """The part that ends here."""
        ours, bare = ((self._rate(one), _p99(self.times[one]), self._each_s(one)) for one in ("ours", "bare"))
        return [
            Row(f"homework: {what}", ours[0], "requests/s", ours[0] / bare[0]),
            Row("  p99", ours[1] * 1e3, "ms", ours[1] / bare[1]),
            Row("  processor time a request", ours[2] * 1e3, "ms", ours[2] / bare[2], GOAL),
            Row("  bare Flask route of an answer, same time", bare[0], "requests/s"),
            Row("  its p99", bare[1] * 1e3, "ms"),
        ]

    def _ask_bare(self) -> None:
        batch, self.jobs = self.jobs[:BARE], self.jobs[BARE:]
        self._send("bare", self.bare, batch, "201")

    def _send(self, name: str, server: Served, jobs: Sequence[bytes], status: str) -> list[bytes]:
        before = server.spent_s()
        seconds, times, responses = send(server.port, jobs, status)
        self.spent[name] += server.spent_s() - before
        self.seconds[name] += seconds
        self.times[name] += times
        return responses

    def _rate(self, name: str) -> float:
        return len(self.times[name]) / self.seconds[name]

    def _each_s(self, name: str) -> float:
        return self.spent[name] / len(self.times[name])


def run() -> list[Row]:
    """Requests a second, the slowest hundredth and the processor time of each part, with ratios to the floor."""
    shared = Path("/dev/shm")
    rows: list[Row] = []
    with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else None) as name:
        folder = Path(name)
        server = PostgresServer(POSTGRES_URL) if POSTGRES_URL else None
        each = (len(ITEMS) + 7) * BARE
        jobs = prepare(folder, each * (2 if server else 1))
        with served(folder, "bare") as bare:
            rows += _on("SQLite", f"sqlite:///{folder / 'quizsvc.db'}", folder, bare, jobs[:each])
            if server is not None:
                url = server.create()
                try:
                    database = Database.open(url)
                    migration.upgrade(database, migrations_folder())
                    banks.load(database, folder / "question_bank", now=datetime.now(UTC), rng=random.Random(19))
                    database.close()
                    rows += _on("PostgreSQL", url, folder, bare, jobs[each:])
                finally:
                    server.drop(url)
    return rows


def _on(name: str, url: str, folder: Path, bare: Served, jobs: list[bytes]) -> list[Row]:
    """The class on one database."""
    rng = random.Random(19)
    rows: list[Row] = []
    busy_s = spent_s = 0.0
    assignment, (counted, *students) = _class(url, rng)
    if url.startswith("sqlite"):
        database = Database.open(url)
        told, counted.receipt = through(
            database, folder, assignment, token=counted.token, work=counted.work, responses=counted.responses
        )
        database.close()
        rows += [Row("homework: what the database is asked", len(told), "requests"), *told]
    with _serving(folder, url) as ours:
        turns = Turns(ours, bare, jobs)
        for what, part in (
            ("open: its page, begin, first question", lambda: _open(turns, assignment, students)),
            ("answer: keep a draft, next question", lambda: _answer(turns, students, rng)),
            ("hand in: what is open, hand in, receipt", lambda: _hand_in(turns, students, rng)),
        ):
            turns.begin()
            part()
            rows += turns.rows(f"{name}, {what}")
            busy_s += turns.seconds["ours"]
            spent_s += turns.spent["ours"]
    done = [*students, counted] if counted.receipt else students
    _refuse_lost(url, done)
    return [
        *rows,
        Row(f"homework: {name}, all of it by {STUDENTS} students", busy_s, "s"),
        # What decides whether a minute is enough where nothing else runs: of two workers there are 120 s in it.
        Row("  its processor time, of a minute of two cores", spent_s, "s", spent_s / (2 * 60), "at most 1"),
    ]


def _class(url: str, rng: random.Random) -> tuple[int, list[Student]]:
    """Students in a group, the assignment previewed and released; what each of them will answer. One more than many."""
    database = Database.open(url)
    now = datetime.now(UTC) - timedelta(minutes=1)
    by = add_person(database, lambda: now, "Tobiah Quenley", roles=("instructor",))
    with database.writing() as session:
        names = [(f"Student {number}", f"student {number}") for number in range(STUDENTS + 1)]
        ids = list(sessions.new_people(session, names, aircraft=["tolquenny-19"], time_zone="UTC", now=now).values())
    group = add_group(database, lambda: now, instructors=[by], students=ids)
    assignment = add_assignment(database, lambda: now, group, ITEMS, released=False)
    assignment_preview.draw_all(database, by, assignment, now=now, rng=rng)
    version = assignment_preview.look(database, by, assignment, now=now).assignment.version
    assignment_release.release(database, by, assignment, version, now=now)
    students = []
    with database.writing() as session:
        for person in session.scalars(sa.select(Person).where(Person.id.in_(ids))):
            work = session.scalars(sa.select(Work).where(Work.person_id == person.id)).one()
            asked = session.scalars(sa.select(Question).where(Question.work_id == work.id).order_by(Question.position))
            token = sessions.open_session(session, person, device="benchmark", now=now).token
            students.append(Student(token, work.id, {one.id: _response(one.record, rng) for one in asked}))
    database.close()
    return assignment, students


def _response(record: dict, rng: random.Random) -> dict:
    if record["kind"] == "number":
        return {"text": f"{rng.randrange(100, 15000)} {record['unit']}"}
    chosen = rng.choice(record["order"])
    return {"option": chosen} if record["kind"] == "one" else {"options": [chosen]}


def _open(turns: Turns, assignment: int, students: Sequence[Student]) -> None:
    """Everybody's page of it, with the form's token; then begin; then the first question."""
    pages = turns.send([_get(one, f"/homework/{assignment}") for one in students], "200")
    for one, page in zip(students, pages, strict=True):
        one.form_cookie = re.search(rb"Set-Cookie: form=([^;]+)", page)[1].decode()
        one.form_token = re.search(rb'name="csrf_token" value="([^"]+)"', page)[1].decode()
    leads = turns.send([_post(one, f"/homework/{assignment}/works") for one in students], "303")
    first = [f"/works/{one.work}/questions/{next(iter(one.responses))}" for one in students]
    for address, lead in zip(first, leads, strict=True):
        if address.encode() not in lead:
            raise RuntimeError(f"not the try of the preview: {lead[:300]!r}")
    turns.send([_get(one, address) for one, address in zip(students, first, strict=True)], "200")


def _answer(turns: Turns, students: Sequence[Student], rng: random.Random) -> None:
    """Place by place: everybody's draft, a tenth of them twice, mixed with the pages that come next."""
    for place in range(len(ITEMS)):
        jobs = []
        for one in students:
            question, response = list(one.responses.items())[place]
            body = {"work": one.work, "question": question, "version": 1, "response": response, "sureness": "think"}
            jobs += [_put(one, "/api/v1/drafts", body)] * _times(rng)
            if place + 1 < len(ITEMS):
                jobs.append(_get(one, f"/works/{one.work}/questions/{list(one.responses)[place + 1]}"))
        rng.shuffle(jobs)
        turns.send(jobs, "200")


def _hand_in(turns: Turns, students: Sequence[Student], rng: random.Random) -> None:
    """What is open, which is nothing; hand in, a tenth of them twice at the same time; the receipt."""
    pages = turns.send([_get(one, f"/works/{one.work}/hand-in") for one in students], "200")
    if any(b"10 of 10 answered" not in page for page in pages):
        raise RuntimeError("a draft was acknowledged, and is not there at the hand-in")
    jobs: list[bytes] = []
    for one in students:
        jobs += [_post(one, f"/works/{one.work}/hand-in")] * _times(rng)
    turns.send(jobs, "303")
    pages = turns.send([_get(one, f"/works/{one.work}/receipt") for one in students], "200")
    for one, page in zip(students, pages, strict=True):
        one.receipt = re.search(rb'class="hash">([0-9a-f]{64})<', page)[1].decode()


def _times(rng: random.Random) -> int:
    """How often a request is sent: a tenth of them twice."""
    return 2 if rng.random() < 0.1 else 1


def _refuse_lost(url: str, students: Sequence[Student]) -> None:
    """Every work handed in with the hash of its receipt; every answer there once, as sent, with one grade."""
    database = Database.open(url)
    with database.reading() as session:
        begun = sa.select(Work.id, Work.content_hash).where(Work.begun_at.is_not(None))
        works = dict(session.execute(begun).all())
        rows = session.execute(
            sa.select(Answer.question_id, Answer.raw, sa.func.count(Grade.number))
            .join(Question, Question.id == Answer.question_id)
            .outerjoin(Grade, Grade.answer_id == Answer.id)
            .where(Question.work_id.is_not(None))
            .group_by(Answer.id)
        ).all()
    database.close()
    sent = {question: response for one in students for question, response in one.responses.items()}
    if works != {one.work: one.receipt for one in students}:
        raise RuntimeError("a receipt was given for what is not stored")
    if len(rows) != len(sent) or {question: raw for question, raw, _ in rows} != sent:
        raise RuntimeError(f"{len(sent)} answers were handed in, {len(rows)} are stored, or not as they were sent")
    if any(grades != 1 for _, _, grades in rows):
        raise RuntimeError("an answer without a grade, or with two")


def _head(one: Student, verb: str, path: str, more: str = "") -> str:
    form = f"; form={one.form_cookie}" if one.form_cookie else ""
    return (
        f"{verb} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: {ORIGIN}\r\nCookie: session={one.token}{form}\r\n"
        f"{more}Connection: close\r\n\r\n"
    )


def _get(one: Student, path: str) -> bytes:
    return _head(one, "GET", path).encode()


def _put(one: Student, path: str, body: dict) -> bytes:
    text = json.dumps(body)
    return (
        _head(one, "PUT", path, f"Content-Type: application/json\r\nContent-Length: {len(text)}\r\n") + text
    ).encode()


def _post(one: Student, path: str) -> bytes:
    text = urlencode({"csrf_token": one.form_token})
    return _sent(one, "POST", path, "application/x-www-form-urlencoded", text)


def _sent(one: Student, verb: str, path: str, kind: str, text: str) -> bytes:
    return (_head(one, verb, path, f"Content-Type: {kind}\r\nContent-Length: {len(text)}\r\n") + text).encode()


@contextlib.contextmanager
def _serving(folder: Path, url: str) -> Iterator[Served]:
    """`quizsvc serve` on the prepared database, on a free port of loopback."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = {
        **os.environ,
        "QUIZSVC_DATABASE_URL": url,
        "QUIZSVC_DATA_DIR": str(folder),
        "QUIZSVC_PUBLIC_URL": ORIGIN,
        "QUIZSVC_TRUSTED_PROXIES": "1",
        "QUIZSVC_BANK": str(folder / "question_bank"),
    }
    command = [
        sys.executable,
        "-c",
        "from quizsvc.cli.main import main; main()",
        "serve",
        "--bind",
        f"127.0.0.1:{port}",
    ]
    with (folder / "served.log").open("w") as log:
        process = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
        try:
            for _ in range(600):
                if process.poll() is not None:
                    raise RuntimeError(f"the service ended: {(folder / 'served.log').read_text()[-2000:]}")
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                    break
                time.sleep(0.1)
            yield Served(port, process.pid)
        finally:
            process.terminate()
            process.wait(timeout=30)


def _p99(times: Sequence[float]) -> float:
    return sorted(times)[int(len(times) * 0.99)]

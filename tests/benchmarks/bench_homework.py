"""A class of 200 opens one homework in the same minute, answers ten items and hands in, over HTTP.

Under `quizsvc serve` with 2 workers, told that it stands behind a proxy as in a school, on SQLite, files on tmpfs where
there is one. Between its parts the bare route of `bench_answers` gets requests from the same client, as many at a time:
the floor, under the same load of the machine. A tenth of what writes is sent twice, as a phone does that has lost the
reply. In the end the database is counted: each student's answers are there once, as they were sent.
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
from statistics import mean, median
from urllib.parse import urlencode

import sqlalchemy as sa

from quizsvc.services import assignment_preview, assignment_release, sessions
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, Grade, Person, Question, Work
from tests.benchmarks import Row
from tests.benchmarks.bench_answers import ORIGIN, prepare, send, served
from tests.services.assigned import add_assignment, add_group, add_person

STUDENTS, BARE = 200, 250
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


class Floor:
    """The bare route, asked again between the parts."""

    def __init__(self, port: int, jobs: list[bytes]) -> None:
        self.port, self.jobs = port, jobs
        self.rates: list[float] = []
        self.worst: list[float] = []
        self.ask()
        self.rates.clear()  # that was the warm-up
        self.worst.clear()
        self.ask()

    def ask(self) -> None:
        """One more batch."""
        batch, self.jobs = self.jobs[:BARE], self.jobs[BARE:]
        seconds, times, _ = send(self.port, batch)
        self.rates.append(len(batch) / seconds)
        self.worst.append(_p99(times))


def run() -> list[Row]:
    """Requests a second and the slowest hundredth of each part, with ratios to the floor before and after it."""
    shared = Path("/dev/shm")
    rng = random.Random(19)
    with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else None) as name:
        folder = Path(name)
        jobs = prepare(folder, 5 * BARE)
        assignment, students = _class(folder, rng)
        rows: list[Row] = []
        busy = 0.0
        with served(folder, "bare") as bare, _serving(folder) as port:
            floor = Floor(bare, jobs)
            for what, part in (
                ("open: its page, begin, first question", lambda: _open(port, assignment, students)),
                ("answer: keep a draft, next question", lambda: _answer(port, students, rng)),
                ("hand in: what is open, hand in, receipt", lambda: _hand_in(port, students, rng)),
            ):
                begun = time.perf_counter()
                times = part()
                seconds = time.perf_counter() - begun
                busy += seconds
                floor.ask()
                rate, worst = mean(floor.rates[-2:]), mean(floor.worst[-2:])
                rows += [
                    Row(f"homework: {what}", len(times) / seconds, "requests/s", len(times) / seconds / rate),
                    Row("  p99", _p99(times) * 1e3, "ms", _p99(times) / worst),
                ]
        _refuse_lost(folder, students)
    return [
        Row("homework: bare Flask route of an answer", median(floor.rates), "requests/s"),
        Row("  p99", median(floor.worst) * 1e3, "ms"),
        *rows,
        Row(f"homework: all of it by {STUDENTS} students", busy, "s"),
    ]


def _class(folder: Path, rng: random.Random) -> tuple[int, list[Student]]:
    """Students in a group, the assignment previewed and released; what each of them will answer."""
    database = Database.open(f"sqlite:///{folder / 'quizsvc.db'}")
    now = datetime.now(UTC) - timedelta(minutes=1)
    by = add_person(database, lambda: now, "Tobiah Quenley", roles=("instructor",))
    with database.writing() as session:
        names = [(f"Student {number}", f"student {number}") for number in range(STUDENTS)]
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


def _open(port: int, assignment: int, students: Sequence[Student]) -> list[float]:
    """Everybody's page of it, with the form's token; then begin; then the first question."""
    _, read, pages = send(port, [_get(one, f"/homework/{assignment}") for one in students], "200")
    for one, page in zip(students, pages, strict=True):
        one.form_cookie = re.search(rb"Set-Cookie: form=([^;]+)", page)[1].decode()
        one.form_token = re.search(rb'name="csrf_token" value="([^"]+)"', page)[1].decode()
    _, begun, leads = send(port, [_post(one, f"/homework/{assignment}/works") for one in students], "303")
    first = [next(iter(one.responses)) for one in students]
    for one, question, lead in zip(students, first, leads, strict=True):
        if f"/works/{one.work}/questions/{question}".encode() not in lead:
            raise RuntimeError(f"not the try of the preview: {lead[:300]!r}")
    asked = [
        _get(one, f"/works/{one.work}/questions/{question}") for one, question in zip(students, first, strict=True)
    ]
    return [*read, *begun, *send(port, asked, "200")[1]]


def _answer(port: int, students: Sequence[Student], rng: random.Random) -> list[float]:
    """Place by place: everybody's draft, a tenth of them twice, mixed with the pages that come next."""
    times: list[float] = []
    for place in range(len(ITEMS)):
        jobs = []
        for one in students:
            question, response = list(one.responses.items())[place]
            body = {"work": one.work, "question": question, "version": 1, "response": response, "sureness": "think"}
            jobs += [_put(one, "/api/v1/drafts", body)] * (2 if rng.random() < 0.1 else 1)
            if place + 1 < len(ITEMS):
                jobs.append(_get(one, f"/works/{one.work}/questions/{list(one.responses)[place + 1]}"))
        rng.shuffle(jobs)
        times += send(port, jobs, "200")[1]
    return times


def _hand_in(port: int, students: Sequence[Student], rng: random.Random) -> list[float]:
    """What is open, which is nothing; hand in, a tenth of them twice at the same time; the receipt."""
    _, looked, pages = send(port, [_get(one, f"/works/{one.work}/hand-in") for one in students], "200")
    if any(b"10 of 10 answered" not in page for page in pages):
        raise RuntimeError("a draft was acknowledged, and is not there at the hand-in")
    jobs = [
        job for one in students for job in [_post(one, f"/works/{one.work}/hand-in")] * (2 if rng.random() < 0.1 else 1)
    ]
    _, handed, _ = send(port, jobs, "303")
    _, received, pages = send(port, [_get(one, f"/works/{one.work}/receipt") for one in students], "200")
    for one, page in zip(students, pages, strict=True):
        one.receipt = re.search(rb"[0-9a-f]{64}", page)[0].decode()
    return [*looked, *handed, *received]


def _refuse_lost(folder: Path, students: Sequence[Student]) -> None:
    """Every work handed in with the hash of its receipt; every answer there once, as sent, with one grade."""
    database = Database.open(f"sqlite:///{folder / 'quizsvc.db'}")
    with database.reading() as session:
        works = dict(session.execute(sa.select(Work.id, Work.content_hash)).all())
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
def _serving(folder: Path) -> Iterator[int]:
    """`quizsvc serve` on the prepared database, on a free port of loopback."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = {
        **os.environ,
        "QUIZSVC_DATABASE_URL": f"sqlite:///{folder / 'quizsvc.db'}",
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
            yield port
        finally:
            process.terminate()
            process.wait(timeout=30)


def _p99(times: Sequence[float]) -> float:
    return sorted(times)[int(len(times) * 0.99)]

"""One question of each sort, drawn and rendered as its page, with growth by rows and plots; and the whole shipped bank.

A page is asked for through the whole application (SQLite, session, templates) and held against a bare Flask route that
hands out the finished page as it is; that of a profile, whose plots are drawn, against the page of a number.
"""

from __future__ import annotations

import random
import tempfile
import timeit
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient

from quizsvc.bank.check import CheckedBank
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.question import compile_item, issue, present
from quizsvc.services import accounts, banks, practice
from quizsvc.settings import Settings, migrations_folder, question_bank_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.web.app import create_app
from quizsvc.web.people import COOKIE
from tests import factories
from tests.benchmarks import Row, best_seconds

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
NODES = "AUTO DUMP SPDBRK CPC CAB_DIGITS MFD CREW_TGT COM_1 PITOT_R CAB_ALT_WARN FLAPS STBY".split()
HEAD = """\
- item: {item}
  kind: {kind}
  concept: {concept}
  handbook: 21-10
  demand: application
  ramp: true
  seconds: 20
"""
TAIL = "  author: first author\n  read-by: second reader\n  status: live\n"
NUMBER = """\
  how: table
  draw: {level: {from: FL180, to: FL390, step: 1000 ft}, diff: {from: 3.0 psi, to: 8.7 psi, step: 0.1 psi}}
  let: {ambient: isa_pressure(level)}
  refuse: ["cabin_altitude(level, diff) < 0*ft", "cabin_altitude(level, diff) > 12000*ft"]
  stem: Level {level}, differential {diff}. Cabin altitude?
  answer: cabin_altitude(level, diff)
  unit: ft
  within: 150 ft
  traps:
    - {id: sea-level, value: isa_altitude(isa_pressure(0*ft) - diff), belief: took it off sea-level pressure}
    - {id: schedule, value: schedule(level), belief: read the schedule}
  why: "Outside {ambient:psi:2} and {diff} make {answer}."
"""
STILL_WORKS = """\
  stem: The left generator fails, the tie stays open, BATT ON, both engines run, AIR DATA 1. What is left?
  fail: [L_GEN, TIE]
  rows: [ROWS]
  why: L MAIN dies, R MAIN and ESS live.
"""
PROFILE = """\
  stem: Dunquerry to Sant Orrin, LDG 10,650, FL390. Pick the cabin plot.
  flight:
    from: 412 ft
    to: 10641 ft
    cruise: FL390
    climb: 1600 fpm
    cruise-until: 60 min
    descent: [{to: FL230, rate: 2000 fpm}, {rate: 1500 fpm}]
  plots:
    - {id: waits, key: true}
PLOTS  why: The cabin waits for the gate.
"""
CHANGES = ("{gate: none}", "{regime: target-in-cruise}", "{hold: none}")


def _items() -> dict[str, tuple[str, str]]:
    """Kind and text of each item by its id."""
    found = {"number": ("number", NUMBER)}
    for rows in (4, 12):
        found[f"still-works-{rows}"] = ("still-works", STILL_WORKS.replace("ROWS", ", ".join(NODES[:rows])))
    if "profile" in KINDS:
        for plots in (2, 4):
            changes = "".join(
                f"    - {{id: wrong-{place}, belief: something else holds the cabin, change: {change}}}\n"
                for place, change in enumerate(CHANGES[: plots - 1])
            )
            found[f"profile-{plots}"] = ("profile", PROFILE.replace("PLOTS", changes))
    return found


def _write(folder: Path) -> Path:
    items = _items()
    concepts = "".join(
        f"- {{concept: K-{item.upper()}, title: '{item}', system: {item} system, handbook: 21-10, what: predict, "
        "consequence: 1}\n"
        for item in items
    )
    text = "\n".join(
        HEAD.format(item=item, kind=kind, concept=f"K-{item.upper()}") + body + TAIL
        for item, (kind, body) in items.items()
    )
    return factories.write_bank(
        folder,
        extra={"tolquenny-19/concepts.yaml": concepts, "tolquenny-19/items.yaml": text},
        without=("general/concepts.yaml", "general/items.yaml"),
    )


def run() -> list[Row]:
    """Everything in one folder on tmpfs where there is one."""
    shared = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else None) as name:
        folder = Path(name)
        bank = _write(folder / "question_bank")
        return [*_questions(folder, bank), *_whole_bank(folder)]


def _questions(folder: Path, bank: Path) -> list[Row]:
    checked = banks.check(bank, rng=random.Random(1))
    assert not checked.faults, [finding.what for finding in checked.faults]
    drawing = {item.id: _drawing(checked, item) for item in checked.items}
    with _pages(folder, bank) as pages:
        floor, page = pages.pop("bare"), pages
    rows = [Row("draws: bare Flask route with the finished page", floor * 1e3, "ms")]
    for item in _items():
        # A plot is a picture of two curves with labels that keep clear of them: so many pages of a number.
        peer, goal = (page["number"], "at most 15") if item.startswith("profile") else (floor, "at most 40")
        rows += [
            Row(f"draws: draw one {item}", drawing[item] * 1e3, "ms"),
            Row(f"draws: page of one {item}", page[item] * 1e3, "ms", page[item] / peer, goal),
        ]
    rows.append(_growth("rows", drawing, page, "still-works-4", "still-works-12", 3.0))
    if "profile-4" in page:
        rows.append(_growth("plots", drawing, page, "profile-2", "profile-4", 2.0))
    return rows


def _growth(what: str, drawing: dict[str, float], page: dict[str, float], few: str, many: str, times: float) -> Row:
    """Draw and page together of the larger one over the smaller; linear growth is `times` at the most."""
    large, small = drawing[many] + page[many], drawing[few] + page[few]
    return Row(
        f"draws: {times:g} times the {what}, draw and page", large * 1e3, "ms", large / small, f"at most {times:g}"
    )


def _drawing(checked: CheckedBank, item: Any) -> float:
    compiled, rng = compile_item(item.body, checked.aircraft.get(item.folder)), random.Random(1)

    def once() -> None:
        question = issue(compiled, rng)
        present(compiled, question.drawn, question.order)

    return min(timeit.repeat(once, number=50, repeat=5)) / 50


@contextmanager
def _pages(folder: Path, bank: Path) -> Iterator[dict[str, float]]:
    """Seconds of a page by item, and of the bare route."""
    database = Database.open(f"sqlite:///{folder / 'quizsvc.db'}")
    try:
        migration.upgrade(database, migrations_folder())
        banks.load(database, bank, now=NOW, rng=random.Random(1))
        somebody = accounts.begin_anonymous(database, device="benchmark", time_zone="UTC", now=NOW)
        drill = practice.start_set(database, somebody.person.id, minutes=60, long=True, now=NOW, rng=random.Random(1))
        settings = Settings(
            database_url=str(database.engine.url), secret_file=folder / "secret", data_dir=folder,
            public_url="http://127.0.0.1:8019", trusted_proxies=0, time_zone="UTC", bank=bank,
        )  # fmt: skip
        client = create_app(settings, clock=lambda: NOW, db=database).test_client()
        client.set_cookie(COOKIE, somebody.token)
        addresses = {question.item: f"/questions/{question.id}" for question in drill.questions}
        assert set(addresses) == set(_items())
        bare = Flask("bare")
        finished = client.get(addresses["number"]).text
        bare.add_url_rule("/", view_func=lambda: finished)
        clients = {"bare": (bare.test_client(), "/")} | {item: (client, path) for item, path in addresses.items()}
        seconds: dict[str, float] = {}
        for _ in range(5):  # in turns, so that the machine's other work hits all alike
            for name, (asked, path) in clients.items():
                seconds[name] = min(seconds.get(name, float("inf")), _page(asked, path))
        yield seconds
    finally:
        database.close()


def _page(client: FlaskClient, address: str) -> float:
    def once() -> None:
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)

    once()
    return min(timeit.repeat(once, number=5, repeat=3)) / 5


def _whole_bank(folder: Path) -> list[Row]:
    """Check and load of the bank that ships; growth is seconds an item against those of its aircraft's half alone."""
    shipped = question_bank_folder()
    checked = banks.check(shipped, rng=random.Random(1))
    items = len(checked.items)
    check = best_seconds(lambda: banks.check(shipped, rng=random.Random(1)), repeats=3)
    loads, again = [], []
    for number in range(3):
        database = Database.open(f"sqlite:///{folder / f'load-{number}.db'}")
        migration.upgrade(database, migrations_folder())
        for seconds in (loads, again):
            seconds.append(
                best_seconds(lambda db=database: banks.load(db, shipped, now=NOW, rng=random.Random(1)), repeats=1)
            )
        database.close()
    return [
        Row(f"draws: check the shipped bank, {items} items", check, "s"),
        Row("draws: check, an item", check / items * 1e3, "ms"),
        Row("draws: check and load it into an empty database", min(loads), "s", min(loads) / check, "at most 2"),
        Row("draws: load it again, nothing changed", min(again), "s", min(again) / check, "at most 1.5"),
    ]

"""The check-day expectation: one simulated check against drawing its bare numbers, and its page against Thin spots'."""

from __future__ import annotations

import random
import tempfile
import time
from datetime import UTC, datetime, timedelta

import numpy as np

from quizsvc.memory.readiness import CHECKS, expectation
from quizsvc.memory.recall import stack
from quizsvc.memory.replay import replay
from quizsvc.memory.states import AnswerEvent, fresh_concept
from quizsvc.memory.weights import STARTING
from tests.benchmarks import Row, best_seconds

CONCEPTS, ANSWERS = 117, 1000
NOW = 20_000.0


def run() -> list[Row]:
    """Ratios; the page's goal in ms stands beside one."""
    rng = random.Random(1)
    events = [
        AnswerEvent(NOW - 100 * rng.random(), int(NOW), "full", 1.0, "one", "i", True, None, concept, answer_id=number)
        for number, concept in enumerate(f"C{rng.randrange(CONCEPTS)}" for _ in range(ANSWERS))
    ]  # fmt: skip
    learner, held = replay(events, "rated", STARTING)
    arrays = stack([held.get(f"C{number}", fresh_concept()) for number in range(CONCEPTS)])
    arguments = {"at": NOW + 30, "systems": ["a"] * CONCEPTS, "consequences": [1] * CONCEPTS}
    ours = best_seconds(
        lambda: expectation(arrays, learner, STARTING, rng=np.random.default_rng(1), **arguments), repeats=5
    )
    drawn = np.random.default_rng(1)
    bare = best_seconds(
        lambda: (
            drawn.standard_normal((CHECKS, CONCEPTS)),
            drawn.binomial(1, 0.5, (CHECKS, CONCEPTS)),
        ),
        repeats=5,
    )
    return [
        Row(f"expectation of {CONCEPTS} concepts, {CHECKS} checks", ours * 1e3, "ms", ours / bare, "at most 6"),
        Row("  the same numbers drawn and nothing else", bare * 1e3, "ms"),
        *_pages(),
    ]


def _pages() -> list[Row]:
    from quizsvc.services import accounts, banks, practice, schema
    from quizsvc.services.expectation import expectation_of
    from quizsvc.services.holds import thin_spots
    from quizsvc.settings import settings_from

    with tempfile.TemporaryDirectory() as folder:
        settings = settings_from({"QUIZSVC_DATABASE_URL": f"sqlite:///{folder}/b.db", "QUIZSVC_DATA_DIR": folder})
        schema.upgrade(settings)
        db = schema.open_database(settings)
        banks.load(db, settings.bank, source="shipped", now=datetime.now(UTC), rng=random.Random(1))
        now = datetime(2026, 1, 1, 12, tzinfo=UTC)
        person = accounts.begin_anonymous(db, device="phone", time_zone="UTC", now=now).person
        given, rng = 0, random.Random(2)
        while given < ANSWERS:
            now += timedelta(days=1)
            whole = practice.start_set(db, person.id, minutes=20, acknowledged=("C1",), now=now, rng=rng)
            for question in whole.questions:
                practice.record_answer(
                    db, person.id, question.id, uuid=f"00000000-0000-4000-8000-{given:012x}", raw={"pass": True},
                    sureness=None, now=now, rng=rng,
                )  # fmt: skip
                given += 1
        expectation_of(db, person.id, now=now)
        times = {}
        for name, call in (("expectation", expectation_of), ("thin", thin_spots)):
            best = float("inf")
            for _ in range(5):
                begun = time.perf_counter()
                call(db, person.id, now=now)
                best = min(best, time.perf_counter() - begun)
            times[name] = best
        db.close()
        ratio = times["expectation"] / times["thin"]
        name = f"expectation with its line over time, {given} answers"
        return [
            Row(name, times["expectation"] * 1e3, "ms", ratio, "at most 12"),
            Row("  Thin spots of the same person", times["thin"] * 1e3, "ms"),
        ]

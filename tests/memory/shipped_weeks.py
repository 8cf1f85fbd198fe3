"""A person who practises for some weeks with the shipped bank, without a database: every question, and what came of it.

Planning, drawing and memory are the real ones; what a store would keep of the questions put is kept in dicts here.
"""

from __future__ import annotations

import json
import random
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from quizsvc.bank.check import check_bank
from quizsvc.bank.question import compile_item, issue, variants
from quizsvc.memory.planning import plan_set
from quizsvc.memory.pool import Askable, Candidate
from quizsvc.memory.recall import update
from quizsvc.memory.states import AnswerEvent, ConceptState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from quizsvc.services.bank_files import read_folder
from quizsvc.services.compiled import MANY
from quizsvc.services.issuing import drawn_apart
from tests.bank.bank_texts import SHIPPED

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST_DAY = 20_000
SATURDAY = 5


@cache
def shipped():
    """Concepts of the shipped bank, its live items by concept, and each compiled; read once in a run of tests."""
    bank = check_bank(read_folder(SHIPPED), rng=random.Random(7))
    items = defaultdict(list)
    for item in bank.items:
        if item.status == "live":
            items[item.concept].append(item)
    compiled = {
        item.id: compile_item(item.body, bank.aircraft.get(item.folder)) for ones in items.values() for item in ones
    }
    return [concept for concept in bank.concepts if items[concept.id]], items, compiled


@cache
def numbers_of(item: str) -> int:
    """How many different draws an item has, as far as it matters."""
    return variants(shipped()[2][item], MANY)


@dataclass(frozen=True)
class Asked:
    """One question: when, of which concept, item and numbers, why, and whether its concept was missed before it."""

    at: float
    concept: str
    item: str
    drawn: str
    reason: str
    missed_before: bool


@dataclass
class Weeks:
    """Sets on five days a week.

    Parameters
    ----------
    minutes : float
        Length of each set.
    long : bool
        Whether items that are no ramp items may come.
    right : callable
        Given the generator and the state of the concept before, whether the answer is right.
    check : int or None
        Days until the check; the last set is before it.
    """

    minutes: float
    long: bool
    right: Callable[[random.Random, ConceptState], bool]
    check: int | None = None
    seed: int = 1
    asked: list[Asked] = field(default_factory=list)

    def run(self, days: int) -> list[Asked]:
        """Practise; every question in its order."""
        rng = random.Random(self.seed)
        concepts, items, compiled = shipped()
        learner = fresh_learner("in training")
        states: dict[str, ConceptState] = {}
        last: dict[str, tuple[float, int]] = {}
        had: dict[str, dict[str, datetime]] = defaultdict(dict)
        for day in range(days):
            if day % 7 >= SATURDAY:
                continue
            at = FIRST_DAY + day + 0.5
            plan = plan_set(
                [
                    Candidate(
                        concept.id,
                        concept.system,
                        concept.consequence,
                        states.get(concept.id, fresh_concept()),
                        tuple(_askable(item, last.get(item.id), had[item.id]) for item in items[concept.id]),
                        first=tuple(concept.first),
                        folder=concept.folder,
                    )
                    for concept in concepts
                ],
                learner,
                STARTING,
                now=at,
                minutes=self.minutes,
                minutes_a_day=self.minutes,
                check_day=None if self.check is None else FIRST_DAY + self.check,
                long=self.long,
                rng=rng,
            )
            for place in plan.places:
                at += place.seconds / 86_400
                item = compiled[place.item]
                if item.draws.entries:
                    issued, key = drawn_apart(place.item, item, rng, had[place.item])
                    had[place.item][key] = EPOCH + timedelta(days=at)
                else:
                    issued = issue(item, rng)
                before = states.get(place.concept, fresh_concept())
                drawn = json.dumps(issued.drawn, sort_keys=True)
                self.asked.append(Asked(at, place.concept, place.item, drawn, place.reason, before.last_missed))
                last[place.item] = (at, last.get(place.item, (0.0, 0))[1] + 1)
                for concept, kind in _parts(issued.record, place.concept, item.body["kind"]):
                    state = states.get(concept, fresh_concept())
                    right = self.right(rng, state)
                    event = AnswerEvent(
                        at=at,
                        local_day=FIRST_DAY + day,
                        outcome="full" if right else "miss",
                        credit=float(right),
                        kind=kind,
                        item=place.item,
                        fresh=True,
                        sureness=None,
                        concept=concept,
                    )
                    learner, states[concept], _ = update(learner, state, event, STARTING)
        return self.asked


def _askable(item: Any, last: tuple[float, int] | None, had: dict[str, datetime]) -> Askable:
    at, asks = last or (None, 0)
    gone = had and len(had) >= numbers_of(item.id)
    return Askable(
        item=item.id,
        kind=item.kind,
        seconds=item.seconds,
        ramp=item.ramp,
        last_asked=at,
        generated=bool(item.body["draw"]),
        asks=asks,
        numbers_met=(min(had.values()) - EPOCH) / timedelta(days=1) if gone else None,
    )


def _parts(record: dict[str, Any], concept: str, kind: str) -> list[tuple[str, str]]:
    return [(part["concept"], part["kind"]) for part in record.get("parts") or ()] or [(concept, kind)]


def met_again(asked: list[Asked], within: float) -> list[tuple[float, Asked]]:
    """The questions whose item had come with the same numbers less than so many days before, with these days."""
    last: dict[tuple[str, str], float] = {}
    found = []
    for one in asked:
        before = last.get((one.item, one.drawn))
        if before is not None and one.at - before < within:
            found.append((one.at - before, one))
        last[one.item, one.drawn] = one.at
    return found

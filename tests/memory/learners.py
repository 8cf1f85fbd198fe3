"""Invented learners and concepts for tests of planning. Nothing here is about people."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from quizsvc.memory.planning import Askable, Candidate, plan_set
from quizsvc.memory.recall import update
from quizsvc.memory.states import AnswerEvent, ConceptState, LearnerState, fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING

FIRST_DAY = 20_000
NOON = 0.5
WAYS = (("one", 30.0), ("some", 40.0), ("number", 45.0), ("number", 75.0), ("order", 40.0))


def some_history(rng: random.Random, *, end: float, most: int = 6) -> ConceptState:
    """A concept answered up to `most` times in the hundred days before `end`."""
    learner, state = fresh_learner("in training"), fresh_concept()
    times = sorted(end - 100 * rng.random() for _ in range(rng.randint(0, most)))
    for number, at in enumerate(times):
        right = rng.random() < 0.6
        event = AnswerEvent(
            at, int(at), "full" if right else "miss", float(right), "one", "i", True, None, "c", answer_id=number
        )
        learner, state, _ = update(learner, state, event, STARTING)
    return state


def some_candidates(
    rng: random.Random, count: int, *, now: float, systems: int = 9, ramp: float = 1.0, untried: float = 0.2
) -> list[Candidate]:
    """Concepts with one to three items each, some of them never asked."""
    candidates = []
    for number in range(count):
        ways = rng.sample(WAYS, rng.randint(1, 3))
        candidates.append(
            Candidate(
                concept=f"C{number}",
                system=f"S{rng.randrange(systems)}",
                consequence=rng.choice((1, 1, 2, 3)),
                state=fresh_concept() if rng.random() < untried else some_history(rng, end=now),
                items=tuple(
                    Askable(
                        item=f"c{number}-{place}",
                        kind=kind,
                        seconds=seconds,
                        ramp=rng.random() < ramp,
                        last_asked=None if rng.random() < 0.5 else now - 40 * rng.random(),
                        generated=kind == "number",
                        asks=rng.randint(0, 3),
                    )
                    for place, (kind, seconds) in enumerate(ways)
                ),
            )
        )
    return candidates


@dataclass
class Drill:
    """A person who answers one set a day; right more often the more a concept was asked."""

    seed: int
    concepts: int
    minutes: float
    check: float | None = None
    systems: int = 9
    days: list[list[tuple[str, bool]]] = field(default_factory=list)
    learner: LearnerState = field(default_factory=lambda: fresh_learner("in training"))
    states: dict[str, ConceptState] = field(default_factory=dict)

    def run(self, days: int, absent: frozenset[int] = frozenset()) -> Drill:
        """Drill day by day; each entry of `days` is the concepts asked and whether each was answered right."""
        rng = random.Random(self.seed)
        concepts = some_candidates(rng, self.concepts, now=FIRST_DAY, systems=self.systems, untried=1.0)
        gift = {candidate.concept: rng.random() for candidate in concepts}
        asked: dict[str, tuple[float, int]] = {}
        for day in range(days):
            at = FIRST_DAY + day + NOON + 0.02 * rng.random()
            if day in absent:
                self.days.append([])
                continue
            candidates = [
                Candidate(
                    concept.concept,
                    concept.system,
                    concept.consequence,
                    self.states.get(concept.concept, fresh_concept()),
                    tuple(
                        Askable(
                            item.item,
                            item.kind,
                            item.seconds,
                            True,
                            *((asked[item.item][0],) if item.item in asked else (None,)),
                            item.generated,
                            asked.get(item.item, (0.0, 0))[1],
                        )
                        for item in concept.items
                    ),
                )
                for concept in concepts
            ]
            plan = plan_set(
                candidates,
                self.learner,
                STARTING,
                now=at,
                minutes=self.minutes,
                minutes_a_day=self.minutes,
                check_day=None if self.check is None else FIRST_DAY + self.check,
                long=False,
                rng=rng,
            )
            kinds = {item.item: item.kind for candidate in candidates for item in candidate.items}
            self.days.append([])
            for place in plan.places:
                before = self.states.get(place.concept, fresh_concept())
                right = rng.random() < min(0.95, 0.1 + 0.5 * gift[place.concept] + 0.12 * before.answers)
                at += place.seconds / 86_400
                event = AnswerEvent(
                    at=at,
                    local_day=FIRST_DAY + day,
                    outcome="full" if right else "miss",
                    credit=float(right),
                    kind=kinds[place.item],
                    item=place.item,
                    fresh=True,
                    sureness=None,
                    concept=place.concept,
                )
                self.learner, self.states[place.concept], _ = update(self.learner, before, event, STARTING)
                asked[place.item] = (at, asked.get(place.item, (0.0, 0))[1] + 1)
                self.days[-1].append((place.concept, right))
        return self

"""Some weeks of practice that never took place: an invented learner drills through the real services.

The learner remembers in a way of its own, which is not the memory model of the service: what it holds of a concept
grows with each meeting and fades with the days. It picks wrong options and traps where it fails, so that the Log shows
beliefs and not noise.
"""

from __future__ import annotations

import math
import random
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from quizsvc.errors import InputError
from quizsvc.services import practice
from quizsvc.services.demo_responses import response
from quizsvc.services.demo_school import Member
from quizsvc.services.views import QuestionView
from quizsvc.store.session import Database
from quizsvc.store.tables import Question

_EVENING = timedelta(hours=18, minutes=20)
_STOPS_EARLY = 0.08
_GOES_ON_WITH_MISSED = 0.3


@dataclass
class Invented:
    """What an invented learner has in mind: per concept how often it was met and when last."""

    hold: float
    rng: random.Random
    met: dict[str, tuple[int, datetime]] = field(default_factory=dict)

    def chance(self, concept: str, now: datetime) -> float:
        """How likely this learner knows a concept now, 0 to 1."""
        count, last = self.met.get(concept, (0, now))
        days = max((now - last) / timedelta(days=1), 0.0)
        strength = 3.0 * self.hold - 1.4 + 1.1 * math.log1p(count) - (1.1 - self.hold) * math.log1p(days)
        return 1.0 / (1.0 + math.exp(-strength))

    def meet(self, concept: str, now: datetime) -> None:
        """Take in that a concept was asked and its working shown."""
        self.met[concept] = (self.met.get(concept, (0, now))[0] + 1, now)


def days_of_practice(member: Member, now: datetime, rng: random.Random) -> Iterator[datetime]:
    """The evenings on which a member practised, oldest first, all of them before `now`."""
    habits = member.practice
    if habits is None:
        return
    today = now.replace(hour=0, minute=0, second=0, microsecond=0)
    gone, days = habits.away or (0, 0)
    for back in range(7 * habits.weeks, habits.idle_for - 1, -1):
        if gone - days < back <= gone:
            continue
        if rng.random() < habits.days_a_week / 7 or back == habits.idle_for:
            begin = today - timedelta(days=back) + _EVENING + timedelta(minutes=rng.randint(0, 150))
            if begin + timedelta(hours=1) < now:
                yield begin


def practise(db: Database, person_id: int, learner: Invented, minutes: int, begin: datetime) -> int:
    """Drill one set at a past time; returns how many answers were given."""
    rng = learner.rng
    try:
        planned = practice.start_set(db, person_id, minutes=minutes, acknowledged=("C1", "C9"), now=begin, rng=rng)
    except InputError as error:
        if error.reference != "set-empty":
            raise
        return 0  # nothing fits that evening, as can happen to anybody
    moment = begin
    answers = 0
    for question in planned.questions:
        if answers and rng.random() < _STOPS_EARLY:
            break
        moment = _answer(db, person_id, learner, question, moment)
        answers += 1
    whole = practice.set_view(db, person_id, planned.id, now=moment)
    if whole.missed and rng.random() < _GOES_ON_WITH_MISSED:
        again = practice.offer_repeats(db, person_id, planned.id, now=moment, rng=rng)
        for question in again.questions:
            if question.repeat and question.feedback is None:
                moment = _answer(db, person_id, learner, question, moment)
                answers += 1
    practice.end_set(db, person_id, planned.id, now=moment)
    return answers


def _answer(db: Database, person_id: int, learner: Invented, question: QuestionView, moment: datetime) -> datetime:
    rng = learner.rng
    chance = learner.chance(question.concept, moment)
    moment += timedelta(seconds=rng.uniform(12, 70))
    with db.reading() as session:
        record = session.get_one(Question, question.id).record
    raw = response(record, knows=rng.random() < chance, rng=rng)
    practice.record_answer(
        db,
        person_id,
        question.id,
        uuid=str(uuid.UUID(int=rng.getrandbits(128), version=4)),
        raw=raw,
        sureness=_sureness(chance, rng),
        given_at=moment,
        sent_at=moment,
        now=moment,
        rng=rng,
    )
    learner.meet(question.concept, moment)
    return moment


def _sureness(chance: float, rng: random.Random) -> str | None:
    felt = chance + rng.gauss(0.0, 0.2)
    if rng.random() < 0.15:
        return None
    return "sure" if felt > 0.75 else "think" if felt > 0.4 else "guess"

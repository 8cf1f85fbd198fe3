"""The whole log of somebody of the invented school, a line an answer, as memory took it in.

What was asked and why, what came back, recall before and after, the hold, until when it was to last and when it really
came next: read from top to bottom, the lines show whether planning makes sense. Only the invented people of the demo
can be read like this; what a real person answered is theirs, and their export has it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from quizsvc.errors import InputError
from quizsvc.memory.planning import DUE_BELOW
from quizsvc.memory.recall import recall_of, update
from quizsvc.memory.replay import log_order
from quizsvc.memory.states import ConceptState, LearnerState, fresh_concept, fresh_learner, state_word
from quizsvc.memory.weights import Weights
from quizsvc.services import memory_log, passwords, weights
from quizsvc.store import answers, bank, learners, people
from quizsvc.store.session import Database

__all__ = ["Line", "lines_of"]

_FURTHEST = 366


@dataclass(frozen=True)
class Line:
    """One answer.

    Parameters
    ----------
    at : datetime
        When it counts as given, in the person's zone.
    concept, kind, item : str
        What was asked, and how.
    reason : str
        Why it was asked then, one sentence; empty for homework.
    outcome : str
        `full`, `part`, `miss` or `pass`.
    sureness : str or None
        What the person said before.
    repeat : bool
        Whether it came within the half hour after the answer before.
    before, after : float
        Recall of the concept when it was asked and right after, from 0 to 1.
    state : str
        The word for the hold after it.
    lasts_until : date or None
        First day on which recall falls below what makes a concept due, were nothing more asked; None beyond a year.
    next_on : date or None
        Day on which the concept came next; None where it has not.
    """

    at: datetime
    concept: str
    kind: str
    item: str
    reason: str
    outcome: str
    sureness: str | None
    repeat: bool
    before: float
    after: float
    state: str
    lasts_until: date | None
    next_on: date | None

    def __str__(self) -> str:
        answer = self.outcome + (f" ({self.sureness})" if self.sureness else "") + (", repeat" if self.repeat else "")
        lasts = f"due {self.lasts_until}" if self.lasts_until else "not due within a year"
        came = f"came again {self.next_on}" if self.next_on else "has not come again"
        parts = (
            f"{self.at:%Y-%m-%d %H:%M}", f"{self.concept} by {self.kind} {self.item}", self.reason or "Homework.",
            answer, f"recall {self.before:.2f} to {self.after:.2f}", self.state, f"{lasts}, {came}",
        )  # fmt: skip
        return " | ".join(parts)


def lines_of(db: Database, name: str) -> tuple[Line, ...]:
    """The log of a person, oldest answer first; void answers and homework that is not released stay outside.

    Parameters
    ----------
    db : Database
        That of the demo.
    name : str
        As it is signed in with.

    Raises
    ------
    InputError
        Nobody is called that.
    """
    with db.reading() as session:
        person = people.by_name(session, passwords.name_key(name))
        learner = learners.get(session, person.id) if person else None
        if person is None or learner is None:
            raise InputError(
                "nobody-of-that-name",
                f"nobody of the school is called '{name[:80]}'",
                mend="give a name that 'quizsvc demo' prints",
            )
        used = weights.of_version(session, learner.weights_version)
        events = sorted(memory_log.events_of(session, person.id), key=log_order)
        reasons = answers.reasons(session, person.id)
        titles = {key: concept.title for key, concept in bank.all_concepts(session).items()}
    zone = ZoneInfo(person.time_zone)
    now: LearnerState = fresh_learner(person.experience, used)
    states: dict[str, ConceptState] = {}
    found: list[Line] = []
    newest: dict[str, int] = {}
    for event in events:
        state = states.get(event.concept) or fresh_concept(used, event.concept)
        before = recall_of(now, state, event.at, used)
        now, moved, note = update(now, state, event, used)
        states[event.concept] = moved
        at, reason = reasons[event.answer_id]
        local = at.astimezone(zone)
        if event.concept in newest:
            earlier = newest[event.concept]
            found[earlier] = replace(found[earlier], next_on=local.date())
        newest[event.concept] = len(found)
        found.append(
            Line(
                at=local,
                concept=titles[event.concept],
                kind=event.kind,
                item=event.item,
                reason=reason,
                outcome=event.outcome,
                sureness=event.sureness,
                repeat=note.repeat,
                before=before,
                after=recall_of(now, moved, event.at, used),
                state=state_word(moved),
                lasts_until=_lasts_until(now, moved, event.at, local.date(), used),
                next_on=None,
            )
        )
    return tuple(found)


def _lasts_until(learner: LearnerState, state: ConceptState, at: float, day: date, used: Weights) -> date | None:
    """The first day after one on which recall is below what makes a concept due; recall only falls meanwhile."""

    def below(days: int) -> bool:
        return recall_of(learner, state, at + days, used) < DUE_BELOW

    if not below(_FURTHEST):
        return None
    first, last = 0, _FURTHEST
    while first < last:
        middle = (first + last) // 2
        first, last = (first, middle) if below(middle) else (middle + 1, last)
    return day + timedelta(days=first)

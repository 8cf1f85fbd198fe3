"""Thin spots: a learner's own holds, weakest first."""

from __future__ import annotations

from collections import Counter
from datetime import datetime

from quizsvc.memory.planning import Candidate, due
from quizsvc.memory.recall import shown_recall, stack
from quizsvc.memory.states import StateWord, enough_to_say, state_word
from quizsvc.services import planned
from quizsvc.services.clocks import days_since_epoch, time_at
from quizsvc.services.views import HoldRow, ThinSpots
from quizsvc.store import answers, bank
from quizsvc.store.session import Database

WORDS = ("untried", "unsettled", "holding", "steady", "slipped", "suspect")
_REASONS = {
    "untried": "Never asked.",
    "holding": "Right on two separate days.",
    "steady": "Right again after 30 days or more.",
    "suspect": "Learned on a text that has been withdrawn since.",
}


def thin_spots(db: Database, person_id: int, *, now: datetime) -> ThinSpots:
    """The active concepts of a person: those tried, weakest first, and those never asked.

    An expectation is given only once there is enough to say; before that the order goes by what was missed.

    Raises
    ------
    NotFoundError
        No such person.
    """
    with db.reading() as session:
        desk = planned.desk(session, person_id)
        readable = {
            (folder, section)
            for folder in planned.folders_of(desk.person)
            for section, _title in bank.sections(session, folder)
        }
        counted = answers.count(session, person_id)
    at = days_since_epoch(now)
    enough = enough_to_say(desk.learner)
    words = [state_word(state) for state in desk.states]
    if desk.states:
        held = stack(desk.states)
        expected = shown_recall(held, desk.learner, at, desk.weights).tolist()
        are_due = due(held, desk.learner, at + 1.0, desk.weights).tolist()
    else:
        expected, are_due = [], []
    rows = [
        HoldRow(
            concept=concept.id,
            title=concept.title,
            system=system,
            state=word,
            due=bool(is_due),
            last_seen=None if state.last_at is None else time_at(state.last_at),
            answers=state.answers,
            expectation=round(expectation, 4) if enough and word != "untried" else None,
            handbook_aircraft=concept.folder if (concept.folder, concept.handbook) in readable else None,
            handbook_section=concept.handbook if (concept.folder, concept.handbook) in readable else None,
            consequence=concept.consequence,
            reason=_reason(word, candidate),
        )
        for concept, system, candidate, state, word, expectation, is_due in zip(
            desk.concepts, desk.systems, desk.candidates, desk.states, words, expected, are_due, strict=True
        )
    ]
    order = {row.concept: value for row, value in zip(rows, expected, strict=True)}
    # Weakest first; of two that are alike the one that can hurt more.
    tried = sorted(
        (row for row in rows if row.state != "untried"), key=lambda row: (order[row.concept], -row.consequence)
    )
    untried = sorted((row for row in rows if row.state == "untried"), key=lambda row: -row.consequence)
    counts: Counter[str] = Counter(words)
    return ThinSpots(
        rows=tuple(tried),
        untried=tuple(untried),
        counts={word: counts[word] for word in WORDS},
        enough_to_say=enough,
        answers=counted,
    )


def _reason(word: StateWord, candidate: Candidate) -> str:
    """One sentence that is true of this person's answers to a concept."""
    if word == "slipped":
        return f"It was held, then {'you passed on it' if candidate.passed else 'missed'}."
    if word != "unsettled":
        return _REASONS[word]
    if candidate.state.last_missed:
        return "You passed on it last time." if candidate.passed else "Missed last time."
    return "Right on one day only." if candidate.state.right_days else "So far answered in part, or spoken only."

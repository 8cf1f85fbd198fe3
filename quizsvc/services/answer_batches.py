"""Answers that waited on a device: whose they may be, and recording them one by one.

Each answer is a unit of work of its own, so that one that cannot be stored holds up none of the others, and a server
that dies in the middle has kept those before it; sending the batch again adds nothing twice. What late ones have in
common in the log is read once for a batch (`late_answers`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, NotFoundError
from quizsvc.services import edge
from quizsvc.services.answering import record_answer
from quizsvc.services.clocks import effective_time
from quizsvc.services.late_answers import Batch
from quizsvc.services.sessions import asking
from quizsvc.store import bank, people
from quizsvc.store.session import Database
from quizsvc.store.tables import Acknowledgement

__all__ = [
    "Acknowledged",
    "Batch",
    "OthersAnswersError",
    "Sent",
    "Taken",
    "owner_of",
    "record_acknowledged",
    "record_one",
]

SAME_S = 60.0
"""Two acknowledgements of one caution this near in time are one, sent twice."""


class OthersAnswersError(ConflictError):
    """The answers belong to somebody else; `claim` says that this session may still add that person's answers."""

    def __init__(self, *, claim: bool) -> None:
        super().__init__(
            "answers-of-another-person",
            "these answers were given by somebody else on this device",
            where="person",
            mend="add them to this account first: open /claim" if claim else "sign in as the person who gave them",
        )
        self.claim = claim


@dataclass(frozen=True)
class Sent:
    """One answer as it arrived; `outcome` is what the device made of it."""

    question: str
    uuid: str
    raw: Mapping[str, Any]
    sureness: str | None
    given_at: datetime | None
    outcome: str | None


@dataclass(frozen=True)
class Taken:
    """What became of one answer; `differs` says that the device had judged it otherwise."""

    uuid: str
    already_stored: bool
    outcome: str
    credit: float
    void_reason: str | None
    differs: bool


@dataclass(frozen=True)
class Acknowledged:
    """A caution taken note of on the device."""

    caution: str
    at: datetime


def owner_of(db: Database, token: str | None, person_id: int) -> int:
    """The person of a session, if answers given by `person_id` are theirs: their own, or of whom they have claimed.

    Raises
    ------
    OthersAnswersError
        They are somebody else's.
    NotFoundError
        The session has no person.
    """
    with db.reading() as session:
        who = asking(session, token)
        if who is None:
            raise edge.not_found("person")
        if person_id == who.person.id or people.claimed_by(session, person_id) == who.person.id:
            return who.person.id
        raise OthersAnswersError(claim=who.session.claim_from == person_id)


def record_one(
    db: Database, person_id: int, sent: Sent, *, batch: Batch, sent_at: datetime | None, now: datetime
) -> Taken:
    """Store one answer of a batch, with the mark that it was given on the device.

    Raises
    ------
    NotFoundError, InputError, ConflictError
        It cannot be stored, now or later.
    StoreUnavailableError
        It was not stored; sending it again is safe.
    """
    stored = record_answer(
        db,
        person_id,
        sent.question,
        uuid=sent.uuid,
        raw=sent.raw,
        sureness=sent.sureness,
        given_at=sent.given_at,
        sent_at=sent_at,
        offline=True,
        device_outcome=sent.outcome,
        now=now,
        batch=batch,
    )
    feedback = stored.feedback
    if feedback is None:
        # Only a part of a scenario waits for others, and none is ever kept on a device.
        raise NotFoundError("question-not-found", "there is no such question here", mend="go back to the start page")
    return Taken(
        uuid=stored.uuid,
        already_stored=stored.already_stored,
        outcome=feedback.outcome,
        credit=feedback.credit,
        void_reason=feedback.void_reason,
        differs=feedback.differs,
    )


def record_acknowledged(
    db: Database, person_id: int, acknowledged: Sequence[Acknowledged], *, sent_at: datetime | None, now: datetime
) -> None:
    """Store which cautions were taken note of, each once however often it is sent."""
    if not acknowledged:
        return
    with db.writing() as session:
        # Two batches at once, each with the same acknowledgement: the second waits here and finds it.
        learner = people.lock(session, edge.row_id(person_id, "person"))
        person = people.by_id(session, person_id)
        if learner is None or person is None:
            raise edge.not_found("person")
        texts = {key: caution.text for key, caution in bank.all_cautions(session).items()}
        known = {(seen.caution_id, seen.at) for seen in people.acknowledgements(session, person.id)}
        for one in acknowledged:
            at = effective_time(issued_at=person.created_at, received_at=now, given_at=one.at, sent_at=sent_at).replace(
                microsecond=0
            )
            # The clocks' difference is measured anew at each sending: the same moment comes out a little different.
            if any(caution == one.caution and abs((at - seen).total_seconds()) <= SAME_S for caution, seen in known):
                continue
            known.add((one.caution, at))
            session.add(
                Acknowledgement(
                    person_id=person.id,
                    caution_id=one.caution,
                    text_hash=hashlib.sha256(texts.get(one.caution, "").encode()).hexdigest(),
                    at=at,
                )
            )

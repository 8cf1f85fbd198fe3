"""Fitting new weights to the whole log, and storing those that a person accepts as the next version."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, InputError
from quizsvc.memory.fit_concepts import LEAST_OF_CONCEPT
from quizsvc.memory.fit_rows import LearnerRows, rows_of
from quizsvc.memory.refitting import Refit, Worlds, refit
from quizsvc.memory.weights import Weights
from quizsvc.services import memory_log, memory_replay, weights
from quizsvc.store import bank, learners, people
from quizsvc.store.session import Database, Session

__all__ = [
    "FORMAT",
    "LEAST_OF_CONCEPT",
    "Refit",
    "WeightsVersion",
    "accept",
    "fit",
    "go_back",
    "titles",
    "to_file",
    "versions",
]


@dataclass(frozen=True)
class WeightsVersion:
    """A version of the weights: when somebody accepted it, and where its numbers come from."""

    version: int
    accepted_at: datetime
    origin: str


FORMAT = 1
"""Of the file that `fit` writes and `accept` reads."""

_FIT_AGAIN = "fit again: quizsvc memory fit FILE"

Progress = Callable[[int, int], None]


def fit(
    db: Database,
    *,
    now: datetime,
    worlds: Worlds | None = None,
    reading: Progress | None = None,
    fitting: Progress | None = None,
) -> Refit:
    """Fit weights to every answer that memory takes in; nothing is stored.

    Homework whose feedback is not released stays outside, as it does for memory.

    Raises
    ------
    InputError
        Too few answers or learners.
    """
    with db.writing() as session:
        used = weights.in_use(session, now=now)
        ids = learners.all_ids(session)
    rows = []
    for number, person_id in enumerate(ids, 1):
        with db.reading() as session:
            found = _rows(session, person_id, used)
        if found is not None:
            rows.append(found)
        if reading is not None:
            reading(number, len(ids))
    return refit(rows, used, worlds, fitting)


def _rows(session: Session, person_id: int, used: Weights) -> LearnerRows | None:
    person = people.by_id(session, person_id)
    return None if person is None else rows_of(memory_log.events_of(session, person_id), person.experience, used)


def titles(db: Database) -> dict[str, str]:
    """The title of each concept of the bank, withdrawn ones too, by id."""
    with db.reading() as session:
        return {concept_id: concept.title for concept_id, concept in bank.all_concepts(session).items()}


def to_file(found: Refit) -> dict[str, Any]:
    """What a person looks at and hands to `accept`."""
    return {"format": FORMAT, **found.to_json()}


def accept(
    db: Database, raw: Any, *, now: datetime, anyway: bool = False, progress: Progress | None = None
) -> memory_replay.ReplayReport:
    """Store fitted weights as the next version, and rebuild every learner into it.

    Parameters
    ----------
    db : Database
        The store.
    raw : Any
        What `to_file` gave.
    now : datetime
        Time of acceptance.
    anyway : bool
        Accept although a gate has not passed or was not tried.
    progress : callable, optional
        Learners rebuilt, of how many.

    Raises
    ------
    InputError
        No such file; weights that cannot be used; a gate that has not passed.
    ConflictError
        The weights in use are not those that were fitted from.
    """
    new, missed = _read(raw)
    if missed and not anyway:
        raise InputError(
            "weights-gate",
            "not accepted: " + "; ".join(missed),
            mend=f"{_FIT_AGAIN} when there are more answers; --anyway takes them all the same",
        )
    with db.writing() as session:
        used = weights.in_use(session, now=now)
        if used.version != new.version:
            raise ConflictError(
                "weights-version",
                f"these weights were fitted from version {new.version}; version {used.version} is in use",
                mend=_FIT_AGAIN,
            )
        origin = new.source + (f"; accepted although {'; '.join(missed)}" if missed else "")
        weights.add_next(session, new, origin, now=now)
    return memory_replay.replay_all(db, now=now, progress=progress)


def versions(db: Database) -> tuple[WeightsVersion, ...]:
    """Every version of the weights that was in use, oldest first; the last one is in use now."""
    with db.reading() as session:
        rows = learners.all_weights(session)
        return tuple(WeightsVersion(row.version, row.accepted_at, row.origin) for row in rows)


def go_back(
    db: Database, version: int, *, now: datetime, progress: Progress | None = None
) -> memory_replay.ReplayReport:
    """Use the weights of an older version again: they are stored as the next one, and every learner is rebuilt.

    The versions between stay where they are: which weights were in use when is never written over.

    Raises
    ------
    InputError
        No such version, or the one that is in use.
    """
    with db.writing() as session:
        used = weights.in_use(session, now=now)
        there = [row.version for row in learners.all_weights(session)]
        if version not in there or version == used.version:
            older = ", ".join(str(one) for one in there if one != used.version)
            raise InputError(
                "weights-version",
                f"version {version} of the weights is {'in use' if version == used.version else 'not there'}",
                mend=f"older versions: {older}" if older else "there is no older version",
            )
        again = weights.of_version(session, version)
        weights.add_next(session, again.with_version(used.version), f"version {version} again", now=now)
    return memory_replay.replay_all(db, now=now, progress=progress)


def _read(raw: Any) -> tuple[Weights, list[str]]:
    """The weights of a file, and its gates that did not pass."""
    if not isinstance(raw, Mapping) or raw.get("format") != FORMAT:
        raise InputError("weights-file", "this is no file of fitted weights", mend=_FIT_AGAIN)
    try:
        gates = [(str(gate["name"]), gate["passed"], str(gate["said"])) for gate in raw["gates"]]
        found = Weights.from_json(raw["weights"])
    except (KeyError, TypeError) as error:
        raise InputError(
            "weights-file", f"a file of fitted weights lacks a part: {type(error).__name__} {error}", mend=_FIT_AGAIN
        ) from error
    if not gates:
        raise InputError("weights-file", "a file of fitted weights has no gates", mend=_FIT_AGAIN)
    return found, [f"{name}: {said}" for name, passed, said in gates if passed is not True]

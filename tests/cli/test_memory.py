"""`quizsvc memory replay`: learners rebuilt from the log, on each database."""

from __future__ import annotations

import contextlib
import json
import random
from datetime import UTC, datetime, timedelta

from quizsvc.services import accounts, demo_history, schema
from quizsvc.settings import settings_from
from quizsvc.store.tables import ConceptState, Learner


def states(db):
    """Every learner's state, as stored."""
    with db.reading() as session:
        learners = {row.person_id: row.state for row in session.query(Learner)}
        return learners, {(row.person_id, row.concept_id): row.state for row in session.query(ConceptState)}


def test_a_replay_gives_the_same_memory_and_mends_a_damaged_one(quizsvc, prepared):
    """After three evenings of practice: the replay changes no bit; a state written over by hand comes back."""
    begin = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    with contextlib.closing(schema.open_database(settings_from(prepared))) as db:
        person_id = accounts.add_account(db, "anna", now=begin)
        learner = demo_history.Invented(0.6, random.Random(19))
        answers = sum(
            demo_history.practise(db, person_id, learner, 10, begin + timedelta(days=days)) for days in (0, 1, 4)
        )
        before = states(db)

        code, out, err = quizsvc("memory", "replay")
        assert (code, err) == (0, "")
        assert f"from {answers} answers" in out
        assert states(db) == before

        with db.writing() as session:
            for row in session.query(ConceptState):
                row.state = row.state | {"answers": 99}
        report = json.loads(quizsvc("memory", "replay", "--json")[1])
        assert report == {"learners": 1, "answers": answers, "weights_version": 1}
        assert states(db) == before


def test_an_empty_log_is_no_fault(quizsvc, prepared):
    """Nobody has answered anything yet."""
    assert quizsvc("memory", "replay")[0] == 0

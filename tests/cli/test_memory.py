"""`quizsvc memory replay`: learners rebuilt from the log, on each database."""

from __future__ import annotations

import contextlib
import json
import math
import random
import socket
from datetime import UTC, datetime, timedelta

from quizsvc.memory.weights import STARTING
from quizsvc.services import accounts, demo_history, memory_replay, schema
from quizsvc.settings import settings_from
from quizsvc.store.tables import ConceptState, Learner
from tests.services import drills


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


def by_the_rule_before(state, hold):
    """One answer taken in by the update that design.md had before it was averaged over the doubt, worked by hand.

    h = p(1-p), s = U+V, g = (y-p)/(1+hs), a += U g, U -= U^2 h/(1+hs), and so for the offset. p is the recall of the
    middle learner by the weights that ship, U = V = 1, y = 1.
    """
    x = STARTING.b0 + STARTING.kind_shift.get(hold["last_kind"], 0.0) + STARTING.ability_mean["in training"]
    p = 1 / (1 + math.exp(-x))
    h, u, v = p * (1 - p), STARTING.ability_variance, STARTING.offset_variance
    g, shrink = (1 - p) / (1 + h * (u + v)), h / (1 + h * (u + v))
    ability = STARTING.ability_mean["in training"] + u * g
    return (
        state | {"ability": ability, "variance": u - u * u * shrink},
        hold | {"offset": v * g, "offset_variance": v - v * v * shrink},
    )


def test_an_upgrade_says_when_memory_is_of_an_older_rule(quizsvc, prepared):
    """Silent while all is as the log gives it; one line with the command while it is not; silent after the command."""
    at = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
    with contextlib.closing(schema.open_database(settings_from(prepared))) as db:
        assert not memory_replay.differs(db), "nobody has answered anything"
        person_id = accounts.add_account(db, "anna", now=at)
        drill = drills.start(db, lambda: at, random.Random(3), person_id)
        drills.answer(db, lambda: at, person_id, drill.questions[0].id, drills.right(db, drill.questions[0].id))
        [line] = quizsvc("db", "upgrade")[1].splitlines()
        assert line.startswith("the schema is up to date")
        assert not memory_replay.differs(db)

        with db.writing() as session:
            learner, hold = session.query(Learner).one(), session.query(ConceptState).one()
            assert (learner.state["answers"], hold.state["answers"]) == (1, 1)
            now = learner.state["ability"]
            learner.state, hold.state = by_the_rule_before(learner.state, hold.state)
            assert learner.state["ability"] != now
        code, out, err = quizsvc("db", "upgrade")
        assert (code, err) == (0, "")
        said = "what is stored of learners' memory is not what this version makes of their answers; "
        assert out.splitlines() == [line, said + "bring it up to date by: quizsvc memory replay"]
        with socket.create_server(("127.0.0.1", 0)) as taken:  # so that it stops after it has said what it has to
            words = ("serve", "--bind", f"127.0.0.1:{taken.getsockname()[1]}")
            assert quizsvc(*words)[2].startswith(f"note: {out.splitlines()[1]}\nerror: serve-address\n")
            assert quizsvc("memory", "replay")[0] == 0
            assert quizsvc(*words)[2].startswith("error: serve-address\n")
        assert quizsvc("db", "upgrade") == (0, f"{line}\n", "")


def test_an_empty_log_is_no_fault(quizsvc, prepared):
    """Nobody has answered anything yet."""
    assert quizsvc("memory", "replay")[0] == 0

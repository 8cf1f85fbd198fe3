"""Weights fitted to the stored log, and accepted by a person: the log replays into them. On each database."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError
from quizsvc.memory.fit_rows import rows_of
from quizsvc.memory.refitting import refit
from quizsvc.memory.replay import replay
from quizsvc.memory.weights import STARTING, Weights
from quizsvc.services import memory_fit, memory_log, memory_replay, weights
from quizsvc.store.tables import ConceptState, Learner
from quizsvc.store.tables import Weights as WeightsRow
from tests import log_rows
from tests.memory.logs import model_log


@pytest.fixture
def school(bank_db, clock):
    """A bank, and twelve people with 930 answers each; database and logs by person."""
    concepts = log_rows.bank_concepts(bank_db)
    people = log_rows.write_people(bank_db, [f"pilot {number}" for number in range(12)], clock())
    logs = {person: model_log(seed, 930, concepts=concepts) for seed, person in enumerate(people)}
    log_rows.write_logs(bank_db, logs)
    return bank_db, logs


def content(found, **changes):
    """A file as the command writes and reads it."""
    return json.loads(json.dumps(memory_fit.to_file(found))) | changes


def test_fit_reads_the_log_and_accepted_weights_replay_it(school, clock):
    """The fit is that of the events themselves; nothing is stored; acceptance makes version 2, and every learner is
    what a replay into it gives; the old version stays, and the log replays into it as before."""
    db, logs = school
    memory_replay.replay_all(db, now=clock())
    with db.reading() as session:
        experience = {row.person_id: memory_log.people.by_id(session, row.person_id).experience
                      for row in session.scalars(sa.select(Learner))}  # fmt: skip
        before = {row.person_id: row.state for row in session.scalars(sa.select(Learner))}
    told = []
    found = memory_fit.fit(
        db, now=clock(), worlds=lambda weights: {"invented": 0.5}, reading=lambda done, of: told.append((done, of))
    )

    events = {person: logs[person] for person in sorted(logs)}
    expected = refit([rows_of(log, experience[person], STARTING) for person, log in events.items()], STARTING)
    assert found.weights == expected.weights
    assert told[-1] == (12, 12)
    with db.reading() as session:
        assert [1] == list(session.scalars(sa.select(WeightsRow.version)))

    # Whatever the gates say of so few people: they have tests of their own.
    report = memory_fit.accept(db, content(found), now=clock(), anyway=True)
    assert (report.learners, report.answers, report.weights_version) == (12, 12 * 930, 2)
    with db.reading() as session:
        row = session.get_one(WeightsRow, 2)
        stored = weights.of_version(session, 2)
        assert stored == replace(found.weights, version=2)
        assert row.origin.startswith(found.weights.source)
        assert row.accepted_at == clock()
        for person, log in logs.items():
            learner, states = replay(log, experience[person], stored)
            kept = session.get_one(Learner, person)
            assert (kept.weights_version, kept.state) == (2, json.loads(json.dumps(learner.to_json())))
            held = {one.concept_id: one.state for one in session.scalars(
                sa.select(ConceptState).where(ConceptState.person_id == person))}  # fmt: skip
            assert held == {
                concept: json.loads(json.dumps(state.to_json())) | {"last_item": held[concept]["last_item"]}
                for concept, state in states.items()
            }
        assert weights.in_use(session, now=clock()).version == 2
        old = weights.of_version(session, 1)
    assert old == STARTING
    for person in logs:
        memory_log.rebuild_one(db, person, old)
    with db.reading() as session:
        assert before == {row.person_id: row.state for row in session.scalars(sa.select(Learner))}


def test_too_few_answers_are_refused_and_nothing_is_stored(bank_db, clock):
    """It says how many there are."""
    person = log_rows.write_people(bank_db, ["pilot"], clock())[0]
    log_rows.write_logs(bank_db, {person: model_log(1, 24, concepts=log_rows.bank_concepts(bank_db))})

    with pytest.raises(InputError, match=r"^\d\d answers \(repeats apart\) are too few"):
        memory_fit.fit(bank_db, now=clock())


# --- acceptance -----------------------------------------------------------------------------------------------------


def a_file(**changes):
    """A file of fitted weights whose gates have passed."""
    fitted = replace(STARTING, b0=-2.0, source="fitted to 12000 answers of 40 learners, from version 1")
    gates = [{"name": name, "passed": True, "said": "well"} for name in ("loss", "gap", "worlds")]
    return {"format": memory_fit.FORMAT, "weights": fitted.to_json(), "gates": gates} | changes


def versions(db):
    """Stored versions with their origin."""
    with db.reading() as session:
        return {row.version: row.origin for row in session.scalars(sa.select(WeightsRow))}


@pytest.mark.parametrize("passed", [False, None])
def test_a_missed_gate_stops_acceptance_unless_told(bank_db, clock, passed):
    """It names the gate; with `anyway` the origin keeps it."""
    gates = [{"name": "loss", "passed": True, "said": "well"}, {"name": "gap", "passed": passed, "said": "4 d, 3 d"}]
    with pytest.raises(InputError, match="^not accepted: gap: 4 d, 3 d - .*--anyway"):
        memory_fit.accept(bank_db, a_file(gates=gates), now=clock())
    assert 2 not in versions(bank_db)

    memory_fit.accept(bank_db, a_file(gates=gates), now=clock(), anyway=True)
    assert versions(bank_db)[2].endswith("from version 1; accepted although gap: 4 d, 3 d")


def test_weights_fitted_from_another_version_are_refused(bank_db, clock):
    """Twice the same file: the second time version 2 is in use."""
    memory_fit.accept(bank_db, a_file(), now=clock())
    with pytest.raises(ConflictError, match=r"fitted from version 1; version 2 is in use.*fit again"):
        memory_fit.accept(bank_db, a_file(), now=clock())

    assert sorted(versions(bank_db)) == [1, 2]


def test_a_version_that_somebody_else_has_just_stored_is_not_overwritten(bank_db, clock):
    """Two people accept at the same moment: the later one is told."""
    with bank_db.writing() as session:
        weights.in_use(session, now=clock())
        mine = weights.add_next(session, replace(STARTING, b0=-2.0), "mine", now=clock())
    with pytest.raises(ConflictError, match="just been stored by somebody else"), bank_db.writing() as session:
        weights.add_next(session, replace(STARTING, b0=-1.0), "theirs", now=clock())

    assert mine.version == 2
    with bank_db.reading() as session:
        assert weights.of_version(session, 2) == mine
    assert versions(bank_db)[2] == "mine"


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (None, "this is no file of fitted weights"),
        ([], "this is no file of fitted weights"),
        ({"format": 2}, "this is no file of fitted weights"),
        ({"format": 1}, "lacks a part: KeyError 'gates'"),
        (a_file(gates=[{"name": "loss"}]), "lacks a part"),
        (a_file(gates=7), "lacks a part"),
        (a_file(gates=[]), "has no gates"),
        (a_file(weights=None), "weights cannot be used"),
        (a_file(weights=STARTING.to_json() | {"v": [1, 1, 1, 1, -1]}), "a trace weight is negative"),
        (a_file(weights=STARTING.to_json() | {"b0": float("nan")}), "b0, a kind shift or an ability is not finite"),
    ],
)
def test_what_is_no_file_of_weights_is_refused(bank_db, clock, raw, words):
    """By what is wrong with it; nothing is stored."""
    with pytest.raises(InputError, match=words):
        memory_fit.accept(bank_db, raw, now=clock(), anyway=True)

    assert 2 not in versions(bank_db)


def test_weights_in_a_file_come_back_whole():
    """JSON keeps every bit, the infinite time constant too."""
    assert Weights.from_json(json.loads(json.dumps(a_file()))["weights"]).tau_days == STARTING.tau_days

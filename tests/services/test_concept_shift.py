"""Accepted difficulties of concepts: wherever a hold begins, it begins at them. On each database."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.memory.recall import recall_of, stack
from quizsvc.memory.replay import replay
from quizsvc.memory.states import ConceptState as Hold
from quizsvc.memory.states import fresh_learner
from quizsvc.memory.weights import STARTING
from quizsvc.services import demo_lines, expectation, kept_questions, memory_fit, memory_log, planned
from quizsvc.services.late_answers import Batch
from quizsvc.store import people
from quizsvc.store.tables import ConceptState, Learner
from tests import log_rows
from tests.memory.logs import model_log
from tests.services.drills import answer, begin, right, start, wrong


@pytest.fixture
def shifts(bank_db, clock):
    """Difficulties of all concepts of the bank, accepted, no two alike; one is of a concept that is gone."""
    found = {concept: 0.17 * place - 1.2 for place, concept in enumerate(log_rows.bank_concepts(bank_db))}
    found["GONE-LONG-AGO"] = 2.0
    fitted = replace(STARTING, concept_shift=found, source="fitted to 12000 answers of 40 learners, from version 1")
    gates = [{"name": name, "passed": True, "said": "well"} for name in ("loss", "gap", "worlds")]
    raw = {"format": memory_fit.FORMAT, "weights": fitted.to_json(), "gates": gates}
    assert memory_fit.accept(bank_db, raw, now=clock()).weights_version == 2
    return found


def check(db, person, shifts):
    """The stored learner is a replay of the log; what was never asked begins at its difficulty. How many of each."""
    with db.reading() as session:
        learner = session.get_one(Learner, person)
        desk = planned.desk(session, person)
        assert desk.weights.version == learner.weights_version == 2
        log = memory_log.events_of(session, person)
        state, held = replay(log, people.by_id(session, person).experience, desk.weights)
        assert learner.state == state.to_json()
        holds = session.scalars(sa.select(ConceptState).where(ConceptState.person_id == person))
        assert {hold.concept_id: hold.state for hold in holds} == {one: value.to_json() for one, value in held.items()}
    untried = {
        concept.id: hold for concept, hold in zip(desk.concepts, desk.states, strict=True) if concept.id not in held
    }
    assert untried == {concept: Hold(offset=shifts.get(concept, 0.0)) for concept in untried}
    # What the expectation and its past weeks are reckoned from is the same.
    for name, array in vars(stack(desk.states)).items():
        assert (getattr(expectation._stacked(desk, held), name) == array).all()
    return len(held), len(untried)


def test_holds_begin_at_the_difficulties_however_answers_come(bank_db, clock, shifts):
    """With signal, and late, in order and not: the same bits as a replay, after each answer."""
    person = begin(bank_db, clock).person.id
    assert check(bank_db, person, shifts)[0] == 0
    stock = kept_questions.keep_questions(bank_db, person, now=clock(), rng=random.Random(4))
    begun = clock()
    clock.advance(hours=1)
    for at, question in enumerate(start(bank_db, clock, random.Random(3), person, minutes=4).questions):
        clock.advance(minutes=1)
        answer(bank_db, clock, person, question.id, (wrong if at % 3 else right)(bank_db, question.id))
        check(bank_db, person, shifts)
    batch = Batch()
    for at in (1, 2, 0):
        late = stock[at].view.id
        given = begun + timedelta(minutes=at)
        answer(bank_db, clock, person, late, right(bank_db, late), given_at=given, sent_at=clock(), offline=True,
               batch=batch)  # fmt: skip
        check(bank_db, person, shifts)
    assert check(bank_db, person, shifts)[0] > 1


def test_older_weights_bring_the_old_start_back(bank_db, clock, shifts):
    """Version 1 again: no concept has a difficulty, and what is stored is as it was without."""
    person = begin(bank_db, clock).person.id
    question = start(bank_db, clock, random.Random(3), person).questions[0]
    answer(bank_db, clock, person, question.id, wrong(bank_db, question.id))
    with bank_db.reading() as session:
        known = planned.desk(session, person).states
    memory_fit.go_back(bank_db, 1, now=clock())
    with bank_db.reading() as session:
        desk = planned.desk(session, person)

    assert desk.weights == STARTING.with_version(3)
    assert {0.0} == {hold.offset for hold in desk.states if hold.answers == 0}
    assert desk.states != known


def test_a_log_read_line_by_line_begins_at_them(bank_db, clock, shifts):
    """The first line of somebody's log: recall was that of the difficulty, before any trace."""
    person = log_rows.write_people(bank_db, ["pilot"], clock())[0]
    log_rows.write_logs(bank_db, {person: model_log(1, 12, concepts=log_rows.bank_concepts(bank_db))})
    with bank_db.reading() as session:
        first = memory_log.events_of(session, person)[0]
        experience = people.by_id(session, person).experience
    hold = Hold(offset=shifts[first.concept])

    expected = recall_of(fresh_learner(experience, STARTING), hold, first.at, STARTING)
    assert demo_lines.lines_of(bank_db, "pilot")[0].before == expected

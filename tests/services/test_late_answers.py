"""Late answers of one batch: each leaves the learner as a replay of the whole log would, bit for bit."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy import event

from quizsvc.memory.replay import replay
from quizsvc.services import kept_questions, memory_log, weights
from quizsvc.services.late_answers import Batch
from quizsvc.store import people
from quizsvc.store.tables import Answer, ConceptState, Learner
from tests.services.drills import answer, begin, right, start, wrong


@pytest.fixture
def person(bank_db, clock):
    """Somebody on a phone."""
    return begin(bank_db, clock).person.id


@pytest.fixture
def waiting(bank_db, clock, person):
    """Questions answered without signal, with the times at which: an hour ago, between two sets with signal."""
    drill(bank_db, clock, person, 3)
    stock = kept_questions.keep_questions(bank_db, person, now=clock(), rng=random.Random(4))
    begun = clock.advance(minutes=1)
    given = [(one.view.id, begun + timedelta(minutes=at)) for at, one in enumerate(stock)]
    clock.advance(hours=1)
    drill(bank_db, clock, person, 5)
    assert len(given) >= 6
    return given


def drill(db, clock, person, seed):
    """A set with signal, a third of it right."""
    for at, question in enumerate(start(db, clock, random.Random(seed), person, minutes=20).questions):
        clock.advance(minutes=1)
        answer(db, clock, person, question.id, (wrong if at % 3 else right)(db, question.id))


def send(db, clock, person, given, batch, correctly=True):
    """Send one that waited."""
    question, at = given
    raw = (right if correctly else wrong)(db, question)
    return answer(db, clock, person, question, raw, given_at=at, sent_at=clock(), offline=True, batch=batch)


def check_memory(db, person):
    """The stored learner against a replay of their log that writes nothing."""
    with db.reading() as session:
        learner = session.get_one(Learner, person)
        log = memory_log.events_of(session, person)
        experience = people.by_id(session, person).experience
        state, held = replay(log, experience, weights.of_version(session, learner.weights_version))
        holds = session.scalars(sa.select(ConceptState).where(ConceptState.person_id == person))
        assert learner.state == state.to_json()
        assert {hold.concept_id: hold.state for hold in holds} == {one: value.to_json() for one, value in held.items()}
        newest = session.scalar(sa.select(sa.func.max(Answer.effective_at)).where(Answer.person_id == person))
        assert learner.newest_at == newest


@pytest.fixture
def log_reads(bank_db):
    """Counts how often a log was read whole, and how often from a place on."""
    counted = {"whole": 0, "from a place": 0}

    def see(_connection, _cursor, statement, *_rest):
        if "ORDER BY answer.effective_at, answer.id" in statement:
            counted["from a place" if "answer.effective_at >" in statement else "whole"] += 1

    event.listen(bank_db.engine, "before_cursor_execute", see)
    yield counted
    event.remove(bank_db.engine, "before_cursor_execute", see)


def test_a_batch_in_its_order(bank_db, clock, person, waiting, log_reads):
    """Memory is right after each of them, and what lies before them is read once."""
    batch = Batch()
    for at, given in enumerate(waiting):
        before = dict(log_reads)
        send(bank_db, clock, person, given, batch, correctly=at % 2 == 0)
        whole, placed = (log_reads[name] - before[name] for name in ("whole", "from a place"))
        assert (whole, placed) == ((0, 1) if at else (1, 0))
        check_memory(bank_db, person)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_batch_in_any_order(bank_db, clock, person, waiting, seed):
    """One that belongs before the last one's place begins anew."""
    batch = Batch()
    for given in random.Random(seed).sample(waiting, len(waiting)):
        send(bank_db, clock, person, given, batch)
        check_memory(bank_db, person)


def test_others_write_between(bank_db, clock, rng, person, waiting):
    """Another device's late answer, an answer online, a second answer to the same question: the log is another one."""
    batch, other = Batch(), Batch()
    online = start(bank_db, clock, rng, person, minutes=4).questions
    between = [
        lambda: send(bank_db, clock, person, waiting[1], other),
        lambda: answer(bank_db, clock, person, online[0].id, right(bank_db, online[0].id)),
        lambda: send(bank_db, clock, person, waiting[0], batch, correctly=False),
        lambda: send(bank_db, clock, person, waiting[3], other, correctly=False),
    ]
    for given, interfere in zip((waiting[0], waiting[2], waiting[4], waiting[5]), between, strict=True):
        send(bank_db, clock, person, given, batch)
        check_memory(bank_db, person)
        interfere()
        check_memory(bank_db, person)


def test_two_people(bank_db, clock, person, waiting):
    """What is remembered of one is not taken for the other."""
    batch = Batch()
    other = begin(bank_db, clock).person.id
    stock = kept_questions.keep_questions(bank_db, other, now=clock(), rng=random.Random(6))
    begun = clock()
    clock.advance(hours=1)
    for at in (2, 0, 1):
        send(bank_db, clock, person, waiting[at], batch)
        send(bank_db, clock, other, (stock[at].view.id, begun + timedelta(minutes=at)), batch)
        check_memory(bank_db, person)
        check_memory(bank_db, other)

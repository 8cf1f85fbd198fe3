"""When everybody answered last, as the head of training reads it: homework before its release is left out."""

import random
from datetime import timedelta

from quizsvc.services import homework_release
from quizsvc.store import evidence
from tests.services import assigned, drills, handed_in

ITEM = "gate-slow-leak"


def last_of(db, *args):
    with db.reading() as session:
        return evidence.last_practised(session, *args)


def test_the_last_answer_that_is_told(bank_db, clock):
    """Three practise on day 0. On day 1 two hand in, one of them feedback that waits; on day 8 that is released."""
    first = clock()
    _, (waits, told, idle), assignment = handed_in.school(bank_db, clock, (ITEM,), students=3, feedback="after closing")
    other = _second(bank_db, clock, told)
    for person in (waits, told, idle):
        drill = drills.start(bank_db, clock, random.Random(person), person)
        drills.answer(bank_db, clock, person, drill.questions[0].id, {"pass": True})
    clock.advance(days=1)
    handed_in.do(bank_db, clock, waits, assignment, ["right"])
    handed_in.do(bank_db, clock, told, other, ["right"])
    day = timedelta(days=1)
    assert last_of(bank_db) == {waits: first, told: first + day, idle: first}
    assert last_of(bank_db, [waits, idle]) == {waits: first, idle: first}
    homework_release.settle_all(bank_db, now=clock.advance(days=7))
    assert last_of(bank_db) == {waits: first + day, told: first + day, idle: first}


def _second(db, clock, student):
    """Another group of the same student, whose feedback comes with the mark."""
    group = assigned.add_group(db, clock, name="Umber intake", students=[student])
    return assigned.add_assignment(db, clock, group, (ITEM,))

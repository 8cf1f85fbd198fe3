"""The numbers that a person met: others while there are any, then those met longest ago; and when that was."""

from __future__ import annotations

import random
from datetime import timedelta

from quizsvc.services import planned
from quizsvc.services.clocks import days_since_epoch
from tests.services.drills import answer, begin, right, start

ITEM = "asked-as-number"
NUMBERS = 9  # whole minutes from 4 to 12, as the bank of the kinds writes them


def of_item(db, person_id):
    """What planning knows of the item."""
    with db.reading() as session:
        found = planned.desk(session, person_id)
    return next(item for one in found.candidates for item in one.items if item.item == ITEM)


def test_nine_numbers_on_nine_days_then_the_first(kinds_db, clock):
    """Each number once; none is left then, and the tenth question has the numbers of the first."""
    rng = random.Random(4)
    person_id = begin(kinds_db, clock).person.id
    stems, times = [], []
    for _ in range(NUMBERS + 1):
        assert of_item(kinds_db, person_id).numbers_met == (times[0] if len(times) == NUMBERS else None)
        drill = start(kinds_db, clock, rng, person_id, minutes=200)
        question = next(question for question in drill.questions if question.item == ITEM)
        clock.advance(minutes=1)
        answer(kinds_db, clock, person_id, question.id, right(kinds_db, question.id))
        stems.append(question.stem)
        times.append(days_since_epoch(clock()))
        clock.at += timedelta(days=1)

    assert NUMBERS == len(set(stems[:NUMBERS]))
    assert stems[0] == stems[NUMBERS]
    assert times[1] == of_item(kinds_db, person_id).numbers_met

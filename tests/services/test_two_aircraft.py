"""A person who flies two invented aircraft: both in one plan. And what comes before a miss, by the bank's files."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest
import sqlalchemy as sa

from quizsvc.services import accounts, banks, evidence, log
from quizsvc.services.check_plan import plan_to_check
from quizsvc.services.debriefs import debrief_form
from quizsvc.services.expectation import expectation_of
from quizsvc.services.holds import thin_spots
from quizsvc.services.views import SettingsForm
from quizsvc.store import answers
from quizsvc.store.tables import Concept, Question
from tests import factories
from tests.conftest import backend_asked_for
from tests.services.drills import answer, right, start, wrong
from tests.services.test_accounts import sign_up
from tests.services.test_expectation import drill
from tests.web.pages import on_both

SECOND = (Path(__file__).resolve().parents[1] / "aircraft" / "second.yaml").read_text(encoding="utf-8")
KEYS = ("tolquenny-19", "vessandry-44")
BUILDS = "What builds on this was not answered right, so this comes before it."

# As many as the other has, half of them in a system whose name the other aircraft has too.
CONCEPTS = "".join(
    f"- {{concept: V-{number}, title: Vessandry matter {number}, "
    f"system: {'21 automatic' if number % 2 else '61 propellers'}, handbook: 10-10, what: recall, consequence: 3}}\n"
    for number in range(1, 5)
)
ITEMS = "\n".join(
    factories.one_item(
        f"vessandry-{number}", f"V-{number}", stem=f"Which is right of propeller {number}?", handbook="10-10"
    )
    for number in range(1, 5)
)


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both by `on_both`."""
    return backend_asked_for(request)


@pytest.fixture
def person(bank_db, clock, tmp_path):
    """Somebody with both aircraft on the list."""
    files = {
        "vessandry-44/aircraft.yaml": SECOND,
        "vessandry-44/concepts.yaml": CONCEPTS,
        "vessandry-44/handbook/10.md": "## 10-10 All of it\n\nInvented.\n",
        "vessandry-44/items.yaml": ITEMS,
    }
    banks.load(bank_db, factories.write_bank(tmp_path / "bank", extra=files), now=clock(), rng=random.Random(1))
    found = sign_up(bank_db, clock).person
    form = SettingsForm(KEYS, None, 5, "UTC", "rated")
    accounts.update_settings(bank_db, found.id, form, now=clock())
    return found


def folders_by_set(db):
    """Of each set in the order of their beginning: how many questions of each folder."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(Question.set_id, Concept.folder, sa.func.min(Question.issued_at), sa.func.count())
            .join(Concept, Concept.id == Question.concept_id)
            .group_by(Question.set_id, Concept.folder)
        ).all()
    sets = {}
    for set_id, folder, begun, count in rows:
        sets.setdefault(set_id, [begun, Counter()])[1][folder] += count
    return [found for _, found in sorted(sets.values(), key=lambda one: one[0])]


@on_both
def test_both_aircraft_come_in_one_plan(bank_db, clock, person):
    """Ten days of five minutes, all right: four concepts of each aircraft, twelve general ones.

    About ten answers a set are half of the twenty concepts: in three sets running no aircraft is left out, and over the
    ten neither has twice the answers of the other.
    """
    drill(bank_db, clock, person, 10, correctly=True, rng=random.Random(4))
    sets = folders_by_set(bank_db)

    assert len(sets) == 10
    for first in range(8):
        together = sum(sets[first : first + 3], Counter())
        assert together[KEYS[0]] >= 1 and together[KEYS[1]] >= 1
    total = sum(sets, Counter())
    assert max(total[key] for key in KEYS) < 2 * min(total[key] for key in KEYS)


def test_in_the_last_week_a_system_of_each_aircraft_is_gone_over(bank_db, clock, person):
    """Both have a system of one name: it counts twice, with the name of its aircraft."""
    form = SettingsForm(KEYS, clock().date().replace(day=6), 5, "UTC", "rated")
    accounts.update_settings(bank_db, person.id, form, now=clock())
    before = plan_to_check(bank_db, person.id, now=clock()).covered.systems
    question = next(
        one
        for one in start(bank_db, clock, random.Random(3), person.id, minutes=60).questions
        if one.item in ("vessandry-1", "vessandry-3")
    )
    answer(bank_db, clock, person.id, question.id, right(bank_db, question.id), now=clock.advance(seconds=30))
    after = plan_to_check(bank_db, person.id, now=clock()).covered.systems

    counted = {one.system: (one.came_up, one.concepts) for one in after}
    assert counted["21 automatic, Vessandry 44"] == (1, 2)
    assert counted["21 automatic, Tolquenny 19"] == (0, 1)
    assert counted["61 propellers"] == (0, 2)
    assert {one.came_up for one in before} == {0}


@on_both
def test_a_system_of_one_name_is_told_apart_everywhere(bank_db, clock, person):
    """Wherever one person's systems stand: both aircraft have `21 automatic`, with other concepts in it."""
    drill(bank_db, clock, person, 8, correctly=True, rng=random.Random(6))
    now = clock()
    spots = thin_spots(bank_db, person.id, now=now)
    told = {row.concept: row.system for row in (*spots.rows, *spots.untried)}
    reckoned = expectation_of(bank_db, person.id, now=now)
    asked = dict(debrief_form(bank_db, person.id, None, now=now).systems)
    planned = {named[1] for reason in plan_to_check(bank_db, person.id, now=now).week for named in reason.concepts}
    sheet = evidence.sheet(bank_db, by=person.id, person_id=person.id, now=now)

    both = {f"21 automatic, {name}" for name in ("Tolquenny 19", "Vessandry 44")}
    assert (told["V-1"], told["V-2"]) == ("21 automatic, Vessandry 44", "61 propellers")
    for found in (
        set(told.values()),
        {one.system for one in reckoned.systems},
        set(asked),
        {one.system for one in sheet.systems},
    ):
        assert found >= both
        assert "21 automatic" not in found
    assert "21 automatic" not in planned and planned & both
    assert [one[0] for one in asked["21 automatic, Vessandry 44"]] == ["V-1", "V-3"]
    lines = {one.system: one for one in sheet.systems}
    assert lines["21 automatic, Vessandry 44"].of_concepts == 2
    assert all(lines[one.system].expectation is not None for one in reckoned.systems)

    # With one of them left, what it shares its name with is what was practised before.
    form = SettingsForm(KEYS[:1], None, 5, "UTC", "rated")
    accounts.update_settings(bank_db, person.id, form, now=now)
    spots = thin_spots(bank_db, person.id, now=now)
    assert "21 automatic" in {row.system for row in (*spots.rows, *spots.untried)}
    lines = {one.system: one for one in evidence.sheet(bank_db, by=person.id, person_id=person.id, now=now).systems}
    assert lines["21 automatic"].of_concepts == 1
    assert lines["21 automatic, Vessandry 44"].of_concepts == 0
    assert lines["21 automatic, Vessandry 44"].items > 0


@on_both
def test_the_log_narrows_down_to_the_system_of_one_aircraft(bank_db, clock, person):
    """By its name with the aircraft; by the plain one, to both; by a name that nothing has, to nothing."""
    drill(bank_db, clock, person, 8, correctly=True, rng=random.Random(6))

    def concepts(system):
        found = log.answers(bank_db, person.id, system=system)
        assert found.pages == 1 and found.total == len(found.rows)
        assert {row.system for row in found.rows} <= {system} or system == "21 automatic"
        return {row.concept for row in found.rows}

    ours = [f"21 automatic, {name}" for name in ("Tolquenny 19", "Vessandry 44")]
    assert set(ours) < set(log.answers(bank_db, person.id).systems)
    assert concepts(ours[1]) == {"V-1", "V-3"}
    assert concepts(ours[0]) and not concepts(ours[0]) & concepts(ours[1])
    assert concepts("21 automatic") == concepts(ours[0]) | concepts(ours[1])
    assert concepts("61 propellers") == {"V-2", "V-4"}
    assert concepts("21 automatic, nothing") == set()


@on_both
def test_the_log_opens_while_the_first_answer_of_a_system_arrives(bank_db, clock, person, monkeypatch):
    """It comes from another device between the names of the systems and the rows; PostgreSQL shows it at once."""
    question = start(bank_db, clock, random.Random(3), person.id, minutes=60).questions[0]
    read = answers.systems_answered

    def read_and_another_answers(session, person_id):
        found = read(session, person_id)
        answer(bank_db, clock, person.id, question.id, right(bank_db, question.id), now=clock())
        return found

    monkeypatch.setattr(answers, "systems_answered", read_and_another_answers)
    rows = log.answers(bank_db, person.id).rows
    monkeypatch.undo()

    assert [row.question_id for row in rows] in ([], [question.id])
    assert [row.question_id for row in log.answers(bank_db, person.id).rows] == [question.id]


@on_both
def test_what_a_miss_builds_on_comes_before_it(bank_db, clock, person):
    """The bank's file says `first: [P-DIFF]` of H-GATE, which was missed; P-DIFF was never answered.

    The reason tells of the miss and not what was missed: a title can tell the key of the question to come.
    """
    rng = random.Random(5)
    early = start(bank_db, clock, rng, person.id, minutes=60)
    gate = next(one.id for one in early.questions if one.concept == "H-GATE")
    answer(bank_db, clock, person.id, gate, wrong(bank_db, gate), now=clock.advance(days=1))
    clock.advance(days=30)
    later = start(bank_db, clock, rng, person.id, minutes=60)
    order = [one.concept for one in later.questions]

    assert order.index("P-DIFF") < order.index("H-GATE")
    with bank_db.reading() as session:
        rows = session.execute(sa.select(Question.concept_id, Question.reason).where(Question.set_id == later.id))
        reasons = {row.concept_id: row.reason for row in rows}
    assert reasons["P-DIFF"] == BUILDS
    assert reasons["H-GATE"] == "You missed it last time, so it is brought forward."

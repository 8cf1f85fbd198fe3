"""When feedback comes out, and what knows of the answers before and after: memory, log, practice, a device's stock."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import (
    handing_in,
    homework,
    homework_release,
    housekeeping,
    kept_questions,
    log,
    notices,
    practice,
)
from quizsvc.store import recording
from quizsvc.store.tables import Answer, ConceptState, Person, PracticeSet, Question, Work
from tests.conftest import backend_asked_for
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.doing import begin, fill, grades, hand_in, right, save, wrong
from tests.services.drills import answer, count, start
from tests.services.test_homework import ITEMS, allow
from tests.web.pages import on_both


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both."""
    return backend_asked_for(request)


@pytest.fixture
def pair(bank_db, clock):
    """Two students of one group."""
    return [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]


@pytest.fixture
def given(bank_db, clock, pair):
    """Makes an assignment for their group."""
    group = add_group(bank_db, clock, students=pair)
    return lambda items=ITEMS, **rules: add_assignment(bank_db, clock, group, items, **rules)


def practise_on(db, person_id):
    """The aircraft of the test bank on a person's list."""
    with db.writing() as session:
        session.get(Person, person_id).aircraft = ["tolquenny-19"]


def holds(db, person_id):
    """What memory has of a person."""
    with db.reading() as session:
        return {
            row.concept_id: row.state
            for row in session.query(ConceptState).filter_by(person_id=person_id).order_by(ConceptState.concept_id)
        }


def told(db, person_id):
    """How many answers the log shows."""
    return log.answers(db, person_id, page=1).total


@on_both
def test_after_closing_waits_for_everybodys_last_extension(bank_db, clock, rng, pair, given):
    """Ada hands in on the first day; Bo may until three days after the closing."""
    ada, bo = pair
    assignment = given(feedback="after closing")
    allow(bank_db, clock, assignment, bo, clock() + timedelta(days=10))
    work = begin(bank_db, clock, rng, ada, assignment)
    fill(bank_db, clock, ada, work)
    hand_in(bank_db, clock, ada, work)
    start_at = clock()

    for days, seconds, shown in ((0, 0, False), (7, 1, False), (10, 0, False), (10, 1, True)):
        clock.at = start_at + timedelta(days=days, seconds=seconds)
        seen = homework.question(bank_db, ada, work.id, work.questions[0].id, now=clock())
        assert (seen.view.feedback is not None, seen.work.mark is not None) == (shown, shown), (days, seconds)
        assert (told(bank_db, ada), len(holds(bank_db, ada))) == ((3, 3) if shown else (0, 0))
        assert [one.text for one in notices.listed(bank_db, ada)] == [
            "The feedback is there: Bleed air for Monday"
        ] * shown


@on_both
def test_released_answers_count_from_when_they_were_given(bank_db, clock, rng, pair, given):
    """Memory is, to the bit, what practice answers at the same times would have made of it."""
    ada, bo = pair
    work = begin(bank_db, clock, rng, ada, given(feedback="after closing", closes_at=clock() + timedelta(days=3)))
    question = work.questions[0].id
    clock.advance(hours=2)
    save(bank_db, clock, ada, work, question, right(bank_db, question), sureness="sure")
    at = clock()
    hand_in(bank_db, clock, ada, work, anyway=True)
    clock.advance(days=4)
    homework_release.settle_all(bank_db, now=clock())

    with bank_db.reading() as session:
        first = session.query(Answer).filter_by(question_id=question).one()
        concept = session.get(Question, question).concept_id
        assert first.effective_at == at
    # The same answer in practice: a question of Bo's, put into a set of his, answered at that time.
    other = begin(bank_db, clock, rng, bo, given())
    twin = other.questions[0].id
    clock.at = at
    with bank_db.writing() as session:
        row = session.get(Question, twin)
        session.add(PracticeSet(id="c" * 32, person_id=bo, long=True, minutes=5, started_at=at))
        session.flush()
        row.work_id, row.place, row.sealed, row.set_id, row.issued_at = None, None, False, "c" * 32, at
    answer(bank_db, clock, bo, twin, right(bank_db, twin), sureness="sure")

    assert holds(bank_db, ada)[concept] == holds(bank_db, bo)[concept]


def test_with_the_mark_comes_at_handing_in_and_straight_away_at_each_answer(bank_db, clock, rng, pair, given):
    """Nothing before; then log and memory know it."""
    ada, bo = pair
    mark = begin(bank_db, clock, rng, ada, given())
    fill(bank_db, clock, ada, mark)
    assert told(bank_db, ada) == len(holds(bank_db, ada)) == 0
    hand_in(bank_db, clock, ada, mark)
    assert told(bank_db, ada) == len(holds(bank_db, ada)) == 3

    away = begin(bank_db, clock, rng, bo, given(feedback="straight away"))
    first = away.questions[0].id
    handing_in.answer_now(bank_db, bo, away.id, first, raw=wrong(bank_db, first), sureness=None, now=clock())
    assert told(bank_db, bo) == len(holds(bank_db, bo)) == 1


@on_both
def test_a_sitting_that_nobody_hands_in_is_handed_in_when_its_time_is_over(bank_db, clock, rng, pair, given):
    """By whoever looks, or by the daily tidying; as of its end, once."""
    ada, bo = pair
    assignment = given(sitting_minutes=40)
    works = {person: begin(bank_db, clock, rng, person, assignment) for person in pair}
    save(bank_db, clock, ada, works[ada], works[ada].questions[0].id, right(bank_db, works[ada].questions[0].id))
    clock.advance(minutes=41)
    assert homework_release.settle_assignment(bank_db, assignment, now=clock()) == 0
    clock.advance(seconds=1)
    housekeeping._last.clear()
    housekeeping.tidy_once_a_day(bank_db, now=clock())

    assert homework_release.settle_all(bank_db, now=clock()) == 0
    for person, outcomes in ((ada, ["full", "pass", "pass"]), (bo, ["pass"] * 3)):
        seen = homework.work(bank_db, person, works[person].id, now=clock())
        assert (seen.handed_in_at, seen.late) == (works[person].begun_at + timedelta(minutes=40), False)
        assert [outcome for _, outcome in grades(bank_db, works[person])] == outcomes
        assert [one.text for one in notices.listed(bank_db, person)] == [
            "Handed in for you at its end: Bleed air for Monday"
        ]


class TestPractice:
    @pytest.fixture
    def ada(self, bank_db, pair):
        """A student who practises on the aircraft too."""
        practise_on(bank_db, pair[0])
        return pair[0]

    def asked(self, db, clock, rng, person):
        """The items of a long set planned now."""
        return {one.item for one in start(db, clock, rng, person, minutes=200).questions}

    @on_both
    def test_its_items_are_kept_out_until_the_feedback_is_released(self, bank_db, clock, rng, ada, given):
        """From its release to the group on, also before it opens; after handing in, until the feedback."""
        assert set(ITEMS) <= self.asked(bank_db, clock, rng, ada)
        assignment = given(
            feedback="after closing", opens_at=clock() + timedelta(days=1), closes_at=clock() + timedelta(days=2)
        )
        assert not set(ITEMS) & self.asked(bank_db, clock, rng, ada)
        clock.advance(days=1)
        work = begin(bank_db, clock, rng, ada, assignment)
        hand_in(bank_db, clock, ada, work, anyway=True)
        assert not set(ITEMS) & self.asked(bank_db, clock, rng, ada)
        clock.advance(days=1, seconds=1)
        # Of two ways of asking a concept the planner may take the other one.
        assert ITEMS[0] in self.asked(bank_db, clock, rng, ada)

    def test_a_closed_one_that_was_not_handed_in_is_practised_again(self, bank_db, clock, rng, ada, given):
        """And one that is not the person's own never was kept out."""
        given()
        stranger = add_person(bank_db, clock, "Cy Oake")
        practise_on(bank_db, stranger)
        assert set(ITEMS) <= self.asked(bank_db, clock, rng, stranger)
        clock.advance(days=7, seconds=1)
        assert set(ITEMS) <= self.asked(bank_db, clock, rng, ada)

    def test_a_device_gives_up_what_has_become_homework(self, bank_db, clock, rng, ada, given):
        """Its stock no longer lists those questions, and new ones are on other items."""
        before = kept_questions.keep_questions(bank_db, ada, now=clock(), rng=rng)
        assert {one.view.item for one in before} & set(ITEMS)
        given()
        after = kept_questions.keep_questions(bank_db, ada, now=clock(), rng=rng)

        assert not {one.view.item for one in after} & set(ITEMS)

    def test_the_missed_ones_are_not_asked_again_when_they_have_become_homework(self, bank_db, clock, rng, ada, given):
        """The others still are."""
        view = start(bank_db, clock, rng, ada, minutes=200)
        for one in view.questions:
            answer(bank_db, clock, ada, one.id, wrong(bank_db, one.id))
        given()
        again = practice.offer_repeats(bank_db, ada, view.id, now=clock(), rng=rng)
        repeated = {one.item for one in again.questions if one.repeat}

        assert repeated and not repeated & set(ITEMS)


def test_homework_does_not_go_through_the_calls_of_practice(bank_db, clock, rng, pair, given):
    """An answer to a sealed question by practice's way is not found, and nothing is stored."""
    ada, _ = pair
    work = begin(bank_db, clock, rng, ada, given())
    question = work.questions[0].id
    with pytest.raises(NotFoundError):
        answer(bank_db, clock, ada, question, right(bank_db, question))
    with pytest.raises(NotFoundError):
        practice.question_view(bank_db, ada, question, now=clock())
    assert count(bank_db, Answer) == 0
    assert count(bank_db, Work, sa.not_(Work.late)) == 1


def test_a_sealed_answer_makes_no_practice_question_less_fresh(bank_db, clock, rng):
    """Asked in a set begun before, then answered in homework: not seen before the release, as the log has it."""
    student = add_person(bank_db, clock, "Sunniva Ockwell")
    group = add_group(bank_db, clock, students=[student])
    drill = start(bank_db, clock, rng, student, minutes=60)
    asked = next(one for one in drill.questions if one.item in ITEMS and one.kind == "one")
    assignment = add_assignment(bank_db, clock, group, [asked.item], feedback="after closing")
    work = begin(bank_db, clock, rng, student, assignment)
    fill(bank_db, clock, student, work)
    hand_in(bank_db, clock, student, work)

    def seen_at():
        with bank_db.reading_rows() as rows:
            return recording.fetch(rows, student, asked.id, str(uuid.uuid4())).draw_seen_at

    assert seen_at() is None
    clock.advance(days=8)
    homework_release.settle_person(bank_db, student, now=clock())
    assert seen_at() is not None

"""Recording answers: once, in the log's order, whatever is sent how often and from where (design.md section 2)."""

from __future__ import annotations

import json
import multiprocessing
import threading
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import memory_replay, practice
from quizsvc.store.session import Database
from quizsvc.store.tables import Answer, ConceptState, Grade, Learner, Question
from tests.factories import new_uuid
from tests.services.drills import answer, begin, count, right, start, wrong


@pytest.fixture
def person(bank_db, clock):
    """Somebody on a phone."""
    return begin(bank_db, clock).person


@pytest.fixture
def drill(bank_db, clock, rng, person):
    """A set that has just been started."""
    return start(bank_db, clock, rng, person.id)


def memory(db, person_id):
    """The learner's rows, as text that shows every bit of every float."""
    with db.reading() as session:
        learner = session.get(Learner, person_id)
        holds = session.scalars(
            sa.select(ConceptState).where(ConceptState.person_id == person_id).order_by(ConceptState.concept_id)
        )
        return (
            json.dumps(learner.state, sort_keys=True),
            learner.newest_at,
            {hold.concept_id: json.dumps(hold.state, sort_keys=True) for hold in holds},
        )


def same_as_replayed(db, clock, person_id):
    """Whether the rows are what a rebuild of everything from the log gives, bit for bit."""
    before = memory(db, person_id)
    memory_replay.replay_all(db, now=clock())
    return memory(db, person_id) == before


class TestOnce:
    """An answer is stored once."""

    def test_an_answer_is_judged_and_remembered(self, bank_db, clock, person, drill):
        """One answer, one grade, one hold, and the next question of the set."""
        first, second = drill.questions[:2]
        given = answer(bank_db, clock, person.id, first.id, right(bank_db, first.id), sureness="sure")

        assert (given.feedback.outcome, given.feedback.credit, given.feedback.sureness) == ("full", 1.0, "sure")
        assert (given.already_stored, given.next_question_id, given.received_at) == (False, second.id, clock())
        assert [count(bank_db, table) for table in (Answer, Grade, ConceptState)] == [1, 1, 1]
        assert same_as_replayed(bank_db, clock, person.id)

    def test_the_page_shows_what_the_answer_showed(self, bank_db, clock, person, drill):
        """The result of sending and the question's page afterwards are the same."""
        for question in drill.questions:
            given = answer(bank_db, clock, person.id, question.id, wrong(bank_db, question.id))

            assert practice.question_view(bank_db, person.id, question.id, now=clock()) == given.question

    def test_sent_twice(self, bank_db, clock, person, drill):
        """The same UUID again returns the stored result, even where what is sent with it has changed."""
        question = drill.questions[0].id
        uuid = new_uuid()
        first = answer(bank_db, clock, person.id, question, right(bank_db, question), uuid=uuid)
        clock.advance(minutes=5)
        again = answer(bank_db, clock, person.id, question, wrong(bank_db, question), uuid=uuid.upper())

        assert again.already_stored
        assert (again.feedback, again.received_at) == (first.feedback, first.received_at)
        assert [count(bank_db, table) for table in (Answer, Grade)] == [1, 1]

    def test_ten_at_once_in_threads(self, bank_db, clock, person, drill):
        """Ten threads with the same UUID: ten equal results, one answer."""
        question = drill.questions[0].id
        raw = wrong(bank_db, question)
        uuid = new_uuid()
        results = []

        def send():
            results.append(answer(bank_db, clock, person.id, question, raw, uuid=uuid))

        _run(send, 10)

        assert [result.feedback.outcome for result in results] == ["miss"] * 10
        assert sorted(result.already_stored for result in results) == [False] + [True] * 9
        assert [count(bank_db, table) for table in (Answer, Grade, ConceptState)] == [1, 1, 1]
        assert same_as_replayed(bank_db, clock, person.id)

    def test_from_two_devices_at_once(self, bank_db, clock, person, drill):
        """Eight UUIDs for one question at the same moment: one counts, seven are kept as void."""
        question = drill.questions[0].id
        raw = right(bank_db, question)
        results = []

        def send():
            results.append(answer(bank_db, clock, person.id, question, raw))

        _run(send, 8)

        assert sorted(result.feedback.outcome for result in results) == ["full"] + ["void"] * 7
        assert {result.feedback.void_reason for result in results} == {None, "already answered"}
        assert count(bank_db, Answer) == 8
        assert count(bank_db, Grade, Grade.outcome == "void") == 7
        assert same_as_replayed(bank_db, clock, person.id)

    def test_a_second_answer_does_not_replace_the_first(self, bank_db, clock, person, drill):
        """It is kept as void; the page goes on showing the one that counts, and memory does not move."""
        question = drill.questions[0].id
        answer(bank_db, clock, person.id, question, wrong(bank_db, question))
        before = memory(bank_db, person.id)
        second = answer(bank_db, clock, person.id, question, right(bank_db, question))

        assert (second.feedback.outcome, second.feedback.void_reason) == ("void", "already answered")
        assert second.question.feedback.outcome == "miss"
        assert practice.question_view(bank_db, person.id, question, now=clock()) == second.question
        assert memory(bank_db, person.id) == before

    def test_all_of_a_set_at_once(self, bank_db, clock, person, drill):
        """Threads that answer different questions of one person: each is stored, memory is that of the log."""
        raws = {question.id: wrong(bank_db, question.id) for question in drill.questions}
        waiting = list(raws)

        def send():
            question = waiting.pop()
            answer(bank_db, clock, person.id, question, raws[question])

        _run(send, len(raws))

        assert count(bank_db, Answer) == len(raws)
        assert same_as_replayed(bank_db, clock, person.id)

    def test_a_uuid_of_another_answer(self, bank_db, clock, rng, person, drill):
        """The same UUID for another question, or from another person, is a conflict and stores nothing."""
        first, second = (question.id for question in drill.questions[:2])
        uuid = new_uuid()
        answer(bank_db, clock, person.id, first, right(bank_db, first), uuid=uuid)
        other = begin(bank_db, clock).person
        theirs = start(bank_db, clock, rng, other.id).questions[0].id

        for person_id, question in ((person.id, second), (other.id, theirs)):
            with pytest.raises(ConflictError) as caught:
                answer(bank_db, clock, person_id, question, {"pass": True}, uuid=uuid)
            assert caught.value.reference == "answer-uuid-taken"
        assert count(bank_db, Answer) == 1


def _send(url, at, person_id, question_id, raw, uuid, found):
    database = Database.open(url, busy_timeout_s=30)
    result = practice.record_answer(database, person_id, question_id, uuid=uuid, raw=raw, sureness=None, now=at)
    database.close()
    found.put((result.feedback.outcome, result.already_stored))


def test_ten_processes_at_once(bank_db, clock, rng, database_url):
    """Five processes with one UUID and five with UUIDs of their own: one answer counts, five are void."""
    person = begin(bank_db, clock).person
    question = start(bank_db, clock, rng, person.id).questions[0].id
    raw = right(bank_db, question)
    shared = new_uuid()
    # Whoever comes second would make the shared one void too; so it is sent once before.
    answer(bank_db, clock, person.id, question, raw, uuid=shared)
    fresh = multiprocessing.get_context("spawn")
    found = fresh.Queue()
    processes = [
        fresh.Process(
            target=_send,
            args=(database_url, clock(), person.id, question, raw, shared if number % 2 else new_uuid(), found),
        )
        for number in range(10)
    ]
    for process in processes:
        process.start()
    outcomes = sorted(found.get(timeout=600) for _ in processes)
    for process in processes:
        process.join(timeout=60)

    assert outcomes == [("full", True)] * 5 + [("void", False)] * 5
    assert count(bank_db, Answer) == 6
    assert same_as_replayed(bank_db, clock, person.id)


class TestOrder:
    """The log's order is (effective_at, answer id), whatever order the answers arrive in."""

    @pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 2, 1, 0), (1, 3, 0, 2)])
    def test_late_ones_fall_into_place(self, bank_db, clock, person, drill, order):
        """Answers given at 9:01, 9:02 ... and sent in any order leave the memory of their true order."""
        begun = clock()
        sent = clock.advance(hours=5)
        for place in order:
            question = drill.questions[place].id
            answer(
                bank_db,
                clock,
                person.id,
                question,
                wrong(bank_db, question),
                given_at=begun + timedelta(minutes=1 + place),
                sent_at=sent,
            )

        with bank_db.reading() as session:
            rows = session.execute(
                sa.select(Answer.effective_at, Question.position)
                .join(Question, Question.id == Answer.question_id)
                .order_by(Answer.effective_at, Answer.id)
            ).all()
        assert [(row.effective_at - begun, row.position) for row in rows] == [
            (timedelta(minutes=place + 1), place + 1) for place in range(4)
        ]
        assert same_as_replayed(bank_db, clock, person.id)

    def test_the_same_moment(self, bank_db, clock, person, drill):
        """Answers of one moment follow each other by their numbers."""
        for question in drill.questions:
            answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))

        assert same_as_replayed(bank_db, clock, person.id)

    def test_a_repeat_within_the_half_hour_that_arrives_first(self, bank_db, clock, rng, person, drill):
        """The repeat comes before its original: once both are there, it is the repeat that counts for little."""
        begun = clock()
        question = drill.questions[0].id
        answer(bank_db, clock, person.id, question, wrong(bank_db, question), given_at=begun, sent_at=begun)
        repeats = practice.offer_repeats(bank_db, person.id, drill.id, now=clock.advance(minutes=1), rng=rng)
        other = drill.questions[1].id
        repeat = repeats.questions[-1].id
        sent = clock.advance(hours=2)
        answer(
            bank_db, clock, person.id, other, right(bank_db, other), given_at=begun + timedelta(minutes=9), sent_at=sent
        )
        answer(
            bank_db,
            clock,
            person.id,
            repeat,
            right(bank_db, repeat),
            given_at=begun + timedelta(minutes=5),
            sent_at=sent,
        )

        assert same_as_replayed(bank_db, clock, person.id)


class TestClocks:
    """effective_at = min(received_at, given_at corrected by the client clock's offset), never before issued_at."""

    @pytest.mark.parametrize("wrong_by", [timedelta(), timedelta(days=1), timedelta(days=-1), timedelta(days=4000)])
    def test_a_client_clock_that_is_wrong(self, bank_db, clock, person, drill, wrong_by):
        """Given ten minutes after issue and sent two hours later, by a clock that is days off: ten minutes it is."""
        issued = clock()
        question = drill.questions[0].id
        sent = clock.advance(hours=2, minutes=10) + wrong_by
        given = issued + timedelta(minutes=10) + wrong_by
        result = answer(bank_db, clock, person.id, question, right(bank_db, question), given_at=given, sent_at=sent)

        assert result.feedback.given_at == issued + timedelta(minutes=10)

    @pytest.mark.parametrize(
        ("given", "sent", "effective"),
        [
            (None, None, 60),
            (30, None, 30),  # no offset known: the client's time is believed within the bounds
            (90, None, 60),  # later than received
            (-90, None, 0),  # before it was issued
            (30, 20, 60),  # sent before given: no later than received
            (-1000, 60, 0),
            (10**6, 10**6 + 5, 55),
        ],
    )
    def test_bounds(self, bank_db, clock, person, drill, given, sent, effective):
        """Minutes after issue; received at 60."""
        issued = clock()
        question = drill.questions[0].id
        clock.advance(minutes=60)
        times = {
            name: None if minutes is None else issued + timedelta(minutes=minutes)
            for name, minutes in (("given_at", given), ("sent_at", sent))
        }
        result = answer(bank_db, clock, person.id, question, right(bank_db, question), **times)

        assert result.feedback.given_at == issued + timedelta(minutes=effective)

    def test_the_ends_of_the_calendar(self, bank_db, clock, person, drill):
        """Years 1 and 9999 overflow nothing."""
        first, last = datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, 23, 59, tzinfo=UTC)
        for question, given, sent in zip(drill.questions, (first, last, first), (last, first, first), strict=False):
            result = answer(
                bank_db, clock, person.id, question.id, right(bank_db, question.id), given_at=given, sent_at=sent
            )
            assert result.feedback.given_at == clock()

    def test_the_day_is_that_of_the_persons_zone(self, bank_db, clock, rng):
        """22:30 UTC on 2 March is 3 March in Tokyo; a later move to another zone changes no history."""
        person = begin(bank_db, clock, time_zone="Asia/Tokyo").person
        question = start(bank_db, clock, rng, person.id).questions[0].id
        clock.at = datetime(2026, 3, 2, 22, 30, tzinfo=UTC)
        answer(bank_db, clock, person.id, question, right(bank_db, question))

        with bank_db.reading() as session:
            assert session.scalar(sa.select(Answer.local_day)) == datetime(2026, 3, 3).toordinal()


class TestNotTheirs:
    """A question that is not there and one that is somebody else's look alike."""

    @pytest.mark.parametrize(
        "question_id",
        ["0" * 32, "", "x", "A" * 32, "0" * 31, "0" * 33, "0" * 31 + "\0", "\ud800" * 32, None, 7, 2**70],
        ids=lambda value: repr(value)[:14],
    )
    def test_an_unknown_question(self, bank_db, clock, person, question_id):
        """Unknown, or no id at all: not found, nothing stored."""
        with pytest.raises(NotFoundError):
            answer(bank_db, clock, person.id, question_id, {"pass": True})
        with pytest.raises(NotFoundError):
            practice.question_view(bank_db, person.id, question_id, now=clock())
        with pytest.raises(NotFoundError):
            practice.set_view(bank_db, person.id, question_id, now=clock())

        assert count(bank_db, Answer) == 0

    def test_another_persons(self, bank_db, clock, rng, drill):
        """Neither seen, nor answered, nor ended, nor repeated; the sentence is that of an unknown one."""
        other = begin(bank_db, clock).person
        question = drill.questions[0].id
        sentences = set()
        for refused in (
            lambda: answer(bank_db, clock, other.id, question, {"pass": True}),
            lambda: answer(bank_db, clock, other.id, "0" * 32, {"pass": True}),
            lambda: practice.question_view(bank_db, other.id, question, now=clock()),
        ):
            with pytest.raises(NotFoundError) as caught:
                refused()
            sentences.add(str(caught.value))
        for refused in (
            lambda: practice.set_view(bank_db, other.id, drill.id, now=clock()),
            lambda: practice.end_set(bank_db, other.id, drill.id, now=clock()),
            lambda: practice.offer_repeats(bank_db, other.id, drill.id, now=clock(), rng=rng),
        ):
            with pytest.raises(NotFoundError):
                refused()

        assert len(sentences) == 1
        assert count(bank_db, Answer) == 0

    @pytest.mark.parametrize("person_id", [99, 2**70, 2**63, 0, -5, "1", None, True])
    def test_a_person_who_cannot_be(self, bank_db, clock, rng, drill, person_id):
        """An id out of bounds is nobody's, on both databases."""
        for refused in (
            lambda: answer(bank_db, clock, person_id, drill.questions[0].id, {"pass": True}),
            lambda: start(bank_db, clock, rng, person_id),
        ):
            with pytest.raises(NotFoundError):
                refused()


class TestUnreadable:
    """A response that cannot be read is no answer: nothing is stored, the question stays."""

    @pytest.mark.parametrize(
        "raw",
        [
            {},
            {"option": "no such option"},
            {"option": 7},
            {"options": "right"},
            {"text": "about that"},
            {"pass": "yes"},
            {"text": "a\0b"},
            {"text": "\ud800"},
            {"text": "9" * 3000},
            {"a\0": 1},
            {"number": 2**70},
            {"number": float("nan")},
            {"deep": [[[[[[1]]]]]]},
            [],
            None,
            "pass",
        ],
        ids=lambda raw: repr(raw)[:18],
    )
    def test_nothing_is_stored(self, bank_db, clock, person, drill, raw):
        """For each kind of question; a readable answer still counts afterwards."""
        for question in drill.questions:
            with pytest.raises(InputError) as caught:
                answer(bank_db, clock, person.id, question.id, raw)
            assert caught.value.what
        assert [count(bank_db, table) for table in (Answer, Grade, ConceptState)] == [0, 0, 0]

        question = drill.questions[0].id
        assert answer(bank_db, clock, person.id, question, right(bank_db, question)).feedback.outcome == "full"

    @pytest.mark.parametrize("uuid", ["", "x", None, 7, "0" * 31, "\0" * 36, "z" * 32, "0" * 5000, 2**70])
    def test_an_answer_without_a_uuid(self, bank_db, clock, person, drill, uuid):
        """It could not be told from another, so it is refused."""
        with pytest.raises(InputError) as caught:
            answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True}, uuid=uuid)

        assert caught.value.reference == "answer-uuid"
        assert count(bank_db, Answer) == 0

    @pytest.mark.parametrize("sureness", ["certain", "", 1, "sure\0"])
    def test_a_sureness_that_is_none(self, bank_db, clock, person, drill, sureness):
        """The three words, or none."""
        with pytest.raises(InputError):
            answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True}, sureness=sureness)

        assert count(bank_db, Answer) == 0


class TestPass:
    """Leaving a question on purpose."""

    def test_any_kind_can_be_passed(self, bank_db, clock, person, drill):
        """It is logged as `pass`, earns nothing, and the key is shown."""
        for question in drill.questions:
            given = answer(bank_db, clock, person.id, question.id, {"pass": True}, sureness=None)

            assert (given.feedback.outcome, given.feedback.credit) == ("pass", 0.0)
            assert given.feedback.key_shown
        assert same_as_replayed(bank_db, clock, person.id)


def test_answers_and_grades_are_only_added(bank_db, clock, rng):
    """After a whole drill with every kind of trouble no row of the log has changed or gone."""
    person = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, person.id)
    seen = {}
    for question in drill.questions:
        for raw in (wrong(bank_db, question.id), right(bank_db, question.id)):
            clock.advance(seconds=20)
            answer(bank_db, clock, person.id, question.id, raw)
            with bank_db.reading() as session:
                rows = {
                    (table.__tablename__, row.id): {
                        column.key: getattr(row, column.key) for column in table.__table__.columns
                    }
                    for table in (Answer, Grade)
                    for row in session.scalars(sa.select(table))
                }
            assert {key: rows[key] for key in seen} == seen
            seen = rows

    assert len(seen) == 4 * len(drill.questions)


def _run(work, times):
    """Run something in so many threads at once; an error in any of them is raised here."""
    faults = []
    gate = threading.Barrier(times)

    def guarded():
        gate.wait()
        try:
            work()
        except Exception as fault:
            faults.append(fault)

    threads = [threading.Thread(target=guarded) for _ in range(times)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if faults:
        raise faults[0]

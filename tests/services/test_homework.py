"""Doing homework: beginning, drafts from two devices, handing in once, late, with a wrong clock, in parts."""

from __future__ import annotations

import hashlib
import json
import random
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial

import pytest

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import handing_in, homework
from quizsvc.services.handing_in import OpenQuestionsError
from quizsvc.store.tables import Allowance, Answer, Assignment, DraftResponse, Grade, Membership, Question, Work
from tests.conftest import backend_asked_for
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.doing import begin, fill, grades, hand_in, right, save, wrong
from tests.services.drills import count
from tests.web.pages import on_both

# Both databases for what is stored or refused by them; the rest does not depend on it.
ITEMS = ["essential-bus-feeds", "highest-level-mental", "controller-dead-what-holds"]


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both."""
    return backend_asked_for(request)


@pytest.fixture
def ada(bank_db, clock):
    """A student of the group."""
    return add_person(bank_db, clock, "Ada Quill")


@pytest.fixture
def group(bank_db, clock, ada):
    """Their group."""
    return add_group(bank_db, clock, students=[ada])


@pytest.fixture
def given(bank_db, clock, group):
    """Makes an assignment of three items for the group."""
    return lambda **rules: add_assignment(bank_db, clock, group, ITEMS, **rules)


def allow(db, clock, assignment_id, person_id, until=None, *, taken_back=False):
    """An extension until then, or an excuse."""
    with db.writing() as session:
        session.add(
            Allowance(
                assignment_id=assignment_id, person_id=person_id, what="extension" if until else "excused",
                until_at=until, reason="Was away.", taken_back=taken_back, given_at=clock(),
            )
        )  # fmt: skip


class TestBeginning:
    @on_both
    def test_whoever_begins_again_goes_on_with_the_same_try(self, bank_db, clock, rng, ada, given):
        """One work, one set of questions, however often it is opened."""
        assignment = given()
        first = begin(bank_db, clock, rng, ada, assignment)
        clock.advance(hours=1)
        again = begin(bank_db, clock, rng, ada, assignment)

        assert again.id == first.id and again.begun_at == first.begun_at
        assert [one.id for one in again.questions] == [one.id for one in first.questions]
        assert count(bank_db, Question, Question.person_id == ada) == 3

    @pytest.mark.parametrize(
        ("moved", "reference"), [(timedelta(minutes=-1), "not-open"), (timedelta(days=7, seconds=1), "time-over")]
    )
    def test_nothing_begins_before_opening_or_after_closing(self, bank_db, clock, rng, ada, given, moved, reference):
        """And nothing is drawn."""
        assignment = given()
        clock.at += moved
        with pytest.raises(ConflictError) as refused:
            begin(bank_db, clock, rng, ada, assignment)

        assert refused.value.reference == reference
        assert count(bank_db, Work) == 0

    def test_another_groups_homework_is_not_there(self, bank_db, clock, rng, given):
        """Nor a draft assignment, nor for an instructor of the group, nor for who left it."""
        stranger = add_person(bank_db, clock, "Bo Tarn")
        hidden = given(released=False)
        for person, assignment in ((stranger, given()), (stranger, 9**9), (stranger, hidden)):
            for ask in (homework.assignment, homework.begin):
                with pytest.raises(NotFoundError):
                    ask(bank_db, person, assignment, now=clock(), **({"rng": rng} if ask is homework.begin else {}))

    def test_another_persons_work_is_not_there(self, bank_db, clock, rng, ada, given):
        """By no verb."""
        other = add_person(bank_db, clock, "Bo Tarn")
        work = begin(bank_db, clock, rng, ada, given())
        question = work.questions[0].id
        for ask in (
            lambda: homework.work(bank_db, other, work.id, now=clock()),
            lambda: homework.question(bank_db, other, work.id, question, now=clock()),
            lambda: save(bank_db, clock, other, work, question, {"pass": True}),
            lambda: hand_in(bank_db, clock, other, work, anyway=True),
            lambda: handing_in.receipt(bank_db, other, work.id, now=clock()),
        ):
            with pytest.raises(NotFoundError):
                ask()
        assert count(bank_db, DraftResponse) == count(bank_db, Answer) == 0


class TestDrafts:
    def test_what_was_saved_is_there_again_on_another_device(self, bank_db, clock, rng, ada, given):
        """Also what cannot be read: it is listed, not lost."""
        work = begin(bank_db, clock, rng, ada, given())
        number = work.questions[1].id
        save(bank_db, clock, ada, work, number, {"text": "six thousand"}, sureness="guess")

        seen = homework.question(bank_db, ada, work.id, number, now=clock())
        listed = homework.work(bank_db, ada, work.id, now=clock())
        assert (seen.draft.raw, seen.draft.sureness, seen.draft.version) == ({"text": "six thousand"}, "guess", 1)
        assert [one.state for one in listed.questions] == ["open", "unreadable", "open"]
        assert listed.questions[1].problem

    @on_both
    def test_of_two_devices_the_last_write_wins_and_the_older_is_shown_it(self, bank_db, clock, rng, ada, given):
        """Both began from nothing; the second to arrive with the same number gets the first one's back."""
        work = begin(bank_db, clock, rng, ada, given())
        number = work.questions[1].id
        assert save(bank_db, clock, ada, work, number, {"text": "6500"}).saved
        assert save(bank_db, clock, ada, work, number, {"text": "6600"}, version=2).saved
        late = save(bank_db, clock, ada, work, number, {"text": "7000"}, version=1)

        assert not late.saved and late.draft.raw == {"text": "6600"} and late.draft.version == 2
        # Whoever has seen the newer one may write over it.
        assert save(bank_db, clock, ada, work, number, {"text": "7000"}, version=3).saved
        assert homework.question(bank_db, ada, work.id, number, now=clock()).draft.raw == {"text": "7000"}

    def test_the_same_writing_again_is_saved_once(self, bank_db, clock, rng, ada, given):
        """A reply that was lost on the way is asked for again."""
        work = begin(bank_db, clock, rng, ada, given())
        number = work.questions[1].id
        first = save(bank_db, clock, ada, work, number, {"text": "6500"})
        clock.advance(minutes=5)
        again = save(bank_db, clock, ada, work, number, {"text": "6500"})

        assert again.saved and again.draft == first.draft

    @pytest.mark.parametrize("version", [0, -1, 10**6 + 1])
    def test_a_number_out_of_bounds_is_refused(self, bank_db, clock, rng, ada, given, version):
        """With a sentence; nothing is kept."""
        work = begin(bank_db, clock, rng, ada, given())
        with pytest.raises(InputError):
            save(bank_db, clock, ada, work, work.questions[0].id, {"pass": True}, version=version)
        assert count(bank_db, DraftResponse) == 0

    def test_a_question_of_another_work_is_not_of_this_one(self, bank_db, clock, rng, ada, given):
        """Even where both are one's own."""
        one, other = (begin(bank_db, clock, rng, ada, given()) for _ in range(2))
        with pytest.raises(NotFoundError):
            save(bank_db, clock, ada, one, other.questions[0].id, {"pass": True})


class TestHandingIn:
    @on_both
    def test_drafts_become_answers_with_grades(self, bank_db, clock, rng, ada, given):
        """Right, wrong and passed, each judged as practice judges it; nothing is left of the drafts' freedom."""
        work = begin(bank_db, clock, rng, ada, given())
        first, second, third = (one.id for one in work.questions)
        save(bank_db, clock, ada, work, first, right(bank_db, first), sureness="sure")
        save(bank_db, clock, ada, work, second, wrong(bank_db, second))
        save(bank_db, clock, ada, work, third, {"pass": True})
        clock.advance(minutes=3)
        done = hand_in(bank_db, clock, ada, work)

        assert grades(bank_db, work) == [(1, "full"), (2, "miss"), (3, "pass")]
        assert done.handed_in_at == clock() and not done.late
        assert (done.mark.points, done.mark.of, done.mark.shown) == (1.0, 3, "1 of 3")
        with pytest.raises(ConflictError):
            save(bank_db, clock, ada, work, second, right(bank_db, second), version=2)

    @on_both
    def test_handed_in_twice_is_handed_in_once(self, bank_db, clock, rng, ada, given):
        """The same receipt, the same answers, whatever came between."""
        work = begin(bank_db, clock, rng, ada, given())
        fill(bank_db, clock, ada, work)
        first = hand_in(bank_db, clock, ada, work)
        receipt = handing_in.receipt(bank_db, ada, work.id, now=clock())
        clock.advance(days=30)
        again = hand_in(bank_db, clock, ada, work)
        later = handing_in.receipt(bank_db, ada, work.id, now=clock())

        assert (first.handed_in_at, first.content_hash) == (again.handed_in_at, again.content_hash)
        assert (receipt.content, receipt.content_hash) == (later.content, later.content_hash)
        assert count(bank_db, Answer) == count(bank_db, Grade) == 3

    def test_the_receipts_hash_is_that_of_what_was_typed(self, bank_db, clock, rng, ada, given):
        """Recomputed by hashlib from the text, whose answers are the ones that were sent."""
        work = begin(bank_db, clock, rng, ada, given())
        typed = {one.id: right(bank_db, one.id) for one in work.questions}
        fill(bank_db, clock, ada, work)
        hand_in(bank_db, clock, ada, work)
        receipt = handing_in.receipt(bank_db, ada, work.id, now=clock())

        assert receipt.content_hash == hashlib.sha256(receipt.content.encode("utf-8")).hexdigest()
        assert {one["question"]: one["response"] for one in json.loads(receipt.content)["answers"]} == typed

    def test_what_is_open_or_unreadable_is_asked_about_and_then_a_pass(self, bank_db, clock, rng, ada, given):
        """Nothing is stored before the person says so; what was typed is kept with the answer."""
        work = begin(bank_db, clock, rng, ada, given())
        first, second, _ = (one.id for one in work.questions)
        save(bank_db, clock, ada, work, first, right(bank_db, first))
        save(bank_db, clock, ada, work, second, {"text": "lots"})
        with pytest.raises(OpenQuestionsError, match="2, 3"):
            hand_in(bank_db, clock, ada, work)
        assert count(bank_db, Answer) == 0
        hand_in(bank_db, clock, ada, work, anyway=True)

        assert grades(bank_db, work) == [(1, "full"), (2, "pass"), (3, "pass")]
        with bank_db.reading() as session:
            kept = {row.question_id: row.raw for row in session.query(Answer)}
        assert kept[second] == {"text": "lots"}

    def test_another_try_has_other_numbers_and_the_last_one_counts(self, bank_db, clock, rng, ada, given):
        """All are kept."""
        assignment = given(tries=2)
        first = begin(bank_db, clock, rng, ada, assignment)
        fill(bank_db, clock, ada, first)
        hand_in(bank_db, clock, ada, first)
        second = begin(bank_db, clock, rng, ada, assignment)
        fill(bank_db, clock, ada, second, wrong)
        hand_in(bank_db, clock, ada, second)
        view = homework.assignment(bank_db, ada, assignment, now=clock())

        assert (first.number, second.number) == (1, 2)
        assert [work.mark.points for work in view.works] == [3.0, 0.0]
        assert view.counts.id == second.id and not view.may_begin
        with bank_db.reading() as session:
            drawn = [session.get(Question, work.questions[1].id).draw_key for work in (first, second)]
        assert drawn[0] != drawn[1]
        with pytest.raises(ConflictError, match="no try left"):
            begin(bank_db, clock, rng, ada, assignment)


class TestAtOnce:
    """Threads that start together, each with connections of its own."""

    @staticmethod
    def together(*calls):
        """Run them at one moment; returns what each gave, or its error."""
        gate = threading.Barrier(len(calls))

        def one(call):
            gate.wait()
            try:
                return call()
            except ConflictError as error:
                return error

        with ThreadPoolExecutor(len(calls)) as pool:
            return list(pool.map(one, calls))

    @on_both
    def test_begun_on_two_phones_it_is_one_try(self, bank_db, clock, ada, given):
        """The same work and the same numbers on both."""
        assignment = given()
        begun = self.together(
            *[partial(begin, bank_db, clock, random.Random(seed), ada, assignment) for seed in (1, 2)]
        )

        assert begun[0].id == begun[1].id
        assert (count(bank_db, Work), count(bank_db, Question)) == (1, 3)

    @on_both
    def test_handed_in_on_two_phones_while_a_third_saves(self, bank_db, clock, rng, ada, given):
        """One receipt; what was saved is in it, or its phone is told that it came too late."""
        work = begin(bank_db, clock, rng, ada, given())
        question = work.questions[0].id
        hand = partial(hand_in, bank_db, clock, ada, work, anyway=True)
        first, saved, second = self.together(
            hand, partial(save, bank_db, clock, ada, work, question, {"option": "ess"}), hand
        )
        receipt = handing_in.receipt(bank_db, ada, work.id, now=clock())

        assert first.content_hash == second.content_hash == receipt.content_hash
        assert count(bank_db, Answer) == 3
        handed = {one["question"]: one["response"] for one in json.loads(receipt.content)["answers"]}[question]
        assert handed == ({} if isinstance(saved, ConflictError) else {"option": "ess"})


class TestTimes:
    @on_both
    def test_the_second_of_closing_is_in_time_and_the_next_is_not_taken(self, bank_db, clock, rng, ada, given):
        """By arrival; without a late rule nothing is stored afterwards, and what stands in the fields stays there."""
        assignment = given()
        work = begin(bank_db, clock, rng, ada, assignment)
        fill(bank_db, clock, ada, work)
        clock.advance(days=7, seconds=1)
        with pytest.raises(ConflictError) as refused:
            hand_in(bank_db, clock, ada, work)
        assert refused.value.reference == "time-over"
        assert (count(bank_db, Answer), count(bank_db, DraftResponse)) == (0, 3)
        clock.advance(microseconds=-1)

        assert not hand_in(bank_db, clock, ada, work).late

    @on_both
    def test_late_is_judged_by_arrival_whatever_the_phones_clock_says(self, bank_db, clock, rng, ada, given):
        """A phone two days behind: late all the same, its time kept beside."""
        work = begin(bank_db, clock, rng, ada, given(late_until_at=clock() + timedelta(days=9)))
        fill(bank_db, clock, ada, work)
        clock.advance(days=7, seconds=1)
        done = hand_in(bank_db, clock, ada, work, device_at=clock() - timedelta(days=2))

        assert done.late and done.handed_in_at == clock()
        assert done.device_at == clock() - timedelta(days=2)

    @on_both
    @pytest.mark.parametrize("wrong_by", [timedelta(days=-400), timedelta(hours=26)])
    def test_an_answer_counts_from_when_it_was_given_though_the_phones_clock_is_wrong(
        self, bank_db, clock, rng, ada, given, wrong_by
    ):
        """Given ten minutes before it was sent, by whatever clock."""
        work = begin(bank_db, clock, rng, ada, given())
        question = work.questions[0].id
        clock.advance(minutes=30)
        save(
            bank_db, clock, ada, work, question, right(bank_db, question),
            given_at=clock() + wrong_by - timedelta(minutes=10), sent_at=clock() + wrong_by,
        )  # fmt: skip
        clock.advance(minutes=5)
        hand_in(bank_db, clock, ada, work, anyway=True)

        with bank_db.reading() as session:
            stored = session.query(Answer).filter_by(question_id=question).one()
        assert stored.effective_at == clock() - timedelta(minutes=15)
        assert stored.received_at == clock() - timedelta(minutes=5)

    @on_both
    def test_an_extension_lets_one_person_hand_in_later(self, bank_db, clock, rng, ada, group, given):
        """In time until it ends; taken back, the closing counts again."""
        assignment = given()
        other = add_person(bank_db, clock, "Bo Tarn")
        with bank_db.writing() as session:
            session.add(Membership(group_id=group, person_id=other, part="student", state="in", asked_at=clock()))
        works = {person: begin(bank_db, clock, rng, person, assignment) for person in (ada, other)}
        allow(bank_db, clock, assignment, ada, clock() + timedelta(days=8))
        clock.advance(days=7, hours=23)

        assert not hand_in(bank_db, clock, ada, works[ada], anyway=True).late
        with pytest.raises(ConflictError):
            hand_in(bank_db, clock, other, works[other], anyway=True)
        allow(bank_db, clock, assignment, other, clock() + timedelta(days=1))
        allow(bank_db, clock, assignment, other, clock() + timedelta(days=1), taken_back=True)
        with pytest.raises(ConflictError):
            hand_in(bank_db, clock, other, works[other], anyway=True)

    def test_nothing_is_taken_from_who_left_or_of_what_was_taken_back(self, bank_db, clock, rng, ada, given):
        """The history stays to be read."""
        assignment = given()
        work = begin(bank_db, clock, rng, ada, assignment)
        for change in ({"table": Membership, "state": "left"}, {"table": Assignment, "state": "taken back"}):
            with bank_db.writing() as session:
                session.query(change["table"]).update({"state": change["state"]})
            with pytest.raises(ConflictError):
                hand_in(bank_db, clock, ada, work, anyway=True)
            with bank_db.writing() as session:
                session.query(Membership).update({"state": "in"})

        listed = homework.list_homework(bank_db, ada, now=clock())
        assert [(one.id, one.taken_back, one.may_begin) for one in listed] == [(assignment, True, False)]


class TestSitting:
    @pytest.fixture
    def sat(self, bank_db, clock, rng, ada, given):
        """A Sitting of forty minutes, begun, its first question answered."""
        work = begin(bank_db, clock, rng, ada, given(sitting_minutes=40))
        save(bank_db, clock, ada, work, work.questions[0].id, right(bank_db, work.questions[0].id))
        return work

    @on_both
    def test_what_is_received_within_the_minute_after_its_end_counts(self, bank_db, clock, ada, sat):
        """By end + 60 s; a microsecond later it is refused."""
        second, third = (one.id for one in sat.questions[1:])
        clock.advance(minutes=40, seconds=60)
        save(bank_db, clock, ada, sat, second, right(bank_db, second))
        clock.advance(microseconds=1)
        with pytest.raises(ConflictError):
            save(bank_db, clock, ada, sat, third, right(bank_db, third))
        seen = homework.work(bank_db, ada, sat.id, now=clock())

        assert grades(bank_db, sat) == [(1, "full"), (2, "full"), (3, "pass")]
        assert seen.handed_in_at == sat.ends_at == sat.begun_at + timedelta(minutes=40)
        assert not seen.late and seen.mark.points == 2.0

    def test_handed_in_too_late_it_is_what_the_service_has_handed_in(self, bank_db, clock, ada, sat):
        """No refusal: the receipt says the end of the Sitting."""
        clock.advance(hours=2)
        done = hand_in(bank_db, clock, ada, sat)

        assert done.handed_in_at == sat.ends_at
        assert grades(bank_db, sat) == [(1, "full"), (2, "pass"), (3, "pass")]

    def test_it_goes_on_after_a_pause_with_the_same_end(self, bank_db, clock, rng, ada, sat):
        """Closing the browser wins no time."""
        clock.advance(minutes=20)
        again = begin(bank_db, clock, rng, ada, sat.assignment_id)

        assert (again.id, again.ends_at) == (sat.id, sat.ends_at)


class TestStraightAway:
    @on_both
    def test_answering_fixes_and_tells_at_once(self, bank_db, clock, rng, ada, given):
        """The second answer changes nothing; what is handed in is what was answered."""
        work = begin(bank_db, clock, rng, ada, given(feedback="straight away"))
        first = work.questions[0].id
        told = handing_in.answer_now(
            bank_db, ada, work.id, first, raw=wrong(bank_db, first), sureness=None, now=clock()
        )
        again = handing_in.answer_now(
            bank_db, ada, work.id, first, raw=right(bank_db, first), sureness=None, now=clock()
        )

        assert told.view.feedback.outcome == again.view.feedback.outcome == "miss"
        with pytest.raises(ConflictError):
            save(bank_db, clock, ada, work, first, right(bank_db, first))
        done = hand_in(bank_db, clock, ada, work, anyway=True)
        receipt = handing_in.receipt(bank_db, ada, work.id, now=clock())
        assert grades(bank_db, work) == [(1, "miss"), (2, "pass"), (3, "pass")]
        assert done.content_hash == hashlib.sha256(receipt.content.encode()).hexdigest()

    def test_what_cannot_be_read_is_refused_and_not_stored(self, bank_db, clock, rng, ada, given):
        """As in practice."""
        work = begin(bank_db, clock, rng, ada, given(feedback="straight away"))
        number = work.questions[1].id
        with pytest.raises(InputError):
            handing_in.answer_now(bank_db, ada, work.id, number, raw={"text": "lots"}, sureness=None, now=clock())
        assert count(bank_db, Answer) == 0

    @pytest.mark.parametrize("rules", [{}, {"feedback": "straight away", "sitting_minutes": 40}])
    def test_other_homework_is_not_answered_one_by_one(self, bank_db, clock, rng, ada, given, rules):
        """Nor a Sitting, whatever its rule says."""
        work = begin(bank_db, clock, rng, ada, given(**rules))
        first = work.questions[0].id
        with pytest.raises(ConflictError):
            handing_in.answer_now(bank_db, ada, work.id, first, raw=right(bank_db, first), sureness=None, now=clock())
        assert count(bank_db, Answer) == 0

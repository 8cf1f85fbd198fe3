"""Answers given before signing in, and the end of a person's data."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, housekeeping, memory_replay, practice, squawks
from quizsvc.store.tables import (
    Acknowledgement,
    Answer,
    Base,
    DeviceSession,
    Grade,
    Learner,
    Person,
    PersonAlias,
    PracticeSet,
    Question,
    Squawk,
)
from tests.services.drills import answer, begin, count, right, start, wrong
from tests.services.test_accounts import sign_in, sign_up
from tests.services.test_answers import memory, same_as_replayed


def drilled(db, clock, rng, session, share=2):
    """Answer every `share`-th question of a set wrong, the others right."""
    drill = start(db, clock, rng, session.person.id)
    for place, question in enumerate(drill.questions):
        raw = right(db, question.id) if place % share else wrong(db, question.id)
        answer(db, clock, session.person.id, question.id, raw, now=clock.advance(seconds=30))
    return drill


class TestClaim:
    """They are re-owned once, an alias is kept, the learner is rebuilt."""

    def test_accepting(self, bank_db, clock, rng):
        """Sets, questions and answers belong to the account; memory is that of both logs together."""
        owner = sign_up(bank_db, clock)
        drilled(bank_db, clock, rng, owner)
        phone = begin(bank_db, clock)
        drill = drilled(bank_db, clock, rng, phone)
        tablet = sign_in(bank_db, clock, token=phone.token)
        assert tablet.claimable == len(drill.questions)
        moved = accounts.claim(bank_db, tablet.token, True, now=clock())

        assert moved == len(drill.questions)
        assert count(bank_db, Answer, Answer.person_id == owner.person.id) == count(bank_db, Answer)
        assert count(bank_db, PracticeSet, PracticeSet.person_id == owner.person.id) == 2
        assert count(bank_db, Person) == count(bank_db, Learner) == 1
        with bank_db.reading() as session:
            alias = session.scalars(sa.select(PersonAlias)).one()
        assert (alias.old_id, alias.person_id, alias.answers) == (phone.person.id, owner.person.id, moved)
        assert same_as_replayed(bank_db, clock, owner.person.id)
        assert practice.set_view(bank_db, owner.person.id, drill.id, now=clock()).answered == moved

    def test_twice_moves_nothing_more(self, bank_db, clock, rng):
        """Asking again, or in eight threads at once, moves them once."""
        owner = sign_up(bank_db, clock)
        phone = begin(bank_db, clock)
        drill = drilled(bank_db, clock, rng, phone)
        tablet = sign_in(bank_db, clock, token=phone.token)
        moved = []

        def press():
            moved.append(accounts.claim(bank_db, tablet.token, True, now=clock()))

        threads = [threading.Thread(target=press) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert sorted(moved) == [0] * 7 + [len(drill.questions)]
        assert count(bank_db, PersonAlias) == 1
        assert same_as_replayed(bank_db, clock, owner.person.id)

    def test_declining(self, bank_db, clock, rng):
        """They stay with the person without a name; the account's memory does not move; it is not offered again."""
        owner = sign_up(bank_db, clock)
        before = memory(bank_db, owner.person.id)
        phone = begin(bank_db, clock)
        drill = drilled(bank_db, clock, rng, phone)
        tablet = sign_in(bank_db, clock, token=phone.token)

        assert accounts.claim(bank_db, tablet.token, False, now=clock()) == 0
        assert accounts.claim(bank_db, tablet.token, True, now=clock()) == 0
        assert memory(bank_db, owner.person.id) == before
        assert count(bank_db, Answer, Answer.person_id == phone.person.id) == len(drill.questions)

    def test_nothing_to_offer(self, bank_db, clock, rng):
        """Not without answers, and never the answers of an account that was signed in here."""
        sign_up(bank_db, clock)
        phone = begin(bank_db, clock)
        start(bank_db, clock, rng, phone.person.id)
        assert sign_in(bank_db, clock, token=phone.token).claimable == 0

        other = sign_up(bank_db, clock, name="Another")
        drilled(bank_db, clock, rng, other)
        assert sign_in(bank_db, clock, token=other.token).claimable == 0
        assert sign_in(bank_db, clock, token="unknown").claimable == 0

    def test_the_old_token_is_gone(self, bank_db, clock, rng):
        """A stolen anonymous cookie opens nothing after its device has signed in."""
        sign_up(bank_db, clock)
        phone = begin(bank_db, clock)
        drilled(bank_db, clock, rng, phone)
        sign_in(bank_db, clock, token=phone.token)

        assert accounts.person_of(bank_db, phone.token, now=clock()) is None

    def test_an_open_question_can_be_answered_after_the_claim(self, bank_db, clock, rng):
        """What was fetched before signing in and is sent afterwards is the account's."""
        owner = sign_up(bank_db, clock)
        phone = begin(bank_db, clock)
        drill = start(bank_db, clock, rng, phone.person.id)
        answer(bank_db, clock, phone.person.id, drill.questions[0].id, {"pass": True})
        tablet = sign_in(bank_db, clock, token=phone.token)
        question = drill.questions[1].id
        with pytest.raises(NotFoundError):
            answer(bank_db, clock, owner.person.id, question, right(bank_db, question))

        accounts.claim(bank_db, tablet.token, True, now=clock())
        assert answer(bank_db, clock, owner.person.id, question, right(bank_db, question)).feedback.outcome == "full"


class TestDelete:
    """Delete my account: everything of the person goes, squawks stay without the person."""

    def test_everything_goes(self, bank_db, clock, rng):
        """No row of any table points at the person or holds the name; another person loses nothing."""
        owner = sign_up(bank_db, clock)
        drill = drilled(bank_db, clock, rng, owner)
        practice.offer_repeats(bank_db, owner.person.id, drill.id, now=clock(), rng=rng)
        squawks.raise_squawk(bank_db, owner.person.id, drill.questions[0].id, "The key is wrong.", now=clock())
        accounts.make_link(bank_db, "Nadir Eshvale", now=clock())
        other = begin(bank_db, clock)
        drilled(bank_db, clock, rng, other)
        kept = memory(bank_db, other.person.id)
        accounts.delete_account(bank_db, owner.person.id, now=clock())

        with bank_db.reading() as session:
            for table in Base.metadata.sorted_tables:
                for column in table.columns:
                    if column.name in ("person_id", "claim_from", "made_by", "graded_by") or (
                        table.name == "person" and column.name == "id"
                    ):
                        found = session.scalar(sa.select(sa.func.count()).where(column == owner.person.id))
                        assert found == 0, f"{table.name}.{column.name}"
            squawk = session.scalars(sa.select(Squawk)).one()
        assert (squawk.text, squawk.person_id, squawk.question_id) == ("The key is wrong.", None, None)
        assert memory(bank_db, other.person.id) == kept
        assert accounts.person_of(bank_db, owner.token, now=clock()) is None
        with pytest.raises(NotFoundError):
            accounts.delete_account(bank_db, owner.person.id, now=clock())

    def test_an_id_is_never_given_again(self, bank_db, clock):
        """The next person does not inherit the number of one who has gone, and with it a queued answer."""
        gone = begin(bank_db, clock)
        accounts.delete_account(bank_db, gone.person.id, now=clock())

        assert begin(bank_db, clock).person.id > gone.person.id


def test_export_holds_everything_of_oneself(bank_db, clock, rng):
    """Person, answers, holds, acknowledgements, squawks, devices; no secret, and nothing of another person."""
    owner = sign_up(bank_db, clock)
    drill = drilled(bank_db, clock, rng, owner)
    squawks.raise_squawk(bank_db, owner.person.id, drill.questions[0].id, "The key is wrong.", now=clock())
    drilled(bank_db, clock, rng, begin(bank_db, clock))
    exported = accounts.export_own(bank_db, owner.person.id, now=clock())

    assert exported["person"]["name"] == "Nadir Eshvale"
    assert len(exported["answers"]) == len(exported["holds"]) == len(drill.questions)
    assert {answer["question"] for answer in exported["answers"]} == {question.stem for question in drill.questions}
    assert [entry["caution"] for entry in exported["acknowledgements"]] == ["C1", "C9"]
    assert [entry["text"] for entry in exported["squawks"]] == ["The key is wrong."]
    assert [entry["device"] for entry in exported["devices"]] == ["phone"]
    assert "scrypt" not in repr(exported)
    for row in exported["answers"]:
        assert all(value is None or isinstance(value, str | int | float | bool) for value in row.values())


class TestHousekeeping:
    """What has had its time goes, and nothing else."""

    def test_anonymous_persons(self, bank_db, clock, rng):
        """After 90 idle days; 400 where questions were fetched for offline use; accounts never."""
        idle = begin(bank_db, clock)
        drilled(bank_db, clock, rng, idle)
        offline = begin(bank_db, clock)
        drilled(bank_db, clock, rng, offline)
        with bank_db.writing() as session:
            session.execute(sa.update(Question).where(Question.person_id == offline.person.id).values(offline=True))
        owner = sign_up(bank_db, clock)
        begun = clock()
        for days, persons in ((89, 3), (91, 2), (399, 2), (401, 1), (4000, 1)):
            housekeeping.tidy(bank_db, now=begun + timedelta(days=days))
            assert count(bank_db, Person) == persons, days
        with bank_db.reading() as session:
            assert session.scalars(sa.select(Person.id)).all() == [owner.person.id]

    def test_a_visit_keeps_a_person(self, bank_db, clock, rng):
        """Idle counts from the last visit."""
        somebody = begin(bank_db, clock)
        accounts.person_of(bank_db, somebody.token, now=clock.advance(days=80))
        housekeeping.tidy(bank_db, now=clock.advance(days=80))

        assert count(bank_db, Person) == 1

    def test_questions_without_an_answer(self, bank_db, clock, rng):
        """After 30 days; 400 for those fetched; answered ones stay, and so does the log."""
        somebody = begin(bank_db, clock)
        drill = start(bank_db, clock, rng, somebody.person.id)
        answer(bank_db, clock, somebody.person.id, drill.questions[0].id, {"pass": True})
        with bank_db.writing() as session:
            session.execute(sa.update(Question).where(Question.position == 2).values(offline=True))
        begun = clock()
        accounts.person_of(bank_db, somebody.token, now=clock.advance(days=400))
        for days, questions in ((29, len(drill.questions)), (31, 2), (399, 2), (401, 1)):
            housekeeping.tidy(bank_db, now=begun + timedelta(days=days))
            assert count(bank_db, Question) == questions, days

        assert [count(bank_db, table) for table in (Answer, Grade, PracticeSet)] == [1, 1, 1]
        assert memory_replay.replay_all(bank_db, now=clock()).answers == 1

    def test_sessions_and_acknowledgements(self, bank_db, clock, rng):
        """Sessions idle for 400 days end; what was acknowledged stays with the person."""
        somebody = sign_up(bank_db, clock)
        start(bank_db, clock, rng, somebody.person.id)
        housekeeping.tidy(bank_db, now=clock.advance(days=401))

        assert [count(bank_db, table) for table in (DeviceSession, PracticeSet, Acknowledgement)] == [0, 0, 2]

    def test_once_a_day_in_a_process(self, bank_db, clock, rng):
        """Starting sets tidies, at most once a day."""
        idle = begin(bank_db, clock).person.id
        clock.advance(days=100)
        somebody = begin(bank_db, clock).person.id
        start(bank_db, clock, rng, somebody)

        assert count(bank_db, Person, Person.id == idle) == 0

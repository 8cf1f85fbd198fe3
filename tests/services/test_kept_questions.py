"""Questions that a device keeps: which, how many, the same for every device of a person, and for how long."""

from __future__ import annotations

import random
import threading
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError, NotPreparedError
from quizsvc.memory.planning import plan_set, pool
from quizsvc.services import accounts, banks, housekeeping, kept_questions, planned, practice, squawks
from quizsvc.services.views import SettingsForm
from quizsvc.store.tables import PracticeSet, Question
from tests import factories
from tests.services.drills import answer, begin, count, right, start
from tests.services.test_accounts import sign_in, sign_up
from tests.services.test_squawks import with_role

# Issue 4: "the seven kinds whose answers a device can judge".
ON_A_DEVICE = {"one", "some", "match", "order", "still-works", "gauge", "number"}


def keep(db, clock, person_id, seed=4):
    """What a device of a person gets."""
    return kept_questions.keep_questions(db, person_id, now=clock(), rng=random.Random(seed))


def ids(stock):
    """The ids, in order."""
    return [one.view.id for one in stock]


def rows(db, *where):
    """Stored questions, in the order of their sets."""
    with db.reading() as session:
        return list(session.scalars(sa.select(Question).where(*where).order_by(Question.issued_at, Question.position)))


@pytest.fixture
def person(bank_db, clock):
    """Somebody without an account."""
    return begin(bank_db, clock).person.id


class TestWhich:
    """Planned like a set, of the kinds that a device can judge."""

    def test_every_kind_that_a_device_judges_and_no_other(self, kinds_db, clock):
        """Profile, spoken answers and scenarios stay with the service, and never more than one of a concept."""
        person = begin(kinds_db, clock).person.id
        stock = keep(kinds_db, clock, person)
        first = [one for one in stock if one.spare_of is None]

        assert {one.view.kind for one in stock} == ON_A_DEVICE
        assert {one.table["kind"] for one in stock} == ON_A_DEVICE
        assert len({one.view.concept for one in first}) == len(first)
        assert all(one.view.part is None for one in stock)

    def test_it_is_planned_by_the_habit_that_a_set_is_planned_by(self, bank_db, clock, person, monkeypatch):
        """Twelve seconds an answer on one day of four: days and answers of a day are those by which sets are planned;
        counted is the stock by the bank's own seconds all the same."""
        told = []

        def seen(candidates, *words, minutes_a_day, study_share, long, **more):
            answers_a_day = minutes_a_day / pool(candidates).mean_seconds(long)
            told.append((study_share, answers_a_day, long, [one.items for one in candidates if one.items]))
            return plan_set(candidates, *words, minutes_a_day=minutes_a_day, study_share=study_share, long=long, **more)

        for number in range(4):
            for question in start(bank_db, clock, random.Random(number), person, minutes=10).questions:
                answer(bank_db, clock, person, question.id, {"pass": True}, now=clock.advance(seconds=12))
            clock.advance(days=4)
        with bank_db.reading() as session:
            by_habit = planned.desk(session, person, now=clock())
            bank = {one.item: one.seconds for each in planned.desk(session, person).candidates for one in each.items}
        own = {one.item: one.seconds for each in by_habit.candidates for one in each.items}
        monkeypatch.setattr(planned, "plan_set", seen)
        first = [one for one in keep(bank_db, clock, person) if one.spare_of is None]

        # Four days of sixteen, leaning to five of seven with the weight of fourteen days (memory.habit): 14 of 30.
        assert [share for share, *_ in told] == [pytest.approx(14 / 30, abs=1e-12)] * len(told)
        assert any(offered for *_, offered in told)
        assert any(own[item] < 0.9 * bank[item] for item in own)
        for _, answers_a_day, long, offered in told:
            ways = [[item for item in items if long or item.ramp] for items in offered]
            assert all(item.seconds == pytest.approx(bank[item.item], rel=1e-12) for items in ways for item in items)
            means = [sum(own[item.item] for item in items) / len(items) for items in ways if items]
            usual = by_habit.minutes_a_day / (sum(means) / len(means)) if means else answers_a_day
            assert answers_a_day == pytest.approx(usual, rel=1e-12)
        assert sum(one.seconds for one in first) <= 30 * 60

    def test_a_number_has_a_spare_with_other_numbers(self, bank_db, clock, person):
        """The same item, drawn again; nothing else has one, and it stands behind its question."""
        stock = keep(bank_db, clock, person)
        by_id = {one.id: one for one in rows(bank_db, Question.offline)}
        spares = [one for one in stock if one.spare_of]
        numbers = [one for one in stock if one.view.kind == "number" and not one.spare_of]

        assert numbers
        assert [one.spare_of for one in spares] == [one.view.id for one in numbers]
        for spare in spares:
            drawn, again = by_id[spare.spare_of], by_id[spare.view.id]
            assert (again.item_id, again.repeat_of) == (drawn.item_id, drawn.id)
            assert again.drawn != drawn.drawn
            assert again.position == drawn.position + 1

    def test_they_are_marked_as_fetched(self, bank_db, clock, person):
        """So that they stay 400 days, and with them a person without an account; then they go."""
        first = ids(keep(bank_db, clock, person))
        begun = clock()
        for days, left in ((31, len(first)), (399, len(first)), (401, 0)):
            housekeeping.tidy(bank_db, now=begun + timedelta(days=days))
            assert len(rows(bank_db, Question.id.in_(first))) == left, days

    def test_the_feedback_of_a_pass_is_there_and_no_answer(self, bank_db, clock, person):
        """What a device shows before it has judged; nothing is stored as given."""
        stock = keep(bank_db, clock, person)

        assert {one.view.feedback.outcome for one in stock} == {"pass"}
        assert practice.question_view(bank_db, person, ids(stock)[0], now=clock()).feedback is None

    def test_for_nobody(self, bank_db, clock):
        """An unknown person."""
        with pytest.raises(NotFoundError):
            keep(bank_db, clock, 999)

    def test_without_a_bank(self, db, clock):
        """The command to type is named."""
        with pytest.raises(NotPreparedError):
            keep(db, clock, begin(db, clock).person.id)


class TestBesideSets:
    """A device's questions are no set to go on with, and stay out of the way of sets."""

    def test_never_offered_as_open_and_never_ended(self, bank_db, clock, rng, person):
        """Starting a set ends others, not these; they end no set either."""
        keep(bank_db, clock, person)
        assert practice.open_set(bank_db, person, now=clock()) is None
        first = start(bank_db, clock, rng, person)
        keep(bank_db, clock, person, seed=5)
        assert practice.open_set(bank_db, person, now=clock()).id == first.id
        start(bank_db, clock, rng, person)

        with bank_db.reading() as session:
            ended = {
                one.for_device: one.ended_at for one in session.scalars(sa.select(PracticeSet)) if one.id != first.id
            }
        assert ended == {True: None, False: None}

    def test_a_set_asks_by_another_item_while_one_is_kept(self, bank_db, clock, person):
        """Two items ask P-DIFF: whichever is kept, twenty sets ask by the other."""
        kept = {one.concept_id: one.item_id for one in rows_of(bank_db, keep(bank_db, clock, person))}
        for seed in range(20):
            drill = practice.start_set(
                bank_db, person, minutes=10, long=True, concepts=("P-DIFF",), now=clock(), rng=random.Random(seed)
            )
            assert [one.item for one in drill.questions] != [kept["P-DIFF"]]

    def test_where_a_concept_has_one_item_that_is_asked(self, bank_db, clock, rng, person):
        """Not asking at all would be worse."""
        kept = {one.concept_id: one.item_id for one in rows_of(bank_db, keep(bank_db, clock, person))}
        drill = practice.start_set(bank_db, person, minutes=5, long=True, concepts=("D-BUS",), now=clock(), rng=rng)

        assert [one.item for one in drill.questions] == [kept["D-BUS"]]

    def test_a_device_asks_by_another_item_while_a_set_is_open(self, bank_db, clock, person):
        """The other way round: the open set asks P-DIFF by one item, twenty stocks keep the other."""
        drill = practice.start_set(
            bank_db, person, minutes=10, long=True, concepts=("P-DIFF",), now=clock(), rng=random.Random(1)
        )
        (asked,) = {one.item for one in drill.questions}
        for seed in range(20):
            with bank_db.writing() as session:
                session.execute(sa.delete(Question).where(Question.offline))
            kept = {one.item_id for one in rows_of(bank_db, keep(bank_db, clock, person, seed=seed))}
            assert "cabin-from-differential" in kept or "highest-level-mental" in kept
            assert asked not in kept


def rows_of(db, stock):
    """The stored questions of a stock, without the spares."""
    return rows(db, Question.id.in_(ids(stock)), Question.repeat_of.is_(None))


class TestTheSameEverywhere:
    """One stock a person, however many devices ask, and when."""

    def test_two_devices_one_after_the_other(self, bank_db, clock, person):
        """The second gets what the first got, and the first nothing new."""
        first = ids(keep(bank_db, clock, person))
        clock.advance(hours=5)

        assert ids(keep(bank_db, clock, person, seed=77)) == first
        assert count(bank_db, Question) == len(first)

    def test_eight_at_once(self, bank_db, clock, person):
        """Whoever comes second to write finds that it is written."""
        found = []
        waiting = threading.Barrier(8)

        def ask(seed):
            waiting.wait(timeout=30)
            found.append(ids(keep(bank_db, clock, person, seed=seed)))

        threads = [threading.Thread(target=ask, args=(seed,)) for seed in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert len(found) == 8
        assert all(one == found[0] for one in found)
        assert count(bank_db, Question) == len(found[0])
        assert count(bank_db, PracticeSet) == 1

    def test_other_people_have_their_own(self, bank_db, clock, person):
        """No question is two people's."""
        other = begin(bank_db, clock).person.id
        theirs = ids(keep(bank_db, clock, other))

        assert not set(ids(keep(bank_db, clock, person))) & set(theirs)

    def test_they_come_along_with_a_claim(self, bank_db, clock):
        """Kept without a name, unanswered: the account has them, and the answer that arrives late."""
        owner = sign_up(bank_db, clock)
        phone = begin(bank_db, clock)
        kept = ids(keep(bank_db, clock, phone.person.id))
        tablet = sign_in(bank_db, clock, token=phone.token)
        assert accounts.claim_offer(bank_db, tablet.token) == 0
        accounts.claim(bank_db, tablet.token, True, now=clock())

        assert accounts.claim_offer(bank_db, tablet.token) is None
        assert ids(keep(bank_db, clock, owner.person.id)) == kept
        raw = right(bank_db, kept[0])
        assert answer(bank_db, clock, owner.person.id, kept[0], raw, offline=True).feedback.outcome == "full"


class TestUntilWhen:
    """A question is handed out no longer when a planner would ask something else; an answer counts all the same."""

    def test_for_a_week(self, bank_db, clock, person):
        """On the seventh day still; afterwards others come in their place."""
        first = ids(keep(bank_db, clock, person))
        clock.advance(days=7)
        assert ids(keep(bank_db, clock, person)) == first
        clock.advance(seconds=1)
        later = ids(keep(bank_db, clock, person))

        assert later
        assert not set(later) & set(first)
        stored = answer(bank_db, clock, person, first[0], right(bank_db, first[0]), offline=True)
        assert (stored.feedback.outcome, stored.feedback.offline) == ("full", True)

    def test_until_the_concept_is_answered(self, bank_db, clock, rng, person):
        """Answered online by another question: its kept question goes, the others stay."""
        stock = keep(bank_db, clock, person)
        clock.advance(minutes=5)
        drill = practice.start_set(bank_db, person, minutes=5, long=True, concepts=("D-BUS",), now=clock(), rng=rng)
        (question,) = drill.questions
        answer(bank_db, clock, person, question.id, right(bank_db, question.id))
        clock.advance(minutes=5)
        gone = {one.view.id for one in stock if one.view.concept == "D-BUS"}
        left = ids(keep(bank_db, clock, person))

        assert len(gone) == 1
        # What came in the place of the one that went is new.
        assert set(ids(stock)) - set(left) == gone

    def test_until_it_is_answered(self, bank_db, clock, person):
        """On whichever device: the other one learns that it needs it no more."""
        stock = keep(bank_db, clock, person)
        done = next(one.view.id for one in stock if one.view.kind == "one")
        answer(bank_db, clock, person, done, {"pass": True}, now=clock.advance(minutes=1), offline=True)

        assert done not in ids(keep(bank_db, clock, person))

    def test_a_spare_stays_for_a_day_after_its_question(self, bank_db, clock, person):
        """Then a set in which it could be asked is long over."""
        stock = keep(bank_db, clock, person)
        spare = next(one for one in stock if one.spare_of)
        answer(bank_db, clock, person, spare.spare_of, {"pass": True}, now=clock.advance(minutes=1), offline=True)

        assert spare.view.id in ids(keep(bank_db, clock, person))
        clock.advance(days=1, minutes=1)
        assert spare.view.id not in ids(keep(bank_db, clock, person))

    def test_until_the_item_changes_or_is_withdrawn(self, bank_db, clock, tmp_path, person):
        """One item loaded with another text, one gone from the files, one withdrawn by a keeper's squawk."""
        stock = keep(bank_db, clock, person)
        changed = factories.general_items().replace("right of matter 3?", "right of matter three?")
        (gone,) = [text for text in changed.split("\n- item: ") if "matter-5\n" in text]
        folder = factories.write_bank(
            tmp_path / "changed", extra={"general/items.yaml": changed.replace("\n- item: " + gone, "")}
        )
        clock.advance(minutes=1)
        report = banks.load(bank_db, folder, now=clock(), rng=random.Random(1))
        assert (report.changed, report.withdrawn) == (("matter-3",), ("matter-5",))
        reviewer = with_role(bank_db, clock, "reviewer")
        drill = practice.start_set(
            bank_db, reviewer.id, minutes=5, long=True, concepts=("D-BUS",), now=clock(), rng=random.Random(1)
        )
        squawk = squawks.raise_squawk(bank_db, reviewer.id, drill.questions[0].id, "Two are right.", now=clock())
        assert squawk.withdrawn

        left = ids(keep(bank_db, clock, person))
        lost = {one.item_id for one in rows(bank_db, Question.id.in_(set(ids(stock)) - set(left)))}
        assert lost == {"matter-3", "matter-5", "essential-bus-feeds"}

    def test_until_the_aircraft_is_taken_off_the_list(self, bank_db, clock, person):
        """What is general stays."""
        keep(bank_db, clock, person)
        accounts.update_settings(
            bank_db,
            person,
            SettingsForm(aircraft=(), check_date=None, minutes_a_day=5, time_zone="UTC", experience="rated"),
            now=clock(),
        )
        concepts = {one.view.concept for one in keep(bank_db, clock, person)}

        assert concepts
        assert all(one.startswith("G-") for one in concepts)

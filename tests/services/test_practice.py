"""Sets: what is asked, going on, repeats, ending; acknowledgements; what stays hidden."""

from __future__ import annotations

import dataclasses
import random

import pytest
import sqlalchemy as sa

from quizsvc.errors import InputError, NotPreparedError
from quizsvc.services import accounts, practice, reading
from quizsvc.services.views import SettingsForm
from quizsvc.store.tables import Acknowledgement, Person, PracticeSet, Question
from tests.services.drills import answer, begin, count, right, start, wrong


@pytest.fixture
def person(bank_db, clock):
    """Somebody on a phone."""
    return begin(bank_db, clock).person


class TestStart:
    """Starting a set."""

    def test_without_a_bank(self, db, clock, rng):
        """The command to type, and nobody is created for nothing."""
        with pytest.raises(NotPreparedError) as caught:
            begin(db, clock)

        assert caught.value.mend == "quizsvc bank load"
        assert count(db, Person) == 0

    def test_questions_fill_the_minutes(self, bank_db, clock, rng, person):
        """Expected seconds stay within the minutes; no concept comes twice; places count from 1."""
        drill = start(bank_db, clock, rng, person.id, minutes=4)
        with bank_db.reading() as session:
            seconds = session.scalar(
                sa.text("SELECT sum(seconds) FROM revision JOIN question ON question.revision_id = revision.id")
            )

        assert 180 < seconds <= 240
        assert [question.position for question in drill.questions] == list(range(1, len(drill.questions) + 1))
        assert len({question.concept for question in drill.questions}) == len(drill.questions)
        assert {question.count for question in drill.questions} == {len(drill.questions)}

    def test_a_short_set_asks_ramp_items_only(self, bank_db, clock, rng, person):
        """The item with the pressure card is not for the ramp, however long the set."""
        drill = start(bank_db, clock, rng, person.id, minutes=60, long=False)

        assert "cabin-from-differential" not in {question.item for question in drill.questions}

    def test_only_the_aircraft_on_the_list(self, bank_db, clock, rng, person):
        """Without an aircraft there are the general items alone."""
        form = SettingsForm((), None, 10, "UTC", "rated")
        accounts.update_settings(bank_db, person.id, form, now=clock())
        drill = start(bank_db, clock, rng, person.id, minutes=200)

        assert {question.item.rpartition("-")[0] for question in drill.questions} == {"matter"}

    def test_numbers_are_each_persons_own(self, bank_db, clock, rng):
        """Ten people get different numbers; what is drawn is stored, and the page shows just that."""
        stems = set()
        for _ in range(10):
            somebody = begin(bank_db, clock).person
            drill = start(bank_db, clock, rng, somebody.id, minutes=200)
            stem = next(question.stem for question in drill.questions if question.kind == "number")
            again = practice.set_view(bank_db, somebody.id, drill.id, now=clock())
            assert again == drill
            stems.add(stem)

        assert len(stems) > 5

    @pytest.mark.parametrize("minutes", [0, -3, 241, 2**70, 2.5, "4", None])
    def test_minutes_that_cannot_be(self, bank_db, clock, rng, person, minutes):
        """Refused with the range, nothing written."""
        with pytest.raises(InputError) as caught:
            start(bank_db, clock, rng, person.id, minutes=minutes)

        assert (caught.value.where, count(bank_db, PracticeSet)) == ("minutes", 0)

    def test_start_acknowledges_the_cautions(self, bank_db, clock, rng, person):
        """C1 and C9 with the time and the text they had; C9 counts for the day of the person's zone."""
        assert not practice.acknowledged_today(bank_db, person.id, "C9", now=clock())
        start(bank_db, clock, rng, person.id)
        with bank_db.reading() as session:
            rows = session.scalars(sa.select(Acknowledgement).order_by(Acknowledgement.caution_id)).all()

        assert [(row.caution_id, row.at) for row in rows] == [("C1", clock()), ("C9", clock())]
        assert len({row.text_hash for row in rows} | {""}) == 3
        assert practice.acknowledged_today(bank_db, person.id, "C9", now=clock.advance(hours=14))
        assert not practice.acknowledged_today(bank_db, person.id, "C9", now=clock.advance(hours=1))

    def test_the_same_seed_draws_the_same_set(self, bank_db, clock, person):
        """A set depends on log, clock and generator alone."""
        drills = [start(bank_db, clock, random.Random(5), begin(bank_db, clock).person.id) for _ in range(2)]

        assert [
            [dataclasses.replace(question, id="", set_id="") for question in drill.questions] for drill in drills[:1]
        ] == [[dataclasses.replace(question, id="", set_id="") for question in drill.questions] for drill in drills[1:]]


class TestKeys:
    """The key leaves only with the feedback."""

    def test_no_key_before_the_answer(self, bank_db, clock, rng, person):
        """Neither the question nor its set holds anything of the record until it is answered."""
        drill = start(bank_db, clock, rng, person.id, minutes=60)
        for question in drill.questions:
            assert question.feedback is None
            with bank_db.reading() as session:
                record = session.get(Question, question.id).record
            shown = repr(question)
            assert record["why"] not in shown
            assert "'keys'" not in shown

        first = drill.questions[0]
        answer(bank_db, clock, person.id, first.id, wrong(bank_db, first.id))
        after = practice.set_view(bank_db, person.id, drill.id, now=clock())
        assert [question.feedback is not None for question in after.questions] == [True] + [False] * (
            len(drill.questions) - 1
        )

    def test_ids_tell_nothing(self, bank_db, clock, rng, person):
        """128 bits in hexadecimal; two runs of one generator make different ones."""
        ids = [
            question.id for _ in range(2) for question in start(bank_db, clock, random.Random(1), person.id).questions
        ]

        assert len(set(ids)) == len(ids)
        assert {len(key) for key in ids} == {32}


class TestGoingOn:
    """Stopping and resuming."""

    def test_resume_on_another_device(self, bank_db, clock, rng, person):
        """What is open is the newest set; it is found by the person, wherever they are."""
        drill = start(bank_db, clock, rng, person.id)
        answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True})
        found = practice.open_set(bank_db, person.id, now=clock.advance(hours=3))

        assert found.id == drill.id
        assert found.next_question.id == drill.questions[1].id
        assert found.answered == 1

    def test_nothing_to_resume(self, bank_db, clock, rng, person):
        """Not after ending, not after the last answer, not after a day."""
        assert practice.open_set(bank_db, person.id, now=clock()) is None
        drill = start(bank_db, clock, rng, person.id)
        assert practice.open_set(bank_db, person.id, now=clock.advance(hours=25)) is None
        drill = start(bank_db, clock, rng, person.id)
        ended = practice.end_set(bank_db, person.id, drill.id, now=clock())
        assert ended.ended_at == clock()
        assert practice.open_set(bank_db, person.id, now=clock()) is None
        drill = start(bank_db, clock, rng, person.id)
        for question in drill.questions:
            answer(bank_db, clock, person.id, question.id, {"pass": True})
        assert practice.open_set(bank_db, person.id, now=clock()) is None

    def test_ending_twice_keeps_the_first_time(self, bank_db, clock, rng, person):
        """A button pressed twice changes nothing."""
        drill = start(bank_db, clock, rng, person.id)
        first = practice.end_set(bank_db, person.id, drill.id, now=clock()).ended_at

        assert practice.end_set(bank_db, person.id, drill.id, now=clock.advance(hours=1)).ended_at == first

    def test_an_answer_after_the_end_still_counts(self, bank_db, clock, rng, person):
        """It was on its way, or came from a phone without signal."""
        drill = start(bank_db, clock, rng, person.id)
        practice.end_set(bank_db, person.id, drill.id, now=clock())
        question = drill.questions[2].id

        assert answer(bank_db, clock, person.id, question, right(bank_db, question)).feedback.outcome == "full"


class TestRepeats:
    """The missed ones again, with new numbers, by choice."""

    def test_the_missed_ones_follow_in_the_set(self, bank_db, clock, rng, person):
        """Missed and passed ones come again, right ones do not; drawn numbers are others."""
        drill = start(bank_db, clock, rng, person.id, minutes=200)
        for place, question in enumerate(drill.questions):
            raw = right(bank_db, question.id) if place % 2 else wrong(bank_db, question.id)
            answer(bank_db, clock, person.id, question.id, raw)
        missed = drill.questions[::2]
        assert practice.set_view(bank_db, person.id, drill.id, now=clock()).missed == len(missed)
        view = practice.offer_repeats(bank_db, person.id, drill.id, now=clock.advance(minutes=1), rng=rng)
        repeats = view.questions[len(drill.questions) :]

        assert (view.id, view.repeats_offered, view.missed) == (drill.id, True, 0)
        assert [question.item for question in repeats] == [question.item for question in missed]
        assert all(question.repeat and question.reason for question in repeats)
        assert view.next_question == repeats[0]
        assert not any(question.repeat for question in drill.questions)

    def test_numbers_are_new(self, bank_db, clock, rng, person):
        """The same item with other numbers, so that the key cannot be remembered."""
        drill = start(bank_db, clock, rng, person.id, minutes=200)
        question = next(question for question in drill.questions if question.kind == "number")
        answer(bank_db, clock, person.id, question.id, wrong(bank_db, question.id))
        view = practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng)

        assert view.questions[-1].item == question.item
        assert view.questions[-1].stem != question.stem

    def test_pressing_twice_adds_nothing(self, bank_db, clock, rng, person):
        """Nor does pressing when nothing was missed."""
        drill = start(bank_db, clock, rng, person.id)
        assert practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng) == drill
        answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True})
        first = practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng)

        assert practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng) == first
        assert len(first.questions) == len(drill.questions) + 1

    def test_after_stopping_early_they_come_alone(self, bank_db, clock, rng, person):
        """What was passed over by stopping does not come back with the missed ones."""
        drill = start(bank_db, clock, rng, person.id)
        answer(bank_db, clock, person.id, drill.questions[0].id, {"pass": True})
        practice.end_set(bank_db, person.id, drill.id, now=clock())
        view = practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng)

        assert view.id != drill.id
        assert [question.item for question in view.questions] == [drill.questions[0].item]
        assert practice.offer_repeats(bank_db, person.id, drill.id, now=clock(), rng=rng).missed == 0
        assert count(bank_db, Question) == len(drill.questions) + 1

    def test_a_right_repeat_leaves_the_miss(self, bank_db, clock, rng, person):
        """Within the half hour it changes neither ability nor state nor what was last missed (design.md section 5)."""
        from quizsvc.store.tables import ConceptState, Learner

        drill = start(bank_db, clock, rng, person.id)
        question = drill.questions[0]
        answer(bank_db, clock, person.id, question.id, wrong(bank_db, question.id))
        with bank_db.reading() as session:
            learner = session.get(Learner, person.id).state
            before = session.get(ConceptState, (person.id, question.concept)).state
        view = practice.offer_repeats(bank_db, person.id, drill.id, now=clock.advance(minutes=2), rng=rng)
        answer(bank_db, clock, person.id, view.questions[-1].id, right(bank_db, view.questions[-1].id))
        with bank_db.reading() as session:
            assert session.get(Learner, person.id).state == learner
            after = session.get(ConceptState, (person.id, question.concept)).state

        assert after["last_missed"] is before["last_missed"] is True
        assert after["answers"] == before["answers"] == 1


def test_what_a_question_shows(bank_db, clock, rng, person):
    """Everything its page needs: section, cautions, card, unit."""
    drill = start(bank_db, clock, rng, person.id, minutes=200)
    by_item = {question.item: question for question in drill.questions}
    question = by_item.get("cabin-from-differential") or by_item["highest-level-mental"]
    gate = by_item["gate-slow-leak"]

    assert question.unit == "ft"
    assert (gate.handbook_aircraft, gate.handbook_section, gate.handbook_title) == (
        "tolquenny-19",
        "21-30",
        "High-field regime",
    )
    assert set(gate.caution_ids) <= set(reading.cautions(bank_db))
    assert "C2" in gate.caution_ids


def test_the_pressure_card():
    """From -2,000 to 41,000 ft; ISO 2533 gives 1013.25 hPa (14.696 psi) at 0 and 226.32 hPa (3.282 psi) at 11,000 m."""
    from quizsvc.services.question_views import pressure_card

    card = dict(pressure_card())
    assert (min(card), max(card), len(card)) == (-2000, 41000, 44)
    assert card[0] == 14.70
    # 36,000 and 37,000 ft stand on both sides of 11,000 m (36,089 ft).
    assert card[37000] < 3.282 < card[36000]

"""Re-mark: a corrected key judged on the stored numbers, or void; old and new marks kept; the learner is told."""

from __future__ import annotations

import random

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import answer_spread, banks, homework, notices, remarking
from quizsvc.store.tables import Answer, Grade, Question
from tests import kinds_bank
from tests.services import handed_in
from tests.services.drills import count
from tests.services.test_answers import same_as_replayed

BUS, CABIN = "essential-bus-feeds", "cabin-from-differential"
WHY = "The dump switch hangs on the left bus since modification 12."
# The test bank's text of the bus item keys `ess`; the corrected one keys `left`.
LEFT_BUS = (
    ("- {id: ess, text: the essential bus, key: true}", "- {id: ess, text: the essential bus}"),
    ("- {id: left, text: the left bus, belief: dump hangs on the left side}",
     "- {id: left, text: the left bus, key: true}"),
)  # fmt: skip


def grades(db, work_id):
    """Every grade of a work: number, outcome, credit, why; by question."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(Grade.number, Grade.outcome, Grade.credit, Grade.why, Grade.graded_by)
            .join(Answer, Answer.id == Grade.answer_id)
            .join(Question, Question.id == Answer.question_id)
            .where(Question.work_id == work_id)
            .order_by(Question.position, Grade.number)
        )
        return [tuple(row) for row in rows]


def done(db, clock, items=(BUS,), answers=(({"option": "ess"},), ({"option": "left"},)), **rules):
    """Students have handed these answers in; returns instructor, students, assignment, works."""
    instructor, students, assignment = handed_in.school(db, clock, items, students=len(answers), **rules)
    works = [
        handed_in.do(db, clock, student, assignment, given) for student, given in zip(students, answers, strict=True)
    ]
    return instructor, students, assignment, works


def remark(db, clock, instructor, assignment, how="corrected", revision=2, why=WHY, place=1):
    return remarking.remark(db, instructor, assignment, place, how=how, why=why, revision=revision, now=clock())


class TestCorrected:
    """By the corrected text."""

    def test_old_and_new_marks_are_kept_and_the_learner_is_told(self, bank_db, clock, correct):
        """Who had the old key loses it, who had the corrected one gains it; memory is that of the new marks."""
        instructor, students, assignment, works = done(bank_db, clock)
        clock.advance(days=1)
        correct(*LEFT_BUS)
        seen = remarking.look(bank_db, instructor, assignment, 1)
        assert (seen.number, seen.corrected_number, seen.only_void, seen.answers) == (1, 2, None, 2)
        assert [(one.person, one.old, one.new) for one in seen.corrected] == [
            ("Student 01", 1.0, 0.0), ("Student 02", 0.0, 1.0),
        ]  # fmt: skip
        assert remark(bank_db, clock, instructor, assignment) == 2

        assert grades(bank_db, works[0]) == [(1, "full", 1, None, None), (2, "miss", 0, WHY, instructor)]
        assert grades(bank_db, works[1]) == [(1, "miss", 0, None, None), (2, "full", 1, WHY, instructor)]
        for student, work in zip(students, works, strict=True):
            assert [(one.text, one.path) for one in notices.listed(bank_db, student)] == [
                ("Bleed air for Monday: question 1 was re-marked. The old and the new mark, and why, stand with your "
                 "answer.", f"/works/{work}")
            ]  # fmt: skip
            assert same_as_replayed(bank_db, clock, student)
        with bank_db.reading() as session:
            lines = next(iter(remarking.history(session, works[0]).values()))
        assert [(one.number, one.credit, one.by, one.why) for one in lines] == [
            (1, 1.0, None, None), (2, 0.0, "Odalys Brandt", WHY),
        ]  # fmt: skip

    def test_the_feedback_shows_the_corrected_key_on_the_question_as_it_was_asked(self, bank_db, clock, correct):
        """The stem stays; the key is the corrected one."""
        instructor, students, assignment, works = done(bank_db, clock)
        correct(*LEFT_BUS, ("Which bus feeds the dump switch?", "Which bus feeds the dump switch after mod 12?"))
        remark(bank_db, clock, instructor, assignment)
        asked = handed_in.questions_of(bank_db, works[1])[0]
        shown = homework.question(bank_db, students[1], works[1], asked, now=clock()).view
        assert shown.feedback.outcome == "full"
        assert shown.feedback.key_shown == "the left bus"
        assert shown.stem == "Which bus feeds the dump switch?"

    def test_numbers_are_judged_on_what_each_person_had_drawn(self, bank_db, clock, correct):
        """The old text took 100 ft off; by hand, each right answer of the corrected text was 100 ft off the old key.

        The tolerance is 150 ft there, so half a step is not enough: 1,000 ft is what is added to the key.
        """
        wrong_key = ("answer: rate * minutes", "answer: rate * minutes + 2000*ft")
        correct(wrong_key)

        def climbs(record):
            return {"text": f"{record['key'] / 0.3048 - 2000:.0f} ft"}

        instructor, students, assignment, works = done(
            bank_db, clock, ("highest-level-mental",), ((climbs,), (climbs,), ("right",))
        )
        assert [grades(bank_db, work)[0][1] for work in works] == ["miss", "miss", "full"]
        correct()
        assert remark(bank_db, clock, instructor, assignment, revision=1) == 3
        assert [grades(bank_db, work)[-1][1] for work in works] == ["full", "full", "miss"]

    def test_again_adds_nothing(self, bank_db, clock, correct):
        """The same re-mark twice: as after a second press, or an interruption."""
        instructor, students, assignment, works = done(bank_db, clock)
        correct(*LEFT_BUS)
        remark(bank_db, clock, instructor, assignment)
        before = count(bank_db, Grade)
        assert remark(bank_db, clock, instructor, assignment) == 0
        assert count(bank_db, Grade) == before
        assert len(notices.listed(bank_db, students[0])) == 1

    def test_another_revision_than_the_one_looked_at(self, bank_db, clock, correct):
        """A third text was loaded between looking and sending."""
        instructor, _, assignment, works = done(bank_db, clock)
        correct(*LEFT_BUS)
        correct(*LEFT_BUS, ("Dump hangs on the essential bus.", "Dump hangs on the left bus."))
        with pytest.raises(ConflictError) as told:
            remark(bank_db, clock, instructor, assignment, revision=2)
        assert told.value.reference == "remark-revision"
        assert len(grades(bank_db, works[0])) == 1

    def test_a_pass_stays_a_pass(self, bank_db, clock, correct):
        """Whoever left it open is judged by no key; only the record behind it changes."""
        instructor, _, assignment, works = done(bank_db, clock, answers=(("pass",), ({"option": "left"},)))
        correct(*LEFT_BUS)
        remark(bank_db, clock, instructor, assignment)
        assert grades(bank_db, works[0])[-1][1:3] == ("pass", 0)

    def test_the_fixed_spread_is_counted_again(self, bank_db, clock, correct):
        """Three chose the old key, two the corrected one; who chose what stays."""
        answers = [({"option": "ess"},)] * 3 + [({"option": "left"},)] * 2
        instructor, _, assignment, _ = done(bank_db, clock, answers=answers)
        before = answer_spread.spread(bank_db, instructor, assignment, now=clock()).questions[0]
        assert before["outcomes"]["full"] == 3
        correct(*LEFT_BUS)
        remark(bank_db, clock, instructor, assignment)
        after = answer_spread.spread(bank_db, instructor, assignment, now=clock()).questions[0]
        assert after["outcomes"]["full"] == 2
        assert {one["id"]: (one["count"], one["key"]) for one in after["options"]} == {
            "ess": (3, False), "left": (2, True), "right": (0, False),
        }  # fmt: skip


class TestOnlyVoid:
    """Where the `draw` block has changed, or nothing was corrected."""

    def test_another_draw_block(self, bank_db, clock, correct):
        """The minutes are drawn in other steps: corrected is refused, void is taken."""
        instructor, students, assignment, works = done(
            bank_db, clock, ("highest-level-mental", BUS), (("right", "right"), ("wrong", "right"))
        )
        correct(("minutes: {from: 4 min, to: 12 min, step: 1 min}", "minutes: {from: 4 min, to: 12 min, step: 2 min}"))
        seen = remarking.look(bank_db, instructor, assignment, 1)
        assert (seen.corrected_number, seen.only_void) == (None, "its 'draw' block has changed")
        with pytest.raises(InputError) as refused:
            remark(bank_db, clock, instructor, assignment, revision=2)
        assert refused.value.reference == "remark-only-void"

        assert remark(bank_db, clock, instructor, assignment, how="void", revision=None) == 2
        assert [row[1] for row in grades(bank_db, works[0])] == ["full", "void", "full"]
        # One question is left of two, and it was right.
        view = homework.work(bank_db, students[0], works[0], now=clock())
        assert view.mark.shown == "1 of 1"
        assert same_as_replayed(bank_db, clock, students[0])

    def test_nothing_was_corrected(self, bank_db, clock):
        """The item has no other text than the one that was asked."""
        instructor, _, assignment, _ = done(bank_db, clock)
        seen = remarking.look(bank_db, instructor, assignment, 1)
        assert (seen.corrected_number, seen.only_void) == (None, "no corrected text of it has been loaded")


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_the_parts_of_a_scenario_follow_the_persons_own_answers(kinds_db, clock, tmp_path):
    """The corrected text keys the schedule, which had been a trap; the third part goes on from the first.

    By hand: the placard is the schedule plus 200 ft, the cabin climbs at 550 fpm from 5,600 ft.
    """

    def schedule(record):
        return {"text": f"{record['traps'][0]['value'] / 0.3048:.0f} ft"}

    def minutes_from(offset_ft):
        return lambda record: {"text": f"{(record['earlier']['a'] / 0.3048 + offset_ft - 5600) / 550:.1f} min"}

    answers = (
        (schedule, {"option": "none"}, minutes_from(-200)),
        ("right", {"option": "none"}, minutes_from(0)),
        ("pass", {"option": "none"}, minutes_from(0)),
    )
    instructor, _, assignment, works = done(kinds_db, clock, ("asked-as-scenario",), answers)
    assert [[row[1] for row in grades(kinds_db, work)] for work in works] == [
        ["miss", "full", "full"], ["full", "full", "full"], ["pass", "full", "full"],
    ]  # fmt: skip
    folder = kinds_bank.write_kinds_bank(tmp_path / "corrected")
    for file in folder.rglob("*.yaml"):
        file.write_text(
            file.read_text()
            .replace("answer: placard(390*FL)", "answer: schedule(390*FL)")
            .replace("{id: schedule, value: schedule(390*FL), belief: read the schedule}",
                     "{id: placard, value: placard(390*FL), belief: read the placard}")
        )  # fmt: skip
    banks.load(kinds_db, folder, now=clock(), rng=random.Random(4))
    remark(kinds_db, clock, instructor, assignment)
    # Who passed the first part is judged by its key, which is 200 ft lower now: 0.4 min off, more than 0.2 and no more
    # than twice as much.
    assert [[row[1] for row in grades(kinds_db, work) if row[0] == 2] for work in works] == [
        ["full", "full", "full"], ["miss", "full", "full"], ["pass", "full", "part"],
    ]  # fmt: skip


class TestRelease:
    """The release of feedback is respected."""

    def test_before_the_release_nobody_is_told_and_memory_knows_nothing(self, bank_db, clock, correct):
        """After closing the new mark is the one that is shown, with its history."""
        instructor, students, assignment, works = done(bank_db, clock, feedback="after closing")
        correct(*LEFT_BUS)
        assert remark(bank_db, clock, instructor, assignment) == 2
        assert notices.listed(bank_db, students[1]) == []
        asked = handed_in.questions_of(bank_db, works[1])[0]
        assert homework.question(bank_db, students[1], works[1], asked, now=clock()).view.feedback is None

        clock.advance(days=8)
        shown = homework.question(bank_db, students[1], works[1], asked, now=clock()).view
        assert (shown.feedback.outcome, shown.feedback.key_shown) == ("full", "the left bus")
        assert same_as_replayed(bank_db, clock, students[1])


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
class TestRefused:
    """Who may, and what it takes."""

    def test_others_are_told_it_is_not_there(self, bank_db, clock):
        """A student of the group; a place that there is not."""
        instructor, students, assignment, _ = done(bank_db, clock)
        for by, place in ((students[0], 1), (instructor, 2)):
            with pytest.raises(NotFoundError):
                remarking.look(bank_db, by, assignment, place)
            with pytest.raises(NotFoundError):
                remark(bank_db, clock, by, assignment, how="void", place=place)

    @pytest.mark.parametrize(
        ("changes", "reference"),
        [({"why": " "}, "remark-why"), ({"how": "full marks"}, "remark-how"), ({"why": "x" * 1001}, "text-too-long")],
    )
    def test_without_a_reason_or_a_way(self, bank_db, clock, changes, reference):
        """Nothing is written."""
        instructor, _, assignment, works = done(bank_db, clock)
        with pytest.raises(InputError) as refused:
            remark(bank_db, clock, instructor, assignment, **({"how": "void"} | changes))
        assert refused.value.reference == reference
        assert len(grades(bank_db, works[0])) == 1

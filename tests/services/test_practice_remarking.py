"""Practice re-marked when a reviewer says fixed: marks worked by hand, memory, notices, and what the reviewer sees."""

from __future__ import annotations

import random

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, banks, housekeeping, notices, practice, practice_remarking, squawk_steps, squawks
from quizsvc.store.tables import Answer, ConceptState, Grade, Question
from tests import factories, kinds_bank
from tests.services import assigned, handed_in
from tests.services.drills import answer, start
from tests.services.test_answers import same_as_replayed
from tests.services.test_remarking import BUS, LEFT_BUS

LEVEL, LEAK = "highest-level-mental", "gate-slow-leak"
WHY = "The dump switch hangs on the left bus since modification 12."
on_sqlite = pytest.mark.parametrize("backend", ["sqlite"], indirect=True)


@pytest.fixture
def reviewer(bank_db, clock):
    """Who says fixed."""
    return assigned.add_person(bank_db, clock, "Wenna Ostrander", roles=("reviewer",))


@pytest.fixture
def asks(bank_db, clock):
    """Asks somebody new an item in practice; returns the person and the question."""
    made = iter(range(1, 100))

    def ask(item=BUS, roles=("pilot",)):
        number = next(made)
        person = assigned.add_person(bank_db, clock, f"Pilot {number:02d}", roles=roles)
        drill = start(bank_db, clock, random.Random(number), person, minutes=200)
        return person, next(one.id for one in drill.questions if one.item == item)

    return ask


@pytest.fixture
def answered(bank_db, clock, asks):
    """Somebody new answers an item in practice; returns the person and the question."""

    def given(raw, item=BUS):
        person, question = asks(item)
        raw = raw(handed_in.record_of(bank_db, question)) if callable(raw) else raw
        answer(bank_db, clock, person, question, raw)
        return person, question

    return given


def dispute(db, clock, person, question):
    return squawks.raise_squawk(db, person, question, "The key is wrong.", now=clock()).id


def fix(db, clock, by, squawk, text=WHY, seen=0, status="fixed"):
    squawk_steps.add_step(db, by, squawk, status=status, text=text, seen=seen, now=clock())


def grades(db, question):
    """Every grade of a question's first answer: number, outcome, credit, why, by."""
    with db.reading() as session:
        rows = session.execute(
            sa.select(Grade.number, Grade.outcome, Grade.credit, Grade.why, Grade.graded_by)
            .join(Answer, Answer.id == Grade.answer_id)
            .where(Answer.question_id == question, sa.not_(Answer.again))
            .order_by(Grade.number)
        )
        return [tuple(row) for row in rows]


def outcomes(db, question):
    return [row[1] for row in grades(db, question)]


def told(db, person):
    return [(one.text, one.path) for one in notices.listed(db, person) if "re-marked" in one.text]


def seen_by(db, by, squawk):
    return squawk_steps.detail(db, by, squawk).practice


class TestByTheCorrectedText:
    """The test bank keys the essential bus; the corrected text keys the left one."""

    def test_marks_memory_and_notices(self, bank_db, clock, correct, reviewer, answered):
        """Who had the old key loses it, who had the new one gains it, a pass stays one; each saw a wrong key."""
        old, new, passed = (answered(raw) for raw in ({"option": "ess"}, {"option": "left"}, {"pass": True}))
        squawk = dispute(bank_db, clock, *new)
        clock.advance(days=1)
        correct(*LEFT_BUS)
        assert seen_by(bank_db, reviewer, squawk) == practice_remarking.PracticeView(
            "corrected", 2, None, asked=False, done=False, people=None
        )
        fix(bank_db, clock, reviewer, squawk)

        assert grades(bank_db, old[1]) == [(1, "full", 1, None, None), (2, "miss", 0, WHY, reviewer)]
        assert grades(bank_db, new[1]) == [(1, "miss", 0, None, None), (2, "full", 1, WHY, reviewer)]
        assert grades(bank_db, passed[1]) == [(1, "pass", 0, None, None), (2, "pass", 0, WHY, reviewer)]
        for person, _ in (old, new, passed):
            assert told(bank_db, person) == [(practice_remarking.NOTICE, "/account/re-marks")]
            assert same_as_replayed(bank_db, clock, person)
        shown = practice.question_view(bank_db, *new, now=clock())
        assert (shown.feedback.outcome, shown.feedback.key_shown) == ("full", "the left bus")
        [mine] = practice_remarking.own(bank_db, new[0])
        assert [(one.outcome, one.credit, one.by, one.why) for one in mine.lines] == [
            ("miss", 0.0, None, None), ("full", 1.0, "Wenna Ostrander", WHY),
        ]  # fmt: skip
        again = accounts.export_own(bank_db, new[0], now=clock())["re_marks"]
        assert [(one["number"], one["outcome"], one["credit"], one["why"]) for one in again] == [
            (1, "miss", 0.0, None), (2, "full", 1.0, WHY),
        ]  # fmt: skip

    def test_memory_no_longer_holds_the_miss(self, bank_db, clock, correct, reviewer, answered):
        """What a right answer would have left in memory is what is there; another item's answer is not touched."""
        person, question = answered({"option": "left"})
        twin, _ = answered({"option": "ess"})

        def hold(who):
            with bank_db.reading() as session:
                return session.scalars(sa.select(ConceptState.state).where(ConceptState.person_id == who)).one()

        right_then = hold(twin)
        assert hold(person) != right_then
        squawk = dispute(bank_db, clock, person, question)
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        assert hold(person) == right_then

    @on_sqlite
    def test_on_the_numbers_that_each_had_drawn(self, bank_db, clock, correct, reviewer, answered):
        """The faulty text adds 2,000 ft to the level; by hand, the right answer is 2,000 ft below the stored key."""
        correct(("answer: rate * minutes", "answer: rate * minutes + 2000*ft"))
        right_in_truth = [
            answered(lambda record: {"text": f"{record['key'] / 0.3048 - 2000:.0f} ft"}, LEVEL) for _ in range(2)
        ]
        by_the_key = answered(lambda record: {"text": f"{record['key'] / 0.3048:.0f} ft"}, LEVEL)
        keys = {handed_in.record_of(bank_db, question)["key"] for _, question in (*right_in_truth, by_the_key)}
        assert len(keys) > 1  # own numbers
        squawk = dispute(bank_db, clock, *by_the_key)
        correct()
        fix(bank_db, clock, reviewer, squawk, "2,000 ft too much.")
        for _, question in right_in_truth:
            assert outcomes(bank_db, question) == ["miss", "full"]
        assert outcomes(bank_db, by_the_key[1]) == ["full", "miss"]

    @on_sqlite
    def test_a_correction_that_was_faulty_itself(self, bank_db, clock, correct, reviewer, answered):
        """First the left bus, then the right one: what the first correction judged is judged again by the second."""
        first = answered({"option": "left"})
        squawk = dispute(bank_db, clock, *first)
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        clock.advance(days=1)
        second = answered({"option": "right"})
        squawk = dispute(bank_db, clock, *second)
        correct(
            LEFT_BUS[0],
            ("- {id: right, text: the right bus}", "- {id: right, text: the right bus, key: true}"),
        )
        fix(bank_db, clock, reviewer, squawk, "It is the right bus.")
        assert outcomes(bank_db, first[1]) == ["miss", "full", "miss"]
        assert outcomes(bank_db, second[1]) == ["miss", "full"]
        practice_remarking.go_on(bank_db, now=clock())
        assert len(outcomes(bank_db, first[1])) == 3

    @on_sqlite
    def test_a_text_of_which_only_words_have_changed_tells_nobody(self, bank_db, clock, correct, reviewer, answered):
        """Each gets the grade by the new text; no mark and no key is another, so there is nothing to be told."""
        person, question = answered({"option": "left"})
        squawk = dispute(bank_db, clock, person, question)
        correct(("Which bus feeds the dump switch?", "Which of the buses feeds the dump switch?"))
        fix(bank_db, clock, reviewer, squawk, "Reworded.")
        assert outcomes(bank_db, question) == ["miss", "miss"]
        assert told(bank_db, person) == []


class TestVoid:
    """Where it cannot be judged again."""

    def test_another_draw_block(self, bank_db, clock, correct, reviewer, answered):
        """The minutes are drawn in other steps: full and miss both count for nothing, and memory forgets them."""
        people = [answered(raw, LEVEL) for raw in (lambda one: {"text": f"{one['key'] / 0.3048} ft"}, {"pass": True})]
        squawk = dispute(bank_db, clock, *people[0])
        correct(("minutes: {from: 4 min, to: 12 min, step: 1 min}", "minutes: {from: 4 min, to: 12 min, step: 2 min}"))
        view = seen_by(bank_db, reviewer, squawk)
        assert (view.how, view.because) == ("void", "its 'draw' block has changed")
        fix(bank_db, clock, reviewer, squawk)
        assert [outcomes(bank_db, question) for _, question in people] == [["full", "void"], ["pass", "void"]]
        for person, _ in people:
            assert same_as_replayed(bank_db, clock, person)
            with bank_db.reading() as session:
                assert session.scalars(sa.select(ConceptState).where(ConceptState.person_id == person)).all() == []

    @on_sqlite
    def test_an_item_that_is_out_of_the_bank_for_good(self, bank_db, clock, correct, reviewer, answered):
        """Its text says withdrawn, and no other one stands in its place."""
        person, question = answered({"option": "left"})
        squawk = dispute(bank_db, clock, person, question)
        fix(bank_db, clock, reviewer, squawk)
        assert outcomes(bank_db, question) == ["miss"]  # nothing to judge by yet
        head, _, rest = factories.AIRCRAFT_ITEMS.partition(f"item: {BUS}\n")
        assert "status: live" in rest
        correct((f"item: {BUS}\n{rest}", f"item: {BUS}\n{rest.replace('status: live', 'status: withdrawn', 1)}"))
        practice_remarking.go_on(bank_db, now=clock())
        assert outcomes(bank_db, question) == ["miss", "void"]
        assert head

    @on_sqlite
    def test_what_was_void_already_stays_as_it_is(self, bank_db, clock, correct, reviewer, asks):
        """Withdrawn before the answer arrived: it counts for nothing by whatever text."""
        person, question = asks()
        by, own = asks(roles=("instructor",))
        squawk = dispute(bank_db, clock, by, own)  # consequence 3: withdraws the item
        answer(bank_db, clock, person, question, {"option": "left"})
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        assert outcomes(bank_db, question) == ["void"]


class TestGoneOnWith:
    """An interruption, a text loaded later, an answer sent late; and nothing twice."""

    def test_cut_off_in_the_middle(self, bank_db, clock, correct, reviewer, answered):
        """The process ends while it writes the third of five people: two are done; going on does three, once."""
        people = [answered({"option": "left"}) for _ in range(5)]
        squawk = dispute(bank_db, clock, *people[0])
        correct(*LEFT_BUS)
        written = iter(range(1, 100))

        def end_at_the_third(_connection, _cursor, statement, *_rest):
            if statement.startswith("INSERT INTO grade") and next(written) == 3:
                raise KeyboardInterrupt

        sa.event.listen(bank_db.engine, "before_cursor_execute", end_at_the_third)
        try:
            with pytest.raises(KeyboardInterrupt):
                fix(bank_db, clock, reviewer, squawk)
        finally:
            sa.event.remove(bank_db.engine, "before_cursor_execute", end_at_the_third)
        assert [len(outcomes(bank_db, question)) for _, question in people] == [2, 2, 1, 1, 1]
        view = seen_by(bank_db, reviewer, squawk)
        assert (view.asked, view.done, view.people) == (True, False, None)

        squawk_steps.go_on(bank_db, reviewer, squawk, now=clock.advance(minutes=5))
        for _ in range(2):
            assert [outcomes(bank_db, question) for _, question in people] == [["miss", "full"]] * 5
            assert [len(told(bank_db, person)) for person, _ in people] == [1] * 5
            practice_remarking.go_on(bank_db, now=clock.advance(days=1))
        assert all(same_as_replayed(bank_db, clock, person) for person, _ in people)

    @on_sqlite
    def test_many_people_are_done_in_pieces(self, bank_db, clock, correct, reviewer, answered, monkeypatch):
        """Two at once, of five."""
        monkeypatch.setattr(practice_remarking, "AT_ONCE", 2)
        people = [answered({"option": "left"}) for _ in range(5)]
        squawk = dispute(bank_db, clock, *people[0])
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        done = [sum(len(outcomes(bank_db, question)) == 2 for _, question in people)]
        for _ in range(3):
            squawk_steps.go_on(bank_db, reviewer, squawk, now=clock())
            done.append(sum(len(outcomes(bank_db, question)) == 2 for _, question in people))
        assert done == [2, 4, 5, 5]

    @on_sqlite
    def test_the_text_is_loaded_after_the_word_and_an_answer_comes_later_still(
        self, bank_db, clock, correct, reviewer, answered, asks
    ):
        """Each time the daily tidying does what is there to do."""
        early = answered({"option": "left"})
        person, question = asks()
        squawk = dispute(bank_db, clock, *early)
        fix(bank_db, clock, reviewer, squawk)
        assert seen_by(bank_db, reviewer, squawk).how is None
        clock.advance(days=1)
        correct(*LEFT_BUS)
        housekeeping.tidy_once_a_day(bank_db, now=clock.advance(days=1))
        assert outcomes(bank_db, early[1]) == ["miss", "full"]
        # Asked before the correction: judged by the text that was asked, until the next tidying.
        answer(bank_db, clock, person, question, {"option": "left"})
        assert outcomes(bank_db, question) == ["miss"]
        housekeeping.tidy_once_a_day(bank_db, now=clock.advance(days=1))
        assert outcomes(bank_db, question) == ["miss", "full"]
        # Another text of the item later changes nothing of what was carried out.
        correct(*LEFT_BUS, ("Which bus feeds the dump switch?", "Which of the buses feeds the dump switch?"))
        housekeeping.tidy_once_a_day(bank_db, now=clock.advance(days=1))
        assert outcomes(bank_db, question) == ["miss", "full"]
        assert outcomes(bank_db, early[1]) == ["miss", "full"]


class TestWho:
    """Whose word it takes, and what they are told."""

    @on_sqlite
    def test_it_takes_a_reviewer_and_their_word_still_standing(self, bank_db, clock, correct, reviewer, answered):
        """An instructor's fixed leaves practice alone; so does a reviewer's who has said deferred since."""
        instructor = assigned.add_person(bank_db, clock, "Odalys Brandt", roles=("instructor",))
        person, question = answered({"option": "left"})
        squawk = dispute(bank_db, clock, person, question)
        fix(bank_db, clock, reviewer, squawk)
        fix(bank_db, clock, reviewer, squawk, status="deferred", seen=1)
        correct(*LEFT_BUS)
        practice_remarking.go_on(bank_db, now=clock())
        assert outcomes(bank_db, question) == ["miss"]
        other = dispute(bank_db, clock, *answered({"pass": True}))
        fix(bank_db, clock, instructor, other)
        practice_remarking.go_on(bank_db, now=clock())
        assert outcomes(bank_db, question) == ["miss"]
        for who in (instructor, person):
            with pytest.raises(NotFoundError):
                squawk_steps.go_on(bank_db, who, squawk, now=clock())

    @on_sqlite
    @pytest.mark.parametrize(("count", "said"), [(4, None), (5, 5)])
    def test_a_number_only_of_five_people_or_more(self, bank_db, clock, correct, reviewer, answered, count, said):
        """And no name, no answer, no question of anybody."""
        people = [answered({"option": "left"}) for _ in range(count)]
        squawk = dispute(bank_db, clock, *people[0])
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        view = seen_by(bank_db, reviewer, squawk)
        assert (view.done, view.people) == (True, said)
        assert "Pilot" not in repr(view) and not any(question in repr(view) for _, question in people)

    @on_sqlite
    def test_homework_is_left_to_its_instructor(self, bank_db, clock, correct, reviewer, answered):
        """The same item, asked in an assignment."""
        _, students, assignment = handed_in.school(bank_db, clock, (BUS,), students=1)
        work = handed_in.do(bank_db, clock, students[0], assignment, [{"option": "left"}])
        squawk = dispute(bank_db, clock, *answered({"option": "left"}))
        correct(*LEFT_BUS)
        fix(bank_db, clock, reviewer, squawk)
        [asked] = handed_in.questions_of(bank_db, work)
        assert outcomes(bank_db, asked) == ["miss"]


@on_sqlite
def test_of_a_scenario_nothing_is_re_marked_before_its_last_part(kinds_db, clock, tmp_path):
    """The corrected text keys what the old one had as a trap, 200 ft lower; the answer was that. By hand: full then."""
    reviewer = assigned.add_person(kinds_db, clock, "Wenna Ostrander", roles=("reviewer",))
    person = assigned.add_person(kinds_db, clock, "Pilot 01")
    drill = start(kinds_db, clock, random.Random(3), person, minutes=200)
    with kinds_db.reading() as session:
        parts = session.scalars(
            sa.select(Question.id)
            .where(Question.person_id == person, Question.item_id == "asked-as-scenario")
            .order_by(Question.position)
        ).all()
    assert drill and len(parts) == 3
    trap = handed_in.record_of(kinds_db, parts[0])["traps"][0]["value"]
    answer(kinds_db, clock, person, parts[0], {"text": f"{trap / 0.3048:.0f} ft"})
    squawk = dispute(kinds_db, clock, person, parts[0])
    folder = kinds_bank.write_kinds_bank(tmp_path / "corrected")
    for file in folder.rglob("*.yaml"):
        file.write_text(
            file.read_text()
            .replace("answer: placard(390*FL)", "answer: schedule(390*FL)")
            .replace("{id: schedule, value: schedule(390*FL), belief: read the schedule}",
                     "{id: placard, value: placard(390*FL), belief: read the placard}")
        )  # fmt: skip
    banks.load(kinds_db, folder, now=clock(), rng=random.Random(4))
    fix(kinds_db, clock, reviewer, squawk)
    assert outcomes(kinds_db, parts[0]) == ["miss"]
    for part in parts[1:]:
        answer(kinds_db, clock, person, part, {"pass": True})
    practice_remarking.go_on(kinds_db, now=clock.advance(days=1))
    assert [outcomes(kinds_db, part) for part in parts] == [["miss", "full"], ["pass", "pass"], ["pass", "pass"]]
    assert same_as_replayed(kinds_db, clock, person)

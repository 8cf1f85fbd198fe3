"""The answer spread: counted by hand, unnamed, not below five people, fixed when nobody can hand in any more."""

import random
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.physics.units import from_si
from quizsvc.services import answer_spread, bench, homework, homework_release, remarking
from quizsvc.store.tables import Allowance, Assignment
from tests.bank.right_answers import right_answer
from tests.kinds_bank import BY_KIND
from tests.services import assigned, handed_in

ITEMS = ("gate-slow-leak", "controller-dead-what-holds", "cabin-from-differential")


def sea_level_trap(record):
    """The value of the first trap, as somebody types it."""
    return {"text": repr(from_si(record["traps"][0]["value"], record["unit"]))}


def class_of_six(db, clock, **rules):
    """Six students answer three items; what each one gave stands here."""
    instructor, students, assignment = handed_in.school(db, clock, ITEMS, **rules)
    answers = [
        [{"option": "ten"}, {"options": ["heads", "thumb"]}, "right"],
        [{"option": "shifted"}, {"options": ["heads"]}, "right"],
        [{"option": "shifted"}, {"options": ["heads", "rate"]}, sea_level_trap],
        [{"option": "never"}, {"options": ["rate", "legs"]}, sea_level_trap],
        [{"option": "ten"}, {"options": ["heads", "thumb"]}, "wrong"],
        ["pass", {"options": ["heads", "thumb"]}, "pass"],
    ]
    for student, given in zip(students, answers, strict=True):
        handed_in.do(db, clock, student, assignment, given)
    return instructor, students, assignment


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
class TestCounts:
    """What is counted, by hand from the answers above."""

    def test_options_with_their_words_and_beliefs(self, bank_db, clock):
        """Two chose the key, two the shifted warning, one the silent one; one passed."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        leak = view.questions[0]
        assert [(one["id"], one["text"], one["key"], one["belief"], one["count"]) for one in leak["options"]] == [
            ("ten", "10,000 ft cabin", True, None, 2),
            ("shifted", "13,400 ft cabin", False, "the high setting alone moves the warning", 2),
            ("never", "not before the masks", False, "a high-field regime has no warning", 1),
        ]
        assert leak["outcomes"] == {"full": 2, "part": 0, "miss": 3, "pass": 1, "void": 0}
        assert leak["beliefs"] == []

    def test_several_options_are_counted_one_by_one(self, bank_db, clock):
        """heads five times, thumb three, rate two, legs one."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert {one["id"]: one["count"] for one in view.questions[1]["options"]} == {
            "heads": 5, "thumb": 3, "rate": 2, "legs": 1,
        }  # fmt: skip

    def test_traps_of_numbers_in_words_and_the_stem_without_anybodys_numbers(self, bank_db, clock):
        """Two fell into the first trap; each had other numbers, so the stem shows none."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        number = answer_spread.spread(bank_db, instructor, assignment, now=clock()).questions[2]
        assert number["beliefs"] == [{"belief": "took it off sea-level pressure", "count": 2}]
        assert number["stem"] == "Level …, differential …. Cabin altitude?"
        assert number["outcomes"]["full"] == 2 and number["outcomes"]["miss"] == 3

    def test_weakest_concepts_first(self, bank_db, clock):
        """H-GATE and P-DIFF 2 of 6; C-FAIL: full 3, one of two keys 0.5, one hit and one false 0, none 0: 3.5 of 6."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert [(one.id, round(one.share, 6)) for one in view.weakest] == [
            ("P-DIFF", round(2 / 6, 6)), ("H-GATE", round(2 / 6, 6)), ("C-FAIL", round(3.5 / 6, 6)),
        ]  # fmt: skip

    def test_no_name_and_no_number_of_a_person_is_in_it(self, bank_db, clock):
        """The stored summary holds counts; nobody's name, nor the id of any work."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        answer_spread.spread(bank_db, instructor, assignment, now=clock())
        with bank_db.reading() as session:
            text = str(session.get(Assignment, assignment).summary)
        assert "'people': 6" in text
        assert "Student" not in text and "person_id" not in text and "work" not in text


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
class TestKinds:
    """Rows, plots and parts: what other kinds are answered with."""

    def test_each_kind_is_counted_by_its_rows_or_options(self, kinds_db, clock):
        """Five people answer everything right: every option that is a key and every row has five."""
        items = [f"asked-as-{kind}" for kind in BY_KIND if kind != "say"]
        instructor, students, assignment = handed_in.school(kinds_db, clock, items, students=5)
        questions = len(items) + 2  # the scenario has three parts
        for student in students:
            handed_in.do(kinds_db, clock, student, assignment, [right_answer] * questions)
        view = answer_spread.spread(kinds_db, instructor, assignment, now=clock())
        assert len(view.questions) == questions
        for question in view.questions:
            assert question["outcomes"]["full"] == 5, question["item"]
            assert all(option["count"] == 5 * option["key"] for option in question["options"]), question["item"]
            assert all(row["right"] == 5 and row["wrong"] == [] for row in question["rows"]), question["item"]
        by_kind = {question["kind"]: question for question in view.questions if question["part"] is None}
        assert {kind for kind, one in by_kind.items() if one["options"]} == {"one", "some", "profile", "gauge"}
        assert {kind for kind, one in by_kind.items() if one["rows"]} == {"order", "match", "still-works", "gauge"}
        assert [question["part"] for question in view.questions if question["part"]] == ["a", "b", "c"]
        # Only still-works items are about a failure that the bench can show.
        about = [question for question in view.questions if question["bench"]]
        assert [question["kind"] for question in about] == ["still-works"]
        # The test bank's item fails the left generator with the tie open; the bench knows that state.
        state = about[0]["bench"]
        assert state == {"fail": ["L_GEN", "TIE"], "switches": {}}
        bench.bench(kinds_db, about[0]["folder"], bench.Asked(fail=tuple(state["fail"]), switches=state["switches"]))

    def test_wrong_rows_in_words(self, kinds_db, clock):
        """Everybody matches the first thing on the left with the outcome that is right for another."""
        instructor, students, assignment = handed_in.school(kinds_db, clock, ["asked-as-match"], students=5)

        def first_wrong(record):
            pairs = dict(record["pairs"])
            left = next(iter(pairs))
            pairs[left] = next(right for right in pairs.values() if right != pairs[left])
            return {"pairs": pairs}

        for student in students:
            handed_in.do(kinds_db, clock, student, assignment, [first_wrong])
        rows = answer_spread.spread(kinds_db, instructor, assignment, now=clock()).questions[0]["rows"]
        assert [row["right"] for row in rows] == [0] + [5] * (len(rows) - 1)
        assert [wrong["count"] for wrong in rows[0]["wrong"]] == [5]
        assert rows[0]["wrong"][0]["given"]


class TestFewAndFixed:
    """Never below five people; fixed once."""

    def test_four_people_have_no_summary(self, bank_db, clock):
        """Only how many they are."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS, students=4)
        for student in students:
            handed_in.do(bank_db, clock, student, assignment, ["right"] * 3)
        clock.advance(days=8)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert view.too_few and view.people == 4
        assert view.questions == () and view.statistics is None and view.weakest == ()

    def test_nothing_is_told_while_somebody_can_still_hand_in(self, bank_db, clock):
        """Five of six have handed in, a day before closing. What arrives in the closing's second still counts, so the
        summary is fixed with the next one."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS)
        for student in students[:5]:
            handed_in.do(bank_db, clock, student, assignment, ["right"] * 3)
        clock.advance(days=6)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert view.fixed_at is None and view.questions == ()
        assert view.over_at == clock.at + timedelta(days=1, seconds=1)
        clock.advance(days=1)
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()).fixed_at is None
        clock.advance(seconds=1)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert view.fixed_at == clock() and view.people == 5

    def test_with_more_than_one_try_it_waits_for_the_closing(self, bank_db, clock):
        """All are in, but each could try again; the last try handed in is the one that is counted."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1], students=5, tries=2)
        for student in students:
            handed_in.do(bank_db, clock, student, assignment, ["wrong"])
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()).fixed_at is None
        handed_in.do(bank_db, clock, students[0], assignment, ["right"])
        clock.advance(days=8)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert view.people == 5
        assert view.questions[0]["outcomes"] == {"full": 1, "part": 0, "miss": 4, "pass": 0, "void": 0}

    def test_what_is_fixed_stays(self, bank_db, clock):
        """A second look says the same, with the time of the first."""
        instructor, _, assignment = class_of_six(bank_db, clock)
        first = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        clock.advance(days=30)
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()) == first

    def test_nobody_waits_for_who_is_excused(self, bank_db, clock):
        """Five of six are in and the sixth is excused."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1])
        for student in students[:5]:
            handed_in.do(bank_db, clock, student, assignment, ["right"])
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()).fixed_at is None
        with bank_db.writing() as session:
            session.add(
                Allowance(
                    assignment_id=assignment, person_id=students[5], what="excused", reason="Ill.", taken_back=False,
                    given_at=clock(),
                )
            )  # fmt: skip
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()).fixed_at == clock()

    def test_who_hands_in_after_it_was_fixed_is_never_counted(self, bank_db, clock):
        """Not by a re-mark either: the two summaries would tell what the sixth had chosen."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1])
        for student in students[:5]:
            handed_in.do(bank_db, clock, student, assignment, [{"option": "ten"}])
        clock.advance(days=8)
        answer_spread.spread(bank_db, instructor, assignment, now=clock())
        with bank_db.writing() as session:
            session.add(
                Allowance(
                    assignment_id=assignment, person_id=students[5], what="extension", reason="Ill.", taken_back=False,
                    until_at=clock() + timedelta(days=2), given_at=clock(),
                )
            )  # fmt: skip
        clock.advance(days=1)
        handed_in.do(bank_db, clock, students[5], assignment, [{"option": "never"}])
        remarking.remark(bank_db, instructor, assignment, 1, how="void", why="Faulty.", revision=None, now=clock())
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert view.people == 5 and view.questions[0]["answers"] is None
        with bank_db.reading() as session:
            assert "'never', 'text'" not in str(session.get(Assignment, assignment).summary)

    def test_what_is_taken_back_is_fixed_as_it_stands(self, bank_db, clock):
        """Nobody can hand in any more."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1])
        for student in students[:5]:
            handed_in.do(bank_db, clock, student, assignment, ["right"])
        with bank_db.writing() as session:
            session.get(Assignment, assignment).state = "taken back"
        assert answer_spread.spread(bank_db, instructor, assignment, now=clock()).people == 5


class TestJobAlone:
    """The daily settling fixes what is over, without any page."""

    def job(self, db, clock):
        """Runs it; returns when the only assignment was summed and what the summary holds."""
        homework_release.settle_all(db, now=clock())
        with db.reading() as session:
            found = session.scalars(sa.select(Assignment)).one()
            return found.summed_at, found.summary

    def test_when_the_closing_and_every_extension_have_passed(self, bank_db, clock):
        """Five of six, by hand: two chose ten, two shifted, one never; the sixth has until the day after."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1])
        for student, option in zip(students, ("ten", "ten", "shifted", "shifted", "never"), strict=False):
            handed_in.do(bank_db, clock, student, assignment, [{"option": option}])
        with bank_db.writing() as session:
            session.add(
                Allowance(
                    assignment_id=assignment, person_id=students[5], what="extension", reason="Ill.", taken_back=False,
                    until_at=clock() + timedelta(days=8), given_at=clock(),
                )
            )  # fmt: skip
        clock.advance(days=7, hours=1)  # closed an hour ago
        assert self.job(bank_db, clock) == (None, None)
        clock.advance(days=1)
        fixed_at, summary = self.job(bank_db, clock)
        assert fixed_at == clock() and summary["people"] == 5
        assert {one["id"]: one["count"] for one in summary["questions"][0]["options"]} == {
            "ten": 2, "shifted": 2, "never": 1,
        }  # fmt: skip

        clock.advance(days=3)
        assert self.job(bank_db, clock) == (fixed_at, summary)
        view = answer_spread.spread(bank_db, instructor, assignment, now=clock())
        assert (view.fixed_at, view.people) == (fixed_at, 5)
        assert view.questions[0]["options"] == summary["questions"][0]["options"]

    @pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
    def test_a_sitting_that_nobody_handed_in_is_counted(self, bank_db, clock):
        """Five sat and closed the page with one question open; the service hands in, and then counts."""
        _, students, assignment = handed_in.school(
            bank_db, clock, ITEMS[:1], students=5, sitting_minutes=30, feedback="after closing"
        )
        for student in students:
            homework.begin(bank_db, student, assignment, now=clock(), rng=random.Random(student))
        clock.advance(days=8)
        _, summary = self.job(bank_db, clock)
        assert summary["people"] == 5
        assert homework_release.settle_all(bank_db, now=clock()) == 0

    @pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
    def test_a_draft_is_never_summed(self, bank_db, clock):
        """Its times have passed, and nobody was ever asked."""
        handed_in.school(bank_db, clock, ITEMS[:1], students=5, released=False)
        clock.advance(days=30)
        assert self.job(bank_db, clock) == (None, None)


class TestWhose:
    """Only who instructs the group."""

    def test_others_are_told_it_is_not_there(self, bank_db, clock):
        """A student of the group, an instructor of another, and somebody with the part but not the role."""
        instructor, students, assignment = handed_in.school(bank_db, clock, ITEMS)
        other = assigned.add_person(bank_db, clock, "Rufio Castellane", roles=("instructor",))
        assigned.add_group(bank_db, clock, name="Umber intake", instructors=[other])
        for person in (students[0], other):
            with pytest.raises(NotFoundError) as refused:
                answer_spread.spread(bank_db, person, assignment, now=clock())
            assert refused.value.reference == "assignment-not-found"
        with pytest.raises(NotFoundError):
            answer_spread.spread(bank_db, instructor, assignment + 1, now=clock())

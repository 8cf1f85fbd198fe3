"""Drawing a work: own numbers apart, common numbers alike, one try drawn once."""

from __future__ import annotations

import pytest

from quizsvc.services import works
from quizsvc.store import assignments as stored
from quizsvc.store import questions
from quizsvc.store.tables import CommonDraw, Question, Work
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.drills import count


@pytest.fixture
def two(bank_db, clock):
    """Two students of one group, and the group."""
    students = [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]
    return students, add_group(bank_db, clock, students=students)


def drawn(db, clock, rng, assignment_id, person_id, number=1, **more):
    """Draw a try; returns its id and its questions."""
    with db.writing() as session:
        work = works.draw(session, stored.by_id(session, assignment_id), person_id, number, clock(), rng, **more)
        session.flush()
        return work.id, questions.shown_of_work(session, work.id)


class TestOwnNumbers:
    """Everybody's own."""

    def test_questions_are_written_sealed_in_their_places(self, bank_db, clock, rng, two):
        """One question a place, in order, sealed, of the revision of the place."""
        (ada, _), group = two
        assignment = add_assignment(bank_db, clock, group, ["essential-bus-feeds", "highest-level-mental"])

        work_id, rows = drawn(bank_db, clock, rng, assignment, ada)

        assert [(row.place, row.item_id, row.sealed, row.reason) for row in rows] == [
            (1, "essential-bus-feeds", True, "homework"),
            (2, "highest-level-mental", True, "homework"),
        ]
        assert {row.work_id for row in rows} == {work_id}

    def test_nobody_has_the_numbers_of_another(self, bank_db, clock, rng, two):
        """Seven rates by nine times are 63 draws; 20 works draw 20 different ones."""
        (ada, bo), group = two
        assignment = add_assignment(bank_db, clock, group, ["highest-level-mental"], tries=10)
        shown = [
            drawn(bank_db, clock, rng, assignment, person, number)[1][0].drawn
            for number in range(1, 11)
            for person in (ada, bo)
        ]

        assert len({(one["rate"]["shown"], one["minutes"]["shown"]) for one in shown}) == 20

    def test_a_try_is_drawn_once(self, bank_db, clock, rng, two):
        """The second call gives the first one's work."""
        (ada, _), group = two
        assignment = add_assignment(bank_db, clock, group, ["highest-level-mental"])

        first = drawn(bank_db, clock, rng, assignment, ada)
        again = drawn(bank_db, clock, rng, assignment, ada)

        assert again[0] == first[0]
        assert count(bank_db, Work) == count(bank_db, Question) == 1

    def test_what_was_prepared_is_what_is_drawn(self, bank_db, clock, rng, two):
        """The numbers of `prepare`."""
        (ada, _), group = two
        assignment = add_assignment(bank_db, clock, group, ["highest-level-mental"])
        with bank_db.reading() as session:
            prepared = works.prepare(session, stored.by_id(session, assignment), ada, rng)

        _, rows = drawn(bank_db, clock, rng, assignment, ada, prepared=prepared)

        assert rows[0].drawn == prepared[1][0].drawn


class TestCommonNumbers:
    """The same for all, for class work."""

    def test_all_have_the_same_and_the_next_try_has_others(self, bank_db, clock, rng, two):
        """Numbers and the order of options agree between persons; the second try has new numbers."""
        (ada, bo), group = two
        items = ["essential-bus-feeds", "highest-level-mental"]
        assignment = add_assignment(bank_db, clock, group, items, numbers="common", tries=2)

        first, second = (
            [drawn(bank_db, clock, rng, assignment, person, number)[1] for person in (ada, bo)] for number in (1, 2)
        )

        for one, other in (first, second):
            assert [(row.drawn, row.option_order) for row in one] == [(row.drawn, row.option_order) for row in other]
        assert first[0][1].drawn != second[0][1].drawn
        assert count(bank_db, CommonDraw) == 4

    def test_no_try_has_the_numbers_of_an_earlier_one(self, bank_db, clock, rng, two):
        """Each by another person, who has had none of them: 25 tries of 63 draws."""
        (ada, _), group = two
        assignment = add_assignment(bank_db, clock, group, ["highest-level-mental"], numbers="common", tries=10)
        people = [ada, *(add_person(bank_db, clock, f"Student {number}") for number in range(24))]

        shown = [
            drawn(bank_db, clock, rng, assignment, person, number)[1][0].drawn
            for number, person in enumerate(people, 1)
        ]

        assert len({(one["rate"]["shown"], one["minutes"]["shown"]) for one in shown}) == 25


class TestScenario:
    """Parts share a place."""

    @pytest.mark.parametrize("numbers", ["own", "common"])
    def test_parts_share_the_place_and_a_chain_of_their_own(self, kinds_db, clock, rng, numbers):
        """Three parts in one place under one chain, which is another person's never."""
        students = [add_person(kinds_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]
        group = add_group(kinds_db, clock, students=students)
        items = ["asked-as-scenario", "asked-as-number"]
        assignment = add_assignment(kinds_db, clock, group, items, numbers=numbers)

        rows = [drawn(kinds_db, clock, rng, assignment, person)[1] for person in students]

        for ones in rows:
            assert [(row.place, row.part) for row in ones] == [(1, "a"), (1, "b"), (1, "c"), (2, None)]
            assert [row.position for row in ones] == [1, 2, 3, 4]
            assert len({row.chain for row in ones if row.part}) == 1
        assert rows[0][0].chain != rows[1][0].chain

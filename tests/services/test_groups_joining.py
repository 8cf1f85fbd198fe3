"""Codes of groups, and what becomes of those who come by one."""

from __future__ import annotations

import random
import threading
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import accounts, groups, joining
from quizsvc.store.tables import Membership, RollEntry
from tests.services import school


@pytest.fixture
def teacher(bank_db, clock):
    """Somebody with the role of an instructor."""
    return school.instructor(bank_db, now=clock())


@pytest.fixture
def number(bank_db, clock, teacher):
    """A group of theirs."""
    return school.group(bank_db, teacher, now=clock())


def code(db, by, number, now, seed=1):
    """A new code."""
    return joining.make_code(db, by, number, rng=random.Random(seed), now=now)


class TestCodes:
    def test_a_code_has_eight_characters_that_nobody_confuses(self, bank_db, clock, teacher, number):
        """Issue: 8 characters; without 0, O, 1, I and L. Of 50 codes each is another."""
        made = {code(bank_db, teacher, number, clock(), seed) for seed in range(50)}

        assert len(made) == 50
        assert all(len(one) == 8 and one.isalnum() and one.isupper() and one.isascii() for one in made)
        assert not set("".join(made)) & set("0O1IL")

    def test_it_opens_for_seven_days(self, bank_db, clock, teacher, number):
        """Issue: 7 days; to the second."""
        made, at = code(bank_db, teacher, number, clock()), clock()
        joining.door(bank_db, None, made, now=at + timedelta(days=7, seconds=-1))
        with pytest.raises(NotFoundError):
            joining.door(bank_db, None, made, now=at + timedelta(days=7))

        assert joining.code_of(bank_db, teacher, number, now=at).expires_at == at + timedelta(days=7)
        assert joining.code_of(bank_db, teacher, number, now=at + timedelta(days=7)).code is None

    def test_a_new_one_ends_the_earlier_one_and_the_instructor_can_end_it(self, bank_db, clock, teacher, number):
        """An ended code and one that was never made look alike."""
        student = school.person(bank_db, "Anna", now=clock())
        first = code(bank_db, teacher, number, clock(), 1)
        second = code(bank_db, teacher, number, clock(), 2)
        assert joining.door(bank_db, student, second, now=clock()).group == "Third intake"
        with pytest.raises(NotFoundError):
            joining.door(bank_db, student, first, now=clock())
        joining.end_code(bank_db, teacher, number, now=clock())
        said = set()
        for one in (first, second, "22222222"):
            for ask in (joining.door, joining.join):
                with pytest.raises(NotFoundError) as refused:
                    ask(bank_db, student, one, now=clock())
                said.add(str(refused.value))

        assert len(said) == 1
        assert groups.own(bank_db, student) == []

    def test_nobody_else_sees_makes_or_ends_it(self, bank_db, clock, teacher, number):
        """Not a student of the group, not another instructor."""
        made = code(bank_db, teacher, number, clock())
        student = school.person(bank_db, "Anna", now=clock())
        school.joined(bank_db, student, number, by=teacher, now=clock())
        made = joining.code_of(bank_db, teacher, number, now=clock()).code
        for one in (student, school.instructor(bank_db, "Rosmund Achterby", now=clock())):
            with pytest.raises(NotFoundError):
                joining.code_of(bank_db, one, number, now=clock())
            with pytest.raises(NotFoundError):
                code(bank_db, one, number, clock(), 3)
            with pytest.raises(NotFoundError):
                joining.end_code(bank_db, one, number, now=clock())

        assert joining.code_of(bank_db, teacher, number, now=clock()).code == made

    @pytest.mark.parametrize("written", ["ABCD2345", " abcd 2345 ", "abcd-2345", "a b c d 2 3 4 5"])
    def test_it_may_be_typed_in_any_way(self, written):
        """Small letters, blanks, hyphens."""
        assert joining.typed(written) == "ABCD2345"

    @pytest.mark.parametrize(
        "written", ["", " ", "ABCD234", "ABCD23456", "ABCD2340", "ABCDI345", "ÀBCD2345", "x" * 50, "AB\u202eCD2345"]
    )
    def test_what_cannot_be_a_code_says_why(self, written):
        """Too short, too long, a character that no code has."""
        with pytest.raises(InputError) as refused:
            joining.typed(written)

        assert (refused.value.where, bool(refused.value.mend)) == ("code", True)


class TestJoining:
    def test_who_is_not_on_the_roll_waits(self, bank_db, clock, teacher, number):
        """Asked twice is asked once; the group is not theirs yet."""
        student = school.person(bank_db, "Anna", now=clock())
        made = code(bank_db, teacher, number, clock())
        states = [joining.join(bank_db, student, made, now=clock()).state for _ in range(2)]

        assert states == ["waiting", "waiting"]
        assert [(one.name, one.state) for one in groups.own(bank_db, student)] == [("Third intake", "waiting")]
        assert len(groups.view(bank_db, teacher, number).waiting) == 1
        assert joining.door(bank_db, student, made, now=clock()).state == "waiting"

    def test_who_is_on_the_roll_is_in(self, bank_db, clock, teacher, number):
        """At once, and only the person whom the roll means."""
        student, other = (school.person(bank_db, name, now=clock()) for name in ("Anna", "Berta"))
        with bank_db.writing() as session:
            session.add_all(
                [
                    RollEntry(group_id=number, name="Anna", name_key="anna", person_id=student, imported_at=clock()),
                    # Whoever this meant has left the service; the name alone lets nobody in.
                    RollEntry(group_id=number, name="Berta", name_key="berta", person_id=None, imported_at=clock()),
                ]
            )
        made = code(bank_db, teacher, number, clock())

        assert joining.join(bank_db, student, made, now=clock()).state == "in"
        assert joining.join(bank_db, other, made, now=clock()).state == "waiting"

    def test_a_person_without_a_name_signs_up_first(self, bank_db, clock, teacher, number):
        """An instructor could not know them."""
        nobody = accounts.begin_anonymous(bank_db, device="phone", time_zone="UTC", now=clock()).person.id
        with pytest.raises(ConflictError, match="without a name"):
            joining.join(bank_db, nobody, code(bank_db, teacher, number, clock()), now=clock())

        assert groups.own(bank_db, nobody) == []

    def test_ten_taps_at_once_are_one(self, bank_db, clock, teacher, number):
        """Threads that join at the same moment leave one membership and no error."""
        student = school.person(bank_db, "Anna", now=clock())
        made, at = code(bank_db, teacher, number, clock()), clock()
        states, faults = [], []

        def join():
            try:
                states.append(joining.join(bank_db, student, made, now=at).state)
            except Exception as fault:
                faults.append(fault)

        threads = [threading.Thread(target=join) for _ in range(10)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        with bank_db.reading() as session:
            count = session.scalar(sa.select(sa.func.count()).where(Membership.person_id == student))

        assert (states, faults, count) == (["waiting"] * 10, [], 1)

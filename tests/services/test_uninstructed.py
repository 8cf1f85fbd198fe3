"""A group whose last instructor goes: told before; the head of training names another, and sees no more by it."""

from __future__ import annotations

import pytest

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import accounts, assignments, groups, mark_list, members, notices, uninstructed
from quizsvc.store.tables import Membership
from tests.services import assigned, doing, school


@pytest.fixture
def now(clock):
    """The time of the test."""
    return clock()


@pytest.fixture
def teacher(bank_db, now):
    """The only instructor."""
    return school.instructor(bank_db, now=now)


@pytest.fixture
def head(bank_db, now):
    """A head of training, who has the role of an instructor too."""
    return school.person(bank_db, "Ilse Marrandt", "head of training", "instructor", now=now)


@pytest.fixture
def group(bank_db, teacher, now):
    """Their group."""
    return school.group(bank_db, teacher, now=now)


def names(db, head):
    """The groups that the head of training sees there."""
    return [one.name for one in uninstructed.overview(db, head).groups]


class TestGoing:
    """The last instructor goes."""

    def test_leaving_needs_a_second_word(self, bank_db, teacher, head, group, now):
        """Refused as long as nobody says anyway; then the head of training is told, and what is there stays."""
        with pytest.raises(ConflictError, match="nobody else instructs Third intake"):
            members.leave(bank_db, teacher, group, now=now)
        assert names(bank_db, head) == []
        members.leave(bank_db, teacher, group, anyway=True, now=now)

        assert names(bank_db, head) == ["Third intake"]
        assert [(one.text, one.path) for one in notices.listed(bank_db, head)] == [
            ("Nobody instructs the group Third intake now.", "/training/groups")
        ]
        with pytest.raises(NotFoundError):
            groups.view(bank_db, teacher, group)

    def test_without_a_head_of_training_nobody_could_name_another(self, bank_db, teacher, group, now):
        """So the last one stays."""
        with pytest.raises(ConflictError, match="nobody is head of training"):
            members.leave(bank_db, teacher, group, anyway=True, now=now)

        assert groups.view(bank_db, teacher, group).instructors == ("Tobiah Quenley",)

    def test_one_of_two_leaves_as_before(self, bank_db, teacher, head, group, now):
        """Nobody is told."""
        second = school.instructor(bank_db, "Rosmund Achterby", now=now)
        number = school.joined(bank_db, second, group, by=teacher, now=now)
        members.give_part(bank_db, teacher, group, number, "instructor", now=now)
        assert uninstructed.only_instructed_by(bank_db, teacher) == ()
        members.leave(bank_db, teacher, group, now=now)

        assert (names(bank_db, head), notices.listed(bank_db, head)) == ([], [])
        assert uninstructed.only_instructed_by(bank_db, second) == ("Third intake",)

    @pytest.mark.parametrize("way", ["by oneself", "by the command"])
    @pytest.mark.parametrize("homework", [False, True])
    def test_an_account_that_goes_leaves_it_to_the_head(
        self, bank_db, clock, rng, teacher, head, group, now, way, homework
    ):
        """Whether the row is deleted, or stays blanked because of homework done elsewhere."""
        if homework:
            other = assigned.add_group(bank_db, clock, name="Umber intake", instructors=[head], students=[teacher])
            given = assigned.add_assignment(bank_db, clock, other, ["essential-bus-feeds"])
            doing.begin(bank_db, clock, rng, teacher, given)
        assert uninstructed.only_instructed_by(bank_db, teacher) == ("Third intake",)
        if way == "by oneself":
            accounts.delete_account(bank_db, teacher, now=now)
        else:
            accounts.remove_account(bank_db, "Tobiah Quenley", now=now)

        assert names(bank_db, head) == ["Third intake"]
        assert notices.listed(bank_db, head)[0].text == "Nobody instructs the group Third intake now."


class TestNaming:
    """The head of training names somebody."""

    @pytest.fixture
    def second(self, bank_db, now):
        """Another instructor."""
        return school.instructor(bank_db, "Rosmund Achterby", now=now)

    @pytest.fixture
    def alone(self, bank_db, teacher, head, group, now):
        """The group without its instructor."""
        members.leave(bank_db, teacher, group, anyway=True, now=now)
        return group

    def name(self, db, by, group, person, now):
        """Name."""
        return uninstructed.name_instructor(db, by, group, person, now=now)

    def test_the_person_instructs_it_and_is_told_by_whom(self, bank_db, clock, rng, head, second, alone, now):
        """The membership keeps who named them; the head of training sees neither group, nor assignment, nor marks."""
        given = assigned.add_assignment(bank_db, clock, alone, ["essential-bus-feeds"])
        assert uninstructed.overview(bank_db, head).instructors[0] == (second, "Rosmund Achterby")
        assert self.name(bank_db, head, alone, second, now) == ("Rosmund Achterby", "Third intake")

        assert [(one.text, one.path) for one in notices.listed(bank_db, second)] == [
            ("You instruct the group Third intake: Ilse Marrandt, head of training, has named you.", f"/groups/{alone}")
        ]
        assert groups.view(bank_db, second, alone).part == "instructor"
        mark_list.mark_list(bank_db, second, given, now=now)
        with bank_db.reading() as session:
            row = session.query(Membership).filter_by(person_id=second).one()
            assert (row.part, row.state, row.decided_by, row.joined_at) == ("instructor", "in", head, now)
        for look in (
            lambda: groups.view(bank_db, head, alone),
            lambda: assignments.view(bank_db, head, given, now=now),
            lambda: mark_list.mark_list(bank_db, head, given, now=now),
        ):
            with pytest.raises(NotFoundError):
                look()
        assert names(bank_db, head) == []

    def test_a_student_of_the_group_or_one_who_waits_becomes_its_instructor(
        self, bank_db, clock, head, second, alone, now
    ):
        """In the same membership: nobody is in a group twice."""
        with bank_db.writing() as session:
            session.add(Membership(group_id=alone, person_id=second, part="student", state="waiting", asked_at=now))
        self.name(bank_db, head, alone, second, now)

        with bank_db.reading() as session:
            row = session.query(Membership).filter_by(person_id=second).one()
            assert (row.part, row.state, row.joined_at) == ("instructor", "in", now)

    def test_one_without_the_role_does_not_count_as_instructor(self, bank_db, head, alone, now):
        """A part in the group alone shows nothing, so the group is still without."""
        pilot = school.person(bank_db, "Nadir Eshvale", now=now)
        with bank_db.writing() as session:
            session.add(Membership(group_id=alone, person_id=pilot, part="instructor", state="in", asked_at=now))

        assert names(bank_db, head) == ["Third intake"]

    def test_oneself_a_pilot_nobody_are_refused(self, bank_db, teacher, head, second, alone, now):
        """Nothing changes; the head of training is not in the list either."""
        pilot = school.person(bank_db, "Nadir Eshvale", now=now)
        for person, words in ((head, "does not name themselves"), (pilot, "has the role"), (999, "has the role")):
            with pytest.raises(InputError, match=words):
                self.name(bank_db, head, alone, person, now)

        assert names(bank_db, head) == ["Third intake"]
        assert [name for _, name in uninstructed.overview(bank_db, head).instructors] == [
            "Rosmund Achterby",
            "Tobiah Quenley",
        ]

    def test_not_where_somebody_instructs(self, bank_db, teacher, head, second, group, now):
        """Their group is theirs."""
        with pytest.raises(ConflictError, match="somebody instructs Third intake"):
            self.name(bank_db, head, group, second, now)

    def test_nobody_else_may(self, bank_db, teacher, head, second, alone, now):
        """Nor see the list; and a group that is not there is not found."""
        for who in (teacher, second):
            with pytest.raises(NotFoundError):
                self.name(bank_db, who, alone, second, now)
            with pytest.raises(NotFoundError):
                uninstructed.overview(bank_db, who)
        with pytest.raises(NotFoundError):
            self.name(bank_db, head, 999, second, now)

"""Groups: who may make, see and change them, and what leaving leaves behind."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import accounts, groups, joining, members, notices, school_access
from quizsvc.store import people
from quizsvc.store.tables import Group, Membership, OneTimeLink, RollEntry
from tests.services import school

FORM = groups.GroupForm(name="Third intake", time_zone="Europe/Lisbon")


@pytest.fixture
def teacher(bank_db, clock):
    """Somebody with the role of an instructor."""
    return school.instructor(bank_db, now=clock())


def rows(db, table, *where):
    """What a table holds."""
    with db.reading() as session:
        return list(session.scalars(sa.select(table).where(*where)))


class TestMaking:
    def test_an_instructor_makes_a_group_and_instructs_it(self, bank_db, clock, teacher):
        """An intake with its days, its zone, its aircraft, as chosen."""
        number = school.group(
            bank_db,
            teacher,
            "  Third\u00a0 intake ",
            now=clock(),
            starts_on=date(2026, 3, 2),
            ends_on=date(2026, 3, 2),
            aircraft=("tolquenny-19",),
        )
        seen = groups.view(bank_db, teacher, number)

        assert (seen.name, seen.time_zone, seen.part) == ("Third intake", "Europe/Lisbon", "instructor")
        assert (seen.starts_on, seen.ends_on, seen.aircraft) == (date(2026, 3, 2), date(2026, 3, 2), ("tolquenny-19",))
        assert [(one.name, one.part, one.state) for one in seen.members] == [("Tobiah Quenley", "instructor", "in")]

    def test_nobody_else_makes_one(self, bank_db, clock):
        """Not a pilot, not a keeper, not a head of training: it is as if there were no such page."""
        for name, role in (("Anna", "pilot"), ("Berta", "keeper"), ("Carla", "head of training")):
            with pytest.raises(NotFoundError):
                groups.make(bank_db, school.person(bank_db, name, role, now=clock()), FORM, now=clock())

        assert rows(bank_db, Group) == []

    @pytest.mark.parametrize(
        ("field", "form"),
        [
            ("name", {"name": "  "}),
            ("name", {"name": "..."}),
            ("name", {"name": "x" * 101}),
            ("name", {"name": "a\u202eb"}),
            ("time_zone", {"time_zone": "Mars/Olympus"}),
            ("time_zone", {"time_zone": "../../etc/passwd"}),
            ("starts_on", {"ends_on": date(2026, 3, 2)}),
            ("ends_on", {"starts_on": date(2026, 3, 2)}),
            ("ends_on", {"starts_on": date(2026, 3, 2), "ends_on": date(2026, 3, 1)}),
            ("starts_on", {"starts_on": date(1999, 12, 31), "ends_on": date(2026, 3, 1)}),
            ("aircraft", {"aircraft": ("no-such",)}),
        ],
    )
    def test_a_field_that_cannot_be_taken(self, bank_db, clock, teacher, field, form):
        """The error names it, for a new group and for a change; nothing is kept."""
        number = school.group(bank_db, teacher, "Another", now=clock())
        wrong = groups.GroupForm(**({"name": "Third intake", "time_zone": "UTC"} | form))
        with pytest.raises(InputError) as refused:
            groups.make(bank_db, teacher, wrong, now=clock())
        with pytest.raises(InputError):
            groups.change(bank_db, teacher, number, wrong)

        assert refused.value.where == field
        assert [one.name for one in rows(bank_db, Group)] == ["Another"]

    def test_two_groups_have_two_names(self, bank_db, clock, teacher):
        """Capitals make no difference; a group keeps its own name when it is changed."""
        number = school.group(bank_db, teacher, now=clock())
        with pytest.raises(ConflictError) as taken:
            school.group(bank_db, teacher, "THIRD INTAKE", now=clock())
        groups.change(bank_db, teacher, number, groups.GroupForm("Third Intake", "Asia/Tokyo"))

        assert taken.value.where == "name"
        assert [(one.name, one.time_zone) for one in rows(bank_db, Group)] == [("Third Intake", "Asia/Tokyo")]


class TestWhoSees:
    def test_each_sees_what_is_theirs(self, bank_db, clock, teacher):
        """The instructor the people; a student the group without them; everybody else as if it were not there."""
        number = school.group(bank_db, teacher, now=clock())
        student = school.person(bank_db, "Jory Sablecott", now=clock())
        school.joined(bank_db, student, number, by=teacher, now=clock())
        waiting = school.person(bank_db, "Aluna Dreywick", now=clock())
        joining.join(bank_db, waiting, joining.code_of(bank_db, teacher, number, now=clock()).code, now=clock())
        strangers = [
            waiting,
            school.instructor(bank_db, "Rosmund Achterby", now=clock()),
            school.person(bank_db, "Ilse Marrandt", "head of training", "keeper", now=clock()),
        ]
        own = groups.view(bank_db, student, number)

        assert [one.name for one in groups.view(bank_db, teacher, number).students] == ["Jory Sablecott"]
        assert (own.part, own.members, own.waiting, own.gone) == ("student", (), (), ())
        assert own.instructors == ("Tobiah Quenley",)
        for stranger in strangers:
            with pytest.raises(NotFoundError) as foreign:
                groups.view(bank_db, stranger, number)
            with pytest.raises(NotFoundError) as unknown:
                groups.view(bank_db, stranger, number + 1)
            assert str(foreign.value) == str(unknown.value)

    def test_the_part_counts_only_with_the_role(self, bank_db, clock, teacher):
        """A group's instructor who loses the role instructs nothing; the role alone opens no group."""
        number = school.group(bank_db, teacher, now=clock())
        other = school.instructor(bank_db, "Rosmund Achterby", now=clock())
        with bank_db.writing() as session:
            people.set_roles(session, teacher, ["pilot"])
        with bank_db.reading() as session:
            assert not school_access.instructs(session, teacher, number)
            assert not school_access.instructs(session, other, number)
            assert school_access.member(session, teacher, number) is not None

        with pytest.raises(NotFoundError):
            groups.change(bank_db, teacher, number, FORM)
        assert groups.view(bank_db, teacher, number).members == ()

    @pytest.mark.parametrize("number", [0, -1, 2**63, 2**200, True, None, "1"])
    def test_a_number_that_no_group_has(self, bank_db, clock, teacher, number):
        """Not found, never the database's own words."""
        with pytest.raises(NotFoundError):
            groups.view(bank_db, teacher, number)


class TestPeople:
    @pytest.fixture
    def number(self, bank_db, clock, teacher):
        """A group."""
        return school.group(bank_db, teacher, now=clock())

    def test_a_yes_or_no_is_told_and_stays_as_it_is(self, bank_db, clock, teacher, number):
        """The same word again changes nothing; the other word comes too late."""
        code = joining.make_code(bank_db, teacher, number, rng=school.RNG, now=clock())
        ids = [school.person(bank_db, name, now=clock()) for name in ("Anna", "Berta")]
        for one in ids:
            joining.join(bank_db, one, code, now=clock())
        anna, berta = (one.number for one in groups.view(bank_db, teacher, number).waiting)
        for _ in range(2):
            members.answer(bank_db, teacher, number, anna, accept=True, now=clock())
            members.answer(bank_db, teacher, number, berta, accept=False, now=clock())
        with pytest.raises(ConflictError):
            members.answer(bank_db, teacher, number, berta, accept=True, now=clock())

        assert [one.name for one in groups.view(bank_db, teacher, number).students] == ["Anna"]
        assert [one.text for one in notices.listed(bank_db, ids[0])] == ["You are in the group Third intake."]
        assert [one.text for one in notices.listed(bank_db, ids[1])] == ["The group Third intake did not take you in."]

    def test_who_leaves_keeps_the_history_and_may_join_again(self, bank_db, clock, teacher, number):
        """Two memberships, the first with both its times."""
        student = school.person(bank_db, "Anna", now=clock())
        school.joined(bank_db, student, number, by=teacher, now=clock())
        came, left = clock(), clock.advance(days=30)
        members.leave(bank_db, student, number, now=left)
        gone = groups.view(bank_db, teacher, number).gone
        with pytest.raises(NotFoundError):
            groups.view(bank_db, student, number)
        with pytest.raises(NotFoundError):
            members.leave(bank_db, student, number, now=clock())
        school.joined(bank_db, student, number, by=teacher, now=clock.advance(days=1))

        assert [(one.name, one.joined_at, one.left_at) for one in gone] == [("Anna", came, left)]
        assert groups.view(bank_db, teacher, number).gone == ()
        kept = rows(bank_db, Membership, Membership.person_id == student)
        assert sorted((one.joined_at, one.left_at, one.state) for one in kept if one.left_at) == [(came, left, "left")]
        assert sum(one.state == "in" for one in kept) == 1

    def test_who_is_taken_out_needs_a_yes_to_come_back(self, bank_db, clock, teacher, number):
        """Their name goes from the roll."""
        student = school.person(bank_db, "Anna", now=clock())
        with bank_db.writing() as session:
            session.add(
                RollEntry(group_id=number, name="Anna", name_key="anna", person_id=student, imported_at=clock())
            )
        code = joining.make_code(bank_db, teacher, number, rng=school.RNG, now=clock())
        first = joining.join(bank_db, student, code, now=clock())
        own = groups.view(bank_db, teacher, number).students[0].number
        members.remove(bank_db, teacher, number, own, now=clock())
        second = joining.join(bank_db, student, code, now=clock())

        assert (first.state, second.state) == ("in", "waiting")
        assert rows(bank_db, RollEntry) == []

    def test_a_group_is_never_without_an_instructor(self, bank_db, clock, teacher, number):
        """The last one neither leaves nor is taken out nor gives the part up, until another has it."""
        own = groups.view(bank_db, teacher, number).members[0].number
        second = school.instructor(bank_db, "Rosmund Achterby", now=clock())
        theirs = school.joined(bank_db, second, number, by=teacher, now=clock())
        for refused in (
            lambda: members.leave(bank_db, teacher, number, now=clock()),
            lambda: members.remove(bank_db, teacher, number, own, now=clock()),
            lambda: members.give_part(bank_db, teacher, number, own, "student", now=clock()),
        ):
            with pytest.raises(ConflictError, match="nobody else instructs"):
                refused()
        members.give_part(bank_db, teacher, number, theirs, "instructor", now=clock())
        members.leave(bank_db, teacher, number, now=clock())

        assert groups.view(bank_db, second, number).instructors == ("Rosmund Achterby",)

    def test_the_part_needs_the_role(self, bank_db, clock, teacher, number):
        """A pilot is not made an instructor by one."""
        pilot = school.person(bank_db, "Anna", now=clock())
        own = school.joined(bank_db, pilot, number, by=teacher, now=clock())
        with pytest.raises(ConflictError, match="has not the role"):
            members.give_part(bank_db, teacher, number, own, "instructor", now=clock())

        assert [one.part for one in groups.view(bank_db, teacher, number).students] == ["student"]

    def test_another_groups_people_are_out_of_reach(self, bank_db, clock, teacher, number):
        """A membership's number of elsewhere is not found, whoever asks, and nothing changes."""
        other = school.instructor(bank_db, "Rosmund Achterby", now=clock())
        elsewhere = school.group(bank_db, other, "Line pilots", now=clock())
        student = school.person(bank_db, "Anna", now=clock())
        own = school.joined(bank_db, student, elsewhere, by=other, now=clock())
        for by, group_id in ((teacher, number), (teacher, elsewhere), (other, number), (student, elsewhere)):
            for act in (
                lambda **at: members.answer(bank_db, **at, accept=True),
                lambda **at: members.remove(bank_db, **at),
                lambda **at: members.give_part(bank_db, **at, part="instructor"),
                lambda **at: members.make_member_link(bank_db, **at),
            ):
                with pytest.raises(NotFoundError):
                    act(person_id=by, group_id=group_id, number=own, now=clock())

        assert [one.name for one in groups.view(bank_db, other, elsewhere).students] == ["Anna"]
        assert rows(bank_db, OneTimeLink) == []


class TestLinks:
    def test_a_student_gets_a_link_and_is_told(self, bank_db, clock, teacher):
        """It works once, for a day; the one before has ended."""
        number = school.group(bank_db, teacher, now=clock())
        student = school.person(bank_db, "Anna", now=clock())
        own = school.joined(bank_db, student, number, by=teacher, now=clock())
        _, first = members.make_member_link(bank_db, teacher, number, own, now=clock())
        name, second = members.make_member_link(bank_db, teacher, number, own, now=clock())
        seen = accounts.look_at_link(bank_db, second, now=clock() + timedelta(hours=23, minutes=59))

        assert name == seen.name == "Anna"
        for secret, at in ((first, clock()), (second, clock() + timedelta(hours=24))):
            with pytest.raises(NotFoundError):
                accounts.look_at_link(bank_db, secret, now=at)
        told = "An instructor of Third intake made a one-time link for a new password of yours."
        assert told in {one.text for one in notices.listed(bank_db, student)}

    @pytest.mark.parametrize("role", ["instructor", "head of training", "reviewer", "keeper"])
    def test_no_instructor_gets_into_an_account_that_can_do_more(self, bank_db, clock, teacher, role):
        """A keeper in a class of one's own stays out of reach."""
        number = school.group(bank_db, teacher, now=clock())
        student = school.person(bank_db, "Anna", "pilot", role, now=clock())
        own = school.joined(bank_db, student, number, by=teacher, now=clock())
        with pytest.raises(ConflictError, match="more than a pilot's"):
            members.make_member_link(bank_db, teacher, number, own, now=clock())

        assert rows(bank_db, OneTimeLink) == []


def test_notices_stay_new_until_they_are_seen(bank_db, clock):
    """Looking changes nothing; what came after the page was made stays new; nobody sees another's."""
    one, other = (school.person(bank_db, name, now=clock()) for name in ("Anna", "Berta"))
    for text in ("first", "second"):
        with bank_db.writing() as session:
            notices.tell(session, one, text, now=clock())
    seen = notices.listed(bank_db, one)
    with bank_db.writing() as session:
        notices.tell(session, one, "third", now=clock())
        notices.tell(session, other, "not yours", now=clock())
    newest = max(notice.number for notice in seen)
    notices.mark_seen(bank_db, one, newest, now=clock())

    assert [(notice.text, notice.new) for notice in seen] == [("second", True), ("first", True)]
    assert [(n.text, n.new) for n in notices.listed(bank_db, one)] == [
        ("third", True), ("second", False), ("first", False),
    ]  # fmt: skip
    assert (notices.count_new(bank_db, one), notices.count_new(bank_db, other)) == (1, 1)

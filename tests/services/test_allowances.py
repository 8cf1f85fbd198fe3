"""Extensions and excuses: the newest counts, and nobody else's times move."""

from __future__ import annotations

from datetime import timedelta

import pytest

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import allowances, homework, homework_release, mark_list, notices
from quizsvc.services.allowances import AllowanceForm
from quizsvc.services.local_times import LocalForm
from quizsvc.store import assignments as stored
from quizsvc.store.tables import Allowance, Work
from tests.services import doing
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.drills import count


@pytest.fixture
def school(bank_db, clock):
    """An instructor, two students, their assignment that closes in a week."""
    teacher = add_person(bank_db, clock, "Rosmund Achterby", ("instructor",))
    students = [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]
    group = add_group(bank_db, clock, instructors=[teacher], students=students, zone="UTC")
    return teacher, students, add_assignment(bank_db, clock, group, ["essential-bus-feeds"])


def give(db, clock, school, student, what="extension", until="2026-03-20T20:00", reason="Ill."):
    """Give one."""
    teacher, students, assignment = school
    form = AllowanceForm(students[student], what, reason, LocalForm(until))
    allowances.give(db, teacher, assignment, form, now=clock())


def standing(db, school):
    """What holds for each student: excused, extended until, closes."""
    _, students, assignment_id = school
    with db.reading() as session:
        assignment = stored.by_id(session, assignment_id)
        found = allowances.standings(session, assignment, students)
        assert [allowances.standing(session, assignment, student) for student in students] == list(found.values())
        return [(one.excused, one.extended_until, one.times.closes_at) for one in found.values()]


def test_the_newest_counts_for_that_person_alone(bank_db, clock, school):
    """Extension, a longer one, an excuse, taken back: then nothing stands, and every row is kept."""
    closes = clock() + timedelta(days=7)
    nothing = (False, None, closes)
    first, second = (clock().replace(day=day, hour=20) for day in (20, 25))

    give(bank_db, clock, school, 0)
    assert standing(bank_db, school) == [(False, first, first), nothing]
    give(bank_db, clock, school, 0, until="2026-03-25T20:00")
    assert standing(bank_db, school) == [(False, second, second), nothing]
    with bank_db.reading() as session:
        assert allowances.extensions(session, school[2]) == [second]
    give(bank_db, clock, school, 0, what="excused", until="")
    assert standing(bank_db, school) == [(True, None, closes), nothing]

    teacher, students, assignment = school
    for _ in range(2):
        allowances.take_back(bank_db, teacher, assignment, students[0], now=clock())
    assert standing(bank_db, school) == [nothing, nothing]
    assert count(bank_db, Allowance) == 4
    assert [line.stands for line in allowances.listed(bank_db, teacher, assignment)] == [False] * 4


def test_the_person_is_told_with_the_reason(bank_db, clock, school):
    """And nobody else is."""
    give(bank_db, clock, school, 1, reason="Simulator slot moved.")
    _, students, assignment = school

    told = [notices.listed(bank_db, student) for student in students]

    assert told[0] == []
    assert [(one.text, one.path) for one in told[1]] == [
        (
            "Extension until 20 Mar 2026, 20:00 (UTC): Bleed air for Monday. Simulator slot moved.",
            f"/homework/{assignment}",
        )
    ]


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"reason": " "}, "reason"),
        ({"reason": "x" * 501}, "reason"),
        ({"until": ""}, "until"),
        ({"until": "2026-03-09T09:00"}, "until"),
        ({"what": "holiday"}, "what"),
    ],
)
def test_what_cannot_be_is_refused(bank_db, clock, school, form, field):
    """No reason, no end, an end at the closing, an unknown word: nothing is stored."""
    with pytest.raises(InputError) as caught:
        give(bank_db, clock, school, 0, **form)

    assert caught.value.where == field
    assert count(bank_db, Allowance) == 0


def test_an_end_in_the_past_is_refused(bank_db, clock, school):
    """After the closing an extension must reach into the time to come."""
    clock.advance(days=20)
    with pytest.raises(InputError, match="past"):
        give(bank_db, clock, school, 0)


def test_only_for_students_of_the_group(bank_db, clock, school):
    """Not for its instructor, not for a stranger; and not by a student."""
    teacher, students, assignment = school
    for who, whom in ((teacher, teacher), (teacher, 999), (students[0], students[1])):
        with pytest.raises(NotFoundError):
            allowances.give(bank_db, who, assignment, AllowanceForm(whom, "excused", "Ill."), now=clock())
        with pytest.raises(NotFoundError):
            allowances.take_back(bank_db, who, assignment, whom, now=clock())
    with pytest.raises(NotFoundError):
        allowances.listed(bank_db, students[0], assignment)


class TestASittingUnderWay:
    """A Sitting of 40 minutes begun at the factory's hour, 2 March 2026, 09:00 UTC: it ends 09:40."""

    @pytest.fixture
    def sitting(self, bank_db, clock, school):
        """Teacher, students and a Sitting; it closes in a week."""
        teacher, students, given = school
        with bank_db.writing() as session:
            group = stored.by_id(session, given).group_id
        assert clock().isoformat() == "2026-03-02T09:00:00+00:00"
        return teacher, students, add_assignment(bank_db, clock, group, ["essential-bus-feeds"], sitting_minutes=40)

    def begin(self, db, clock, rng, sitting):
        """The first student begins."""
        return doing.begin(db, clock, rng, sitting[1][0], sitting[2])

    def end(self, db, work):
        """When it ends, `HH:MM:SS`, and whether it is handed in."""
        with db.reading() as session:
            found = session.get(Work, work.id)
            return found.ends_at.strftime("%H:%M:%S"), found.handed_in_at is not None

    def told(self, db, sitting):
        """The newest notice of the student."""
        return notices.listed(db, sitting[1][0])[0].text

    def test_an_extension_is_its_new_end_and_answers_count_to_a_minute_after(self, bank_db, clock, rng, sitting):
        """Given half an hour in, to 10:10, long before the closing; 10:11:00 is taken, 10:11:01 is not."""
        work = self.begin(bank_db, clock, rng, sitting)
        clock.advance(minutes=30)
        assert [
            one.strftime("%H:%M") for one in allowances.sittings(bank_db, sitting[0], sitting[2], now=clock()).values()
        ] == ["09:40"]
        give(bank_db, clock, sitting, 0, until="2026-03-02T10:10")

        assert self.end(bank_db, work) == ("10:10:00", False)
        assert self.told(bank_db, sitting) == (
            "Your Sitting now ends 2 Mar 2026, 10:10 (UTC): Bleed air for Monday. Ill."
        )
        clock.advance(minutes=41)  # 10:11:00
        question = work.questions[0].id
        doing.save(bank_db, clock, sitting[1][0], work, question, doing.right(bank_db, question))
        assert homework_release.settle_all(bank_db, now=clock()) == 0
        clock.advance(seconds=1)
        with pytest.raises(ConflictError):
            doing.save(bank_db, clock, sitting[1][0], work, question, {"pass": True}, version=2)
        assert homework_release.settle_all(bank_db, now=clock()) == 1
        assert self.end(bank_db, work) == ("10:10:00", True)
        assert doing.grades(bank_db, work) == [(1, "full")]

    def test_before_it_begins_a_later_closing_no_longer_cuts_it(self, bank_db, clock, rng, sitting):
        """Closing 9 March 09:00; begun 08:50 with an extension to 09:15 it ends then, another's at the closing."""
        give(bank_db, clock, sitting, 0, until="2026-03-09T09:15")
        clock.advance(days=6, hours=23, minutes=50)
        ends = [self.end(bank_db, doing.begin(bank_db, clock, rng, student, sitting[2]))[0] for student in sitting[1]]

        assert ends == ["09:15:00", "09:00:00"]

    @pytest.mark.parametrize("until", ["2026-03-02T09:40", "2026-03-02T09:39"])
    def test_one_that_does_not_lengthen_it_is_refused(self, bank_db, clock, rng, sitting, until):
        """At its end or before."""
        work = self.begin(bank_db, clock, rng, sitting)
        with pytest.raises(InputError, match="before the Sitting's end, 2 Mar 2026, 09:40"):
            give(bank_db, clock, sitting, 0, until=until)

        assert (self.end(bank_db, work), count(bank_db, Allowance)) == (("09:40:00", False), 0)

    def test_one_that_is_over_is_handed_in_and_stays_so(self, bank_db, clock, rng, sitting):
        """An hour later: there is no Sitting to lengthen, so the extension must be later than the closing."""
        work = self.begin(bank_db, clock, rng, sitting)
        clock.advance(hours=1)
        with pytest.raises(InputError, match="before the closing"):
            give(bank_db, clock, sitting, 0, until="2026-03-02T11:00")

        assert self.end(bank_db, work) == ("09:40:00", True)

    def test_in_its_last_minute_it_can_still_be_lengthened(self, bank_db, clock, rng, sitting):
        """40 s after its end what is on its way counts, so nothing is handed in yet."""
        work = self.begin(bank_db, clock, rng, sitting)
        clock.advance(minutes=40, seconds=40)
        give(bank_db, clock, sitting, 0, until="2026-03-02T10:00")

        assert self.end(bank_db, work) == ("10:00:00", False)

    @pytest.mark.parametrize(("after", "ends"), [(20, "09:40:00"), (50, "09:50:00")])
    def test_taken_back_it_ends_as_before_but_not_before_now(self, bank_db, clock, rng, sitting, after, ends):
        """Taken back at 09:20, and at 09:50 when its own end is past: what was given till then counts."""
        work = self.begin(bank_db, clock, rng, sitting)
        give(bank_db, clock, sitting, 0, until="2026-03-02T10:10")
        clock.advance(minutes=after)
        allowances.take_back(bank_db, sitting[0], sitting[2], sitting[1][0], now=clock())

        assert self.end(bank_db, work) == (ends, False)
        assert self.told(bank_db, sitting) == (
            f"The extension is taken back, your Sitting now ends 2 Mar 2026, {ends[:5]} (UTC): Bleed air for Monday."
        )

    def test_excused_it_is_not_handed_in_for_the_person(self, bank_db, clock, rng, sitting):
        """No mark is made of a Sitting that somebody need not finish; what they wrote stays. Not excused, it is."""
        teacher, students, given = sitting
        work = self.begin(bank_db, clock, rng, sitting)
        doing.fill(bank_db, clock, students[0], work)
        give(bank_db, clock, sitting, 0, what="excused", until="")
        clock.advance(hours=1)

        assert homework_release.settle_all(bank_db, now=clock()) == 0
        row = next(one for one in mark_list.mark_list(bank_db, teacher, given, now=clock()).rows if one.begun_at)
        assert (row.state, row.mark) == ("excused", None)
        assert homework.assignment(bank_db, students[0], given, now=clock()).works[0].open is False

        allowances.take_back(bank_db, teacher, given, students[0], now=clock())
        assert homework_release.settle_all(bank_db, now=clock()) == 1
        assert (self.end(bank_db, work), doing.grades(bank_db, work)) == (("09:40:00", True), [(1, "full")])

    def test_excused_one_can_still_hand_in_what_was_begun(self, bank_db, clock, rng, sitting):
        """Within the time; the mark list shows the mark, and that it was excused."""
        teacher, students, given = sitting
        work = self.begin(bank_db, clock, rng, sitting)
        doing.fill(bank_db, clock, students[0], work)
        give(bank_db, clock, sitting, 0, what="excused", until="")
        doing.hand_in(bank_db, clock, students[0], work)

        row = next(one for one in mark_list.mark_list(bank_db, teacher, given, now=clock()).rows if one.begun_at)
        assert (row.standing, row.mark.shown) == ("excused", "1 of 1")

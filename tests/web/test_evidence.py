"""The evidence sheet as each reader gets it, its files, who may open them, and the head of training's list."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import random

import pytest

from quizsvc.services import accounts, looks, produced_files, sharing
from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Membership, Person
from quizsvc.web.people import COOKIE
from tests.services import assigned, drills, handed_in
from tests.web.pages import on_both

# One item of system 21 high field, one of 21 automatic; the test bank has four systems of the aircraft and three
# general ones (tests/factories.py).
ITEMS = ["gate-slow-leak", "cabin-from-differential"]


class School:
    """An instructor with two students of whom the first has handed in, a head of training, and their browsers."""

    def __init__(self, browsers, db, clock):
        self.browsers, self.db, self.clock = browsers, db, clock
        self.by, (self.student, self.mate), self.given = handed_in.school(db, clock, ITEMS, students=2)
        self.head = assigned.add_person(db, clock, "Imre Fallowmere", roles=("head of training",))
        handed_in.do(db, clock, self.student, self.given, [{"option": "shifted"}, "right"])
        self.sheet = f"/people/{self.student}/evidence"

    def visit(self, person_id):
        """A browser of this person."""
        one = self.browsers()
        with self.db.writing() as session:
            token = open_session(session, session.get(Person, person_id), device="phone", now=self.clock()).token
        one.client.set_cookie(COOKIE, token)
        return one

    def share(self, **switches):
        """The student's switches."""
        sharing.change(self.db, self.student, sharing.Shared(**switches), now=self.clock())


@pytest.fixture
def school(browsers, bank_db, clock):
    """Monday, 2 March 2026, 09:00 UTC: 10:00 in the group's zone."""
    return School(browsers, bank_db, clock)


@on_both
def test_the_head_of_training_gets_dates_coverage_and_homework(school):
    """Counted by hand: two of the concepts asked by the two questions; never what was answered, and no mark."""
    page = school.visit(school.head).get(school.sheet)

    assert "Student 01, as things stand on 2 Mar 2026 (UTC)." in page.text
    for system in ("21 high field", "21 automatic"):
        assert (
            f"{system} Last practised 2 Mar 2026. 1 of 1 concept and 1 item touched. "
            "Expectation: too little to say. Revisions used:" in page.text
        )
    assert "Revisions used: gate-slow-leak 1." in page.text
    assert "24 DC power Never practised. 1 concept." in page.text
    assert "24 DC power: never practised." in page.text
    assert "There is too little practice for an expectation." in page.text
    assert "Handed in 2 Mar 2026, 10:00 (Europe/Zurich). 2 questions." in page.text
    assert "Mark:" not in page.text
    for word in ("shifted", "13,400", "miss", "1 of 2"):
        assert word not in page.html, word
    assert {"C1", "C2", "C4"} <= set(page.cautions)


def test_an_instructor_gets_homework_in_full_and_practice_only_if_shared(school):
    """The two systems of the homework show with the switch, not before; one of two right."""
    instructor = school.visit(school.by)
    page = instructor.get(school.sheet)
    assert "Practice is not shared: this sheet says nothing of it." in page.text
    assert "Last practised" not in page.text and "Never practised" not in page.text
    assert "Mark: 1 of 2." in page.text

    school.share(practice_to_instructors=True)
    assert "21 high field Last practised 2 Mar 2026." in instructor.get(school.sheet).text


def test_homework_of_other_groups_is_not_for_an_instructor(school, bank_db, clock):
    """A student of two groups: each instructor sees that of their own, the head of training both."""
    other = assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",))
    group = assigned.add_group(bank_db, clock, name="Umber line", instructors=[other], students=[school.student])
    assigned.add_assignment(bank_db, clock, group, ITEMS, title="Doors and seals")
    bleed, doors = "Bleed air for Monday", "Doors and seals"
    seen = {
        who: [title for title in (bleed, doors) if title in school.visit(who).get(school.sheet).text]
        for who in (school.by, other, school.head, school.student)
    }

    assert seen == {
        school.by: [bleed], other: [doors], school.head: [bleed, doors], school.student: [bleed, doors]
    }  # fmt: skip


def test_homework_not_handed_in_is_missing(school, clock):
    """After its closing, a week later; before that it is only not begun."""
    head, sheet = school.visit(school.head), f"/people/{school.mate}/evidence"
    assert "Not begun; closing 9 Mar 2026, 10:00 (Europe/Zurich)." in head.get(sheet).text
    clock.advance(days=8)
    text = head.get(sheet).text
    assert "Homework “Bleed air for Monday”: not handed in." in text
    assert "Not handed in; closed 9 Mar 2026, 10:00" in text


def test_somebody_of_no_group_has_no_homework(school, bank_db, clock):
    """Which is said as missing, too."""
    alone = assigned.add_person(bank_db, clock, "Pim Holloquist")
    text = school.visit(school.head).get(f"/people/{alone}/evidence").text

    assert "No homework was assigned." in text and "None was assigned." in text


class TestExpectation:
    """What a person's own screen says stands in the sheet, unless it is switched off."""

    @pytest.fixture
    def practised(self, school, bank_db, clock):
        """Over 20 answers over 8 concepts on 2 days."""
        for day in range(3):
            drill = drills.start(bank_db, clock, random.Random(day), school.student, minutes=25)
            for number, one in enumerate(drill.questions):
                drills.answer(
                    bank_db,
                    clock,
                    school.student,
                    one.id,
                    drills.right(bank_db, one.id) if number % 3 else {"pass": True},
                )
            clock.advance(days=1)
        return school

    def test_it_is_the_persons_own(self, practised):
        """Word for word the figures of /expectation, with the plausible range; and each system has one of ten."""
        own = practised.visit(practised.student).get("/expectation").text
        figures = own[own.index("expected ") : own.index(".", own.index("expected "))]
        assert "plausible" in figures
        text = practised.visit(practised.head).get(practised.sheet).text
        assert figures in text
        assert text.count("of 10, plausible") == 7

    def test_switched_off_it_is_not_shared(self, practised):
        """No figure anywhere, in no format; dates and coverage stay."""
        practised.share(expectation_to_head=False)
        head = practised.visit(practised.head)
        page = head.get(practised.sheet)
        assert "Expectation: not shared." in page.text and "The expectation is not shared." in page.text
        assert "plausible" not in page.text
        assert "Last practised" in page.text
        found = json.loads(head.client.get(f"{practised.sheet}.json").get_data())
        assert found["expected"] is None and all(one["expectation"] is None for one in found["systems"])
        assert "plausible" not in head.client.get(f"{practised.sheet}.html").get_data(as_text=True)


class TestFiles:
    """A sheet that is handed out is kept."""

    @on_both
    @pytest.mark.parametrize("ending", ["html", "csv", "json"])
    def test_again_gives_the_same_bytes(self, school, clock, ending):
        """On the same day the same file; after more happened another one, and the first still as it was."""
        head = school.visit(school.head)
        first = head.client.get(f"{school.sheet}.{ending}")
        sha256 = hashlib.sha256(first.get_data()).hexdigest()
        assert first.headers["ETag"] == f'"{sha256}"'
        clock.advance(hours=3)
        assert head.client.get(f"{school.sheet}.{ending}").get_data() == first.get_data()
        page = head.get(school.sheet)
        kept = [link for link in page.links if link.startswith("/files/")]
        assert len(kept) == 1 and f"SHA-256 {sha256}" in page.text

        clock.advance(days=9)
        changed = head.client.get(f"{school.sheet}.{ending}")
        assert changed.get_data() != first.get_data()
        again = head.client.get(kept[0])
        assert again.get_data() == first.get_data()
        assert (again.mimetype, again.headers["ETag"]) == (first.mimetype, f'"{sha256}"')
        assert len({link for link in head.get(school.sheet).links if link.startswith("/files/")}) == 2

    def test_the_csv(self, school, bank_db, clock):
        """Cautions first, a line for each system and assignment with C4 again; no cell is a formula."""
        group = assigned.add_group(bank_db, clock, name="=cmd()", instructors=[school.by], students=[school.student])
        assigned.add_assignment(bank_db, clock, group, ITEMS, title="=1+1")
        body = school.visit(school.by).client.get(f"{school.sheet}.csv").get_data().decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(body)))
        head = next(place for place, row in enumerate(rows) if row[0] == "of")
        lines = [dict(zip(rows[head], row, strict=True)) for row in rows[head + 1 :]]
        told = " ".join(row[0] for row in rows[:head])
        for words in ("Not for operational use", "Invented aircraft", "not a check, an endorsement", "not shared"):
            assert words in told
        assert {(one["name"], one["state"], one["mark"], one["last"]) for one in lines} == {
            ("Bleed air for Monday, Ochre intake", "handed in", "1 of 2", "2026-03-02 10:00:00+01:00"),
            ("'=1+1, =cmd()", "not begun", "", ""),
        }
        assert all("not a check, an endorsement" in one["caution"] for one in lines)
        assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "@"))]

    def test_the_json(self, school):
        """The seven systems of the test bank; days as the person has them, times in UTC."""
        response = school.visit(school.head).client.get(f"{school.sheet}.json")
        found = json.loads(response.get_data())
        assert (found["format"], found["name"], found["day"]) == (1, "Student 01", "2026-03-02")
        assert {"C1", "C2", "C4"} <= set(found["cautions"])
        systems = {one["system"]: one for one in found["systems"]}
        assert len(systems) == 7
        assert systems["21 automatic"]["last"] == "2026-03-02"
        assert systems["21 automatic"]["revisions"] == [{"item": "cabin-from-differential", "number": 1}]
        assert systems["24 DC power"]["last"] is None
        (work,) = found["homework"]
        assert (work["state"], work["mark"], work["handed_in_at"]) == ("handed in", None, "2026-03-02T09:00:00+00:00")

    def test_the_sheet_to_print_carries_its_cautions_and_no_script(self, school):
        """Whole in itself: nothing of the visit, no form."""
        html = school.visit(school.head).client.get(f"{school.sheet}.html").get_data(as_text=True)
        for caution in ("C1", "C2", "C4"):
            assert f'data-caution="{caution}"' in html
        for left_out in ("<script", "<form", "csrf", "Imre Fallowmere"):
            assert left_out not in html

    def test_who_opens_which(self, school, bank_db, clock):
        """Each kind for its readers; the instructor's may hold a mark before its release, so it is theirs alone."""
        second = assigned.add_person(bank_db, clock, "Wenna Aldous", roles=("head of training",))
        other = assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",))
        assigned.add_group(bank_db, clock, name="Umber line", instructors=[other], students=[school.student])
        made = {}
        for who in (school.head, school.by, school.student):
            visitor = school.visit(who)
            visitor.client.get(f"{school.sheet}.csv")
            (made[who],) = [link for link in visitor.get(school.sheet).links if link.startswith("/files/")]
        seen = {
            maker: {
                who
                for who in (school.head, second, school.by, other, school.student, school.mate)
                if school.visit(who).client.get(file).status_code == 200
            }
            for maker, file in made.items()
        }

        assert seen == {
            school.head: {school.head, second, school.student},
            school.by: {school.by},
            school.student: {school.student},
        }

    def test_an_instructor_who_no_longer_teaches_them(self, school, bank_db):
        """Neither the sheet nor what was made before."""
        instructor = school.visit(school.by)
        instructor.client.get(f"{school.sheet}.csv")
        file = next(link for link in instructor.get(school.sheet).links if link.startswith("/files/"))
        with bank_db.writing() as session:
            session.query(Membership).filter_by(person_id=school.student).update({"state": "left"})

        assert [instructor.client.get(path).status_code for path in (school.sheet, file)] == [404, 404]

    def test_it_outlives_the_account(self, school, bank_db, clock):
        """Deleted: the page is gone, the head of training's files are listed and open as they were."""
        head, own = school.visit(school.head), school.visit(school.student)
        body = head.client.get(f"{school.sheet}.csv").get_data()
        own.client.get(f"{school.sheet}.csv")
        accounts.delete_account(bank_db, school.student, now=clock())

        assert head.client.get(school.sheet).status_code == 404
        page = head.get("/training")
        assert "Sheets of people who have left Evidence sheet: Student 01, 2 Mar 2026, CSV" in page.text
        (file,) = [link for link in page.links if link.startswith("/files/")]
        assert head.client.get(file).get_data() == body
        assert file in head.get("/training?q=student 01").links
        assert file not in head.get("/training?q=student 02").links

    def test_the_instructors_own_stand_on_the_desk(self, school, bank_db, clock):
        """What was made about somebody who has left opens from there for who made it, and is unknown to others."""
        instructor = school.visit(school.by)
        body = instructor.client.get(f"{school.sheet}.csv").get_data()
        assert "Sheets of people who have left" not in instructor.get("/desk").text
        accounts.delete_account(bank_db, school.student, now=clock())

        page = instructor.get("/desk")
        assert "Sheets of people who have left Evidence sheet: Student 01, 2 Mar 2026, CSV" in page.text
        (file,) = [link for link in page.links if link.startswith("/files/")]
        assert instructor.client.get(file).get_data() == body
        other = assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",))
        for who in (other, school.mate, school.head):
            visitor = school.visit(who)
            foreign, unknown = visitor.client.get(file), visitor.client.get("/files/" + "f" * 32)
            assert (foreign.status_code, foreign.get_data()) == (404, unknown.get_data())
        assert file not in school.visit(other).get("/desk").links

    def test_many_sheets_of_who_has_left(self, school, bank_db, clock):
        """Of 120 the newest hundred; the earlier ones by name. Each is another day's."""
        for number in range(120):
            produced_files.keep(
                bank_db, school.head, what=produced_files.FOR_HEAD, person_id=school.mate,
                title=f"Evidence sheet: Student 02, number {number:03d}", media_type="text/csv", body=b"%d" % number,
                now=clock.advance(minutes=1),
            )  # fmt: skip
        accounts.delete_account(bank_db, school.mate, now=clock())
        head = school.visit(school.head)
        page = head.get("/training")
        assert "120 sheets, the newest 100 here." in page.text
        assert "number 119" in page.text and "number 020" in page.text and "number 019" not in page.text
        assert "number 019" in head.get("/training?q=number 019").text


class TestAccess:
    """Whoever asks for what is not theirs is told the same as for what is not there."""

    def test_only_those_who_may(self, school, bank_db, clock):
        """Head of training, own instructor, the person."""
        elsewhere = assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",))
        assigned.add_group(bank_db, clock, name="Umber line", instructors=[elsewhere])
        for who in (school.mate, elsewhere):
            visitor = school.visit(who)
            for ending in ("", ".html", ".csv", ".json"):
                foreign = visitor.client.get(school.sheet + ending)
                unknown = visitor.client.get(f"/people/987654/evidence{ending}")
                assert (foreign.status_code, foreign.get_data()) == (404, unknown.get_data())
            assert visitor.client.get("/training").status_code == 404
        assert looks.listed(bank_db, school.student) == ()

    def test_each_look_is_noted(self, school):
        """The page, a file, the same file again; one's own looks are none."""
        head, own = school.visit(school.head), school.visit(school.student)
        head.client.get(f"{school.sheet}.csv")
        file = next(link for link in head.get(school.sheet).links if link.startswith("/files/"))
        head.client.get(file)
        school.visit(school.by).get(school.sheet)
        own.get(school.sheet)

        assert sorted((one.by, one.what) for one in looks.listed(school.db, school.student)) == [
            ("Imre Fallowmere", "evidence sheet"),
            ("Imre Fallowmere", "evidence sheet"),
            ("Imre Fallowmere", "evidence sheet made before"),
            ("Odalys Brandt", "evidence sheet"),
        ]

    def test_people_without_a_name_have_no_sheet(self, school, clock):
        """Nor can they look at one of their own."""
        person = drills.begin(school.db, clock).person.id
        assert school.visit(school.head).client.get(f"/people/{person}/evidence").status_code == 404


@on_both
def test_the_list_of_the_head_of_training(school):
    """Everybody with an account, with the last day and how many assignments were handed in; by name or group."""
    head = school.visit(school.head)
    page = head.get("/training")
    text = page.text
    assert {"C1", "C2", "C4"} <= set(page.cautions)
    assert "4 people." in text
    assert "Student 01 Ochre intake. Last practised 2 Mar 2026. Homework handed in: 1." in text
    assert "Student 02 Ochre intake. Never practised. Homework handed in: 0." in text
    assert "Odalys Brandt In no group." in text
    assert "2 people." in head.get("/training?q=OCHRE").text
    assert "1 person." in head.get("/training?q=fallow").text
    assert head.client.get("/training?q=" + "a" * 101).status_code in (400, 422)

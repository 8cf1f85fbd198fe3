"""After the closing, on the instructor's pages: spread, statistics, mark list and its file, re-mark, squawks."""

from __future__ import annotations

import csv
import io
import random
import re

import pytest
import sqlalchemy as sa

from quizsvc.services import accounts, banks, squawks
from quizsvc.services.csv_files import neutral
from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Allowance, Person
from quizsvc.web.people import COOKIE
from tests import factories
from tests.services import assigned, drills, handed_in
from tests.web.pages import Page

ITEMS = ("gate-slow-leak", "cabin-from-differential")
LEAK = [{"option": "ten"}] * 2 + [{"option": "shifted"}] * 3


def signed_in(browsers, db, clock, person_id):
    """A visitor who is this person."""
    one = browsers()
    with db.writing() as session:
        token = open_session(session, session.get(Person, person_id), device="phone", now=clock()).token
    one.client.set_cookie(COOKIE, token)
    one.person = person_id
    return one


@pytest.fixture
def school(browsers, bank_db, clock):
    """Five students have handed in two questions; the instructor, and the address of the assignment."""
    by, students, assignment = handed_in.school(bank_db, clock, ITEMS, students=5)
    for student, leak in zip(students, LEAK, strict=True):
        handed_in.do(bank_db, clock, student, assignment, [leak, "right"])
    instructor = signed_in(browsers, bank_db, clock, by)
    instructor.students, instructor.assignment = students, f"/assignments/{assignment}"
    return instructor


class TestSpread:
    """For the projector."""

    def test_options_beliefs_and_weakest_concepts_in_words(self, school):
        """Two chose the key and three the shifted warning; nobody is named."""
        page = school.get(f"{school.assignment}/spread")
        assert "3 13,400 ft cabin The belief behind it: the high setting alone moves the warning" in page.text
        assert "2 10,000 ft cabin (key)" in page.text
        assert "One gate for cabin and warning: 40 of 100 points" in page.text
        assert "Level …, differential …. Cabin altitude?" in page.text
        assert {"C1", "C2", "C4"} <= set(page.cautions)
        assert "Student" not in page.text

    def test_four_people_are_too_few(self, browsers, bank_db, clock):
        """Neither spread nor statistics; the mark list has their work."""
        by, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1], students=4)
        for student in students:
            handed_in.do(bank_db, clock, student, assignment, [{"option": "shifted"}])
        instructor = signed_in(browsers, bank_db, clock, by)
        for screen in ("spread", "statistics"):
            page = instructor.get(f"/assignments/{assignment}/{screen}")
            assert "Fewer than five people handed in." in page.text
            assert "shifted" not in page.html and "13,400" not in page.text
        assert "Student 01" in instructor.get(f"/assignments/{assignment}/marks").text

    def test_before_the_closing(self, browsers, bank_db, clock):
        """It says from when, in the group's zone: closing at 09:00 UTC is 10:00 in Zurich in March."""
        by, students, assignment = handed_in.school(bank_db, clock, ITEMS[:1], students=6)
        for student in students[:5]:
            handed_in.do(bank_db, clock, student, assignment, [{"option": "shifted"}])
        page = signed_in(browsers, bank_db, clock, by).get(f"/assignments/{assignment}/spread")
        assert "Not fixed yet. It is fixed after 9 Mar 2026, 10:00" in page.text
        assert "13,400" not in page.text


def test_statistics_say_when_data_are_few(school):
    """Five people, two questions: both warnings. All got the second right, so nothing can go with it."""
    page = school.get(f"{school.assignment}/statistics")
    assert "Few people: below 30" in page.text and "Few questions: below ten" in page.text
    assert "Right: 40 in 100 of 5. Mean credit 0.40." in page.text
    assert "With the rest: none." in page.text
    assert {"C1", "C2", "C4"} <= set(page.cautions)


class TestMarks:
    """The mark list and its file."""

    def test_names_states_marks(self, school):
        """By name; two have two of two, three have one."""
        page = school.get(f"{school.assignment}/marks")
        assert "5 of 5 handed in." in page.text
        assert page.text.index("Student 01") < page.text.index("Student 05")
        assert page.text.count("2 of 2.") == 2 and page.text.count("1 of 2.") == 3
        assert {"C1", "C2", "C4"} <= set(page.cautions)

    def test_the_file_has_a_line_for_each_with_its_cautions(self, school):
        """UTF-8 with its mark, points as numbers, times of the group's zone with their offset."""
        response = school.client.get(f"{school.assignment}/marks.csv")
        assert response.headers["Content-Type"].startswith("text/csv")
        rows = list(csv.reader(io.StringIO(response.get_data().decode("utf-8-sig"))))
        head = next(place for place, row in enumerate(rows) if row[0] == "name")
        told = " ".join(row[0] for row in rows[:head])
        for words in ("Not for operational use", "Invented aircraft", "not a check, an endorsement"):
            assert words in told
        lines = [dict(zip(rows[head], row, strict=True)) for row in rows[head + 1 :]]
        assert [(one["name"], one["points"], one["of"], one["question 1"], one["question 2"]) for one in lines] == [
            ("Student 01", "2", "2", "1", "1"), ("Student 02", "2", "2", "1", "1"), ("Student 03", "1", "2", "0", "1"),
            ("Student 04", "1", "2", "0", "1"), ("Student 05", "1", "2", "0", "1"),
        ]  # fmt: skip
        assert lines[0]["handed in"] == "2026-03-02 10:00:00+01:00"
        assert all("not a check, an endorsement" in one["caution"] for one in lines)

    @pytest.mark.parametrize(
        ("text", "cell"),
        [
            ('=HYPERLINK("http://x","y")', '\'=HYPERLINK("http://x","y")'),
            ("+41 79 000", "'+41 79 000"),
            ("-2+3", "'-2+3"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\t=1", "'\t=1"),
            ("-12.5", "-12.5"),
            ("+3", "+3"),
            ("-7", "-7"),
            ("Ng-Okafor", "Ng-Okafor"),
        ],
    )
    def test_a_text_that_a_spreadsheet_would_run(self, text, cell):
        """OWASP, "CSV Injection": cells that begin with = + - @ tab or return; a plain number is none of them."""
        assert neutral(text) == cell

    def test_a_name_like_a_formula_is_neutral_in_the_file(self, school, bank_db):
        """Through the whole way out."""
        with bank_db.writing() as session:
            session.execute(sa.update(Person).where(Person.id == school.students[0]).values(name="=1+1"))
        text = school.client.get(f"{school.assignment}/marks.csv").get_data(as_text=True)
        assert "\r\n'=1+1," in text and "\r\n=1+1," not in text

    def test_one_persons_work_opened(self, school):
        """Answer, key and belief."""
        page = school.get(f"{school.assignment}/marks/{school.students[4]}")
        assert page.heading == "Student 05"
        assert "Answered: 13,400 ft cabin." in page.text and "Key: 10,000 ft cabin" in page.text
        assert "the high setting alone moves the warning" in page.text
        assert {"C1", "C2", "C4"} <= set(page.cautions)

    def test_who_has_left_is_opened_by_another_address(self, school, bank_db, clock):
        """The old one, with the row's number, reads as if nobody had it; no page has the number any more."""
        gone = school.students[4]
        with bank_db.writing() as session:
            given = school.assignment.rpartition("/")[2]
            session.add(
                Allowance(
                    assignment_id=int(given), person_id=gone, what="excused", reason="Ill.", taken_back=False,
                    given_by=school.person, given_at=clock(),
                )
            )  # fmt: skip
        assert school.get(f"{school.assignment}/allowances").html.count('name="take_back"') == 1
        accounts.delete_account(bank_db, gone, now=clock())

        links = school.get(f"{school.assignment}/marks").links
        (address,) = [one for one in links if re.fullmatch(rf"{school.assignment}/marks/[0-9a-f]{{32}}", one)]
        assert school.get(address).heading.startswith("somebody who left the service (")
        assert "This look is noted" not in school.page.text
        assert f"{school.assignment}/marks/{gone}" not in links
        old = school.client.get(f"{school.assignment}/marks/{gone}")
        nobody = school.client.get(f"{school.assignment}/marks/987654321")
        assert (old.status_code, nobody.status_code) == (404, 404)
        assert Page(old.get_data(as_text=True)).text == Page(nobody.get_data(as_text=True)).text
        assert 'name="take_back"' not in school.get(f"{school.assignment}/allowances").html


class TestRemark:
    """From the form to the new marks."""

    def test_by_the_corrected_text(self, school, bank_db, clock, tmp_path):
        """The shifted warning turns out to be right."""
        text = factories.AIRCRAFT_ITEMS.replace('text: "10,000 ft cabin", key: true', 'text: "10,000 ft cabin"')
        text = text.replace(
            'text: "13,400 ft cabin", belief: the high setting alone moves the warning',
            'text: "13,400 ft cabin", key: true',
        )
        folder = factories.write_bank(tmp_path / "corrected", extra={"tolquenny-19/items.yaml": text})
        banks.load(bank_db, folder, now=clock(), rng=random.Random(4))
        path = f"{school.assignment}/places/1/re-mark"
        page = school.get(path)
        assert "revision 2, on the numbers that each person had. 5 of 5 marks change" in page.text

        page = school.send(page.form(path), why="")
        assert school.status == 422 and "The reason is empty" in page.text
        page = school.send(page.form(path), why="Modification 12.")
        assert school.path == f"{school.assignment}/marks"
        assert "5 answers were marked again." in page.text
        assert page.text.count("2 of 2.") == 3 and page.text.count("1 of 2.") == 2
        opened = school.get(f"{school.assignment}/marks/{school.students[0]}").text
        assert "re-marked by Odalys Brandt: Modification 12." in opened

    def test_void(self, school):
        """No corrected text: the page says so, and what was typed stays after a refusal."""
        path = f"{school.assignment}/places/1/re-mark"
        page = school.get(path)
        assert "not possible, no corrected text of it has been loaded" in page.text
        page = school.send(page.form(path), how="corrected", why="The stem is wrong.")
        assert school.status == 422 and "The stem is wrong." in page.html
        school.send(page.form(path), how="void", why="The stem is wrong.")
        assert school.page.text.count("1 of 1, 1 void.") == 5


class TestSquawks:
    """The list and its answers."""

    @pytest.fixture
    def squawk(self, bank_db, clock, rng):
        """A pilot disputes an item; the squawk's address."""
        pilot = assigned.add_person(bank_db, clock, "Pim Holloquist")
        drill = drills.start(bank_db, clock, rng, pilot, minutes=200)
        question = next(one for one in drill.questions if one.item == "gate-slow-leak")
        found = squawks.raise_squawk(bank_db, pilot, question.id, "Both are <b>right</b>.", now=clock())
        return f"/squawks/{found.id}"

    def test_from_the_list_to_fixed(self, school, squawk):
        """Open, then fixed; it stands in the list of the fixed ones. The homework that asks the item is named."""
        page = school.get("/squawks")
        assert squawk in page.links and "Both are <b>right</b>." in page.text
        page = school.get(squawk)
        assert f"{school.assignment}/places/1/re-mark" in page.links
        assert "Pim" not in page.text
        stale = page.form(squawk)
        school.send(stale, status="fixed", text="Reworded.")
        assert "Reworded." in school.page.text
        assert squawk in school.get("/squawks?status=fixed").links
        assert squawk not in school.get("/squawks").links

        page = school.send(stale, status="deferred", text="I disagree.")
        assert school.status == 409
        assert "somebody answered this squawk meanwhile" in page.text.lower() and "I disagree." in page.html

    def test_a_step_without_words(self, school, squawk):
        """Refused, nothing stored."""
        page = school.send(school.get(squawk).form(squawk), status="fixed", text=" ")
        assert school.status == 422 and "So far" not in page.text


def test_what_is_not_theirs_is_not_there(school, browsers, bank_db, clock):
    """A student, an instructor of another group, a head of training: 404 to all, as for an unknown address."""
    other = assigned.add_person(bank_db, clock, "Rufio Castellane", roles=("instructor",))
    assigned.add_group(bank_db, clock, name="Umber intake", instructors=[other])
    head = assigned.add_person(bank_db, clock, "Ilse Vantongeren", roles=("head of training",))
    paths = [
        f"{school.assignment}/{one}"
        for one in ("spread", "statistics", "marks", "marks.csv", f"marks/{school.students[0]}", "places/1/re-mark")
    ]
    for person in (school.students[0], other, head):
        visitor = signed_in(browsers, bank_db, clock, person)
        token = dict(visitor.get("/account").form("/sign-out").fields)
        for path in paths:
            assert visitor.client.get(path).status_code == 404, path
        assert visitor.client.post(paths[-1], data=token | {"how": "void", "why": "x"}).status_code == 404
        if person != other:
            assert visitor.client.get("/squawks").status_code == 404
            assert visitor.client.get("/squawks/1").status_code == 404
            assert visitor.client.post("/squawks/1", data=token).status_code == 404
    assert school.client.get(f"{school.assignment}/places/9/re-mark").status_code == 404
    assert school.client.get(f"{school.assignment}/marks/{school.person}").status_code == 404

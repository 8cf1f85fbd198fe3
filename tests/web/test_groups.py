"""Groups in the browser: from a new group to a class that is in it, and what everybody else gets."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest

from quizsvc.services import sessions
from quizsvc.store import people
from tests.services import school
from tests.web.pages import Visitor

PASSWORD = "ochre lantern nine"
DAYS = {"starts_on": "2026-03-02", "ends_on": "2026-04-02"}


@pytest.fixture
def as_person(app, bank_db, clock):
    """Makes a visitor who is signed in as somebody with these roles."""

    def make(name, *roles):
        with bank_db.reading() as session:
            found = people.by_name(session, name.casefold())
        person_id = found.id if found else school.person(bank_db, name, *roles, now=clock())
        with bank_db.writing() as session:
            person = people.by_id(session, person_id)
            token = sessions.open_session(session, person, device="test", now=clock()).token
        one = Visitor(app.test_client())
        one.client.set_cookie("session", token)
        return one

    return make


@pytest.fixture
def teacher(as_person):
    """An instructor's browser."""
    return as_person("Tobiah Quenley", "instructor", "pilot")


def new_group(visitor, name="Third intake", **fields):
    """Make a group; returns its address."""
    visitor.send(visitor.get("/groups/new").form("/groups/new"), name=name, time_zone="Europe/Lisbon", **fields)
    assert visitor.status == 200, visitor.page.text
    return visitor.path


def the_code(visitor, group):
    """Make a code and read it from the projector."""
    visitor.send(visitor.get(f"{group}/code").form(f"{group}/code"))
    return re.search(r'<p class="code-large">(\w{4}) (\w{4})</p>', visitor.page.html).expand(r"\1\2")


def test_from_a_new_group_to_a_class_in_it(teacher, as_person, browsers):
    """Code on the projector, somebody who waits for a yes, somebody whom the roll lets in, and both leave traces."""
    assert "None yet." in teacher.get("/desk").text
    group = new_group(teacher, starts_on="2026-03-02", ends_on="2026-05-29")
    assert "Intake 2 Mar 2026 to 29 May 2026. Times in Europe/Lisbon." in teacher.page.text
    code = the_code(teacher, group)
    assert "http://127.0.0.1:8019/join" in teacher.page.text
    assert any(tag == "svg" for tag, _ in teacher.page.tags)

    anna = as_person("Anna Bo")
    anna.send(anna.get("/join").form("/join"), code=f"{code[:4].lower()}-{code[4:].lower()}")
    assert anna.page.heading == "Join Third intake"
    anna.send(anna.page.form(f"/join/{code}"))
    assert "Waiting for an instructor's yes." in anna.page.text
    assert anna.client.get(group).status_code == 404

    assert "Third intake: 1 waits for your yes" in teacher.get("/desk").text
    teacher.get(group)
    teacher.send(next(form for form in teacher.page.forms if form.action.endswith("/answer")), ("accept", "yes"))
    assert "Anna Bo is in the group." in teacher.page.text

    assert "1 new notice" in anna.get("/").text
    anna.get("/account/notices")
    assert "You are in the group Third intake." in anna.page.text
    anna.send(anna.page.form("/account/notices/seen"), *[("newest", v) for n, v in anna.page.forms[0].buttons])
    assert "new notice" not in anna.get("/").text
    assert "Instructor: Tobiah Quenley." in anna.get(group).text
    assert not anna.page.has_form(group)

    teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="Berta Cho\nCarla Dee")
    assert "New accounts, in the group at once: 2." in teacher.page.text
    teacher.send(teacher.get(f"{group}/roll/links").form(f"{group}/roll/links"))
    links = re.findall(r"http://127\.0\.0\.1:8019(/link/[\w-]{43})", teacher.page.html)
    assert len(links) == len(set(links)) == 2
    berta = browsers()
    berta.send(berta.get(links[0]).form(links[0]), password=PASSWORD)
    assert "You are signed in as Berta Cho." in berta.page.text
    assert berta.get(group) and berta.status == 200

    anna.send(anna.get(group).form(f"{group}/leave"))
    assert "You have left Third intake." in anna.page.text
    assert anna.client.get(group).status_code == 404
    assert "Have left: 1" in teacher.get(group).text


class TestForm:
    @pytest.mark.parametrize(
        ("field", "value", "said"),
        [
            ("name", "", "the name is empty|a name needs a letter"),
            ("starts_on", "soon", "'soon' is not a date"),
            ("ends_on", "2026-03-01", "is before the first"),
            ("time_zone", "Mars/Olympus", "is not a time zone"),
            ("aircraft", "no-such", "is not an aircraft"),
        ],
    )
    def test_what_cannot_be_taken_comes_back_as_typed(self, teacher, field, value, said):
        """422 and a sentence, for a new group and for a change."""
        group = new_group(teacher, "Line pilots")
        for address in ("/groups/new", group):
            form = teacher.get(address).form(address)
            teacher.send(form, **({"name": "Mine", "time_zone": "UTC", **DAYS} | {field: value}))

            assert teacher.status == 422
            assert re.search(said, teacher.page.text, re.IGNORECASE), teacher.page.text
            kept = dict(teacher.page.form(address).fields)
            assert kept["name"] == ("" if field == "name" else "Mine")
            assert kept["starts_on"] == (value if field == "starts_on" else "2026-03-02")

    def test_a_taken_name_is_said_beside_the_field(self, teacher):
        """409, and what was typed stays."""
        new_group(teacher)
        teacher.send(teacher.get("/groups/new").form("/groups/new"), name="THIRD INTAKE", time_zone="UTC")

        assert teacher.status == 409
        assert ("name", "THIRD INTAKE") in teacher.page.form("/groups/new").fields

    def test_names_are_plain_text_everywhere(self, teacher, as_person):
        """Markup in the name of a group and of a person."""
        bad = "<img src=x onerror=alert(1)>"
        group = new_group(teacher, bad)
        code = the_code(teacher, group)
        anna = as_person("<b>Anna</b>")
        anna.send(anna.get(f"/join/{code}").form(f"/join/{code}"))
        teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="<i>Carla</i>")
        pages = [anna.page.html, *(teacher.get(one).html for one in ("/desk", group, f"{group}/code", f"{group}/roll"))]
        teacher.send(teacher.get(f"{group}/roll/links").form(f"{group}/roll/links"))

        for html in (*pages, teacher.page.html):
            assert "<img" not in html and "<b>Anna" not in html and "<i>Carla" not in html
        assert "&lt;i&gt;Carla" in teacher.page.html


class TestJoin:
    def test_a_code_that_opens_nothing_stays_in_the_field(self, teacher, as_person, clock):
        """Mistyped: 422; ended, run out or never made: 404 and the same sentence."""
        code = the_code(teacher, new_group(teacher))
        anna = as_person("Anna")
        clock.advance(days=7)
        said = set()
        for written, status in (("ABCD 234", 422), ("ABCD 0345", 422), ("ABCD 2345", 404), (code, 404)):
            anna.send(anna.get("/join").form("/join"), code=written)
            assert anna.status == status
            assert ("code", written) in anna.page.form("/join").fields
            if status == 404:
                said.add(re.search(r"This code[^.]*\.", anna.page.text)[0])
                assert anna.client.get(f"/join/{written.replace(' ', '')}").status_code == 404

        assert len(said) == 1

    def test_a_visitor_signs_up_and_comes_back_to_the_door(self, teacher, visitor):
        """The way from the picture on the wall to the group, on a new phone."""
        code = the_code(teacher, new_group(teacher))
        page = visitor.get(f"/join/{code}")
        assert not page.has_form(f"/join/{code}")
        form = visitor.get(next(link for link in page.links if link.startswith("/sign-up?"))).form("/sign-up")
        visitor.send(form, name="Anna", password=PASSWORD)
        assert visitor.path == f"/join/{code}"
        visitor.send(visitor.page.form(f"/join/{code}"))
        assert "Asked." in visitor.page.text

    def test_signing_up_leads_nowhere_else(self, visitor):
        """Only an address of this service is followed."""
        form = visitor.get("/sign-up?next=//evil.example").form("/sign-up")
        data = {**dict(form.fields), "next": "//evil.example", "name": "Anna", "password": PASSWORD}

        assert visitor.client.post("/sign-up", data=data).headers["Location"] == "/"


class TestRoll:
    def test_every_faulty_line_is_listed_and_nothing_is_imported(self, teacher, as_person):
        """422; what was typed is in the field, also when it came in a file."""
        group = new_group(teacher)
        text = "Anna\nBerta,Carla\nanna\n"
        form = teacher.get(f"{group}/roll").form(f"{group}/roll")
        for sent in ({"names": text}, {"file": (io.BytesIO(text.encode()), "roll.csv")}):
            data = {**dict(form.fields), **sent}
            teacher._arrive(teacher.client.post(f"{group}/roll", data=data, content_type="multipart/form-data"))
            assert teacher.status == 422
            assert re.findall(r"<b>(Line \d+)</b>", teacher.page.html) == ["Line 2", "Line 3"]
            assert "2 lines have a fault, so nothing was put on the roll." in teacher.page.text
            assert "Anna\nBerta,Carla\nanna" in teacher.page.html

        assert "on the roll" not in teacher.get(f"{group}/roll").heading
        assert "Nobody yet." in teacher.get(group).text

    def test_a_file_may_be_larger_than_a_form(self, teacher, as_person):
        """A table of 5,000 lines (about 360 KB) comes in, though not from anybody; more than 1 MB is refused."""
        group = new_group(teacher)
        lines = [f"Pilot {number},{'x' * 50}@example.org" for number in range(4999)]
        table = "\n".join(["name,mail", *lines]).encode()
        token = dict(teacher.get(f"{group}/roll").form(f"{group}/roll").fields)

        def send(visitor, content, token=token):
            sent = {**token, "file": (io.BytesIO(content), "roll.csv")}
            return visitor.client.post(f"{group}/roll", data=sent, content_type="multipart/form-data")

        assert len(table) > 300_000
        too_large = teacher.client.post(
            f"{group}/roll", data=b"x" * 1_100_000, content_type="multipart/form-data; boundary=b"
        )
        assert too_large.status_code == 413 and "1 MB" in too_large.get_data(as_text=True)
        anna = as_person("Anna")
        assert send(anna, table, dict(anna.get("/join").form("/join").fields)).status_code == 404
        assert send(teacher, table).status_code == 303
        assert "New accounts, in the group at once: 4999." in teacher.get(f"{group}/roll").text

    def test_a_lost_letter_is_named_with_its_line(self, teacher):
        """Copied out of a program that could not read it; NUL too. What was typed stays, but for the NUL."""
        group = new_group(teacher)
        teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="Anna\nM\ufffdller\nB\x00b")

        assert teacher.status == 422
        assert re.findall(r"<b>(Line \d+)</b>", teacher.page.html) == ["Line 2", "Line 3"]
        assert "Anna\nM\ufffdller" in teacher.page.html

    def test_another_encoding_is_refused_with_its_line(self, teacher):
        """ISO 8859-1, as an older spreadsheet writes it."""
        group = new_group(teacher)
        form = teacher.get(f"{group}/roll").form(f"{group}/roll")
        sent = {**dict(form.fields), "file": (io.BytesIO("Anna\nMüller\n".encode("latin-1")), "<roll>.csv")}
        teacher._arrive(teacher.client.post(f"{group}/roll", data=sent, content_type="multipart/form-data"))

        assert teacher.status == 422
        assert "Line 2 of <roll>.csv: byte 2 of the line, 0xfc, is not UTF-8." in teacher.page.text


class TestWhoseItIs:
    POSTS = ("", "/leave", "/code", "/code/end", "/roll", "/roll/links")
    GETS = ("", "/code", "/roll", "/roll/links")

    def test_for_others_a_group_is_not_there(self, teacher, as_person, browsers):
        """Another instructor, head of training, keeper, one who waits, one who has left: as for an unknown number."""
        group = new_group(teacher)
        code = the_code(teacher, group)
        waiting = as_person("Anna")
        waiting.send(waiting.get(f"/join/{code}").form(f"/join/{code}"))
        membership = re.search(rf"{group}/members/(\d+)/answer", teacher.get(group).html)[1]
        strangers = [
            (waiting, {"/leave"}),
            (as_person("Rosmund Achterby", "instructor"), set()),
            (as_person("Ilse Marrandt", "head of training", "keeper"), set()),
        ]
        verbs = [f"/members/{membership}/{verb}" for verb in ("answer", "remove", "part", "link")]
        for one, allowed in strangers:
            token = dict(one.get("/account").form("/sign-out").fields)
            for path in self.GETS:
                foreign, unknown = one.client.get(group + path), one.client.get(f"/groups/999{path}")
                assert (foreign.status_code, foreign.data) == (404, unknown.data), path
            for path in {*self.POSTS, *verbs} - allowed:
                foreign = one.client.post(group + path, data={**token, "accept": "x", "starts_on": "x"})
                unknown = one.client.post(f"/groups/999{path}", data=token)
                assert (foreign.status_code, foreign.data) == (404, unknown.data), path

        assert "1 waits for your yes" in teacher.get("/desk").text

    def test_a_student_sees_the_group_and_changes_nothing(self, teacher, as_person):
        """Only the way out is theirs."""
        group = new_group(teacher)
        code = the_code(teacher, group)
        teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="Anna")
        anna = as_person("Anna")
        token = dict(anna.get("/account").form("/sign-out").fields)

        assert anna.client.get(group).status_code == 200
        assert anna.client.get(f"/join/{code}").status_code == 200
        for path in self.GETS[1:]:
            assert anna.client.get(group + path).status_code == 404
        for path in ("", "/code", "/code/end", "/roll", "/roll/links"):
            assert anna.client.post(group + path, data={**token, "name": "mine"}).status_code == 404
        assert "Third intake" in teacher.get(group).heading

    @pytest.mark.parametrize("path", ["/desk", "/groups/new"])
    def test_screens_of_a_role_are_not_there_without_it(self, as_person, visitor, teacher, path):
        """404 for an account without it, sign-in for a visitor."""
        one = as_person("Anna", "pilot", "reviewer", "head of training", "keeper")

        assert one.client.get(path).status_code == 404
        assert visitor.client.get(path).headers["Location"] == f"/sign-in?next={path}"
        assert teacher.client.get(path).status_code == 200

    def test_a_student_gets_a_link_from_their_instructor(self, teacher, as_person, browsers, clock):
        """Shown once, for a day; it opens the account it names."""
        group = new_group(teacher)
        teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="Anna")
        link = next(form for form in teacher.get(group).forms if form.action.endswith("/link"))
        teacher.send(link)
        address = re.search(r"http://127\.0\.0\.1:8019(/link/[\w-]{43})", teacher.page.html)[1]
        until = clock() + timedelta(days=1)
        assert f"until {until.day} Mar 2026, {until:%H:%M}" in teacher.page.text
        anna = browsers()
        anna.send(anna.get(address).form(address), password=PASSWORD)

        assert "You are signed in as Anna." in anna.page.text


def test_the_groups_screens_carry_their_cautions(teacher, as_person):
    """C4 on every overview of people's results, C7 where somebody joins (vocabulary.md)."""
    group = new_group(teacher)
    code = the_code(teacher, group)
    teacher.send(teacher.get(f"{group}/roll").form(f"{group}/roll"), names="Anna")
    anna = as_person("Anna")

    for page in (teacher.get("/desk"), teacher.get(group), anna.get(group)):
        assert {"C1", "C2", "C4"} <= set(page.cautions)
    for page in (anna.get("/join"), anna.get(f"/join/{code}")):
        assert {"C1", "C2", "C7"} <= set(page.cautions)
    teacher.send(teacher.get(f"{group}/roll/links").form(f"{group}/roll/links"))
    assert {"C1", "C2"} <= set(teacher.page.cautions)


class TestWithoutAnInstructor:
    """The last instructor goes, and the head of training names another."""

    @pytest.fixture
    def head(self, as_person):
        """The browser of a head of training."""
        return as_person("Ilse Marrandt", "head of training")

    def test_told_left_and_named_again(self, teacher, head, as_person):
        """The page says what leaving means and asks once more; the head is led from the notice to a form."""
        group = new_group(teacher)
        other = as_person("Rosmund Achterby", "instructor")
        page = teacher.get(group)
        assert "Nobody else instructs it. If you leave, nobody sees its homework" in page.text
        teacher.send(page.form(f"{group}/leave"))
        assert teacher.status == 409
        assert "Somebody instructs every group." in head.get("/training/groups").text

        teacher.send(teacher.get(group).form(f"{group}/leave"), anyway="yes")
        assert teacher.status == 200 and "You have left Third intake" in teacher.page.text
        assert "/training/groups" in head.get("/account/notices").links
        page = head.get("/training/groups")
        assert "Third intake" in page.text and "Ilse Marrandt" not in page.text

        form = page.form(f"/training{group}/instructor")
        chosen = re.search(r'value="(\d+)">Rosmund Achterby', page.html)[1]
        page = head.send(form, person=chosen)
        assert "Rosmund Achterby instructs Third intake now, and is told." in page.text
        assert other.get(group).heading == "Third intake"
        assert head.client.get(group).status_code == 404
        assert "Ilse Marrandt, head of training, has named you" in other.get("/account/notices").text

    @pytest.mark.parametrize(
        ("person", "words"), [("", "is not a whole number"), ("999", "has the role of an instructor")]
    )
    def test_what_cannot_be_named_is_said(self, teacher, head, as_person, person, words):
        """422, with the form still there."""
        as_person("Rosmund Achterby", "instructor")
        group = new_group(teacher)
        teacher.send(teacher.get(group).form(f"{group}/leave"), anyway="yes")
        page = head.send(head.get("/training/groups").form(f"/training{group}/instructor"), person=person)

        assert (head.status, words in page.text) == (422, True)
        assert page.has_form(f"/training{group}/instructor")

    def test_the_way_out_says_it_too(self, teacher, head, as_person):
        """Deleting the account names the groups; of a group with two instructors there is nothing to say."""
        new_group(teacher)
        new_group(teacher, name="Umber intake")
        assert "Nobody else instructs Third intake; Umber intake." in teacher.get("/account/delete").text
        assert "instructs" not in head.get("/account/delete").text

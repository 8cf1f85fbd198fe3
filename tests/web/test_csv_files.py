"""Every file of lines that the service hands out, read by Python's own reader in its strict mode.

RFC 4180: lines end with CR LF; a cell with a quote, a comma or a line break stands in quotes, quotes inside doubled.
OWASP, "CSV Injection": cells that begin with = + - @ tab or carriage return are run as formulas, wide forms of the
signs too. Issue 5: formulas in text cells are neutralised, and a negative number stays a number.
"""

from __future__ import annotations

import csv
import io
import json
import re

import pytest
import sqlalchemy as sa

from quizsvc.services import csv_files
from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Answer, Assignment, Group, Person
from quizsvc.web.people import COOKIE
from tests.services import assigned, handed_in
from tests.web import test_matrix
from tests.web.test_matrix import ROWS as LET_IN

# Names as bad as they come; the last is a number and has to stay one.
PLANTED = ("=1+1", "+x", "-x", "@x", "\t=x", "\r=x", '=HYPERLINK("http://x","y")', "\uff1d1+1", "-12.5")
RUN = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")
TITLE, GROUP = "@SUM(A1)", '=2+5, the "ochre" ones'

# By rule: who asks, and in which column after the head the planted texts stand.
FILES = {
    "/account/export.csv": ("student", "answered"),
    "/assignments/<number:assignment_id>/marks.csv": ("instructor", "name"),
    "/people/<number:person_id>/evidence.csv": ("head", "name"),
    "/training.csv": ("head", "name"),
    "/files/<key:file_id>": ("head", "name"),  # what the evidence sheet gave, byte for byte
}

world = test_matrix.world


def test_every_route_that_answers_with_lines_has_a_row(world):
    """Asked for by somebody who is let in: whatever comes as text/csv is looked at here."""
    found = set()
    for row, let_in in LET_IN.items():
        verb, rule = row.split(" ", 1)
        if verb == "GET" and world.ask(sorted(let_in)[0], verb, rule).mimetype == "text/csv":
            found.add(rule)

    assert found == set(FILES)
    assert {rule for _, rule in test_matrix.routes(world.app) if rule.endswith(".csv")} <= set(FILES)


class Planted:
    """A class whose names are all planted, their group and homework too, and the browsers of those who ask."""

    def __init__(self, browsers, db, clock):
        self.browsers, self.db, self.clock = browsers, db, clock
        self.by, self.students, self.given = handed_in.school(
            db, clock, ["gate-slow-leak", "cabin-from-differential"], students=len(PLANTED)
        )
        self.head = assigned.add_person(db, clock, "Imre Fallowmere", roles=("head of training",))
        for one in self.students:
            handed_in.do(db, clock, one, self.given, ["right", "wrong"])
        with db.writing() as session:
            for one, name in zip(self.students, PLANTED, strict=True):
                session.execute(sa.update(Person).where(Person.id == one).values(name=name))
            session.execute(sa.update(Group).values(name=GROUP))
            session.execute(sa.update(Assignment).values(title=TITLE))

    def visit(self, who):
        """The browser of the first student, the instructor or the head of training."""
        one = self.browsers()
        person = {"student": self.students[0], "instructor": self.by, "head": self.head}[who]
        with self.db.writing() as session:
            token = open_session(session, session.get(Person, person), device="desk", now=self.clock()).token
        one.client.set_cookie(COOKIE, token)
        return one

    def get(self, path, who):
        """What stands at an address."""
        return self.visit(who).client.get(path)

    def ask(self, rule):
        """The file as the one who may ask for it gets it."""
        one = self.visit(FILES[rule][0])
        if rule.startswith("/files/"):
            first = self.ask("/people/<number:person_id>/evidence.csv").get_data()
            page = one.get(f"/people/{self.students[0]}/evidence")
            again = one.client.get(next(link for link in page.links if link.startswith("/files/")))
            assert again.get_data() == first
            return again
        path = rule.replace("<number:assignment_id>", str(self.given))
        return one.client.get(path.replace("<number:person_id>", str(self.students[0])))


def lines_of(response):
    """All rows, by an independent reader that refuses what is malformed; the encoding and the line ends checked."""
    body = response.get_data()
    assert response.status_code == 200 and response.mimetype == "text/csv"
    assert body.startswith(b"\xef\xbb\xbf"), "by this mark spreadsheets know UTF-8"
    text = body.decode("utf-8-sig")
    assert "\ufeff" not in text and text.endswith("\r\n")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


@pytest.fixture
def planted(browsers, bank_db, clock):
    """Handed in at nine o'clock on a Monday."""
    return Planted(browsers, bank_db, clock)


def test_no_cell_is_run_and_every_line_fits_its_head(planted):
    """Cells of text that would be run have an apostrophe before them; all lines below the head are as long as it."""
    with planted.db.writing() as session:
        answers = list(session.scalars(sa.select(Answer.id).where(Answer.person_id == planted.students[0])))
        for one, text in zip(answers, ("=1+1", "-150"), strict=True):
            session.execute(sa.update(Answer).where(Answer.id == one).values(raw={"text": text}))
    names = {name if name == "-12.5" else f"'{name}" for name in PLANTED}
    expected = {
        "/account/export.csv": {"'=1+1", "-150"},
        "/assignments/<number:assignment_id>/marks.csv": names,
        "/training.csv": names,
        "/people/<number:person_id>/evidence.csv": {f"'{TITLE}, {GROUP}"},
        "/files/<key:file_id>": {f"'{TITLE}, {GROUP}"},
    }
    assert set(expected) == set(FILES)
    for rule, (_, column) in FILES.items():
        rows = lines_of(planted.ask(rule))
        head = next(place for place, row in enumerate(rows) if column in row)
        run = [cell for row in rows for cell in row if RUN.match(cell) and not NUMBER.fullmatch(cell)]
        assert run == [], rule
        assert all(len(row) == 1 for row in rows[:head]), rule
        assert {len(row) for row in rows[head:]} == {len(rows[head])} and len(rows) > head + 1, rule
        assert expected[rule] <= {row[rows[head].index(column)] for row in rows[head + 1 :]}, rule
        # Every line carries the caution that it is no proof.
        owed = [row[rows[head].index("caution")] for row in rows[head + 1 :]]
        assert all("not a check, an endorsement or proof" in one for one in owed), rule


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("  =1+1", "'  =1+1"),
        ("\u00a0=1+1", "'\u00a0=1+1"),
        ("\n=1", "'\n=1"),
        ("\uff0b41", "'\uff0b41"),
        ("-", "'-"),
        ("-1e5", "'-1e5"),
        ("-1,5", "-1,5"),
        ("+41", "+41"),
        ("a=b", "a=b"),
        ("", ""),
    ],
)
def test_what_is_made_neutral(text, cell):
    """Blanks before a sign do not hide it; only a plain number keeps its sign."""
    assert csv_files.neutral(text) == cell


def test_what_is_written_comes_back():
    """Quotes, commas, line breaks and letters of all kinds, through the independent reader; numbers are left alone."""
    cells = ['say "no"', "a, b", "two\r\nlines", "Ærøskøbing ✈", -12.5, -3, None, True]
    body = csv_files.written([cells])
    (row,) = csv.reader(io.StringIO(body.decode("utf-8-sig"), newline=""), strict=True)
    assert row == ['say "no"', "a, b", "two\r\nlines", "Ærøskøbing ✈", "-12.5", "-3", "", "True"]


def test_a_file_for_programs_has_texts_as_they_are(planted):
    """RFC 8259: UTF-8 without a mark, no NaN, each name once in an object; nothing is neutralised for a spreadsheet."""

    def once(pairs):
        assert len({name for name, _ in pairs}) == len(pairs)
        return dict(pairs)

    def refuse(word):
        raise AssertionError(word)

    def read(path, who):
        response = planted.get(path, who)
        assert response.mimetype == "application/json"
        found = json.loads(response.get_data().decode("utf-8"), object_pairs_hook=once, parse_constant=refuse)
        assert {"C1", "C2", "C4"} <= set(found["cautions"])
        return found, found["homework"][0]

    sheet, work = read(f"/people/{planted.students[0]}/evidence.json", "head")
    assert (sheet["name"], work["title"], work["group"]) == (PLANTED[0], TITLE, GROUP)
    own, work = read("/account/export.json", "student")
    assert (own["person"]["name"], work["assignment"], work["group"]) == (PLANTED[0], TITLE, GROUP)

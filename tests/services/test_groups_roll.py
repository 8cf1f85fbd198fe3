"""The roll: reading a table of names, what an import does and leaves alone, and the sheet of links."""

from __future__ import annotations

from datetime import timedelta

import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.errors import ConflictError, FindingsError, InputError, NotFoundError
from quizsvc.services import accounts, groups, joining, members, roll, roll_links, roll_text
from quizsvc.store import learners, people
from quizsvc.store.tables import DeviceSession, Membership, OneTimeLink, Person, RollEntry
from tests.services import school


def names(text):
    """Line and name of each."""
    return [(one.line, one.shown) for one in roll_text.read_names("roll.csv", text)]


def faults(read, *given):
    """Line and sentence of each finding."""
    with pytest.raises(FindingsError) as refused:
        read("roll.csv", *given)
    assert all(finding.mend for finding in refused.value.findings)
    return [(finding.line, finding.what) for finding in refused.value.findings]


class TestText:
    @pytest.mark.parametrize(
        ("text", "found"),
        [
            ("Anna\nBerta\n", [(1, "Anna"), (2, "Berta")]),
            ("\ufeffAnna\r\n\r\nBerta", [(1, "Anna"), (3, "Berta")]),
            ("Anna\rBerta\r", [(1, "Anna"), (2, "Berta")]),
            ("  Anna   Marie  ,\n", [(1, "Anna Marie")]),
            ('"Quenley, Tobiah"\nBerta\n', [(1, "Quenley, Tobiah"), (2, "Berta")]),
            ("Licence,NAME,Mail\n7,Anna,a@b.example\n\n,,\n8,Berta,\n", [(2, "Anna"), (5, "Berta")]),
            ("no;name\n1;Müller, Ü.\n", [(2, "Müller, Ü.")]),
            ("name\tseat\nAnna\t3A\n", [(2, "Anna")]),
            ('name,remark\n"Anna ""A"" Bo","x, y"\n', [(2, 'Anna "A" Bo')]),
            ("=1+1 Anna\n", [(1, "=1+1 Anna")]),
        ],
    )
    def test_what_can_be_read(self, text, found):
        """One name a line, or the column of that name; RFC 4180 quotes; commas, semicolons, tabs."""
        assert names(text) == found

    def test_every_faulty_line_is_named(self):
        """Two columns, an open quote, no name, a character that cannot be seen, the same name again, too long, NUL."""
        text = 'Anna\nBerta,Carla\n"Dora\n...\na\u202eb\nANNA\n' + "x" * 101 + "\na\x00b\nM\ufffdller\nEva\n"

        assert faults(roll_text.read_names, text) == [
            (2, "the line has 2 columns"),
            (3, "a quotation mark is left open"),
            (4, "a name needs a letter or a digit"),
            (5, "the name has a character that cannot be seen"),
            (6, "'ANNA' stands in line 1 already"),
            (7, "name has 101 characters"),
            (8, "name has a character that cannot be stored (U+0000)"),
            (9, "a letter of the name was lost on the way (U+FFFD stands for it)"),
        ]

    def test_a_line_without_its_column_is_named(self):
        """The first line says where the name stands; it has to be there, and once."""
        assert faults(roll_text.read_names, "seat,name\n3A\n3B,Anna\n4A,\n") == [
            (2, "a name needs a letter or a digit"),
            (4, "a name needs a letter or a digit"),
        ]
        assert faults(roll_text.read_names, "name,Name\nAnna,Berta\n") == [(1, "two columns are called 'name'")]

    @pytest.mark.parametrize("text", ["", "\n\n", "name\n", "\ufeff", " , ,"])
    def test_no_names_at_all(self, text):
        """An empty field is refused like a faulty one."""
        assert faults(roll_text.read_names, text) == [(0, "the table has no names")]

    def test_another_encoding_is_refused_with_its_lines(self):
        """ISO 8859-1 writes u with diaeresis as FC and e with acute as E9, which no UTF-8 text holds (RFC 3629)."""
        content = b"Anna\r\nM\xfcller\r\nBerta\r\nRen\xe9\r\n"

        assert faults(roll_text.decoded, content) == [
            (2, "byte 2 of the line, 0xfc, is not UTF-8"),
            (4, "byte 4 of the line, 0xe9, is not UTF-8"),
        ]
        # RFC 2781: a UTF-16 text begins with FE FF or FF FE.
        assert faults(roll_text.decoded, b"\xff\xfeA\x00") == [(1, "the file is UTF-16, not UTF-8")]
        assert roll_text.decoded("roll.csv", b"\xef\xbb\xbfM\xc3\xbcller") == "Müller"

    def test_five_thousand_lines_are_the_most(self):
        """Issue: 5,000 lines. One more is refused, and so are as many that are not UTF-8, without naming each."""
        lines = [f"Pilot {number}" for number in range(5001)]

        assert len(names("\n".join(lines[:5000]) + "\n")) == 5000
        assert faults(roll_text.read_names, "\n".join(lines)) == [(5001, "the table has 5001 lines")]
        assert faults(roll_text.decoded, b"\xff\n" * 5001) == [(5001, "the table has 5001 lines")]

    @settings(max_examples=60, deadline=None)
    @given(st.one_of(st.binary(max_size=200), st.text(max_size=80).map(lambda text: text.encode("utf-8", "replace"))))
    def test_any_bytes_are_names_or_findings(self, content):
        """Never another error; each finding has a line of the text."""
        try:
            for one in roll_text.read_names("roll.csv", roll_text.decoded("roll.csv", content)):
                assert one.shown and one.line >= 1
        except FindingsError as refused:
            assert all(
                0 <= finding.line <= content.count(b"\n") + content.count(b"\r") + 1 for finding in refused.findings
            )


@pytest.fixture
def teacher(bank_db, clock):
    """Somebody with the role of an instructor."""
    return school.instructor(bank_db, now=clock())


@pytest.fixture
def number(bank_db, clock, teacher):
    """A group of theirs."""
    return school.group(bank_db, teacher, now=clock(), aircraft=("tolquenny-19",))


def take(db, by, number, text, now):
    """Import a text."""
    return roll.import_roll(db, by, number, roll_text.read_names("roll.csv", text), now=now)


def count(db, table, *where):
    """How many rows a table has."""
    with db.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(table).where(*where))


class TestImport:
    def test_a_new_name_gets_an_account_and_is_in(self, bank_db, clock, teacher, number):
        """A pilot with the group's zone and aircraft and a learner who has answered nothing; no password, no link."""
        report = take(bank_db, teacher, number, "Anna\nBerta\n", clock())
        with bank_db.reading() as session:
            person = people.by_name(session, "anna")
            kept = (person.time_zone, person.aircraft, person.password_hash, people.roles(session, person.id))
            learner = learners.get(session, person.id)

        assert report.made == ("Anna", "Berta")
        assert [(one.name, one.new) for one in groups.view(bank_db, teacher, number).students] == [
            ("Anna", True), ("Berta", True),
        ]  # fmt: skip
        assert kept == ("Europe/Lisbon", ["tolquenny-19"], None, ("pilot",))
        assert learner is not None and learner.version == 0
        assert count(bank_db, OneTimeLink) == 0

    def test_a_name_that_exists_is_not_touched(self, bank_db, clock, teacher, number):
        """No membership, no link, no session ended; its owner joins by the code and does not wait."""
        owner = school.person(bank_db, "Anna", now=clock())
        accounts.make_link(bank_db, "Anna", now=clock())
        report = take(bank_db, teacher, number, "ANNA\nBerta\n", clock())
        made = joining.make_code(bank_db, teacher, number, rng=school.RNG, now=clock())

        assert (report.made, report.expected) == (("Berta",), ("ANNA",))
        assert groups.own(bank_db, owner) == []
        assert (count(bank_db, OneTimeLink), count(bank_db, DeviceSession)) == (1, 0)
        assert [one.name for one in roll_links.sheet(bank_db, teacher, number).people] == ["Berta"]
        assert joining.join(bank_db, owner, made, now=clock()).state == "in"
        assert [(one.name, one.state) for one in roll.view(bank_db, teacher, number).rows] == [
            ("ANNA", "in"), ("Berta", "new"),
        ]  # fmt: skip

    def test_the_same_roll_again_changes_nothing(self, bank_db, clock, teacher, number):
        """With one name more, that one is new."""
        take(bank_db, teacher, number, "Anna\nBerta\n", clock())
        report = take(bank_db, teacher, number, "name\nberta\nCarla\nAnna\n", clock())

        assert (report.made, report.already) == (("Carla",), ("berta", "Anna"))
        assert (count(bank_db, RollEntry), count(bank_db, Membership), count(bank_db, Person)) == (3, 4, 4)

    def test_who_waits_is_let_in(self, bank_db, clock, teacher, number):
        """The roll is the yes."""
        waiting = school.person(bank_db, "Anna", now=clock())
        joining.join(
            bank_db, waiting, joining.make_code(bank_db, teacher, number, rng=school.RNG, now=clock()), now=clock()
        )
        report = take(bank_db, teacher, number, "Anna\nTobiah Quenley\n", clock())

        assert (report.let_in, report.already) == (("Anna",), ("Tobiah Quenley",))
        assert groups.own(bank_db, waiting)[0].state == "in"
        assert groups.view(bank_db, teacher, number).instructors == ("Tobiah Quenley",)

    def test_a_name_becomes_free_when_its_person_has_gone(self, bank_db, clock, teacher, number):
        """The old entry lets nobody in; a new import makes a new account."""
        take(bank_db, teacher, number, "Anna\n", clock())
        with bank_db.writing() as session:
            people.delete(session, people.by_name(session, "anna").id)
        gone = [one.state for one in roll.view(bank_db, teacher, number).rows]
        report = take(bank_db, teacher, number, "Anna\n", clock())

        assert (gone, report.made, count(bank_db, RollEntry)) == (["gone"], ("Anna",), 1)

    def test_nothing_of_it_stays_where_the_database_fails(self, bank_db, clock, teacher, number, monkeypatch):
        """The last step of an import fails: no account, no membership, no entry."""
        before = (count(bank_db, Person), count(bank_db, Membership))

        def failing(*_given):
            raise RuntimeError("the light went out")

        monkeypatch.setattr(roll, "_entry", failing)
        with pytest.raises(RuntimeError):
            take(bank_db, teacher, number, "Anna\nBerta\n", clock())

        assert (count(bank_db, Person), count(bank_db, Membership), count(bank_db, RollEntry)) == (*before, 0)

    def test_nobody_else_imports_or_looks(self, bank_db, clock, teacher, number):
        """A student, another instructor: not found."""
        student = school.person(bank_db, "Anna", now=clock())
        school.joined(bank_db, student, number, by=teacher, now=clock())
        for one in (student, school.instructor(bank_db, "Rosmund Achterby", now=clock())):
            for ask in (
                lambda one=one: take(bank_db, one, number, "Carla\n", clock()),
                lambda one=one: roll.view(bank_db, one, number),
                lambda one=one: roll_links.sheet(bank_db, one, number),
                lambda one=one: roll_links.make_sheet(bank_db, one, number, [student], now=clock()),
            ):
                with pytest.raises(NotFoundError):
                    ask()

        assert (count(bank_db, RollEntry), count(bank_db, OneTimeLink)) == (0, 0)

    def test_five_thousand_names_are_one_import(self, bank_db, clock, teacher, number):
        """All in, by fewer statements than names: a class of this size must not hold the database for a minute."""
        text = "\n".join(f"Pilot {one}" for one in range(5000))
        statements = []
        sa.event.listen(bank_db.engine, "before_cursor_execute", lambda *given: statements.append(given[2]))
        report = take(bank_db, teacher, number, text, clock())

        assert len(report.made) == 5000
        assert count(bank_db, Membership, Membership.state == "in") == 5001
        assert len(statements) < 200


class TestSheet:
    def test_links_work_for_seven_days_and_end_earlier_ones(self, bank_db, clock, teacher, number):
        """Issue: one-time links printed as a sheet; design: 7 days when printed for a roll."""
        take(bank_db, teacher, number, "Berta\nAnna\n", clock())
        offered = roll_links.sheet(bank_db, teacher, number).people
        wanted = [one.person_id for one in offered]
        first = roll_links.make_sheet(bank_db, teacher, number, wanted, now=clock())
        second = roll_links.make_sheet(bank_db, teacher, number, wanted[:1], now=clock())
        end = clock() + timedelta(days=7)

        assert [one.name for one in first.people] == ["Anna", "Berta"]
        assert (second.left, second.expires_at) == (1, end)
        accounts.look_at_link(bank_db, second.people[0].secret, now=end - timedelta(seconds=1))
        accounts.look_at_link(bank_db, first.people[1].secret, now=end - timedelta(seconds=1))
        for secret, at in ((second.people[0].secret, end), (first.people[0].secret, clock())):
            with pytest.raises(NotFoundError):
                accounts.look_at_link(bank_db, secret, now=at)

    def test_who_has_signed_in_is_never_on_a_sheet(self, bank_db, clock, teacher, number):
        """A link would end their sessions and let its finder set the password."""
        take(bank_db, teacher, number, "Anna\n", clock())
        anna = roll_links.sheet(bank_db, teacher, number).people[0].person_id
        made = roll_links.make_sheet(bank_db, teacher, number, [anna], now=clock())
        accounts.use_link(bank_db, made.people[0].secret, "ochre lantern nine", device="phone", now=clock())
        signed_up = school.person(bank_db, "Berta", now=clock())
        school.joined(bank_db, signed_up, number, by=teacher, now=clock())
        for one in (anna, signed_up, teacher, 10**9):
            with pytest.raises(ConflictError):
                roll_links.make_sheet(bank_db, teacher, number, [one], now=clock())

        assert roll_links.sheet(bank_db, teacher, number).people == ()
        assert count(bank_db, OneTimeLink, OneTimeLink.used_at.is_(None)) == 0

    def test_a_sheet_is_for_a_class(self, bank_db, clock, teacher, number):
        """Nobody, or more than sixty, is refused with the number."""
        take(bank_db, teacher, number, "\n".join(f"Pilot {one}" for one in range(61)), clock())
        everybody = [one.person_id for one in roll_links.sheet(bank_db, teacher, number).people]
        for wanted in ([], everybody):
            with pytest.raises(InputError) as refused:
                roll_links.make_sheet(bank_db, teacher, number, wanted, now=clock())
            assert refused.value.where == "person"

        assert len(roll_links.make_sheet(bank_db, teacher, number, everybody[:60], now=clock()).people) == 60

    def test_another_groups_people_get_none(self, bank_db, clock, teacher, number):
        """Each instructor hands out links to own people only, also to those whom two rolls name."""
        other = school.instructor(bank_db, "Rosmund Achterby", now=clock())
        elsewhere = school.group(bank_db, other, "Line pilots", now=clock())
        take(bank_db, teacher, number, "Anna\n", clock())
        report = take(bank_db, other, elsewhere, "Anna\n", clock())
        anna = roll_links.sheet(bank_db, teacher, number).people[0].person_id
        with pytest.raises(ConflictError):
            roll_links.make_sheet(bank_db, other, elsewhere, [anna], now=clock())

        assert report.expected == ("Anna",)
        assert roll_links.sheet(bank_db, other, elsewhere).people == ()

    def test_who_was_taken_out_gets_none(self, bank_db, clock, teacher, number):
        """A link made before is another matter: it belongs to the person."""
        take(bank_db, teacher, number, "Anna\n", clock())
        own = groups.view(bank_db, teacher, number).students[0]
        members.remove(bank_db, teacher, number, own.number, now=clock())
        with pytest.raises(ConflictError):
            roll_links.make_sheet(bank_db, teacher, number, [own.person_id], now=clock())

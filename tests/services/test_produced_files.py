"""Sheets that are kept: two who ask at once, sheets about who has left, and nobody left behind in a new one."""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, looks, produced_files
from quizsvc.services.produced_files import FOR_HEAD, FOR_INSTRUCTOR, OWN_SHEET
from quizsvc.store import people
from quizsvc.store.tables import Membership, Person, ProducedFile
from tests.services import assigned, drills, handed_in

AT_ONCE = 6


@pytest.fixture
def school(bank_db, clock):
    """An instructor, two students of whom the first has handed in, a head of training; by name."""
    by, (student, mate), given = handed_in.school(
        bank_db, clock, ["gate-slow-leak", "cabin-from-differential"], students=2
    )
    handed_in.do(bank_db, clock, student, given, ["right", "wrong"])
    return {
        "instructor": by,
        "student": student,
        "mate": mate,
        "other": assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",)),
        "head": assigned.add_person(bank_db, clock, "Imre Fallowmere", roles=("head of training",)),
    }


def keep(db, clock, by, what, about, body=b"as it stands"):
    """Keep a sheet about somebody."""
    return produced_files.keep(
        db, by, what=what, person_id=about, title="Evidence sheet: Student 01", media_type="text/csv", body=body,
        now=clock(),
    )  # fmt: skip


class TestAtOnce:
    """Threads that start together, on real databases."""

    @pytest.mark.parametrize("what", [FOR_HEAD, FOR_INSTRUCTOR])
    def test_the_same_sheet_is_kept_once(self, bank_db, clock, school, what):
        """Six ask for the same bytes: all get them, all get one id, one file is stored."""
        by = school["head" if what == FOR_HEAD else "instructor"]
        together = Barrier(AT_ONCE)

        def ask(_):
            together.wait(timeout=30)
            return keep(bank_db, clock, by, what, school["student"])

        with ThreadPoolExecutor(AT_ONCE) as threads:
            got = list(threads.map(ask, range(AT_ONCE)))
        assert len({one.id for one in got}) == 1
        assert {one.body for one in got} == {b"as it stands"}
        assert sorted(one.again for one in got) == [False] + [True] * (AT_ONCE - 1)
        assert drills.count(bank_db, ProducedFile) == 1

    def test_different_sheets_do_not_hinder_each_other(self, bank_db, clock, school):
        """Six bodies, two people: each kept once, with the hash of its own bytes (hashlib)."""
        together = Barrier(AT_ONCE)

        def ask(number):
            together.wait(timeout=30)
            about = school["student" if number % 2 else "mate"]
            return keep(bank_db, clock, school["head"], FOR_HEAD, about, body=b"sheet %d" % number)

        with ThreadPoolExecutor(AT_ONCE) as threads:
            got = list(threads.map(ask, range(AT_ONCE)))
        assert [one.sha256 for one in got] == [
            hashlib.sha256(b"sheet %d" % number).hexdigest() for number in range(AT_ONCE)
        ]
        assert drills.count(bank_db, ProducedFile) == AT_ONCE

    def test_leaving_while_a_sheet_of_ones_own_is_made(self, bank_db, clock, school):
        """Either it is kept and goes with them, or it is refused: none stays behind."""
        together = Barrier(2)

        def ask():
            together.wait(timeout=30)
            try:
                keep(bank_db, clock, school["student"], OWN_SHEET, school["student"])
            except NotFoundError:
                return "refused"
            return "kept"

        def leave():
            together.wait(timeout=30)
            accounts.delete_account(bank_db, school["student"], now=clock())

        with ThreadPoolExecutor(2) as threads:
            asked, left = threads.submit(ask), threads.submit(leave)
            assert asked.result() in ("kept", "refused")
            left.result()
        assert drills.count(bank_db, ProducedFile) == 0


def opens(db, clock, who, file_id):
    """Whether that person gets the file."""
    try:
        return produced_files.opened(db, who, file_id, now=clock()).body == b"as it stands"
    except NotFoundError:
        return False


@pytest.mark.parametrize("about", ["student", "mate"])
class TestAboutWhoHasLeft:
    """The student has handed in and is blanked; the mate has not, so that their row is deleted."""

    def test_the_instructor_who_made_it_still_opens_it(self, bank_db, clock, school, about):
        """And finds it in a list; another instructor, a student and the head of training do not get it."""
        file = keep(bank_db, clock, school["instructor"], FOR_INSTRUCTOR, school[about]).id
        assert produced_files.own_of_those_gone(bank_db, school["instructor"]) == ()
        accounts.delete_account(bank_db, school[about], now=clock())

        got = {who for who in school if opens(bank_db, clock, school[who], file)}
        assert got == {"instructor"}
        assert [one.id for one in produced_files.own_of_those_gone(bank_db, school["instructor"])] == [file]
        assert produced_files.own_of_those_gone(bank_db, school["other"]) == ()
        for who in ("mate" if about == "student" else "student", "head"):
            with pytest.raises(NotFoundError):
                produced_files.own_of_those_gone(bank_db, school[who])
        # Nobody is left who could see a look at them.
        assert looks.listed(bank_db, school[about]) == ()
        # Nothing new is kept of them: a sheet that was asked for before and arrives after.
        with pytest.raises(NotFoundError):
            keep(bank_db, clock, school["head"], FOR_HEAD, school[about])
        assert drills.count(bank_db, ProducedFile) == 1
        # Who is an instructor no longer gets nothing.
        with bank_db.writing() as session:
            people.set_roles(session, school["instructor"], ("pilot",))
        assert not opens(bank_db, clock, school["instructor"], file)


def test_of_who_left_only_the_group_it_stays_closed(bank_db, clock, school):
    """They are still here, and so is what they share: it is for the instructors of their groups of now."""
    file = keep(bank_db, clock, school["instructor"], FOR_INSTRUCTOR, school["student"]).id
    with bank_db.writing() as session:
        session.query(Membership).filter_by(person_id=school["student"]).update({"state": "left"})
        assert session.get(Person, school["student"]).name is not None

    assert not opens(bank_db, clock, school["instructor"], file)
    assert produced_files.own_of_those_gone(bank_db, school["instructor"]) == ()

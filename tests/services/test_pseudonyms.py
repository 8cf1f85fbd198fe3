"""Names of who has left: told apart, the same everywhere, and leading back to nobody."""

from __future__ import annotations

import csv
import io
import re

import pytest
import sqlalchemy as sa

from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, allowances, groups, looks, mark_list, mark_row, remarking
from quizsvc.store.tables import Allowance, Assignment, Person, Work
from tests.services import assigned, handed_in

ITEMS = ["gate-slow-leak", "cabin-from-differential"]


@pytest.fixture
def school(bank_db, clock):
    """Four students who have handed in twice, at two assignments of one group; three have left, the last one first."""
    by, students, first = handed_in.school(bank_db, clock, ITEMS, students=4)
    group = group_of(bank_db, first)
    second = assigned.add_assignment(bank_db, clock, group, ITEMS, title="Doors and seals")
    for one in students:
        for given in (first, second):
            handed_in.do(bank_db, clock, one, given, ["wrong", "right"])
    gone = [students[3], students[0], students[1]]
    for one in gone:
        accounts.delete_account(bank_db, one, now=clock())
    return by, group, (first, second), gone


def group_of(db, assignment):
    """The group of an assignment."""
    with db.reading() as session:
        return session.get(Assignment, assignment).group_id


def _names(db, clock, by, given, gone):
    return {
        row.person_id: row.name
        for row in mark_list.mark_list(db, by, given, now=clock()).rows
        if row.person_id in gone
    }  # fmt: skip


def _addresses(db, clock, by, given, gone):
    return {
        row.person_id: row.address
        for row in mark_list.mark_list(db, by, given, now=clock()).rows
        if row.person_id in gone
    }  # fmt: skip


def test_each_has_a_name_of_their_own_everywhere(bank_db, clock, school):
    """Mark list of both assignments, the opened row, the file, a re-mark, the allowances, the group's page."""
    by, group, (first, second), gone = school
    names = _names(bank_db, clock, by, first, gone)
    assert len(set(names.values())) == 3
    assert all(re.fullmatch(r"somebody who left the service \(\d{4} \d{4}\)", one) for one in names.values())
    assert _names(bank_db, clock, by, second, gone) == names
    addresses = _addresses(bank_db, clock, by, second, gone)
    for one in gone:
        opened = mark_row.opened(bank_db, by, second, addresses[one], now=clock())
        assert (opened.name, opened.gone) == (names[one], True)
        assert looks.listed(bank_db, one) == (), "nobody is left who could see a look"
    _, body = mark_list.as_csv(bank_db, by, first, now=clock())
    cells = [row[0] for row in csv.reader(io.StringIO(body.decode("utf-8-sig")), strict=True) if row]
    assert {cell for cell in cells if cell.startswith("somebody")} == set(names.values())
    changed = {one.person for one in remarking.look(bank_db, by, first, 2).void}
    assert changed == set(names.values()) | {"Student 03"}
    with bank_db.writing() as session:
        session.add_all(
            Allowance(
                assignment_id=first, person_id=one, what="excused", reason="Ill.", taken_back=False, given_by=by,
                given_at=clock(),
            )
            for one in gone
        )  # fmt: skip
    assert {one.person_id: one.name for one in allowances.listed(bank_db, by, first)} == names
    assert {one.name for one in groups.view(bank_db, by, group).gone} == set(names.values())


def test_the_number_leads_back_to_nobody(bank_db, clock, school):
    """It is made of the random id of a work: with other ids it is another, with other rows the same.

    Of the row's id, the order of the roll and the order of leaving none is in it: the same three numbers come out
    whichever of the three persons they belong to.
    """
    by, _, (first, _), gone = school
    before = _names(bank_db, clock, by, first, gone)
    # Two of them change places, with all of their work.
    with bank_db.writing() as session:
        for old, new in ((gone[0], -1), (gone[1], gone[0]), (-1, gone[1])):
            if new == -1:
                session.add(Person(**_blank(session, gone[0]), id=10**6))
                session.flush()
            session.execute(
                sa.update(Work)
                .where(Work.person_id == (10**6 if old == -1 else old))
                .values(person_id=10**6 if new == -1 else new)
            )
    after = _names(bank_db, clock, by, first, gone)
    assert after == {gone[0]: before[gone[1]], gone[1]: before[gone[0]], gone[2]: before[gone[2]]}
    digits = {re.sub(r"\D", "", name) for name in before.values()}
    assert not {f"{one:08d}" for one in gone} & digits


def test_no_address_has_the_number_that_a_name_was_seen_with(bank_db, clock, school):
    """Whoever kept an address from before, with the name beside it, learns by it no more than from one of nobody."""
    by, _, (first, second), gone = school
    addresses = _addresses(bank_db, clock, by, first, gone)
    assert _addresses(bank_db, clock, by, second, gone) == addresses
    assert len(set(addresses.values())) == 3
    assert all(re.fullmatch(r"[0-9a-f]{32}", one) for one in addresses.values())
    for one in gone:
        with pytest.raises(NotFoundError):
            mark_row.opened(bank_db, by, first, one, now=clock())
    for unknown in ("0" * 32, "f" * 32):
        with pytest.raises(NotFoundError):
            mark_row.opened(bank_db, by, first, unknown, now=clock())
    with bank_db.reading() as session:
        works = set(session.scalars(sa.select(Work.id)))
    assert not works & set(addresses.values()), "nor is it an address that the person's own pages had"


def _blank(session, person_id):
    row = session.get(Person, person_id)
    return {
        column.name: getattr(row, column.name) for column in Person.__table__.columns if column.name != "id"
    }  # fmt: skip

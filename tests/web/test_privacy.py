"""What a person shares, and who looked at their record, on their own pages."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from quizsvc.services import looks
from quizsvc.store.tables import Look, Person
from tests.services import assigned
from tests.web.pages import on_both


def _own_id(db, name="Nadir Eshvale"):
    with db.reading() as session:
        return session.scalars(sa.select(Person.id).where(Person.name == name)).one()


def _boxes(page):
    """The boxes that are ticked."""
    return {name for name, _ in page.form("/account/sharing").fields if name != "csrf_token"}


@on_both
def test_nothing_of_practice_is_shared_with_instructors_at_first(member):
    """As begun: only the expectation, and only with the head of training (issue: default)."""
    assert _boxes(member.get("/account/sharing")) == {"expectation_to_head"}


@on_both
@pytest.mark.parametrize(
    "ticked", [set(), {"practice_to_instructors"}, {"practice_to_instructors", "expectation_to_head"}]
)
def test_the_boxes_stay_as_they_were_sent(member, ticked):
    """A first choice, and a second one that turns it back."""
    form = member.get("/account/sharing").form("/account/sharing")
    form.fields = [pair for pair in form.fields if pair[0] == "csrf_token"]
    member.send(form, **dict.fromkeys(ticked, "on"))

    assert "Kept." in member.page.text
    assert _boxes(member.get("/account/sharing")) == ticked

    member.send(form, expectation_to_head="on")
    assert _boxes(member.get("/account/sharing")) == {"expectation_to_head"}


@on_both
def test_who_looked_at_what_and_when(member, bank_db, clock):
    """Newest first; the clock stands at 09:00 UTC of 2 March 2026, and the member's zone is UTC."""
    own, by = _own_id(bank_db), assigned.add_person(bank_db, clock, "Odalys Brandt", roles=("instructor",))
    assert "Nobody yet." in member.get("/account/looks").text
    with bank_db.writing() as session:
        looks.note(session, own, by, "homework: Bleed air", clock())
    clock.advance(hours=2)
    with bank_db.writing() as session:
        looks.note(session, own, by, "evidence sheet", clock())

    text = member.get("/account/looks").text
    assert text.index("Odalys Brandt Evidence sheet, 2 Mar 2026, 11:00") < text.index(
        "Odalys Brandt Homework: Bleed air, 2 Mar 2026, 09:00"
    )


@on_both
def test_own_looks_are_not_noted_and_others_stay_with_them(member, bank_db, clock):
    """A look at oneself is none; another person's list does not have mine."""
    own, other = _own_id(bank_db), assigned.add_person(bank_db, clock, "Osric Tamblane")
    with bank_db.writing() as session:
        looks.note(session, own, own, "evidence sheet", clock())
        looks.note(session, other, own, "evidence sheet", clock())

    assert "Nobody yet." in member.get("/account/looks").text
    assert [one.by for one in looks.listed(bank_db, other)] == ["Nadir Eshvale"]


def test_who_looked_and_has_gone(member, bank_db, clock):
    """The look stays without a name."""
    own, by = _own_id(bank_db), assigned.add_person(bank_db, clock, "Odalys Brandt", roles=("instructor",))
    with bank_db.writing() as session:
        looks.note(session, own, by, "evidence sheet", clock())
    with bank_db.writing() as session:
        session.execute(sa.delete(Person).where(Person.id == by))

    assert "Somebody whose account has gone" in member.get("/account/looks").text
    with bank_db.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Look)) == 1

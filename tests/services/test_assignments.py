"""Assignments: what is picked, what is previewed and released, and who is told of somebody else's change."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import (
    assignment_picking,
    assignment_preview,
    assignment_release,
    assignments,
    banks,
    local_times,
)
from quizsvc.services.assignment_items import Criteria
from quizsvc.store.tables import CommonDraw, Item, Membership, Question, Work
from tests import factories
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.assigning import drawn, placed, preview, release, update_item, view
from tests.services.drills import count

ITEMS = ["essential-bus-feeds", "highest-level-mental"]


@pytest.fixture
def teacher(bank_db, clock):
    """An instructor."""
    return add_person(bank_db, clock, "Rosmund Achterby", ("instructor",))


@pytest.fixture
def students(bank_db, clock):
    """Two students."""
    return [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]


@pytest.fixture
def group(bank_db, clock, teacher, students):
    """Their group."""
    return add_group(bank_db, clock, instructors=[teacher], students=students)


@pytest.fixture
def draft(bank_db, clock, group):
    """A draft on two items that closes in a week."""
    return add_assignment(bank_db, clock, group, ITEMS, released=False, opens_at=None)


def rules(db, clock, teacher, assignment_id, **changes):
    """Change rules from the newest version."""
    found = view(db, clock, teacher, assignment_id)
    form = replace(assignments.form_of(found), **changes)
    return assignments.change(db, teacher, assignment_id, found.version, form, now=clock())


class TestPreview:
    """What is previewed is what they get."""

    def test_release_keeps_what_was_drawn(self, bank_db, clock, rng, teacher, students, draft):
        """Not one number moves, and drawing again draws nothing."""
        before = preview(bank_db, clock, rng, teacher, draft)
        release(bank_db, clock, teacher, draft)

        assert preview(bank_db, clock, random.Random(99), teacher, draft) == before
        assert sorted(before) == sorted(students)
        assert before[students[0]][1] != before[students[1]][1]

    def test_nobody_previewed_together_has_the_numbers_of_another(self, bank_db, clock, rng, teacher):
        """Seven rates by nine times are 63 draws; 25 students have 25 different ones."""
        students = [add_person(bank_db, clock, f"Student {number}") for number in range(25)]
        group = add_group(bank_db, clock, name="A large one", instructors=[teacher], students=students)
        large = add_assignment(bank_db, clock, group, [ITEMS[1]], released=False)

        found = preview(bank_db, clock, rng, teacher, large)

        assert len({str(questions) for questions in found.values()}) == len(students)

    def test_who_joins_later_is_drawn_later(self, bank_db, clock, rng, teacher, group, draft):
        """The others keep theirs."""
        before = preview(bank_db, clock, rng, teacher, draft)
        late = add_person(bank_db, clock, "Cyr Vane")
        with bank_db.writing() as session:
            session.add(
                Membership(
                    group_id=group, person_id=late, part="student", state="in", asked_at=clock(), joined_at=clock()
                )
            )

        assert assignment_preview.look(bank_db, teacher, draft, now=clock()).missing == 1
        after = preview(bank_db, clock, rng, teacher, draft)
        assert {person: after[person] for person in before} == before
        assert late in after

    @pytest.mark.parametrize("change", ["items", "numbers"])
    def test_another_choice_forgets_the_draw(self, bank_db, clock, rng, teacher, draft, change):
        """Other items or common numbers: nobody keeps a question of before."""
        preview(bank_db, clock, rng, teacher, draft)
        if change == "items":
            version = view(bank_db, clock, teacher, draft).version
            assignment_picking.remove_item(bank_db, teacher, draft, version, ITEMS[0], now=clock())
        else:
            rules(bank_db, clock, teacher, draft, numbers="common")

        assert count(bank_db, Work) == count(bank_db, Question) == 0

    def test_other_rules_do_not(self, bank_db, clock, rng, teacher, draft):
        """Title, tries, feedback."""
        before = preview(bank_db, clock, rng, teacher, draft)
        rules(bank_db, clock, teacher, draft, title="Other", tries=3, feedback="after closing")

        assert drawn(bank_db) == before

    def test_common_numbers_are_common(self, bank_db, clock, rng, teacher, students, draft):
        """One draw for both."""
        rules(bank_db, clock, teacher, draft, numbers="common")
        found = preview(bank_db, clock, rng, teacher, draft)

        assert found[students[0]] == found[students[1]]
        assert count(bank_db, CommonDraw) == 2

    def test_a_sheet_is_the_persons_own(self, bank_db, clock, rng, teacher, students, draft):
        """Stem and key of the numbers that are stored: rate times minutes, worked here a second time."""
        found = preview(bank_db, clock, rng, teacher, draft)
        for student in students:
            numbers = found[student][1][2]
            rate, minutes = (int(numbers[name]["shown"].split()[0]) for name in ("rate", "minutes"))
            sheet = assignment_preview.sheet(bank_db, teacher, draft, student, now=clock())

            assert sheet.questions[1].key["key"] == f"{rate * minutes:,} ft"
            assert f"climbs at {rate} fpm for {minutes} min" in sheet.questions[1].view.stem

    def test_without_items_there_is_nothing_to_draw(self, bank_db, clock, rng, teacher, group):
        """In words."""
        empty = add_assignment(bank_db, clock, group, [], released=False)
        with pytest.raises(InputError, match="no item"):
            preview(bank_db, clock, rng, teacher, empty)


class TestRelease:
    """Releasing."""

    def test_it_opens_now_where_no_opening_is_set(self, bank_db, clock, teacher, draft):
        """And the state is open."""
        found = release(bank_db, clock, teacher, draft)

        assert (found.state, found.phase, found.opens_at) == ("released", "open", clock())

    @pytest.mark.parametrize(
        ("item", "values"),
        [
            (ITEMS[0], {"status": "read"}),
            (ITEMS[1], {"withdrawn_by": "squawk"}),
        ],
    )
    def test_an_item_that_may_not_be_asked_is_named(self, bank_db, clock, teacher, draft, item, values):
        """It was picked before it fell out."""
        if "withdrawn_by" in values:
            values = values | {"withdrawn_at": clock()}
        update_item(bank_db, item, **values)
        with pytest.raises(InputError, match=item):
            release(bank_db, clock, teacher, draft)

        assert view(bank_db, clock, teacher, draft).state == "draft"

    def test_not_empty_not_twice_not_over(self, bank_db, clock, teacher, group, draft):
        """Three refusals."""
        empty = add_assignment(bank_db, clock, group, [], released=False)
        over = add_assignment(bank_db, clock, group, ITEMS, released=False, opens_at=None)
        release(bank_db, clock, teacher, draft)
        clock.advance(days=8)
        for assignment, words in ((empty, "no item"), (draft, "already"), (over, "in the past")):
            with pytest.raises(InputError, match=words):
                release(bank_db, clock, teacher, assignment)

    @pytest.fixture
    def changed(self, bank_db, clock, rng, tmp_path):
        """Loads the bank with another text of the mental item."""

        def load():
            texts = {
                "tolquenny-19/items.yaml": factories.AIRCRAFT_ITEMS.replace(
                    "How far does it climb?", "How far does the cabin climb?"
                )
            }
            banks.load(bank_db, factories.write_bank(tmp_path / "b", extra=texts), now=clock(), rng=rng)

        return load

    def test_a_newer_text_since_the_preview_is_refused(self, bank_db, clock, rng, teacher, draft, changed):
        """Until the preview is drawn again, which takes the newer text."""
        preview(bank_db, clock, rng, teacher, draft)
        changed()
        with pytest.raises(InputError, match="newer text"):
            release(bank_db, clock, teacher, draft)

        assert assignment_preview.look(bank_db, teacher, draft, now=clock()).stale == (ITEMS[1],)
        preview(bank_db, clock, rng, teacher, draft)
        release(bank_db, clock, teacher, draft)
        with bank_db.reading() as session:
            in_use = session.scalar(sa.select(Item.revision_id).where(Item.id == ITEMS[1]))
            asked = set(session.scalars(sa.select(Question.revision_id).where(Question.item_id == ITEMS[1])))
        assert asked == {in_use}

    def test_release_freezes_the_revision(self, bank_db, clock, rng, teacher, draft, changed):
        """A text that comes later is not drawn: everybody is asked the same."""
        release(bank_db, clock, teacher, draft)
        with bank_db.reading() as session:
            before = session.scalar(sa.select(Item.revision_id).where(Item.id == ITEMS[1]))
        changed()
        preview(bank_db, clock, rng, teacher, draft)
        with bank_db.reading() as session:
            after = session.scalar(sa.select(Item.revision_id).where(Item.id == ITEMS[1]))
            asked = set(session.scalars(sa.select(Question.revision_id).where(Question.item_id == ITEMS[1])))

        assert after != before
        assert asked == {before}


class TestVersions:
    """Whoever looked at an older state is told, whatever they wanted."""

    def test_every_change_asks_for_the_version(self, bank_db, clock, rng, teacher, draft):
        """Rules, picking, naming, taking out, release, taking back: nothing is stored."""
        old = view(bank_db, clock, teacher, draft)
        rules(bank_db, clock, teacher, draft, title="Of somebody else")
        form, now = assignments.form_of(old), clock()
        for act in (
            lambda: assignments.change(bank_db, teacher, draft, old.version, form, now=now),
            lambda: assignment_picking.pick(bank_db, teacher, draft, old.version, Criteria(1), now=now, rng=rng),
            lambda: assignment_picking.place_items(bank_db, teacher, draft, old.version, ["matter-1"], now=now),
            lambda: assignment_picking.remove_item(bank_db, teacher, draft, old.version, ITEMS[0], now=now),
            lambda: assignment_release.release(bank_db, teacher, draft, old.version, now=now),
            lambda: assignments.take_back(bank_db, teacher, draft, old.version, now=now),
        ):
            with pytest.raises(ConflictError, match="meanwhile"):
                act()

        found = view(bank_db, clock, teacher, draft)
        assert (found.title, found.state, found.version) == ("Of somebody else", "draft", old.version + 1)
        assert placed(bank_db, draft) == ITEMS

    def test_an_unchanged_opening_to_the_second_is_no_change(self, bank_db, clock, teacher, draft):
        """The form shows minutes; sending it back as it is keeps the seconds."""
        clock.advance(seconds=37)
        release(bank_db, clock, teacher, draft)
        opened = clock()
        clock.advance(minutes=10)

        assert rules(bank_db, clock, teacher, draft, title="Other").opens_at == opened

    def test_a_closing_after_feedback_is_out_stays(self, bank_db, clock, teacher, draft):
        """With feedback after closing; an extension is the way then."""
        rules(bank_db, clock, teacher, draft, feedback="after closing")
        release(bank_db, clock, teacher, draft)
        clock.advance(days=8)
        later = local_times.shown(clock() + timedelta(days=1), "Europe/Zurich")
        with pytest.raises(InputError, match="has been shown its feedback"):
            rules(bank_db, clock, teacher, draft, closes=later)


def test_not_theirs_is_not_found(bank_db, clock, rng, students, draft):
    """Every verb, for a student of the group and for an instructor of none."""
    other = add_person(bank_db, clock, "Perel Ostrand", ("instructor",))
    now = clock()
    for who in (students[0], other):
        for act in (
            lambda who: assignments.view(bank_db, who, draft, now=now),
            lambda who: assignments.take_back(bank_db, who, draft, 1, now=now),
            lambda who: assignment_picking.picking_of(bank_db, who, draft),
            lambda who: assignment_picking.pick(bank_db, who, draft, 1, Criteria(1), now=now, rng=rng),
            lambda who: assignment_preview.draw_all(bank_db, who, draft, now=now, rng=rng),
            lambda who: assignment_preview.look(bank_db, who, draft, now=now),
            lambda who: assignment_preview.sheet(bank_db, who, draft, students[0], now=now),
            lambda who: assignment_preview.sheets(bank_db, who, draft, now=now),
            lambda who: assignment_release.release(bank_db, who, draft, 1, now=now),
        ):
            with pytest.raises(NotFoundError):
                act(who)
    assert count(bank_db, Work) == 0

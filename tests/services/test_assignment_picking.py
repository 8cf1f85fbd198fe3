"""Picking what an assignment asks: what is offered, by which rules and words, in which order."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import assignment_items, assignment_picking
from quizsvc.services.assignment_items import Criteria
from quizsvc.store.tables import AssignmentPlace, Item, Question, Squawk
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.assigning import drawn, placed, preview, release, update_item, view
from tests.services.drills import answer, count, right, start

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


class TestPicking:
    """What the picker offers and takes."""

    @pytest.fixture
    def empty(self, bank_db, clock, group):
        """A draft without items."""
        return add_assignment(bank_db, clock, group, [], released=False)

    def offered(self, db, teacher, group):
        """The items by id."""
        return {one.id: one for one in assignment_picking.catalogue(db, teacher, group).items}

    def pick(self, db, clock, rng, teacher, assignment_id, **criteria):
        """Pick, and what is placed then."""
        version = view(db, clock, teacher, assignment_id).version
        assignment_picking.pick(db, teacher, assignment_id, version, Criteria(**criteria), now=clock(), rng=rng)
        return placed(db, assignment_id)

    def test_never_unread_withdrawn_or_disputed(self, bank_db, clock, teacher, group):
        """Each leaves the list; the others stay."""
        before = self.offered(bank_db, teacher, group)
        update_item(bank_db, "gate-slow-leak", status="read")
        update_item(bank_db, "essential-bus-feeds", withdrawn_at=clock(), withdrawn_by="handbook")
        with bank_db.writing() as session:
            revision = session.scalar(sa.select(Item.revision_id).where(Item.id == "matter-1"))
            session.add(
                Squawk(
                    item_id="matter-1",
                    revision_id=revision,
                    text="Wrong.",
                    status="open",
                    withdrew=False,
                    raised_at=clock(),
                )
            )

        after = self.offered(bank_db, teacher, group)

        assert set(before) - set(after) == {"gate-slow-leak", "essential-bus-feeds", "matter-1"}

    def test_of_every_kind_but_oral_practice(self, kinds_db, clock):
        """Nine kinds of ten."""
        teacher = add_person(kinds_db, clock, "Rosmund Achterby", ("instructor",))
        group = add_group(kinds_db, clock, instructors=[teacher])

        kinds = {one.kind for one in assignment_picking.catalogue(kinds_db, teacher, group).items}

        assert kinds == {"one", "some", "number", "order", "match", "gauge", "profile", "still-works", "scenario"}

    def test_only_of_the_groups_aircraft(self, bank_db, clock, teacher):
        """A group without one is asked what is general."""
        group = add_group(bank_db, clock, name="Ground", instructors=[teacher])
        with bank_db.writing() as session:
            session.execute(sa.text("UPDATE school_group SET aircraft = '[]' WHERE id = :id"), {"id": group})

        assert {one[:7] for one in self.offered(bank_db, teacher, group)} == {"matter-"}

    def test_an_open_key_is_marked(self, bank_db, clock, rng, teacher, students, group):
        """Shipped, and answered in practice by a student of the group; not what an instructor has practised."""
        update_item(bank_db, "matter-2", source="school")
        answered = {}
        for person in (students[0], teacher):
            drill = start(bank_db, clock, rng, person, minutes=25)
            question = next(one for one in drill.questions if one.kind == "one" and one.item not in answered.values())
            answer(bank_db, clock, person, question.id, right(bank_db, question.id))
            answered[person] = question.item
        found = self.offered(bank_db, teacher, group)

        assert "practised here" in found[answered[students[0]]].open_key
        assert "practised" not in found[answered[teacher]].open_key
        assert "shipped" not in found["matter-2"].open_key
        assert found["essential-bus-feeds"].open_key.startswith("shipped")

    def test_own_numbers_first_then_homework_only(self, bank_db, clock, rng, teacher, empty):
        """Of concept P-DIFF the two with numbers; of the general ones that which practice never asks."""
        update_item(bank_db, "matter-7", homework_only=True, source="school")
        update_item(bank_db, "matter-8", source="school")
        for concept, ranked in (
            (("P-DIFF",), {"cabin-from-differential", "highest-level-mental"}),
            (("G-T7", "G-T8", "G-T9"), {"matter-7"}),
            (("G-T8", "G-T9"), {"matter-8"}),
        ):
            before = set(placed(bank_db, empty))
            after = self.pick(bank_db, clock, rng, teacher, empty, count=len(ranked), concepts=concept)
            assert set(after) - before == ranked

    def test_own_numbers_before_what_is_the_same_for_all(self, bank_db, clock, rng, teacher, group):
        """One item of four concepts is always of the one concept that has own numbers."""
        for _ in range(6):
            empty = add_assignment(bank_db, clock, group, [], released=False)
            wanted = ("D-BUS", "H-GATE", "C-FAIL", "P-DIFF")
            (found,) = self.pick(bank_db, clock, rng, teacher, empty, count=1, concepts=wanted)
            assert found in ("cabin-from-differential", "highest-level-mental")

    def test_spread_over_concepts(self, bank_db, clock, rng, teacher, empty):
        """Four of four concepts, though one of them has two better items."""
        wanted = ("P-DIFF", "H-GATE", "C-FAIL", "D-BUS")
        found = self.pick(bank_db, clock, rng, teacher, empty, count=4, concepts=wanted)
        with bank_db.reading() as session:
            concepts = set(session.scalars(sa.select(Item.concept_id).where(Item.id.in_(found))))

        assert concepts == set(wanted)

    @pytest.mark.parametrize(
        ("criteria", "found"),
        [
            ({"kinds": ("some",)}, {"controller-dead-what-holds"}),
            ({"demands": ("understanding",)}, {"controller-dead-what-holds"}),
            ({"systems": ("24 DC power",)}, {"essential-bus-feeds"}),
            ({"systems": ("24 DC power",), "concepts": ("H-GATE",)}, {"essential-bus-feeds", "gate-slow-leak"}),
            (
                {"kinds": ("number",), "demands": ("application",)},
                {"cabin-from-differential", "highest-level-mental"},
            ),
        ],
    )
    def test_by_concept_kind_and_demand(self, bank_db, clock, rng, teacher, empty, criteria, found):
        """As the bank's text has them."""
        assert set(self.pick(bank_db, clock, rng, teacher, empty, count=60, **criteria)) == found

    def test_where_nothing_fits_nothing_changes(self, bank_db, clock, rng, teacher, draft):
        """Also where all that fits is picked already."""
        for criteria in ({"kinds": ("order",)}, {"systems": ("24 DC power",)}):
            with pytest.raises(InputError, match="no item fits"):
                self.pick(bank_db, clock, rng, teacher, draft, count=3, **criteria)

        assert placed(bank_db, draft) == ITEMS
        assert view(bank_db, clock, teacher, draft).version == 1

    def test_coverage_and_thin_concepts(self, bank_db, teacher, draft):
        """Of the system asked every concept, with and without a place; two items of one kind are thin."""
        found = assignment_picking.picking_of(bank_db, teacher, draft)
        lines = {one.id: (one.items, one.own_numbers, one.picked, one.thin) for one in found.covered}

        assert lines == {"P-DIFF": (2, 2, 1, True), "D-BUS": (1, 0, 1, True)}
        assert found.counts("kind") == {"one": 1, "number": 1}


@pytest.mark.parametrize(
    ("stem", "shown"),
    [
        ("What  is\nit?", "What is it?"),
        ("a" * 179 + "?", "a" * 179 + "?"),
        # 70 characters end within the 18th "word"; the last sentence is what is asked.
        ("word " * 40 + "is here. What is asked?", "word " * 14 + "\u2026 What is asked?"),
        ("word " * 40 + "is **here**: the **end**", "word " * 14 + "\u2026 the end"),
        # One sentence alone: its last 110 characters, from the next whole word: 109 are 21 words of five and "end?".
        ("word " * 60 + "end?", "word " * 14 + "\u2026 " + "word " * 21 + "end?"),
    ],
)
def test_a_long_stem_keeps_what_is_asked(stem, shown):
    """Counted by hand: "word " is five characters."""
    assert assignment_items.shortened(stem) == shown


class TestMoving:
    """The order of the places."""

    THREE = ["gate-slow-leak", *ITEMS]

    @pytest.fixture
    def three(self, bank_db, clock, group):
        """A draft on three items."""
        return add_assignment(bank_db, clock, group, self.THREE, released=False)

    def move(self, db, clock, teacher, assignment_id, item, by, version=None):
        """Move it from the newest version."""
        version = version or view(db, clock, teacher, assignment_id).version
        return assignment_picking.move_item(db, teacher, assignment_id, version, item, by=by, now=clock())

    @pytest.mark.parametrize(
        ("item", "by", "place", "order"),
        [(0, 1, 2, [1, 0, 2]), (2, -1, 2, [0, 2, 1]), (0, 9, 3, [1, 2, 0]), (2, -9, 1, [2, 0, 1])],
    )
    def test_up_and_down(self, bank_db, clock, teacher, three, item, by, place, order):
        """By one or by more, at most to an end; the places are counted from 1 without a gap."""
        assert self.move(bank_db, clock, teacher, three, self.THREE[item], by) == place
        assert placed(bank_db, three) == [self.THREE[one] for one in order]
        with bank_db.reading() as session:
            positions = session.scalars(
                sa.select(AssignmentPlace.position).where(AssignmentPlace.assignment_id == three)
            ).all()
        assert sorted(positions) == [1, 2, 3]
        assert view(bank_db, clock, teacher, three).version == 2

    def test_at_an_end_and_of_nothing_it_stays(self, bank_db, clock, rng, teacher, three):
        """Nothing is counted as a change, and what was drawn stays."""
        before = preview(bank_db, clock, rng, teacher, three)
        assert self.move(bank_db, clock, teacher, three, self.THREE[0], -1) == 1
        assert self.move(bank_db, clock, teacher, three, "nothing-such", 1) is None

        assert (placed(bank_db, three), drawn(bank_db)) == (self.THREE, before)

    def test_people_get_the_new_order(self, bank_db, clock, rng, teacher, students, three):
        """What was drawn before is forgotten; the next preview asks in the new order."""
        preview(bank_db, clock, rng, teacher, three)
        self.move(bank_db, clock, teacher, three, self.THREE[2], -2)
        assert count(bank_db, Question) == 0
        preview(bank_db, clock, rng, teacher, three)

        with bank_db.reading() as session:
            asked = session.scalars(
                sa.select(Question.item_id).where(Question.person_id == students[0]).order_by(Question.position)
            ).all()
        assert asked == [self.THREE[2], *self.THREE[:2]]

    def test_the_second_of_two_is_told(self, bank_db, clock, teacher, three):
        """By the version that they looked at; nothing is overwritten."""
        self.move(bank_db, clock, teacher, three, self.THREE[0], 1)
        with pytest.raises(ConflictError, match="somebody changed it"):
            self.move(bank_db, clock, teacher, three, self.THREE[0], 1, version=1)

        assert placed(bank_db, three) == [self.THREE[1], self.THREE[0], self.THREE[2]]

    def test_after_release_they_stay(self, bank_db, clock, teacher, students, three):
        """And nobody else may move them."""
        with pytest.raises(NotFoundError):
            self.move(bank_db, clock, students[0], three, self.THREE[0], 1, version=1)
        release(bank_db, clock, teacher, three)
        with pytest.raises(InputError, match="fixed since its release"):
            self.move(bank_db, clock, teacher, three, self.THREE[0], 1)

        assert placed(bank_db, three) == self.THREE


class TestWords:
    """Picking by plain words. What they fit was read off the text of `tests.factories` by hand."""

    @pytest.mark.parametrize(
        ("words", "found"),
        [
            ("DC power", {"essential-bus-feeds"}),  # a system by its name without its number
            ("dc POWER supply", {"essential-bus-feeds"}),  # more words do no harm to that
            ("dead controller", {"controller-dead-what-holds"}),  # a concept by its title
            ("controllers", set()),  # no word begins with it
            ("control dead", {"controller-dead-what-holds"}),  # four letters and more: the beginning of a word
            ("con dead", set()),  # three: the whole word only
            ("differential cabin", {"cabin-from-differential", "highest-level-mental"}),  # of both the concept's title
            ("climbs", {"highest-level-mental"}),  # what an item asks, where the words mean no concept
            ("bleed air", set()),
            # The concept H-GATE, and not P-DIFF, whose item asks about the cabin too.
            ("cabin warning", {"gate-slow-leak"}),
        ],
    )
    def test_systems_concepts_and_stems(self, bank_db, teacher, group, words, found):
        """All words must fit, but for the name of a whole system."""
        picking = assignment_picking.catalogue(bank_db, teacher, group)

        assert {one.id for one in picking.found(words)} == found

    def test_no_words_fit_everything(self, bank_db, teacher, group):
        """As do marks without a letter."""
        picking = assignment_picking.catalogue(bank_db, teacher, group)

        assert picking.found("") == picking.found(" ?! ") == picking.items

    def test_they_pick_where_nothing_is_ticked(self, bank_db, clock, rng, teacher, group):
        """A concept that is ticked counts instead of the words."""
        for criteria, item in (
            (Criteria(9, words="dead controller"), "controller-dead-what-holds"),
            (Criteria(9, words="dead controller", concepts=("H-GATE",)), "gate-slow-leak"),
        ):
            made = assignment_picking.make_and_pick(bank_db, teacher, group, "By words", criteria, now=clock(), rng=rng)
            assert placed(bank_db, made) == [item]
        with pytest.raises(InputError, match="no item fits"):
            assignment_picking.make_and_pick(
                bank_db, teacher, group, "By words", Criteria(9, words="bleed air"), now=clock(), rng=rng
            )

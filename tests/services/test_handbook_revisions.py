"""A handbook's new revision: what cites a changed section is out of use until a reviewer has read it again."""

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import banks, desk_items, handbook_revisions, holds
from quizsvc.services.desk_check import check
from quizsvc.store import bank
from quizsvc.store.tables import Grade, Item, Revision
from tests import factories
from tests.services import assigned
from tests.services.desk_texts import RUDDER
from tests.services.drills import answer, begin, right, start
from tests.services.test_answers import same_as_replayed
from tests.services.test_desk_items import release

# By hand from tests/factories.py: what cites 21-10 and what cites 24-10.
CITE_21_10 = ["cabin-from-differential", "controller-dead-what-holds", "highest-level-mental"]
CITE_24_10 = ["essential-bus-feeds"]
BOOK = "tolquenny-19"


@pytest.fixture
def reviewer(bank_db, clock):
    """Who reads."""
    return assigned.add_person(bank_db, clock, "Ysolt Brandreth", ("reviewer", "item author"))


def record(db, clock, by, *sections, name="Revision 7"):
    return handbook_revisions.record(db, by, folder=BOOK, name=name, sections=sections, now=clock())


def out_of_use(db):
    with db.reading() as session:
        rows = session.execute(
            sa.select(Item.id, Item.withdrawn_by, Revision.withdrawn_at)
            .join(Revision, Revision.id == Item.revision_id)
            .where(Item.withdrawn_at.is_not(None))
            .order_by(Item.id)
        ).all()
    assert all(by == "handbook" and at is not None for _, by, at in rows)
    return [item for item, _, _ in rows]


def test_every_item_that_cites_a_changed_section_is_out_of_use(bank_db, clock, reviewer):
    """And nothing else; practice does not ask it."""
    assert handbook_revisions.citing(bank_db, reviewer, BOOK, ["21-10", "24-10"]) == sorted(CITE_21_10 + CITE_24_10)
    assert out_of_use(bank_db) == []
    number = record(bank_db, clock, reviewer, "21-10")

    assert out_of_use(bank_db) == CITE_21_10
    with bank_db.reading() as session:
        asked = {row.id for row in bank.askable(session, [BOOK])}
    assert asked == {"essential-bus-feeds", "gate-slow-leak"}
    view, items = handbook_revisions.detail(bank_db, reviewer, number)
    assert (view.name, view.sections, view.items, view.waiting) == ("Revision 7", ("21-10",), 3, 3)
    assert [(one.id, one.sections) for one in items] == [(item, ("21-10",)) for item in CITE_21_10]


def test_read_again_it_is_in_use_with_the_same_text(bank_db, clock, reviewer):
    """One by one, once each."""
    number = record(bank_db, clock, reviewer, "21-10")
    handbook_revisions.read_again(bank_db, reviewer, number, CITE_21_10[0])

    assert out_of_use(bank_db) == CITE_21_10[1:]
    assert handbook_revisions.listed(bank_db, reviewer)[0].waiting == 2
    with pytest.raises(ConflictError):
        handbook_revisions.read_again(bank_db, reviewer, number, CITE_21_10[0])
    with pytest.raises(NotFoundError):
        handbook_revisions.read_again(bank_db, reviewer, number, CITE_24_10[0])


def test_an_item_that_waits_waits_for_the_next_revision_too(bank_db, clock, reviewer):
    """It stands in both lists."""
    record(bank_db, clock, reviewer, "24-10")
    second = record(bank_db, clock, reviewer, "24-10", name="Revision 8")

    assert [row.waiting for row in handbook_revisions.listed(bank_db, reviewer)] == [1, 1]
    handbook_revisions.read_again(bank_db, reviewer, second, CITE_24_10[0])
    assert [row.waiting for row in handbook_revisions.listed(bank_db, reviewer)] == [0, 0]


def test_loading_the_same_files_brings_nothing_back(bank_db, clock, rng, reviewer, tmp_path):
    """The text has not been read again; another text has, and comes into use."""
    record(bank_db, clock, reviewer, "21-10", "24-10")
    files = factories.write_bank(tmp_path / "files")
    banks.load(bank_db, files, now=clock(), rng=rng)
    assert out_of_use(bank_db) == sorted(CITE_21_10 + CITE_24_10)

    file = next(path for path in (files / BOOK).glob("*.yaml") if "essential-bus-feeds" in path.read_text())
    file.write_text(file.read_text().replace("Which bus feeds the dump switch?", "Which bus keeps the dump alive?"))
    banks.load(bank_db, files, now=clock(), rng=rng)
    assert out_of_use(bank_db) == CITE_21_10


def test_what_was_learned_is_suspect_until_it_is_read_again(bank_db, clock, rng, reviewer):
    """The answer stays as it was judged, and memory is what the whole log gives, each time."""
    learner = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, learner.id, minutes=200)
    question = next(one for one in drill.questions if one.concept == "P-DIFF" and one.item in CITE_21_10)
    answer(bank_db, clock, learner.id, question.id, right(bank_db, question.id))
    other = next(item for item in ("cabin-from-differential", "highest-level-mental") if item != question.item)

    def hold():
        spots = holds.thin_spots(bank_db, learner.id, now=clock())
        assert same_as_replayed(bank_db, clock, learner.id)
        return {row.concept: row.state for row in spots.rows}["P-DIFF"]

    assert hold() == "unsettled"
    number = record(bank_db, clock, reviewer, "21-10")
    # Another way of asking the concept keeps it listed.
    handbook_revisions.read_again(bank_db, reviewer, number, other)
    assert hold() == "suspect"
    handbook_revisions.read_again(bank_db, reviewer, number, question.item)
    assert hold() == "unsettled"
    with bank_db.reading() as session:
        assert session.scalars(sa.select(Grade.outcome)).all() == ["full"]


def test_nobody_reads_an_own_item_again(bank_db, clock, reviewer, tmp_path):
    """A school's item takes another reviewer."""
    author = reviewer
    other = assigned.add_person(bank_db, clock, "Corin Peverell", ("reviewer",))
    desk_items.start(bank_db, author, folder=BOOK, text=RUDDER, now=clock())
    release(bank_db, clock, other, lambda folder, text: check(bank_db, other, folder, text, locks=tmp_path, seed=19))
    number = record(bank_db, clock, author, "24-10")

    assert out_of_use(bank_db) == ["essential-bus-feeds", "school-essential-bus"]
    own = {one.id: one.may_read for one in handbook_revisions.detail(bank_db, author, number)[1]}
    assert own == {"essential-bus-feeds": True, "school-essential-bus": False}
    with pytest.raises(NotFoundError):
        handbook_revisions.read_again(bank_db, author, number, "school-essential-bus")
    handbook_revisions.read_again(bank_db, other, number, "school-essential-bus")
    assert out_of_use(bank_db) == ["essential-bus-feeds"]


@pytest.mark.parametrize(
    ("folder", "name", "sections", "reference"),
    [
        (BOOK, " ", ["21-10"], "handbook-name-empty"),
        (BOOK, "Revision 7", [], "handbook-sections-none"),
        (BOOK, "Revision 7", ["21-10", "99-10"], "handbook-section-unknown"),
        ("general", "Revision 7", ["21-10"], "handbook-unknown"),
    ],
)
def test_what_is_no_revision_withdraws_nothing(bank_db, clock, reviewer, folder, name, sections, reference):
    """It is refused with its reason."""
    with pytest.raises(InputError) as refused:
        handbook_revisions.record(bank_db, reviewer, folder=folder, name=name, sections=sections, now=clock())
    assert refused.value.reference == reference
    assert (out_of_use(bank_db), handbook_revisions.listed(bank_db, reviewer)) == ([], [])


def test_only_reviewers(bank_db, clock, reviewer):
    """Not authors, instructors or keepers."""
    other = assigned.add_person(bank_db, clock, "Dunstan Okeby", ("item author", "instructor", "keeper"))
    number = record(bank_db, clock, reviewer, "24-10")
    for ask in (
        lambda: handbook_revisions.handbooks(bank_db, other),
        lambda: handbook_revisions.listed(bank_db, other),
        lambda: handbook_revisions.detail(bank_db, other, number),
        lambda: handbook_revisions.citing(bank_db, other, BOOK, ["24-10"]),
        lambda: record(bank_db, clock, other, "21-10"),
        lambda: handbook_revisions.read_again(bank_db, other, number, CITE_24_10[0]),
    ):
        with pytest.raises(NotFoundError):
            ask()

"""A school's own items: kept as text, checked in a process of its own, read and put into use by a second person."""

import fcntl
import random

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, FindingsError, InputError, NotFoundError, ThrottledError
from quizsvc.services import assignment_items, banks, desk_check, desk_items, desk_release, desk_text
from quizsvc.store import bank
from quizsvc.store.tables import DeskItem, Group, Item, Revision
from tests import factories
from tests.services import assigned
from tests.services.desk_texts import CLIMB, FAULTY, FAULTY_LINES, RUDDER

ITEM = "school-essential-bus"


@pytest.fixture
def school(bank_db, clock):
    """Two authors, a reviewer who also writes, and a pilot."""
    return {
        name: assigned.add_person(bank_db, clock, name, roles)
        for name, roles in {
            "Wenna Astley": ("item author",),
            "Corin Peverell": ("item author",),
            "Ysolt Brandreth": ("reviewer", "item author"),
            "Dunstan Okeby": ("pilot", "instructor", "keeper"),
        }.items()
    }


@pytest.fixture
def author(school):
    """Who writes."""
    return school["Wenna Astley"]


@pytest.fixture
def reviewer(school):
    """Who reads."""
    return school["Ysolt Brandreth"]


@pytest.fixture
def look(bank_db, reviewer, tmp_path):
    """The check, as the reviewer's."""
    return lambda folder, text: desk_check.check(bank_db, reviewer, folder, text, locks=tmp_path, seed=19)


def start(db, clock, author, text=RUDDER):
    return desk_items.start(db, author, folder="tolquenny-19", text=text, now=clock())


def release(db, clock, reviewer, look, *, homework_only=False, item=ITEM):
    version = desk_items.one(db, reviewer, item).version
    desk_release.read(db, reviewer, item, version=version, check=look, now=clock())
    desk_release.release(db, reviewer, item, version=version + 1, homework_only=homework_only, check=look, now=clock())


def test_the_check_is_that_of_bank_check(bank_db, tmp_path, rng):
    """The text of a file's item gives the very revision that loading the files gave."""
    files = factories.AIRCRAFT_ITEMS
    text = files[files.index("- item: cabin-from-differential") : files.index("- item: highest-level-mental")]
    found = desk_check.check(bank_db, 1, "tolquenny-19", text, locks=tmp_path, seed=19)

    with bank_db.reading() as session:
        stored = session.scalars(sa.select(Revision).where(Revision.item_id == "cabin-from-differential")).one()
        assert (found.item.hash, found.item.body["aircraft"]) == (stored.hash, stored.aircraft_hash)
    assert found.findings == ()
    assert found.draw["unit"] == "ft"


def test_every_finding_has_its_line(bank_db, tmp_path):
    """Both faults in one run, and no question."""
    found = desk_check.check(bank_db, 1, "tolquenny-19", FAULTY, locks=tmp_path, seed=19)

    assert [one.line for one in found.faults] == FAULTY_LINES
    assert "D-BUS" in found.faults[0].mend
    assert (found.item, found.draw) == (None, None)


def test_a_text_with_two_items_is_told_so(bank_db, tmp_path):
    """Both are checked, and none is drawn."""
    found = desk_check.check(bank_db, 1, "tolquenny-19", CLIMB + FAULTY, locks=tmp_path, seed=19)

    lines = CLIMB.count("\n")
    assert [one.line for one in found.faults] == [0, *(lines + line for line in FAULTY_LINES)]
    assert found.faults[0].what == "the text holds 2 items"
    assert (found.item, found.draw) == (None, None)


def test_a_check_ends_when_its_time_is_over(bank_db, tmp_path):
    """The process is gone, the person may check again."""
    with pytest.raises(InputError, match=r"longer than 0\.001 s"):
        desk_check.check(bank_db, 1, "tolquenny-19", CLIMB, locks=tmp_path, seed=19, seconds=0.001)
    assert desk_check.check(bank_db, 1, "tolquenny-19", CLIMB, locks=tmp_path, seed=19).item.id == "school-climb"


def test_one_check_at_a_time_for_each_person(bank_db, tmp_path):
    """Who has one running waits; somebody else does not."""
    with (tmp_path / "desk-check-1.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        with pytest.raises(ThrottledError):
            desk_check.check(bank_db, 1, "tolquenny-19", RUDDER, locks=tmp_path, seed=19)
        assert desk_check.check(bank_db, 2, "tolquenny-19", RUDDER, locks=tmp_path, seed=19).item.id == ITEM


def test_a_draft_may_have_faults_and_is_kept_as_written(bank_db, clock, author):
    """But for the two words of the desk, to the letter."""
    start(bank_db, clock, author, FAULTY.replace("status: draft", "read-by: me\n  status: live").replace("\n", "\r\n"))

    assert desk_items.one(bank_db, author, ITEM).text == FAULTY


def test_who_sees_what(bank_db, clock, school, author, reviewer):
    """An author own items, a reviewer all; for anybody else there are none."""
    start(bank_db, clock, author)

    assert [row.id for row in desk_items.listed(bank_db, author)] == [ITEM]
    assert desk_items.listed(bank_db, school["Corin Peverell"]) == []
    assert [row.own for row in desk_items.listed(bank_db, reviewer)] == [False]
    for name in ("Corin Peverell", "Dunstan Okeby"):
        with pytest.raises(NotFoundError):
            desk_items.one(bank_db, school[name], ITEM)
    with pytest.raises(NotFoundError):
        desk_items.listed(bank_db, school["Dunstan Okeby"])
    with pytest.raises(NotFoundError):
        desk_items.save(bank_db, reviewer, ITEM, text=CLIMB, version=1, now=clock())


@pytest.mark.parametrize(
    ("text", "reference"),
    [
        (" \n", "desk-text-empty"),
        ("kind: one\n", "desk-text-id"),
        ("- item: Not An Id\n", "desk-text-id"),
        (RUDDER + CLIMB, "desk-text-items"),
        (RUDDER.replace("alive", "ali\0ve"), "text-character"),
        (RUDDER.replace("alive", "x" * desk_text.LONGEST), "text-too-long"),
        (RUDDER.replace(ITEM, "gate-slow-leak"), "desk-id-taken"),
    ],
)
def test_what_cannot_be_kept_is_refused(bank_db, clock, author, text, reference):
    """With its reason, and nothing is stored."""
    with pytest.raises(InputError) as refused:
        start(bank_db, clock, author, text)
    assert refused.value.reference == reference
    assert desk_items.listed(bank_db, author) == []


def test_two_editors(bank_db, clock, author):
    """The second is told, and nothing is overwritten; sending the same again is no change."""
    start(bank_db, clock, author)
    first, second = RUDDER.replace("alive", "powered"), RUDDER.replace("alive", "fed")
    desk_items.save(bank_db, author, ITEM, text=first, version=1, now=clock())
    with pytest.raises(ConflictError):
        desk_items.save(bank_db, author, ITEM, text=second, version=1, now=clock())
    desk_items.save(bank_db, author, ITEM, text=first, version=1, now=clock())

    view = desk_items.one(bank_db, author, ITEM)
    assert (view.text, view.version) == (first, 2)
    with pytest.raises(InputError, match="names the item 'school-climb'"):
        desk_items.save(bank_db, author, ITEM, text=CLIMB, version=2, now=clock())


def test_from_draft_to_live_by_a_second_person(bank_db, clock, school, author, reviewer, look):
    """Read, then live: an item of the school beside the shipped ones, with the text that was read."""
    start(bank_db, clock, author)
    for by in (author, school["Dunstan Okeby"]):
        with pytest.raises(NotFoundError):
            desk_release.read(bank_db, by, ITEM, version=1, check=look, now=clock())
    with pytest.raises(ConflictError):
        desk_release.release(bank_db, reviewer, ITEM, version=1, homework_only=False, check=look, now=clock())
    group = assigned.add_group(bank_db, clock, instructors=[school["Dunstan Okeby"]])
    release(bank_db, clock, reviewer, look, homework_only=True)

    with bank_db.reading() as session:
        item, kept = session.get(Item, ITEM), session.get(DeskItem, ITEM)
        revision = session.get(Revision, item.revision_id)
        assert (item.source, item.status, item.homework_only, revision.number) == ("school", "live", True, 1)
        assert (kept.state, kept.author_id, kept.read_by) == ("live", author, reviewer)
        assert ITEM not in [row.id for row in bank.askable(session, ["tolquenny-19"])]
        # Homework may ask it, and its key is not open, as those of the shipped bank are.
        picked = {one.id: one for one in assignment_items.offered(session, session.get(Group, group))}
        assert (picked[ITEM].homework_only, picked[ITEM].open_key) == (True, "")
        assert picked["essential-bus-feeds"].open_key
    assert desk_items.one(bank_db, author, ITEM).text == RUDDER.replace(
        "status: draft", "read-by: reviewer of the school\n  status: live"
    )


def test_nobody_reads_an_own_item(bank_db, clock, reviewer, look):
    """A reviewer who writes is the author of that item."""
    start(bank_db, clock, reviewer)

    assert not desk_items.one(bank_db, reviewer, ITEM).may_review
    with pytest.raises(NotFoundError):
        desk_release.read(bank_db, reviewer, ITEM, version=1, check=look, now=clock())


def test_faults_keep_an_item_from_being_read(bank_db, clock, author, reviewer, look):
    """All of them are said."""
    start(bank_db, clock, author, FAULTY)
    with pytest.raises(FindingsError) as refused:
        desk_release.read(bank_db, reviewer, ITEM, version=1, check=look, now=clock())
    assert [one.line for one in refused.value.findings if one.severity == "fault"] == FAULTY_LINES


def test_a_changed_text_is_a_draft_again_and_what_is_in_use_stays(bank_db, clock, author, reviewer, look):
    """Until it is read again; then there is a second revision, and practice asks it."""
    start(bank_db, clock, author)
    release(bank_db, clock, reviewer, look, homework_only=True)
    changed = RUDDER.replace("alive", "powered")
    desk_items.save(bank_db, author, ITEM, text=changed, version=3, now=clock())
    with pytest.raises(ConflictError):
        desk_release.read(bank_db, reviewer, ITEM, version=3, check=look, now=clock())

    view = desk_items.one(bank_db, author, ITEM)
    assert (view.row.state, view.row.number, view.text) == ("draft", 1, changed)
    release(bank_db, clock, reviewer, look)
    assert desk_items.one(bank_db, author, ITEM).row.number == 2
    with bank_db.reading() as session:
        assert ITEM in [row.id for row in bank.askable(session, ["tolquenny-19"])]


def test_loading_files_leaves_the_schools_items_alone(bank_db, clock, author, reviewer, look, tmp_path):
    """The shipped bank anew, and a school's own folder too."""
    start(bank_db, clock, author)
    release(bank_db, clock, reviewer, look)
    factories.write_bank(tmp_path / "files")
    for source, path in (("shipped", tmp_path / "files"), ("school", _own_files(tmp_path))):
        report = banks.load(bank_db, path, source=source, now=clock(), rng=random.Random(19))
        assert report.withdrawn == ()
    with bank_db.reading() as session:
        item = session.get(Item, ITEM)
        assert (item.status, item.withdrawn_at) == ("live", None)


def _own_files(tmp_path):
    """A folder with a caution of the school's own and nothing else."""
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "cautions.yaml").write_text("- caution: C20\n  text: House rule.\n  where: everywhere\n")
    return folder


def test_export_is_the_same_text(bank_db, clock, school, author, reviewer, tmp_path):
    """Each item to the letter, one's own for an author, all for a reviewer; and `bank check` takes it."""
    start(bank_db, clock, author)
    start(bank_db, clock, school["Corin Peverell"], CLIMB)

    whole = desk_items.export(bank_db, reviewer)
    assert RUDDER in whole and CLIMB in whole
    assert CLIMB not in desk_items.export(bank_db, author)
    assert "Not for operational use." in whole
    factories.write_bank(tmp_path / "files")
    (tmp_path / "files" / "tolquenny-19" / "school.yaml").write_text(
        desk_items.export(bank_db, reviewer, "tolquenny-19")
    )
    checked = banks.check(tmp_path / "files", rng=random.Random(19))
    assert checked.faults == []
    assert {ITEM, "school-climb"} <= {item.id for item in checked.items}
    with pytest.raises(NotFoundError):
        desk_items.export(bank_db, school["Dunstan Okeby"])

"""Loading a bank: whole or not at all, immutable revisions, only its own source."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from quizsvc.errors import FindingsError, InputError, NotFoundError
from quizsvc.services import banks, practice, reading, squawks
from quizsvc.settings import question_bank_folder
from quizsvc.store import people
from quizsvc.store.tables import (
    Aircraft,
    BankLoad,
    Base,
    Caution,
    Concept,
    HandbookSection,
    Item,
    Revision,
)
from tests import factories
from tests.services.drills import answer, begin, count, right, start
from tests.services.test_accounts import sign_up

SECOND = Path(__file__).resolve().parents[1] / "aircraft" / "second.yaml"
ITEMS = "tolquenny-19/items.yaml"
GENERAL = "general/items.yaml"


@pytest.fixture
def folder(tmp_path):
    """The test bank as files; the same text that `bank_db` was loaded from."""
    return factories.write_bank(tmp_path / "question_bank")


@pytest.fixture
def load(bank_db, clock, folder):
    """Load the folder into the database that holds the same bank already."""
    return lambda **source: banks.load(bank_db, folder, now=clock(), rng=random.Random(2), **source)


def contents(db):
    """Every row of every table, but for the record of loads."""
    with db.reading() as session:
        return {
            table.name: sorted(map(repr, session.execute(sa.select(table)).all()))
            for table in Base.metadata.sorted_tables
            if table.name != "bank_load"
        }


def change(folder, name, old, new):
    """Change the text of a file."""
    file = folder / name
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))


def only(db, table, *where):
    """The one row that fits."""
    with db.reading() as session:
        return session.scalars(sa.select(table).where(*where)).one()


class TestLoad:
    """What a load does."""

    def test_everything_is_stored(self, bank_db):
        """Aircraft, concepts, sections, cautions, items with a revision each."""
        counted = [count(bank_db, table) for table in (Aircraft, Concept, HandbookSection, Caution, Item, Revision)]

        assert counted == [1, 16, 3, 12, 17, 17]
        assert reading.aircraft_list(bank_db) == (("tolquenny-19", "Tolquenny 19"),)
        assert list(reading.cautions(bank_db)) == list(factories.CAUTIONS)

    def test_loading_the_same_again_changes_nothing(self, bank_db, load):
        """The report says so, and so does every row."""
        before = contents(bank_db)
        report = load()

        assert (report.new, report.changed, report.unchanged, report.withdrawn) == ((), (), 17, ())
        assert contents(bank_db) == before
        assert count(bank_db, BankLoad) == 2

    def test_a_changed_item_gets_a_new_revision(self, bank_db, clock, rng, folder, load):
        """The old revision stays as it was, and a question drawn from it is shown and judged by it."""
        person = begin(bank_db, clock).person
        drill = start(bank_db, clock, rng, person.id, minutes=200)
        question = next(question for question in drill.questions if question.item == "matter-3")
        old = only(bank_db, Revision, Revision.item_id == "matter-3")
        change(folder, GENERAL, "Which is right of matter 3?", "Which one is right of matter 3?")
        report = load()

        assert (report.changed, report.unchanged) == (("matter-3",), 16)
        with bank_db.reading() as session:
            revisions = session.scalars(
                sa.select(Revision).where(Revision.item_id == "matter-3").order_by(Revision.number)
            ).all()
        assert [revision.number for revision in revisions] == [1, 2]
        assert (revisions[0].body, revisions[0].hash) == (old.body, old.hash)
        assert practice.question_view(bank_db, person.id, question.id, now=clock()) == question
        given = answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))
        assert given.feedback.outcome == "full"
        fresh = start(bank_db, clock, rng, begin(bank_db, clock).person.id, minutes=200)
        assert "Which one is right of matter 3?" in {question.stem for question in fresh.questions}

    def test_back_to_an_earlier_text(self, bank_db, folder, load):
        """The earlier revision is used again; no copy of it is made."""
        change(folder, GENERAL, "of matter 3?", "of matter three?")
        load()
        change(folder, GENERAL, "of matter three?", "of matter 3?")
        report = load()

        assert report.changed == ("matter-3",)
        item = only(bank_db, Item, Item.id == "matter-3")
        assert only(bank_db, Revision, Revision.id == item.revision_id).number == 1
        assert count(bank_db, Revision) == 18

    def test_a_changed_aircraft_makes_new_revisions_of_its_items(self, bank_db, folder, load):
        """The item that reads the schedule is listed as changed; those that use no number of the aircraft are not."""
        change(folder, "tolquenny-19/aircraft.yaml", "cabin_temp_c: 22", "cabin_temp_c: 23")
        report = load()

        assert (report.changed, report.unchanged) == (("cabin-from-differential",), 16)

    def test_gone_from_the_files(self, bank_db, clock, rng, folder, load):
        """Withdrawn, not deleted; asked no more; back in the files it is asked again, with its history."""
        person = begin(bank_db, clock).person
        question = next(
            question
            for question in start(bank_db, clock, rng, person.id, minutes=200).questions
            if question.item == "matter-12"
        )
        text = (folder / GENERAL).read_text()
        (folder / GENERAL).write_text(text[: text.index("- item: matter-12")])
        report = load()
        given = answer(bank_db, clock, person.id, question.id, right(bank_db, question.id))

        assert report.withdrawn == ("matter-12",)
        assert only(bank_db, Item, Item.id == "matter-12").withdrawn_by == "bank"
        assert given.feedback.void_reason == "withdrawn"
        assert load().withdrawn == ()
        (folder / GENERAL).write_text(text)
        report = load()
        assert report.changed == ("matter-12",)
        assert only(bank_db, Item, Item.id == "matter-12").withdrawn_at is None
        assert count(bank_db, Revision) == 17

    def test_status_withdrawn_in_the_file(self, bank_db, folder, load):
        """The author's own word takes it out, and a draft is not asked either."""
        change(folder, GENERAL, "status: live", "status: withdrawn")
        assert load().withdrawn == ("matter-1",)
        assert only(bank_db, Item, Item.id == "matter-1").withdrawn_by == "bank"
        assert load().withdrawn == ()

    def test_withdrawn_by_a_squawk_it_comes_back_with_another_text_only(self, bank_db, clock, rng, folder, load):
        """Loading the same text again does not undo the dispute; a text that was read again does."""
        instructor = sign_up(bank_db, clock, name="Instructor").person
        with bank_db.writing() as session:
            people.set_roles(session, instructor.id, ["instructor"])
        drill = start(bank_db, clock, rng, instructor.id, minutes=200)
        question = next(question for question in drill.questions if question.item == "essential-bus-feeds")
        squawks.raise_squawk(bank_db, instructor.id, question.id, "It is the left bus.", now=clock())
        load()
        assert only(bank_db, Item, Item.id == "essential-bus-feeds").withdrawn_by == "squawk"

        change(folder, ITEMS, "Which bus feeds the dump switch?", "Which bus feeds DUMP?")
        load()
        assert only(bank_db, Item, Item.id == "essential-bus-feeds").withdrawn_by is None
        assert practice.question_view(bank_db, instructor.id, question.id, now=clock()).withdrawn

    def test_a_second_reader_makes_no_revision(self, bank_db, folder, load):
        """Who read an item is not part of its text."""
        change(folder, GENERAL, "read-by: second reader", "read-by: third reader")

        assert load().unchanged == 17


class TestRefused:
    """A bank with a fault is refused whole."""

    def test_nothing_is_loaded(self, bank_db, folder, load):
        """One fault among good changes: all findings in one error, no row changed."""
        before = contents(bank_db)
        change(folder, GENERAL, "of matter 3?", "of matter three?")
        change(folder, GENERAL, "concept: G-T7", "concept: G-NONE")
        change(folder, ITEMS, "unit: ft", "unit: psi")
        with pytest.raises(FindingsError) as caught:
            load()

        faults = [finding for finding in caught.value.findings if finding.severity == "fault"]
        assert {finding.item for finding in faults} >= {"matter-7", "cabin-from-differential"}
        assert all(finding.line and finding.file and finding.mend for finding in faults)
        assert contents(bank_db) == before
        assert count(bank_db, BankLoad) == 1

    @pytest.mark.parametrize("made", ["missing", "empty", "a file"])
    def test_a_folder_that_is_none(self, db, clock, tmp_path, made):
        """Says what is wanting."""
        path = tmp_path / "somewhere"
        if made == "empty":
            path.mkdir()
        elif made == "a file":
            path.write_text("")
        with pytest.raises(InputError) as caught:
            banks.load(db, path, now=clock(), rng=random.Random(1))

        assert caught.value.where == str(path)

    def test_a_file_that_is_no_text(self, folder, load):
        """Not UTF-8, or larger than a bank's file may be."""
        (folder / "general" / "odd.yaml").write_bytes(b"\xff\xfe\x00")
        with pytest.raises(InputError, match="UTF-8"):
            load()
        (folder / "general" / "odd.yaml").write_bytes(b"#" * 1_000_001)
        with pytest.raises(InputError, match="1,000,001 bytes"):
            load()


class TestSources:
    """A school's own bank beside the shipped one."""

    @pytest.fixture
    def own(self, tmp_path):
        """A bank of the school with one concept and one item."""
        folder = tmp_path / "own"
        (folder / "general").mkdir(parents=True)
        (folder / "general" / "concepts.yaml").write_text(
            "- {concept: S-OWN, title: Our own, system: school, what: recall, consequence: 1}\n"
        )
        (folder / "general" / "items.yaml").write_text(factories.one_item("own-1", "S-OWN"))
        return folder

    def test_a_load_touches_only_its_own(self, bank_db, clock, own, load):
        """The school's load withdraws nothing of the shipped bank, nor the other way round."""
        report = banks.load(bank_db, own, source="school", now=clock(), rng=random.Random(1))
        assert (report.new, report.withdrawn) == (("own-1",), ())
        assert load().withdrawn == ()

        with bank_db.reading() as session:
            counted = session.execute(
                sa.select(Item.source, sa.func.count()).where(Item.withdrawn_at.is_(None)).group_by(Item.source)
            ).all()
        assert sorted(map(tuple, counted)) == [("school", 1), ("shipped", 17)]
        assert len(reading.cautions(bank_db)) == 12

    def test_an_id_of_another_source(self, bank_db, clock, own):
        """Refused whole: the school cannot change a shipped item by its id."""
        before = contents(bank_db)
        (own / "general" / "items.yaml").write_text(factories.one_item("matter-1", "S-OWN"))
        with pytest.raises(InputError, match="matter-1"):
            banks.load(bank_db, own, source="school", now=clock(), rng=random.Random(1))

        assert contents(bank_db) == before

    @pytest.fixture
    def second(self, tmp_path):
        """The school's own aircraft, whose items owe C2, with the cautions as they are shipped."""
        folder = tmp_path / "second"
        for name, text in {
            "vessandry-44/aircraft.yaml": SECOND.read_text(encoding="utf-8"),
            "vessandry-44/concepts.yaml": (
                "- {concept: V-1, title: A matter, system: 21 pressurisation, handbook: 10-10, "
                "what: recall, consequence: 3}\n"
            ),
            "vessandry-44/handbook/10.md": "## 10-10 All of it\n\nInvented.\n",
            "vessandry-44/items.yaml": factories.one_item("vessandry-1", "V-1", handbook="10-10"),
        }.items():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_text(text, encoding="utf-8")
        shutil.copyfile(question_bank_folder() / "cautions.yaml", folder / "cautions.yaml")
        return folder

    @pytest.mark.parametrize("first", ["shipped", "school"])
    def test_the_same_cautions_beside_each_other(self, db, clock, folder, second, first):
        """Both owe them, in whichever order they come; what the school takes out, the shipped items keep."""
        folders = {"shipped": folder, "school": second}
        for source in sorted(folders, key=lambda one: one != first):
            banks.load(db, folders[source], source=source, now=clock(), rng=random.Random(1))
        assert len(reading.cautions(db)) == 12
        with db.reading() as session:
            assert set(session.scalars(sa.select(Caution.source))) == {"shipped"}
            assert session.get(Item, "vessandry-1").withdrawn_at is None

        (second / "vessandry-44" / "items.yaml").unlink()
        (second / "cautions.yaml").unlink()
        banks.load(db, second, source="school", now=clock(), rng=random.Random(1))
        assert len(reading.cautions(db)) == 12

    def test_a_caution_worded_otherwise(self, bank_db, clock, second):
        """A school adds cautions and changes none."""
        change(second, "cautions.yaml", "Not for operational use.", "For any use.")
        before = contents(bank_db)
        with pytest.raises(InputError, match="caution 'C1' belongs to the bank 'shipped'") as refused:
            banks.load(bank_db, second, source="school", now=clock(), rng=random.Random(1))

        assert refused.value.mend == "word it as there, or give it another id"
        assert contents(bank_db) == before


class TestShow:
    """Looking at an item of the files."""

    def test_as_a_learner_gets_it(self, folder):
        """Stem, key, traps and working of each draw."""
        shown = banks.show(folder, "cabin-from-differential", 5, random.Random(4))

        assert len({draw["stem"] for draw in shown["draws"]}) > 1
        for draw in shown["draws"]:
            assert draw["key"].endswith("ft")
            assert draw["why"] and draw["working"] and draw["traps"]

    def test_an_unknown_item(self, folder):
        """Not found, with the command that lists faults."""
        with pytest.raises(NotFoundError, match="no-such-item"):
            banks.show(folder, "no-such-item", 1, random.Random(4))


def test_the_shipped_bank_can_be_loaded_by_two_at_once(bank_db, clock, load):
    """Two processes that start together: the second finds nothing to do."""
    import threading

    reports = []
    threads = [threading.Thread(target=lambda: reports.append(load())) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [report.unchanged for report in reports] == [17, 17]

"""Migrations: empty to newest and back, models and newest agree, a filled database keeps its contents."""

from __future__ import annotations

import json
import random

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.script import ScriptDirectory

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import accounts, kept_questions, practice, squawks
from quizsvc.settings import migrations_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.store.tables import Base, Group, Squawk
from tests.migrations import check_rows, school_rows
from tests.services.drills import answer, begin, right, start, wrong
from tests.services.test_accounts import sign_up
from tests.web import keys

FOLDER = migrations_folder()


@pytest.fixture
def empty(database_url):
    """A database without a table."""
    database = Database.open(database_url)
    yield database
    database.close()


def tables(database):
    """The names of the tables there are."""
    with database.engine.connect() as connection:
        return set(sa.inspect(connection).get_table_names())


def test_empty_to_newest_and_back(empty):
    """Up, down to nothing, and up again; what is left at the bottom is Alembic's own table alone."""
    migration.upgrade(empty, FOLDER)
    assert migration.current(empty) == migration.head(FOLDER)
    assert tables(empty) == set(Base.metadata.tables) | {"alembic_version"}
    migration.downgrade(empty, FOLDER, "base")
    assert tables(empty) == {"alembic_version"}
    assert migration.current(empty) is None
    migration.upgrade(empty, FOLDER)
    assert migration.current(empty) == migration.head(FOLDER)


def test_models_and_newest_agree(empty):
    """Alembic finds nothing that the models have and the database has not, or the other way round."""
    migration.upgrade(empty, FOLDER)

    assert migration.differences(empty, FOLDER) == ""


def test_a_difference_is_found(empty):
    """The check can fail: a column taken away by hand is named."""
    migration.upgrade(empty, FOLDER)
    with empty.writing_rows() as connection:
        connection.exec_driver_sql("ALTER TABLE grade DROP COLUMN why")

    assert "why" in migration.differences(empty, FOLDER)


def test_checks_of_models_and_newest_agree(empty):
    """Alembic does not look at CHECKs: their names in the database are those of the models."""
    migration.upgrade(empty, FOLDER)
    with empty.engine.connect() as connection:
        inspector = sa.inspect(connection)
        for table in Base.metadata.sorted_tables:
            there = {check["name"] for check in inspector.get_check_constraints(table.name)}
            wanted = {
                str(constraint.name) for constraint in table.constraints if isinstance(constraint, sa.CheckConstraint)
            }
            assert there == wanted, table.name


def test_every_constraint_has_a_name(empty):
    """A constraint without a name cannot be changed later, least of all on SQLite."""
    migration.upgrade(empty, FOLDER)
    with empty.engine.connect() as connection:
        inspector = sa.inspect(connection)
        for name, table in Base.metadata.tables.items():
            # SQLite numbers rows only in a key that is part of its column, where it cannot have a name.
            numbered = empty.is_sqlite and table.dialect_options["sqlite"]["autoincrement"]
            named = [
                *([] if numbered else [inspector.get_pk_constraint(name)]),
                *inspector.get_foreign_keys(name),
                *inspector.get_unique_constraints(name),
                *inspector.get_check_constraints(name),
            ]
            assert all(constraint["name"] for constraint in named), name


def test_one_line_of_migrations():
    """One base, one head, and each file says when it was written and what it does."""
    scripts = ScriptDirectory.from_config(migration.configuration(FOLDER))
    assert len(scripts.get_heads()) == len(scripts.get_bases()) == 1
    for script in scripts.walk_revisions():
        name = script.path.rpartition("/")[2]
        assert name[:8].isdigit()
        assert script.doc


def test_upgrading_twice_changes_nothing(empty):
    """The second process that upgrades at once finds nothing to do."""
    migration.upgrade(empty, FOLDER)
    migration.upgrade(empty, FOLDER)

    assert migration.current(empty) == migration.head(FOLDER)


@pytest.fixture
def filled(bank_db, clock):
    """A database in which something stands in every table that people and drills fill."""
    rng = random.Random(7)
    owner = sign_up(bank_db, clock)
    drill = start(bank_db, clock, rng, owner.person.id, minutes=60)
    for place, question in enumerate(drill.questions):
        raw = right(bank_db, question.id) if place % 2 else wrong(bank_db, question.id)
        answer(bank_db, clock, owner.person.id, question.id, raw, now=clock.advance(seconds=20))
    practice.offer_repeats(bank_db, owner.person.id, drill.id, now=clock(), rng=rng)
    squawks.raise_squawk(bank_db, owner.person.id, drill.questions[0].id, "The key is wrong.", now=clock())
    phone = begin(bank_db, clock)
    theirs = start(bank_db, clock, rng, phone.person.id)
    answer(bank_db, clock, phone.person.id, theirs.questions[0].id, {"pass": True})
    tablet = accounts.sign_in(
        bank_db,
        phone.token,
        "Nadir Eshvale",
        "a short sentence",
        address="192.0.2.1",
        device="tablet",
        now=clock(),
    )
    accounts.claim(bank_db, tablet.token, True, now=clock())
    accounts.make_link(bank_db, "Nadir Eshvale", now=clock())
    with pytest.raises(InputError):
        accounts.sign_in(bank_db, None, "Nadir Eshvale", "not this", address="192.0.2.1", device="x", now=clock())
    school_rows.write(bank_db, clock())
    check_rows.write(bank_db, owner.person.id, clock())
    return bank_db


def contents(database):
    """Every row of every table as text, in the order of its key."""
    with database.reading_rows() as connection:
        return {
            table.name: [
                json.dumps([str(value) for value in row])
                for row in connection.execute(sa.select(table).order_by(*table.primary_key.columns))
            ]
            for table in Base.metadata.sorted_tables
        }


def test_a_filled_database_has_something_everywhere(filled):
    """So that the comparison below compares something: no table is empty."""
    assert [name for name, rows in contents(filled).items() if not rows] == []


def test_a_filled_database_goes_down_and_up(filled):
    """From the newest down to the first migration and up again: the same rows, but for the school's and the checks."""
    before = contents(filled)
    first = ScriptDirectory.from_config(migration.configuration(FOLDER)).get_base()
    migration.downgrade(filled, FOLDER, first)
    migration.upgrade(filled, FOLDER)

    assert contents(filled) == before | dict.fromkeys(school_rows.TABLES | check_rows.TABLES, [])


def test_checks_go_with_their_tables_and_nothing_else(filled):
    """One step down and up: every row of the other tables is as it was."""
    before = contents(filled)
    migration.downgrade(filled, FOLDER, "20261126_desk")
    assert not tables(filled) & check_rows.TABLES
    migration.upgrade(filled, FOLDER)

    assert contents(filled) == before | dict.fromkeys(check_rows.TABLES, [])


def test_homework_goes_with_the_columns_that_mark_it(filled, clock):
    """Its question goes with its answer and grade; what a squawk said of it stays; all others stay."""
    with filled.reading() as session:
        question = session.scalars(sa.select(Squawk.question_id)).one()
    with filled.writing() as session:
        for table in school_rows.TABLES - {"school_group", "person"}:
            session.execute(sa.delete(Base.metadata.tables[table]))
        session.execute(sa.delete(Group))
    school_rows.write(filled, clock(), question_id=question)
    before = contents(filled)
    migration.downgrade(filled, FOLDER, "20261126_device")
    migration.upgrade(filled, FOLDER)
    after = contents(filled)

    for table in ("question", "answer", "grade"):
        assert len(after[table]) == len(before[table]) - 1, table
    with filled.reading() as session:
        assert session.scalars(sa.select(Squawk.question_id)).all() == [None]
    assert after["learner"] == before["learner"]


def test_parts_of_scenarios_go_with_the_columns_that_join_them(kinds_db, clock):
    """Down to the first migration their questions go with answers and grades; all others stay; up again, all works."""
    person = begin(kinds_db, clock).person.id
    drill = start(kinds_db, clock, random.Random(7), person, minutes=60)
    for question in drill.questions:
        answer(kinds_db, clock, person, question.id, keys.wrong(kinds_db, question.id), now=clock.advance(seconds=20))
    parts = [one for one in drill.questions if one.part]
    squawks.raise_squawk(kinds_db, person, parts[0].id, "Which source is meant?", now=clock())
    before = contents(kinds_db)
    first = ScriptDirectory.from_config(migration.configuration(FOLDER)).get_base()
    migration.downgrade(kinds_db, FOLDER, first)
    migration.upgrade(kinds_db, FOLDER)
    after = contents(kinds_db)

    assert len(parts) == 3
    for table in ("question", "answer", "grade"):
        assert len(after[table]) == len(before[table]) - 3, table
        assert set(after[table]) < set(before[table]), table
    assert len(after["squawk"]) == 1
    again = start(kinds_db, clock, random.Random(8), person, minutes=60)
    raw = keys.right(kinds_db, again.questions[0].id)
    assert answer(kinds_db, clock, person, again.questions[0].id, raw, now=clock.advance(seconds=20)).uuid


def test_what_a_device_keeps_goes_down_as_a_set_that_is_over(bank_db, clock):
    """There it is a set like others: nobody is asked to go on with it, its answers stay, and late ones still count."""
    person = begin(bank_db, clock).person.id
    stock = kept_questions.keep_questions(bank_db, person, now=clock(), rng=random.Random(7))
    first, second = (one.view.id for one in stock[:2])
    answer(bank_db, clock, person, first, right(bank_db, first), offline=True, device_outcome="miss")
    before = contents(bank_db)
    migration.downgrade(bank_db, FOLDER, "20261125_parts")
    migration.upgrade(bank_db, FOLDER)
    after = contents(bank_db)

    for table in ("question", "grade", "learner", "concept_state"):
        assert after[table] == before[table], table
    assert len(after["answer"]) == 1
    assert practice.open_set(bank_db, person, now=clock()) is None
    assert practice.question_view(bank_db, person, first, now=clock()).feedback.outcome == "full"
    assert answer(bank_db, clock, person, second, right(bank_db, second), offline=True).feedback.outcome == "full"


def test_a_table_made_anew_keeps_its_childrens_rows(filled):
    """Batch mode on SQLite drops and makes a table anew; with foreign keys on, ON DELETE CASCADE would empty others.

    What a later migration may do, done here to the table that most rows hang on (platform.md section 2, data loss).
    """
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext

    before = contents(filled)
    with migration.migrating(filled) as connection:
        operations = Operations(MigrationContext.configure(connection, opts={"render_as_batch": True}))
        for name in ("person", "question", "practice_set"):
            with operations.batch_alter_table(name, recreate="auto") as batch:
                batch.add_column(sa.Column("later", sa.Text()))
            with operations.batch_alter_table(name, recreate="auto") as batch:
                batch.drop_column("later")

    assert contents(filled) == before


def test_a_migration_that_breaks_a_foreign_key_is_undone(filled, backend):
    """Rows that would point at nothing are found before the end, and nothing of the migration is kept."""
    before = contents(filled)
    with pytest.raises(ConflictError), migration.migrating(filled) as connection:
        connection.exec_driver_sql("DELETE FROM answer")
        connection.exec_driver_sql("DELETE FROM revision")

    assert contents(filled) == before


def test_a_migration_that_fails_leaves_nothing_behind(empty, tmp_path):
    """Its tables go with it, on both databases (platform.md section 2, half-applied migration)."""
    folder = tmp_path / "migrations"
    (folder / "versions").mkdir(parents=True)
    for name in ("env.py", "script.py.mako"):
        (folder / name).write_text((FOLDER / name).read_text())
    (folder / "versions" / "20260101_broken.py").write_text(
        "import sqlalchemy as sa\n"
        "from alembic import op\n"
        "revision, down_revision = 'broken', None\n"
        "def upgrade():\n"
        "    op.create_table('left_behind', sa.Column('x', sa.Integer()))\n"
        "    op.execute('SELECT * FROM nowhere')\n"
    )
    with pytest.raises(Exception, match="lacks a table"):
        migration.upgrade(empty, folder)

    assert tables(empty) - {"alembic_version"} == set()
    migration.upgrade(empty, FOLDER)


def test_developers_can_type_alembic(empty, database_url, monkeypatch):
    """Without a connection handed over env.py takes the database of the settings."""
    monkeypatch.delenv("QUIZSVC_TEST_POSTGRES_URL", raising=False)
    monkeypatch.setenv("QUIZSVC_DATABASE_URL", database_url)
    command.upgrade(migration.configuration(FOLDER), "head")

    assert migration.current(empty) == migration.head(FOLDER)

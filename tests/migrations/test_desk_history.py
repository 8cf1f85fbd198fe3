"""The bank desk's history: what an older database has at its desk, on the way up and down."""

import pytest
import sqlalchemy as sa

from quizsvc.services import desk_steps
from quizsvc.settings import migrations_folder
from quizsvc.store import migration
from quizsvc.store.tables import DeskItem
from tests.services.assigned import add_person
from tests.services.desk_doing import put_into_use
from tests.services.desk_texts import CLIMB, RUDDER
from tests.services.test_desk_items import start

BEFORE = "20261126_school"


@pytest.fixture
def desk(bank_db, clock):
    """A text in use, one withdrawn and one draft, with their history."""
    author = add_person(bank_db, clock, "Wenna Astley", ("item author",))
    reader = add_person(bank_db, clock, "Ysolt Brandreth", ("reviewer",))
    for item, text in (("school-essential-bus", RUDDER), ("school-climb", CLIMB)):
        start(bank_db, clock, author, text)
        put_into_use(bank_db, clock, reader, item)
    start(bank_db, clock, author, CLIMB.replace("school-climb", "school-draft"))
    desk_steps.withdraw(bank_db, reader, "school-climb", version=3, reason="Wrong.", now=clock())
    desk_steps.send_back(bank_db, reader, "school-draft", version=1, words="Wrong.", now=clock())
    return bank_db


def states(db):
    """By id: state, whether somebody is said to have read it, and its text."""
    with db.reading_rows() as connection:
        rows = connection.execute(sa.text("SELECT id, state, read_by IS NOT NULL, text FROM desk_item ORDER BY id"))
        return {row[0]: (row[1], bool(row[2]), row[3]) for row in rows}


def test_down_and_up(desk):
    """Older code has three states: what is withdrawn is a draft to it. Texts stay; up again the one in use is known."""
    before = states(desk)
    assert {item: state for item, (state, _, _) in before.items()} == {
        "school-climb": "withdrawn", "school-draft": "draft", "school-essential-bus": "live",
    }  # fmt: skip
    migration.downgrade(desk, migrations_folder(), BEFORE)
    assert states(desk) == before | {"school-climb": ("draft", False, before["school-climb"][2])}
    with desk.writing_rows() as connection, pytest.raises(sa.exc.IntegrityError):
        connection.execute(sa.text("UPDATE desk_item SET state = 'withdrawn' WHERE id = 'school-essential-bus'"))

    migration.upgrade(desk, migrations_folder())
    with desk.reading() as session:
        found = {row.id: row for row in session.scalars(sa.select(DeskItem))}
        assert found["school-essential-bus"].live_text == found["school-essential-bus"].text
        assert (found["school-climb"].live_text, found["school-draft"].live_text) == (None, None)

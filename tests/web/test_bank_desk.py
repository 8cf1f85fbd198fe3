"""The bank desk in a browser without scripts: writing, checking, reading, putting into use, taking out as text."""

import pytest

from quizsvc.services.sessions import open_session
from quizsvc.store.tables import DeskItem, Item, Person
from quizsvc.web.people import COOKIE
from tests.services.assigned import add_person
from tests.services.desk_texts import CLIMB, FAULTY, FAULTY_LINES, RUDDER

ITEM = "school-essential-bus"
PAGE = f"/bank-desk/items/{ITEM}"


@pytest.fixture
def sign_up(browsers, bank_db, clock):
    """Makes a visitor who is signed in, with roles."""

    def made(name, *roles):
        one = browsers()
        person = add_person(bank_db, clock, name, roles)
        with bank_db.writing() as session:
            token = open_session(session, session.get(Person, person), device="phone", now=clock()).token
        one.client.set_cookie(COOKIE, token)
        return one

    return made


@pytest.fixture
def author(sign_up):
    """Who writes."""
    return sign_up("Wenna Astley", "item author")


@pytest.fixture
def reviewer(sign_up):
    """Who reads."""
    return sign_up("Ysolt Brandreth", "reviewer")


def write(author, text=RUDDER, do="keep"):
    return author.send(
        author.get("/bank-desk/new").form("/bank-desk/new"), ("do", do), folder="tolquenny-19", text=text
    )


def kept(db):
    with db.reading() as session:
        return session.get(DeskItem, ITEM)


def test_written_read_and_put_into_use(bank_db, author, reviewer):
    """From the empty page to an item that homework may ask, by two people."""
    page = write(author)
    assert author.path == PAGE
    assert "As on a phone, with its key" in page.html
    assert page.cautions["C8"]
    assert not page.has_form(PAGE + "/read")

    page = reviewer.get("/bank-desk")
    assert "Draft, not read by a second person." in page.text
    page = reviewer.get(PAGE)
    assert not page.has_form(PAGE)
    page = reviewer.send(page.form(PAGE + "/read"))
    page = reviewer.send(page.form(PAGE + "/live"))

    assert "Live, revision 1." in page.text
    assert "C8" not in page.cautions
    with bank_db.reading() as session:
        assert session.get(Item, ITEM).homework_only
    reviewer.send(page.form(PAGE + "/live"), homework_only=[])
    with bank_db.reading() as session:
        assert not session.get(Item, ITEM).homework_only
    assert "Live, revision 1." in author.get(PAGE).text


def test_all_findings_by_line_and_what_was_typed_stays(bank_db, author):
    """Checking only keeps nothing; keeping keeps the faults too."""
    page = write(author, FAULTY, do="check")
    for line in FAULTY_LINES:
        assert f"Line {line}" in page.text
    assert "concept: D-BUZZ" in page.html
    assert kept(bank_db) is None

    page = write(author, FAULTY)
    assert author.path == PAGE and f"Line {FAULTY_LINES[0]}" in page.text
    assert kept(bank_db).text == FAULTY
    page = author.send(page.form(PAGE), ("do", "check"), text=RUDDER)
    assert "As on a phone" in page.text
    assert kept(bank_db).text == FAULTY


def test_what_cannot_be_kept_is_refused_and_stays_in_the_form(bank_db, author):
    """A text without an id, one with a character that cannot be stored, and one above 1 MB."""
    page = write(author, "kind: one, and more")
    assert author.status == 422
    assert "kind: one, and more" in page.html and "names no item" in page.text
    page = write(author, RUDDER.replace("alive", "ali\0ve"))
    assert author.status == 422 and "U+0000" in page.text
    write(author, "x" * (1024 * 1024))
    assert author.status == 413
    assert kept(bank_db) is None


def test_two_editors(bank_db, author):
    """The second is told, sees both texts, and may then decide."""
    form = write(author).form(PAGE)
    author.send(form, ("do", "keep"), text=RUDDER.replace("alive", "powered"))
    page = author.send(form, ("do", "keep"), text=RUDDER.replace("alive", "fed"))

    assert author.status == 409
    assert "changed meanwhile" in page.text
    assert "dump switch fed" in page.html and "dump switch powered" in page.html
    assert "powered" in kept(bank_db).text
    author.send(page.form(PAGE), ("do", "keep"), text=RUDDER.replace("alive", "fed"))
    assert "switch fed" in kept(bank_db).text


def test_a_reviewer_who_looked_at_an_older_text_is_told(bank_db, author, reviewer):
    """What is read is what was shown."""
    form = write(author).form(PAGE)
    read = reviewer.get(PAGE).form(PAGE + "/read")
    author.send(form, ("do", "keep"), text=RUDDER.replace("alive", "powered"))
    reviewer.send(read)

    assert reviewer.status == 409
    assert kept(bank_db).state == "draft"


def test_nobody_else_is_let_in(author, sign_up):
    """404 for every other role, and for another author's item."""
    write(author)
    for who, paths in (
        (sign_up("Corin Peverell", "item author"), (PAGE, "/bank-desk/items/nothing")),
        (
            sign_up("Dunstan Okeby", "pilot", "instructor", "keeper", "head of training"),
            ("/bank-desk", "/bank-desk/new", PAGE, "/bank-desk/export.yaml"),
        ),
    ):
        for path in paths:
            who.get(path)
            assert who.status == 404, path


def test_export(author):
    """The same text, as a file."""
    write(author)
    write(author, CLIMB)
    response = author.client.get("/bank-desk/export.yaml?folder=tolquenny-19")

    assert response.mimetype == "application/yaml"
    text = response.get_data(as_text=True)
    assert RUDDER in text and CLIMB in text
    assert "Not for operational use." in text


def test_markup_in_a_text_stays_text(author):
    """It is shown as it was typed."""
    page = write(author, RUDDER.replace("the left bus,", '"<b onclick=x>left</b></textarea>",'))
    assert "<b onclick" not in page.html
    assert "&lt;b onclick=x&gt;" in page.html


def test_a_handbooks_revision(bank_db, reviewer, author):
    """Marked, shown, withdrawn, read again; nothing goes before it was shown."""
    form = reviewer.get("/bank-desk/handbook").form("/bank-desk/handbook")
    page = reviewer.send(form, ("do", "look"), name="Revision 7", section=["24-10"])
    assert "1 item cites what is marked." in page.text and "essential-bus-feeds" in page.text
    with bank_db.reading() as session:
        assert session.get(Item, "essential-bus-feeds").withdrawn_by is None

    page = reviewer.send(page.form("/bank-desk/handbook"), ("do", "withdraw"))
    with bank_db.reading() as session:
        assert session.get(Item, "essential-bus-feeds").withdrawn_by == "handbook"
    assert "1 of 1 item still to be read again" in page.text
    page = reviewer.send(page.form(reviewer.path))
    assert "0 of 1 item still to be read again" in page.text and "in use again" in page.text
    with bank_db.reading() as session:
        assert session.get(Item, "essential-bus-feeds").withdrawn_by is None

    page = reviewer.send(form, ("do", "withdraw"), name="Revision 8")
    assert reviewer.status == 422 and "no section is marked" in page.text.lower() and "Revision 8" in page.html
    author.get("/bank-desk/handbook")
    assert author.status == 404

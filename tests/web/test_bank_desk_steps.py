"""The bank desk without scripts: sent back, taken over, deleted, withdrawn, made a draft again."""

import pytest

from quizsvc.bank.kinds import KINDS
from quizsvc.services import accounts, desk_items, desk_steps, handbook_revisions
from quizsvc.services.sessions import open_session
from quizsvc.store.tables import DeskItem, Item, Person
from quizsvc.web.people import COOKIE
from tests.services.assigned import add_person
from tests.services.desk_doing import put_into_use
from tests.services.desk_texts import RUDDER

ITEM = "school-essential-bus"
PAGE = f"/bank-desk/items/{ITEM}"

WORDS = "The <b>essential</b> bus does not feed it."


@pytest.fixture
def people(browsers, bank_db, clock):
    """Signed in: an author, a second one, a reviewer. By name, with the number of the person."""
    found = {}
    for name, role in (("author", "item author"), ("second", "item author"), ("reviewer", "reviewer")):
        visitor = browsers()
        visitor.number = add_person(bank_db, clock, f"Osric {name}", (role,))
        with bank_db.writing() as session:
            token = open_session(session, session.get(Person, visitor.number), device="phone", now=clock()).token
        visitor.client.set_cookie(COOKIE, token)
        found[name] = visitor
    return found


@pytest.fixture
def written(bank_db, clock, people):
    """The author's draft."""
    return desk_items.start(bank_db, people["author"].number, folder="tolquenny-19", text=RUDDER, now=clock())


@pytest.fixture
def in_use(bank_db, clock, people, written):
    """The same, read and in use."""
    put_into_use(bank_db, clock, people["reviewer"].number, written)


def change(db, clock, people):
    """The author keeps another text."""
    by = people["author"].number
    version = desk_items.one(db, by, ITEM).version
    desk_items.save(db, by, ITEM, text=RUDDER.replace("alive", "powered"), version=version, now=clock())


def kept(db):
    with db.reading() as session:
        return session.get(DeskItem, ITEM)


def test_sent_back_with_words_and_mended(bank_db, clock, people, written):
    """The author is told, reads the words beside the text, mends it; the second person sees that it was changed."""
    page = people["reviewer"].get(PAGE)
    page = people["reviewer"].send(page.form(PAGE + "/send-back"), words=WORDS)
    assert "Draft, sent back to its author." in page.text

    notices = people["author"].get("/account/notices")
    assert "sent a text of yours back" in notices.text and PAGE in notices.html
    assert "essential" not in notices.text
    page = people["author"].get(PAGE)
    assert WORDS in page.text and "&lt;b&gt;essential" in page.html
    assert "Osric reviewer" in page.text and "has not been changed since" in page.text
    assert "sent back to its author" in people["author"].get("/bank-desk").text
    change(bank_db, clock, people)
    page = people["reviewer"].get(PAGE)
    assert "Draft, changed after it was sent back" in page.text and "The text was changed since." in page.text

    page = people["reviewer"].send(page.form(PAGE + "/read"))
    assert page.has_form(PAGE + "/send-back"), "what was read can still be sent back"
    assert "Sent back: what is wrong" not in page.text
    history = page.text[page.text.index("History") :]
    assert history.index("Read") < history.index("Sent back") < history.index(WORDS), "from the newest step on"


def test_words_that_are_missing_or_too_late_stay_in_their_field(bank_db, clock, people, written):
    """422 for none, 409 when the text has been changed meanwhile."""
    before = people["reviewer"].get(PAGE).form(PAGE + "/send-back")
    page = people["reviewer"].send(before, words=" ")
    assert people["reviewer"].status == 422 and "What is wrong is not said." in page.text

    change(bank_db, clock, people)
    page = people["reviewer"].send(before, words=WORDS)
    assert people["reviewer"].status == 409 and "changed meanwhile" in page.text
    assert "&lt;b&gt;essential&lt;/b&gt; bus does not feed it" in page.html
    assert "switch powered" in page.html


def test_taken_over(bank_db, clock, people, written):
    """A text that nobody has any more: nobody can read it until somebody else is its author."""
    accounts.delete_account(bank_db, people["author"].number, now=clock())
    page = people["reviewer"].get(PAGE)
    assert "before an item author takes it over" in page.text
    assert not any(page.has_form(f"{PAGE}/{verb}") for verb in ("read", "send-back", "take-over"))
    assert "Its author has left" in people["second"].get("/bank-desk").text
    page = people["second"].get(PAGE)
    assert not page.has_form(PAGE)
    page = people["second"].send(page.form(PAGE + "/take-over"))
    assert page.has_form(PAGE) and "Taken over" in page.text
    assert people["reviewer"].get(PAGE).has_form(PAGE + "/read")


def test_deleted(bank_db, people, written):
    """A draft that was never in use; its page is gone."""
    page = people["author"].send(people["author"].get(PAGE).form(PAGE + "/delete"))
    assert people["author"].path == "/bank-desk" and "The draft is deleted." in page.text
    assert kept(bank_db) is None
    people["author"].get(PAGE)
    assert people["author"].status == 404


def test_withdrawn_and_a_draft_again(bank_db, people, in_use):
    """With a reason, by a reviewer; the author reads it in the history and begins anew."""
    form = people["reviewer"].get(PAGE).form(PAGE + "/withdraw")
    page = people["reviewer"].send(form, reason="")
    assert people["reviewer"].status == 422 and "The reason is not said." in page.text
    page = people["reviewer"].send(page.form(PAGE + "/withdraw"), reason="The bus was moved.")
    assert "Nobody is asked it any more." in page.text
    with bank_db.reading() as session:
        assert session.get(Item, ITEM).withdrawn_by == "bank"
    assert "Withdrawn." in people["reviewer"].get("/bank-desk").text

    assert "An item of yours was withdrawn" in people["author"].get("/account/notices").text
    page = people["author"].get(PAGE)
    assert "The bus was moved." in page.text and not page.has_form(PAGE + "/delete")
    page = people["author"].send(page.form(PAGE + "/draft"))
    assert "Draft, not read by a second person." in page.text and page.cautions["C8"]
    assert kept(bank_db).text == RUDDER


def test_changes_dropped(bank_db, clock, people, in_use):
    """The text in use stands beside the changed one, and comes back."""
    change(bank_db, clock, people)
    page = people["author"].get(PAGE)
    assert "\n    kind: one\n    concept: D-BUS\n" in page.html
    lines = [line for line in page.html.split("\n") if line.startswith(("<del>", "<ins>"))]
    assert lines == [
        "<del>-   stem: Which bus keeps the dump switch alive?</del>",
        "<ins>+   stem: Which bus keeps the dump switch powered?</ins>",
    ]
    page = people["author"].send(page.form(PAGE + "/drop-changes"))
    assert "Live, revision 1." in page.text and not page.has_form(PAGE + "/drop-changes")
    assert "dump switch alive" in kept(bank_db).text


def test_what_waits_for_whom(bank_db, clock, people, written):
    """Above everything else, with what is to be done; whoever has nothing to do is told so."""
    waiting, rest = "Waiting for you school-essential-bus", "Nothing waits for you."
    assert rest in people["author"].get("/bank-desk").text
    assert f"{waiting} Read it as the second person." in people["reviewer"].get("/bank-desk").text
    desk_steps.send_back(bank_db, people["reviewer"].number, ITEM, version=1, words=WORDS, now=clock())
    assert f"{waiting} Sent back to you: mend it." in people["author"].get("/bank-desk").text
    assert rest in people["reviewer"].get("/bank-desk").text
    put_into_use(bank_db, clock, people["reviewer"].number, ITEM)
    assert rest in people["author"].get("/bank-desk").text and rest in people["reviewer"].page.text
    handbook_revisions.record(
        bank_db, people["reviewer"].number, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=clock()
    )
    page = people["reviewer"].get("/bank-desk")
    assert f"{waiting} Read it again: its handbook has a newer revision." in page.text
    assert "/bank-desk/handbook" in people["reviewer"].get(PAGE).links
    accounts.delete_account(bank_db, people["author"].number, now=clock())
    assert f"{waiting} Its author has left: take it over." in people["second"].get("/bank-desk").text


def test_what_a_text_can_name_stands_beside_it(people, written):
    """Concepts and sections of the text's folder, and those of any aircraft; on the empty page of all folders."""
    for path in (PAGE, "/bank-desk/new"):
        text = people["author"].get(path).text
        assert "D-BUS" in text and "24-10" in text, path
    assert '<option value="tolquenny-19" selected>' in people["author"].page.html
    page = people["reviewer"].get(PAGE)
    assert "Concepts and handbook sections to name" not in page.text
    assert "/handbook/tolquenny-19/24-10" in page.links, "the second person looks up what it cites"


def test_items_to_be_read_again_stand_there_in_whole(bank_db, clock, people, written, monkeypatch):
    """With options, key and beliefs; as many as can be read at a time, and the next when those are read."""
    put_into_use(bank_db, clock, people["reviewer"].number, ITEM)
    monkeypatch.setattr(handbook_revisions, "MOST_WHOLE", 1)
    number = handbook_revisions.record(
        bank_db, people["reviewer"].number, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=clock()
    )
    path = f"/bank-desk/handbook/{number}"
    page = people["reviewer"].get(path)
    # Of the test bank: essential-bus-feeds. Of the desk: school-essential-bus.
    assert "dump hangs on the left side" in page.text and "shown in whole, with its key, when those above" in page.text
    assert [dict(form.fields)["item"] for form in page.forms if form.action == path] == ["essential-bus-feeds"]
    page = people["reviewer"].send(page.form(path))
    assert [dict(form.fields)["item"] for form in page.forms if form.action == path] == [ITEM]
    assert "dump hangs on the right side" in page.text
    assert page.text.index(ITEM) < page.text.index("essential-bus-feeds in use again")


def test_an_example_of_each_kind_to_begin_with(people):
    """Of the kinds that the bank has, from the author's guide, under a name that has to be changed; and its notes."""
    page = people["author"].get("/bank-desk/new")
    offered = [link.partition("=")[2] for link in page.links if link.startswith("/bank-desk/new?kind=")]
    assert sorted(offered) == sorted(KINDS)
    page = people["author"].get("/bank-desk/new?kind=scenario")
    assert "- item: a-name-of-your-own\n  kind: scenario\n" in page.html
    assert "At most six parts" in page.text
    page = people["author"].get("/bank-desk/new?kind=nothing")
    assert "- item: a-name-of-your-own\n  kind: one\n" in page.html

"""The calendar of closings: who reads it, what stands in it, and that it is RFC 5545 as the RFC says it."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Allowance, Assignment, CalendarFeed, Membership, Person
from quizsvc.web.people import COOKIE
from tests.services import assigned
from tests.web.pages import on_both

ITEMS = ["gate-slow-leak"]


@pytest.fixture
def student(browsers, bank_db, clock):
    """A student with an assignment that closes 9 March 2026, 09:00 UTC, and their browser."""
    one = browsers()
    one.person = assigned.add_person(bank_db, clock, "Student 01")
    one.group = assigned.add_group(bank_db, clock, students=[one.person])
    one.given = assigned.add_assignment(bank_db, clock, one.group, ITEMS)
    with bank_db.writing() as session:
        token = open_session(session, session.get(Person, one.person), device="phone", now=clock()).token
    one.client.set_cookie(COOKIE, token)
    return one


def address_of(visitor):
    """Make an address; its path."""
    page = visitor.send(visitor.get("/account/calendar").form("/account/calendar"))
    return re.search(r"http://127\.0\.0\.1:8019(/closings/[0-9a-f]+\.ics)", page.text)[1]


def lines(response):
    """The content lines, unfolded: RFC 5545, 3.1: CRLF and one blank or tab is a fold."""
    text = response.get_data().decode()
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    return re.sub("\r\n[ \t]", "", text).split("\r\n")[:-1]


def events(response):
    """Each event's properties by name, without their parameters."""
    found = []
    for line in lines(response):
        name, _, value = line.partition(":")
        if line == "BEGIN:VEVENT":
            found.append({})
        elif found and name not in ("BEGIN", "END"):
            found[-1][name.partition(";")[0]] = value
    return found


@on_both
def test_a_closing_is_a_moment_with_title_and_group(student, browsers):
    """Read without a session, as calendar programs do; the closing in UTC (form 2 of RFC 5545, 3.3.5)."""
    response = browsers().client.get(address_of(student))

    assert response.mimetype == "text/calendar"
    whole = lines(response)
    # 3.4 and 3.6: one calendar object, PRODID and VERSION required, each once.
    assert (whole[0], whole[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    assert whole.count("VERSION:2.0") == 1 and sum(one.startswith("PRODID:") for one in whole) == 1
    (event,) = events(response)
    assert event == {
        # 3.6.1: UID and DTSTAMP are required.
        "UID": f"assignment-{student.given}@127.0.0.1:8019",
        "DTSTAMP": "20260302T090000Z",
        "DTSTART": "20260309T090000Z",
        "SUMMARY": "Homework closes: Bleed air for Monday",
        "DESCRIPTION": "Ochre intake",
        "LAST-MODIFIED": "20260302T090000Z",
        "SEQUENCE": "1",
        "TRANSP": "TRANSPARENT",
        "URL": f"http://127.0.0.1:8019/homework/{student.given}",
    }
    assert "gate-slow-leak" not in response.get_data(as_text=True)


def test_lines_are_folded_and_text_is_escaped(student, browsers, bank_db, clock):
    """No line over 75 octets (3.1); comma, semicolon and backslash of a text behind a backslash (3.3.11)."""
    title = "Doors, seals; and \\ " + "größte Höhe " * 12
    assigned.add_assignment(bank_db, clock, student.group, ITEMS, title=title)
    response = browsers().client.get(address_of(student))

    assert max(len(line) for line in response.get_data().split(b"\r\n")) <= 75
    written = events(response)[1]["SUMMARY"]
    assert written.startswith("Homework closes: Doors\\, seals\\; and \\\\ größte")
    assert re.sub(r"\\(.)", r"\1", written) == f"Homework closes: {title}"


@on_both
def test_what_is_not_theirs_to_do_is_not_in_it(student, browsers, bank_db, clock):
    """Drafts, what was taken back, other groups; an excuse takes it out, an extension moves it."""
    path = address_of(student)
    other = assigned.add_group(bank_db, clock, name="Umber line")
    assigned.add_assignment(bank_db, clock, other, ITEMS, title="Of others")
    assigned.add_assignment(bank_db, clock, student.group, ITEMS, title="A draft", released=False)
    back = assigned.add_assignment(bank_db, clock, student.group, ITEMS, title="Taken back")
    excused = assigned.add_assignment(bank_db, clock, student.group, ITEMS, title="Excused")
    with bank_db.writing() as session:
        session.execute(sa.update(Assignment).where(Assignment.id == back).values(state="taken back"))
        usual = {"person_id": student.person, "reason": "a flight", "taken_back": False, "given_at": clock()}
        session.add(Allowance(assignment_id=excused, what="excused", **usual))
        until = clock() + timedelta(days=10)
        session.add(Allowance(assignment_id=student.given, what="extension", until_at=until, **usual))

    (event,) = events(browsers().client.get(path))
    assert (event["SUMMARY"], event["DTSTART"]) == ("Homework closes: Bleed air for Monday", "20260312T090000Z")

    with bank_db.writing() as session:
        session.execute(sa.update(Membership).where(Membership.person_id == student.person).values(state="left"))
    assert events(browsers().client.get(path)) == []


@on_both
def test_a_new_address_ends_the_old_one_and_the_button_ends_it_all(student, browsers):
    """What has ended is not found, to the letter as what never was."""
    anybody = browsers().client
    first = address_of(student)
    second = address_of(student)
    never = anybody.get("/closings/" + "0" * 40 + ".ics")
    assert (anybody.get(first).status_code, anybody.get(second).status_code, never.status_code) == (404, 200, 404)
    assert anybody.get(first).get_data() == never.get_data()

    page = student.send(student.get("/account/calendar").form("/account/calendar/end"))
    assert "works no longer" in page.text and "There is none." in page.text
    assert anybody.get(second).status_code == 404


def test_the_secret_has_160_bits_and_is_not_stored(student, bank_db):
    """40 hexadecimal digits of 4 bits; the page shows them once."""
    path = address_of(student)
    secret = re.fullmatch(r"/closings/([0-9a-f]{40})\.ics", path)[1]
    with bank_db.reading() as session:
        (stored,) = session.scalars(sa.select(CalendarFeed.secret_hash))
    assert secret not in stored and len(stored) == 64
    page = student.get("/account/calendar")
    assert secret not in page.html and "An address was made 2 Mar 2026, 09:00 and works." in page.text

"""Evidence, marks and links as Chromium prints them: title and cautions on every page, no frame of the screen."""

from __future__ import annotations

import re

import pytest

from quizsvc.services.sessions import new_people, open_session
from quizsvc.store.tables import Membership, Person
from quizsvc.web.app import create_app
from quizsvc.web.people import COOKIE
from tests.browser.conftest import ROOT
from tests.services import assigned, handed_in

pytestmark = pytest.mark.browser

STATIC = ROOT / "quizsvc" / "web" / "static"
LONG = "Maximiliana-Theodosia van der Achterberg-Fallowmere y Quenley-Dreywick"


@pytest.fixture
def backend():
    """A printout does not depend on the database under it."""
    return "sqlite"


@pytest.fixture
def prints(settings, bank_db, clock, chromium):
    """Prints an address as its reader gets it: how many A4 pages, and the page as it stands for print."""
    app = create_app(settings, clock=clock, db=bank_db)
    app.config["WTF_CSRF_ENABLED"] = False
    by, students, given = handed_in.school(bank_db, clock, ["gate-slow-leak", "cabin-from-differential"], students=2)
    handed_in.do(bank_db, clock, students[0], given, ["right", "wrong"])
    head = assigned.add_person(bank_db, clock, "Imre Fallowmere", roles=("head of training",))
    with bank_db.writing() as session:
        names = [f"{LONG} {number:02d}" for number in range(38)]
        made = new_people(
            session, [(one, one.casefold()) for one in names], aircraft=["tolquenny-19"], time_zone="UTC", now=clock()
        )
        group = session.query(Membership.group_id).first()[0]
        session.add_all(
            Membership(group_id=group, person_id=one, part="student", state="in", asked_at=clock(), joined_at=clock())
            for one in made.values()
        )
    context = chromium.new_context()
    page = context.new_page()

    def print_it(path, *, reader="instructor", **form):
        client = app.test_client()
        with bank_db.writing() as session:
            person = session.get(Person, by if reader == "instructor" else head)
            client.set_cookie(COOKIE, open_session(session, person, device="desk", now=clock()).token)
        path = path.format(given=given, group=group, student=students[0])
        answer = client.post(path, data=form) if form else client.get(path)
        assert answer.status_code == 200
        page.set_content(answer.get_data(as_text=True))
        for name in ("quizsvc.css", "school.css"):
            page.add_style_tag(content=(STATIC / name).read_text())
        # ISO 32000-1, 7.7.3.3: each page is an object with /Type /Page; 14.11.2: its size in points, A4 is 595 by 842.
        pdf = page.pdf(prefer_css_page_size=True)
        assert {tuple(map(round, map(float, one.split()[2:]))) for one in _boxes(pdf)} == {(595, 842)}
        page.emulate_media(media="print")
        return len(re.findall(rb"/Type\s*/Page\b", pdf)), page

    print_it.people = sorted(made.values())
    yield print_it
    context.close()


def _boxes(pdf):
    return [found.decode() for found in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", pdf)]


def _stands_on_each_page(page, title):
    """A header group of a table is repeated on every page (CSS 2.2, 17.2); the screen's frame and buttons are gone."""
    head = page.locator(".print-head")
    assert head.evaluate("one => getComputedStyle(one).display") == "table-header-group"
    assert title in head.inner_text()
    for one in ("C1", "C2", "C4"):
        assert head.locator(f'[data-caution="{one}"]').is_visible()
    for part in ("nav", "#screen > header", "footer", "form", ".no-print"):
        assert not page.locator(part).first.is_visible()


def test_forty_people_on_a_mark_list(prints):
    """Two lines each: a few pages, not one for every nine; names wrap and nothing is cut off at the side."""
    pages, page = prints("/assignments/{given}/marks")
    assert 2 <= pages <= 3
    _stands_on_each_page(page, "Mark list: Bleed air for Monday")
    assert page.locator(".rows > li").count() == 40
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_an_evidence_sheet_and_its_file(prints):
    """The page and the file that is kept: both say whose and of which day on every page."""
    for ending in ("", ".html"):
        pages, page = prints("/people/{student}/evidence" + ending, reader="head of training")
        assert pages == 1
        _stands_on_each_page(page, "Evidence sheet: Student 01, 2 Mar 2026")


def test_forty_links_to_cut(prints):
    """A card is never cut in two by the end of a page."""
    pages, page = prints("/groups/{group}/roll/links", person=prints.people)
    assert 5 <= pages <= 8
    _stands_on_each_page(page, "Sheet of links for Ochre intake")
    cards = page.locator(".cards > li")
    assert cards.count() == 38
    assert cards.first.evaluate("one => getComputedStyle(one).breakInside") == "avoid"
    # 28 mm for a picture of 45 modules leaves 0.6 mm each: a phone reads it from the hand.
    assert cards.first.locator(".code-picture").evaluate("one => one.getBoundingClientRect().width") >= 28 * 96 / 25.4

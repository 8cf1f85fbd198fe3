"""Assignments on paper, as Chromium prints them: each person's questions begin on a page of their own."""

from __future__ import annotations

import re

import pytest

from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Person
from quizsvc.web.app import create_app
from quizsvc.web.people import COOKIE
from tests.browser.conftest import ROOT
from tests.services.assigned import add_assignment, add_group, add_person

pytestmark = pytest.mark.browser

STATIC = ROOT / "quizsvc" / "web" / "static"
KINDS = ("one", "some", "number", "order", "match", "gauge", "profile", "still-works", "scenario")


@pytest.fixture
def backend():
    """A printout does not depend on the database under it."""
    return "sqlite"


@pytest.fixture
def printed(settings, kinds_db, clock, chromium):
    """Prints the paper of some students: how many pages, and the page as it stands for print."""
    app = create_app(settings, clock=clock, db=kinds_db)
    teacher = add_person(kinds_db, clock, "Rosmund Achterby", ("instructor",))
    with kinds_db.writing() as session:
        token = open_session(session, session.get(Person, teacher), device="desk", now=clock()).token
    client = app.test_client()
    client.set_cookie(COOKIE, token)
    context = chromium.new_context()
    page = context.new_page()

    def print_for(names, items, path="print"):
        students = [add_person(kinds_db, clock, name) for name in names]
        group = add_group(kinds_db, clock, name=" and ".join(names), instructors=[teacher], students=students)
        number = add_assignment(kinds_db, clock, group, items, released=False)
        app.config["WTF_CSRF_ENABLED"] = False
        assert client.post(f"/assignments/{number}/preview").status_code == 303
        page.set_content(client.get(f"/assignments/{number}/{path}").get_data(as_text=True))
        for name in ("quizsvc.css", "school.css"):
            page.add_style_tag(content=(STATIC / name).read_text())
        margin = dict.fromkeys(("top", "bottom", "left", "right"), "12mm")
        # ISO 32000-1, 7.7.3.3: each page is an object with /Type /Page.
        pages = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4", margin=margin)))
        page.emulate_media(media="print")
        return pages, page

    yield print_for
    context.close()


@pytest.mark.parametrize("path", ["print", "print/answers"])
def test_one_item_is_a_page_for_each_person(printed, path):
    """Three people, three pages, none of them empty; the frame of the screen is not on them."""
    pages, page = printed(["Ada Quill", "Bo Tarn", "Cyr Vane"], ["asked-as-one"], path)

    assert pages == 3
    for part in ("nav", "#screen > header", "footer", "h1"):
        assert not page.locator(part).first.is_visible()
    assert page.locator(".sheet .caution").first.is_visible()


def test_an_item_of_every_kind_takes_the_same_pages_for_each(printed):
    """Alone the one needs as many as together the half: nobody's questions go on where another's end."""
    items = [f"asked-as-{kind}" for kind in KINDS]
    alone, _ = printed(["Ada Quill"], items)
    together, _ = printed(["Bo Tarn", "Cyr Vane"], items)

    assert alone >= 2
    assert together == 2 * alone

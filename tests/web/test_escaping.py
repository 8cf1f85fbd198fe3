"""Markup in every text slot: of the bank, of people, of addresses. None of it becomes a tag."""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime

import pytest

from quizsvc.services import banks
from quizsvc.web.app import create_app
from tests import factories
from tests.web.pages import Visitor

MARK = "<script>alert(7)</script><img src=x onerror=alert(7)>\"'><b onmouseover=alert(7)>"


@pytest.fixture
def hostile(settings, db, clock, tmp_path, chance):
    """The application on a bank whose every free text carries markup."""
    folder = factories.write_bank(tmp_path / "hostile")
    quoted = MARK.replace("'", "''")
    for file in folder.rglob("*.yaml"):
        if file.name in ("aircraft.yaml", "cautions.yaml"):
            continue
        text = file.read_text(encoding="utf-8")
        file.write_text(_marked(text, quoted), encoding="utf-8")
    for file in folder.rglob("*.md"):
        text = file.read_text(encoding="utf-8")
        file.write_text(
            re.sub(r"^(## \S+ .*)$", r"\1 " + MARK, text, flags=re.M) + "\n\n" + MARK + "\n", encoding="utf-8"
        )
    banks.load(db, folder, now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(1))
    return create_app(settings, clock=clock, db=db, rng=chance)


def _marked(text, quoted):
    """Every stem, working, option, belief and title of the test bank with markup behind it."""
    text = re.sub(
        r"^(  (?:stem|why): )(.*)$",
        lambda found: f"{found[1]}'{found[2].strip(chr(34))} {quoted}'",
        text,
        flags=re.M,
    )
    return re.sub(
        r"((?:belief|text|title|system): )(\"[^\"]*\"|[^,}\n]*)",
        lambda found: f"{found[1]}'{found[2].strip(chr(34))} {quoted}'",
        text,
    )


def _no_tag_of_ours(page):
    """Only the tags of our templates: no script of the mark, no image, no handler."""
    for tag, attributes in page.tags:
        assert tag != "img"
        assert not [name for name in attributes if name.startswith("on")]
        if tag == "script":
            assert (attributes.get("src") or "").startswith("/static/")


def test_markup_in_the_bank_stays_text_on_every_screen(hostile, db):
    """Question, feedback, end of set, log, thin spots, handbook."""
    visitor = Visitor(hostile.test_client())
    visitor.start(minutes=25, long=True)
    seen = 0
    while "/questions/" in visitor.path:
        _no_tag_of_ours(visitor.page)
        seen += "alert(7)" in visitor.page.text
        form = visitor.answer_form()
        picked = {name: [value] for name, value in form.choices if name in ("option", "options")}
        visitor.send(form, **(picked or {"text": "1"}))
        _no_tag_of_ours(visitor.page)
        seen += "alert(7)" in visitor.page.text
        visitor.next()
    paths = [visitor.path, "/log", "/thin-spots", "/handbook"]
    paths += [link for link in visitor.get("/handbook").links if link.startswith("/handbook/")]
    for path in paths:
        _no_tag_of_ours(visitor.get(path))
        seen += "alert(7)" in visitor.page.text

    assert seen >= len(paths) + 6, "the markup was not on the screens, so nothing was tested"


def test_markup_in_people_and_addresses_stays_text(browsers):
    """Names, devices, squawks, typed answers, refused values."""
    visitor = browsers()
    visitor.client.environ_base["HTTP_USER_AGENT"] = MARK
    visitor.send(visitor.get("/sign-up").form("/sign-up"), name=MARK, password="ochre lantern nine")

    assert visitor.path == "/"
    _no_tag_of_ours(visitor.page)

    for path in ("/account", "/account/devices", "/account/delete", "/account/password"):
        _no_tag_of_ours(visitor.get(path))
    form = visitor.get("/account").form("/account")
    visitor.send(form, check_date=MARK, minutes_a_day=MARK, time_zone=MARK, experience=MARK)
    _no_tag_of_ours(visitor.page)

    assert visitor.status == 422

    for query in ({"outcome": MARK}, {"system": MARK}, {"page": MARK}):
        response = visitor.client.get("/log", query_string=query)
        assert b"<script>alert" not in response.get_data()
    for path in (f"/{MARK}", f"/handbook/{MARK}/{MARK}", f"/link/{MARK}", f"/sign-in?next={MARK}"):
        assert b"<script>alert" not in visitor.client.get(path).get_data()
    visitor.start()
    visitor.pass_on()
    visitor.send(next(one for one in visitor.page.forms if one.action.endswith("/squawks")), text=MARK)
    _no_tag_of_ours(visitor.page)

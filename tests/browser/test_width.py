"""No item of the shipped bank needs sideways scrolling, whatever was typed: every one, not those that a walk meets."""

from __future__ import annotations

import random
import secrets
from itertools import chain

import pytest
import sqlalchemy as sa

from quizsvc.services import accounts, banks, issuing, practice
from quizsvc.settings import question_bank_folder
from quizsvc.store import questions
from quizsvc.store.session import Database
from quizsvc.store.tables import Item, PracticeSet
from quizsvc.web.app import create_app
from tests.browser.conftest import ROOT

pytestmark = pytest.mark.browser

# 320 px is what is left of 1280 when a person zooms in to 400 % (WCAG 2.2, 1.4.10).
WIDTHS = (320, 360)
# Frames of these widths have the style sheet once; what is on a page goes into each, and what it needs comes back.
FRAMES = """async ([css, widths]) => {
  for (const width of widths) {
    const frame = document.createElement("iframe");
    frame.style.cssText = `width: ${width}px; height: 800px; border: 0`;
    frame.srcdoc = "<!doctype html>";
    document.body.append(frame);
    await new Promise((resolve) => frame.addEventListener("load", resolve, { once: true }));
    const style = frame.contentDocument.createElement("style");
    style.textContent = css;
    frame.contentDocument.head.append(style);
  }
}"""
NEEDED = """(html) => {
  const parsed = new DOMParser().parseFromString(html, "text/html");
  parsed.querySelectorAll("details").forEach((one) => { one.open = true; });
  return [...document.querySelectorAll("iframe")].map(({ contentDocument: shown }) => {
    shown.body.replaceWith(shown.importNode(parsed.body, true));
    return shown.documentElement.scrollWidth;
  });
}"""
# What a person may type without a blank anywhere.
LONG_NUMBER = "4321." + "123456789" * 4


@pytest.fixture
def backend():
    """What a page measures does not depend on the database under it."""
    return "sqlite"


@pytest.fixture
def app(templates, settings, clock, tmp_path):
    """The application on a database with the bank that ships."""
    url = f"sqlite:///{tmp_path / 'shipped.db'}"
    templates.fill("sqlite", url, "empty")
    db = Database.open(url)
    banks.load(db, question_bank_folder(), now=clock(), rng=random.Random(19))
    yield create_app(settings, clock=clock, db=db)
    db.close()


def test_every_item_fits_a_narrow_screen(app, chromium, clock, rng):
    """Question and feedback of each live item, drawn once, in Chromium with the real style sheet."""
    db = app.extensions["quizsvc"].db
    signed_in = accounts.begin_anonymous(db, device="test", time_zone="UTC", now=clock())
    ids = _one_of_each(db, signed_in.person.id, clock(), rng)
    client = app.test_client()
    client.set_cookie("session", signed_in.token)
    css = (ROOT / "quizsvc" / "web" / "static" / "quizsvc.css").read_text(encoding="utf-8")
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    page.set_content("<!doctype html>")
    page.evaluate(FRAMES, [css, WIDTHS])
    wide = []

    def look(html, name):
        for width, needed in zip(WIDTHS, page.evaluate(NEEDED, html), strict=True):
            if needed > width:
                wide.append((name, width, needed))

    # It measures at all: what is too wide for the narrower frame is found there alone.
    look('<body><div style="width: 340px">planted</div></body>', "planted")
    assert [width for _, width, _ in wide] == [320]
    wide.clear()
    for item, question in ids:
        html = client.get(f"/questions/{question}").get_data(as_text=True)
        look(html, f"{item}: question")
        typed = {"text": LONG_NUMBER} if "inputmode" in html else {"pass": True}
        try:
            _answer(db, signed_in.person.id, question, typed, clock())
        except ValueError:
            _answer(db, signed_in.person.id, question, {"pass": True}, clock())
        look(client.get(f"/questions/{question}").get_data(as_text=True), f"{item}: feedback")
    page.close()

    assert len(ids) > 140
    assert wide == []


def _answer(db, person_id, question_id, raw, now):
    uuid = f"{secrets.token_hex(4)}-{secrets.token_hex(2)}-4{secrets.token_hex(2)[1:]}-8{secrets.token_hex(2)[1:]}-"
    practice.record_answer(
        db, person_id, question_id, uuid=uuid + secrets.token_hex(6), raw=raw, sureness=None, now=now
    )


def _one_of_each(db, person_id, now, rng):
    """Writes one question of every live item, in sets of the usual length: each page looks at the whole of its set."""
    live = sa.select(Item.revision_id).where(Item.status == "live").order_by(Item.id)
    with db.writing() as session:
        drawn = [issuing.drafts(session, person_id, revision, rng) for revision in session.scalars(live)]
        rows = []
        for first in range(0, len(drawn), 10):
            set_id = secrets.token_hex(16)
            session.add(PracticeSet(id=set_id, person_id=person_id, long=True, minutes=10, started_at=now))
            session.flush()
            rows += [
                one.row(person_id=person_id, set_id=set_id, position=position, reason="", now=now)
                for position, one in enumerate(chain.from_iterable(drawn[first : first + 10]), 1)
            ]
        questions.add_questions(session, rows)
    return [(row["item_id"], row["id"]) for row in rows]

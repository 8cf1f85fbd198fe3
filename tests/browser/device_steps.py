"""What a person does on the screen "On this device"."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from quizsvc.store.tables import Answer, Grade
from tests.browser import steps
from tests.web.keys import right, wrong

HERE = "/on-this-device"

# The words of an article from its outcome to its working, as a person reads them.
ARTICLE = """() => {
  const article = document.querySelector("article");
  const words = [];
  for (const part of article.children) {
    if (part.matches(".next")) break;
    if (!part.matches("[data-offline], .caution") && !part.hidden) words.push(part.innerText);
  }
  return words.join(" ").replace(/\\s+/g, " ").trim();
}"""


def visit(page):
    """Begin a set, which makes a person, and look at the screen until questions are kept and all is fetched."""
    steps.start(page)
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    steps.filled(page)


def begin(page, minutes=25):
    """Press one of the lengths."""
    page.locator(f"[data-minutes='{minutes}']:visible").click()
    page.locator("[data-answer]").wait_for()


def answer(page, db, *, correctly):
    """Answer the question on the screen; returns its id when the feedback is there."""
    asked = steps.question(page)
    steps.fill(page, (right if correctly else wrong)(db, asked))
    page.get_by_role("button", name="Answer", exact=True).click()
    page.locator("#outcome").wait_for()
    return asked


def onward(page):
    """Press Next; whether another question came."""
    # A message at the lower edge may stand over it until one scrolls to the end.
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.locator("[data-next]").locator("visible=true").last.click()
    page.locator("[data-answer], [data-tally]").wait_for()
    return page.locator("[data-answer]").count() == 1


def drill(page, db, *, correctly, each=lambda kind, asked: None):
    """Drill the set to its end; returns kinds by the ids of their questions, in the order asked."""
    asked = {}
    more = True
    while more:
        kind = page.locator("[data-kind]").get_attribute("data-kind")
        given = answer(page, db, correctly=correctly)
        asked[given] = kind
        each(kind, given)
        more = onward(page)
    return asked


def outcome(page):
    """The word of the feedback on the screen."""
    return page.locator("#outcome").inner_text().strip()


def arrived(page, site, number):
    """Bring the signal back and wait until the service has so many answers."""
    page.context.set_offline(False)
    for _ in range(1200):
        with site.db.reading() as session:
            found = session.scalars(select(Answer)).all()
        if len(found) >= number:
            return found
        page.wait_for_timeout(100)
    pytest.fail(f"{len(found)} of {number} answers arrived")


def all_stored(page):
    """Wait until the screen says that nothing waits any more."""
    page.get_by_text("Every answer given here is stored by the service.").wait_for(timeout=120_000)


def outcomes(site):
    """What the service made of each answer, by question."""
    with site.db.reading() as session:
        rows = session.execute(
            select(Answer.question_id, Grade.outcome).join(Grade, Grade.answer_id == Answer.id)
        ).all()
    return dict(rows)

"""The hangar: no signal before the first item, a browser that is killed in the middle, and each answer stored once."""

from __future__ import annotations

from collections import Counter

import pytest
from sqlalchemy import select

from quizsvc.bank.portable import OFFLINE_KINDS
from quizsvc.store.tables import Answer, Grade, Question
from tests.browser import steps
from tests.browser.device_steps import HERE, answer, arrived, begin, drill, onward, visit
from tests.browser.offline import device
from tests.browser.outbox_steps import sign_in, sign_up

__all__ = ["device"]
pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"


def stored(site):
    """Every stored answer: question, whether it is not the first, outcome, given offline."""
    with site.db.reading() as session:
        return session.execute(
            select(Answer.question_id, Answer.again, Grade.outcome, Grade.void_reason, Answer.offline)
            .join(Grade, Grade.answer_id == Answer.id)
            .order_by(Answer.id)
        ).all()


def test_a_set_without_signal_outlives_the_browser(device, site):
    """Offline before the first item; killed after the third; restarted offline; finished; then the signal is back."""
    phone = device()
    page = phone.open()
    visit(page)
    phone.controlled()
    phone.close()  # the visit was yesterday's: a browser writes its cookies within half a minute

    page = phone.open(offline=True)
    page.goto("/")
    begin(page)
    asked = {}
    for at in range(3):
        kind = page.locator("[data-kind]").get_attribute("data-kind")
        asked[answer(page, site.db, correctly=at != 1)] = kind
        assert onward(page)
    phone.kill()

    page = phone.open(offline=True)
    page.goto("/")
    page.get_by_role("button", name="Go on").click()
    asked |= drill(page, site.db, correctly=True)
    assert set(asked.values()) == set(OFFLINE_KINDS)
    page.get_by_text(f"{len(asked)} answers given here wait to be sent.").wait_for()
    assert stored(site) == []

    arrived(page, site, len(asked))
    page.wait_for_timeout(500)

    rows = stored(site)
    assert Counter(row.question_id for row in rows) == Counter(list(asked))
    assert {row.question_id for row in rows} == set(asked)
    assert all(row.offline and not row.again for row in rows)
    page.goto(HERE)
    page.get_by_text("Every answer given here is stored by the service.").wait_for()


def _see_kept(page):
    """Leave Start only when its stock has come, and look at what is kept: two fills at once make a longer stock."""
    steps.filled(page)
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    steps.filled(page)


def test_two_devices_with_one_stock(device, site):
    """Both answer the same questions without signal: the first to arrive counts, the other is kept as void."""
    first, second = device(), device()
    page = first.open()
    steps.start(page)
    steps.filled(page)
    sign_up(page)
    _see_kept(page)
    first.controlled()
    other = second.open()
    other.goto("/sign-in")
    sign_in(other)
    other.wait_for_url(f"{site.url}/")
    _see_kept(other)
    second.controlled()
    done = []
    for one, correctly in ((first, True), (second, False)):
        one.context.set_offline(True)
        one.page = one.fresh()
        one.page.goto("/")
        begin(one.page)
        done.append(set(drill(one.page, site.db, correctly=correctly)))
    assert done[0] == done[1]

    arrived(first.page, site, len(done[0]))
    arrived(second.page, site, 2 * len(done[0]))

    rows = stored(site)
    assert Counter(row.question_id for row in rows) == {question: 2 for question in done[0]}
    counting = [row for row in rows if not row.again]
    assert {row.question_id for row in counting} == done[0]
    assert {row.outcome for row in counting} == {"full"}
    assert {(row.outcome, row.void_reason) for row in rows if row.again} == {("void", "already answered")}
    with site.db.reading() as session:
        assert session.scalars(select(Question.id).where(Question.offline, Question.id.in_(done[0]))).all()

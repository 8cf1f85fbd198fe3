"""What the page really sends and gets, in a set with signal and in one without, is what the description says."""

from __future__ import annotations

import json
from collections import Counter
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from quizsvc.bank.portable import OFFLINE_KINDS
from tests.browser import steps
from tests.browser.device_steps import HERE, answer, arrived, begin, onward
from tests.browser.test_kinds import everything, start, stored
from tests.web.description import Description

pytestmark = pytest.mark.browser

# Of `tests.conftest`: one item of every kind.
BANK = "kinds"

API = "/api/v1/"
SURENESS = ("sure", "think", "guess")


class Recorder:
    """Every call of a page: the request as it left Chromium, and the reply as it came in."""

    def __init__(self, page):
        self.page = page
        self.signal = True
        self.waiting = 0
        self.calls = []  # method, address, request headers, request body, status, reply headers, reply body
        # On the way, and not afterwards: a page leaves on a reply, and its body is gone with it.
        page.route(f"**{API}**", self._call)

    def _call(self, route):
        request = route.request
        if not self.signal:
            route.abort("internetdisconnected")
            return
        self.waiting += 1
        try:
            reply = route.fetch()
            self.calls.append(
                (
                    request.method,
                    urlsplit(request.url).path,
                    request.all_headers(),
                    json.loads(request.post_data),
                    reply.status,
                    reply.headers,
                    reply.json(),
                )
            )
            route.fulfill(response=reply)
        finally:
            self.waiting -= 1

    def set_signal(self, there):
        """With signal or without, for the page's scripts and for its calls."""
        self.signal = there
        self.page.context.set_offline(not there)

    def settle(self):
        """Wait until every reply is in and the page calls nothing more by itself."""
        steps.filled(self.page)
        for _ in range(2400):
            self.page.wait_for_timeout(50)
            if not self.waiting:
                return
        pytest.fail(f"{self.waiting} calls without an end")

    def check(self, site):
        """Hold each body against the description; returns how often each address and status was seen."""
        document = self.page.request.get(f"{site.url}{API}openapi.json").json()
        description = Description(document)
        for method, path, sent_headers, sent, status, headers, reply in self.calls:
            if status < 400:
                description.check_request(method, path, sent_headers, sent)
            description.check_reply(method, path, status, headers, reply)
        return Counter((path.removeprefix(API), status) for _, path, _, _, status, _, _ in self.calls)

    def sent_to(self, path):
        """The bodies that went to an address."""
        return [call[3] for call in self.calls if call[1] == API + path]


def say_how_sure(page, word):
    """Where the question takes it."""
    if page.locator(f"input[name=sureness][value={word}]").count():
        page.locator(f"label:has(input[name=sureness][value={word}])").click()


def test_a_set_with_signal(phone, site):
    """Every kind of item, part of them missed, one passed, each with another word for how sure."""
    page = phone()
    recorder = Recorder(page)
    start(page)
    asked = []
    more = True
    while more:
        kind, part = stored(site, steps.question(page))
        asked.append((kind, part))
        say_how_sure(page, SURENESS[len(asked) % 3])
        steps.answer(page, site.db, correctly=len(asked) % 4 != 0)
        more = steps.go_on(page)
    recorder.settle()
    start(page)
    page.locator("button[name=pass]").click()
    steps.arrive(page, "#outcome")
    recorder.settle()

    seen = recorder.check(site)
    assert everything(asked)
    assert seen["sets", 201] == 2
    assert seen["answers", 201] == len(asked) + 1
    assert seen["kept-questions", 200] >= 1
    responses = [body["response"] for body in recorder.sent_to("answers")]
    forms = {name for response in responses for name in response}
    assert {"option", "options", "text", "order", "pairs", "rows", "readings", "pass"} <= forms
    assert {body["sureness"] for body in recorder.sent_to("answers")} >= set(SURENESS)
    assert page.faults == []


def test_a_set_without_signal(phone, site):
    """Every kind that a device judges, right, missed and passed; sent when the signal is back."""
    page = phone()
    recorder = Recorder(page)
    # As `visit` does, but a page that is left takes with it the reply that is being read.
    steps.start(page)
    recorder.settle()
    page.goto(HERE)
    page.locator("[data-begin]").wait_for()
    recorder.settle()
    recorder.set_signal(False)
    begin(page)
    kinds, number, more = set(), 0, True
    while more:
        kinds.add(page.locator("[data-kind]").get_attribute("data-kind"))
        number += 1
        if number == 3:
            page.locator("button[name=pass]").click()
            page.locator("#outcome").wait_for()
        else:
            say_how_sure(page, SURENESS[number % 3])
            answer(page, site.db, correctly=number % 4 != 0)
        more = onward(page)
    page.get_by_text(f"{number} answers given here wait to be sent.").wait_for()
    recorder.set_signal(True)
    arrived(page, site, number)
    # Stored by the service, and read here that it is: what a page leaves unread is sent once more by the next.
    expect(page.locator("[data-sum]")).to_be_empty()
    recorder.settle()
    page.goto(HERE)
    page.get_by_text("Every answer given here is stored by the service.").wait_for()
    recorder.settle()

    seen = recorder.check(site)
    assert kinds == set(OFFLINE_KINDS)
    assert seen["kept-questions", 200] >= 1
    assert seen["answer-batches", 200] >= 1
    given = [one for body in recorder.sent_to("answer-batches") for one in body["answers"]]
    assert len(given) == number
    assert {one["outcome"] for one in given} >= {"full", "miss", "pass"}
    assert {one["sureness"] for one in given} >= set(SURENESS)
    assert any(body["acknowledged"] for body in recorder.sent_to("answer-batches"))
    assert page.faults == []


def test_a_refusal(phone, site):
    """A number that cannot be read is refused: the reply is the described problem."""
    page = phone()
    recorder = Recorder(page)
    start(page)
    while stored(site, steps.question(page)) != ("number", None):
        steps.answer(page, site.db, correctly=True)
        assert steps.go_on(page)
    page.locator("[name=text]").fill("1.2.3 psi")
    page.get_by_role("button", name="Answer", exact=True).click()
    page.locator("[role=alert]:visible").wait_for()
    recorder.settle()

    assert recorder.check(site)["answers", 422] == 1

"""The installed page as the trials of it need it: a line to the service that can fail, and a phone that has visited."""

from __future__ import annotations

from contextlib import ExitStack

import pytest

from tests.browser.conftest import ROOT, running, serving
from tests.browser.device_steps import visit
from tests.browser.line import Line

CONTROLLED = "Boolean(navigator.serviceWorker.controller)"
WAITS = "navigator.serviceWorker.getRegistration().then((found) => Boolean(found.waiting))"
SHELLS = "caches.keys().then((names) => names.filter((name) => name.startsWith('quizsvc-')))"


@pytest.fixture
def line():
    """The line to the service."""
    made = Line()
    yield made
    made.close()


@pytest.fixture
def site(templates, tmp_path, bank_name, line):
    """The service at the other end of the line, by whose address it is known."""
    with serving(templates, tmp_path, bank_name, QUIZSVC_PUBLIC_URL=line.url) as made:
        line.target = int(made.url.rsplit(":", 1)[1])
        made.url = line.url
        yield made


@pytest.fixture
def replace(site, line, tmp_path):
    """Puts another process, of a checkout that may differ, in the place of the service, on the same database."""
    with ExitStack() as started:

        def new(checkout=ROOT):
            url = started.enter_context(
                running(tmp_path / "next.log", site.clock_file, str(site.db.url), checkout, QUIZSVC_PUBLIC_URL=line.url)
            )
            line.target = int(url.rsplit(":", 1)[1])
            line.set("through")  # what was connected to the one before is cut off

        yield new


@pytest.fixture
def installed(device):
    """A phone that visited with signal: a worker has the page, questions are kept. No debugger is at the worker."""
    phone = device(debugged=False)
    visit(phone.open())
    phone.controlled()
    assert phone.context.service_workers == []  # Playwright knows of those that it has the debugger at
    phone.context.set_default_timeout(30_000)  # a busy machine; nothing here is about how long it takes
    return phone


def live_start(page):
    """Open the service's own start page: the worker waits 8 s for it, and a busy machine may take longer."""
    for _ in range(20):
        page.goto("/?live")
        if not page.locator("[data-device]").count():
            return
    pytest.fail("the service's own start page does not come")


def versions(page):
    """The names of the caches of the shell."""
    return page.evaluate(SHELLS)


def look_for_another(page):
    """What a browser does by itself now and then."""
    page.evaluate("navigator.serviceWorker.getRegistration().then((found) => found.update())")

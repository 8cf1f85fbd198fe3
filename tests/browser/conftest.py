"""A real Chromium, and a real server process on a database of its own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from quizsvc.store.session import Database
from tests.browser.device_steps import visit
from tests.browser.outbox_steps import sign_up
from tests.browser.serve import BUSY_TIMEOUT_S, serve_on
from tests.browser.steps import WHEN_FILLED
from tests.forking import Forked

ROOT = Path(__file__).resolve().parents[2]
# As root and in a container Chromium has no sandbox; the rest keeps it from talking to anybody.
ARGUMENTS = (
    "--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --disable-dev-shm-usage"
).split()
PHONE = {"width": 360, "height": 800}


@pytest.fixture(scope="session")
def chromium():
    """One Chromium for all tests; each test has contexts of its own."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("no chromium on this machine: install Debian's package, or leave out with -m 'not browser'")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, headless=True, args=ARGUMENTS)
        yield browser
        browser.close()


@dataclass
class Site:
    """A running service: its address, its database, its clock."""

    url: str
    db: Database
    clock_file: Path
    ahead_s: float = 0.0
    contexts: list[Any] = field(default_factory=list)

    def advance(self, *, days: float = 0.0) -> None:
        """Move the server's clock on."""
        self.ahead_s += days * 86400.0
        # Whole at any moment: the server may be reading it just now.
        other = self.clock_file.with_name("clock.new")
        other.write_text(str(self.ahead_s), encoding="ascii")
        other.replace(self.clock_file)


@pytest.fixture
def bank_name(request):
    """Which of the templates of `tests.conftest` is served: what the module says."""
    return getattr(request.module, "BANK", "bank")


@pytest.fixture
def site(templates, tmp_path, bank_name):
    """A server process on a copy of a migrated SQLite database with a test bank."""
    with serving(templates, tmp_path, bank_name) as made:
        yield made


@contextmanager
def serving(
    templates: Any, folder: Path, bank_name: str, database_url: str | None = None, **settings: str
) -> Iterator[Site]:
    """The server process of `site`, for as long as wanted; `settings` are more variables of its environment.

    Without `database_url` it is on SQLite, in a file of this folder.
    """
    clock_file = folder / "clock"
    clock_file.write_text("0", encoding="ascii")
    database_url = database_url or f"sqlite:///{folder / 'served.db'}"
    templates.fill(database_url.partition(":")[0].partition("+")[0], database_url, bank_name)
    with running(folder / "server.log", clock_file, database_url, **settings) as url:
        db = Database.open(database_url, busy_timeout_s=BUSY_TIMEOUT_S)
        made = Site(url, db, clock_file)
        try:
            yield made
        finally:
            for context in made.contexts:
                end(context)
            db.close()


def end(context: Any) -> None:
    """Close a context. What its routes are busy with meanwhile would else be an error of the next trial."""
    for one in (context, *context.pages):
        one.unroute_all(behavior="ignoreErrors")
    context.close()


@contextmanager
def running(log: Path, clock_file: Path, database_url: str, checkout: Path = ROOT, **settings: str) -> Iterator[str]:
    """The service of a checkout as a process, for as long as wanted; gives its address, and looks through its log."""
    # It listens before there is a process: nobody else can take the port meanwhile, and whoever calls early waits.
    listening = socket.create_server(("127.0.0.1", 0), backlog=128)
    port = listening.getsockname()[1]
    url = f"http://127.0.0.1:{port}"
    environment = {
        **os.environ,
        "QUIZSVC_DATABASE_URL": database_url,
        "QUIZSVC_DATA_DIR": str(clock_file.parent),
        "QUIZSVC_PUBLIC_URL": url,
        **settings,
    }
    with listening:
        process = (
            Forked(serve_on, listening, clock_file, environment=environment, log=log)
            if checkout == ROOT
            else _Begun(listening, clock_file, environment, log, checkout)
        )
    try:
        _wait_for(url, process, log)
        yield url
    finally:
        process.terminate()
    assert "Traceback" not in log.read_text(), log.read_text()


class _Begun:
    """The service of another checkout, as a process of that one's files."""

    def __init__(
        self, listening: socket.socket, clock_file: Path, environment: dict[str, str], log: Path, checkout: Path
    ) -> None:
        port, number = listening.getsockname()[1], listening.fileno()
        with log.open("w") as written:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.browser.serve", str(port), str(clock_file), str(number)],
                cwd=checkout, env=environment, stdout=written, stderr=written, pass_fds=[number],
            )  # fmt: skip

    @property
    def ended(self) -> bool:
        return self._process.poll() is not None

    def terminate(self) -> None:
        self._process.terminate()
        self._process.wait(timeout=60)


@pytest.fixture
def phone(chromium, site):
    """Opens a phone with cookies of its own.

    `script=False` is a browser without JavaScript; only with `worker` may the page keep its shell.
    """

    def new(*, script: bool = True, dark: bool = False, viewport: dict[str, int] | None = None, worker: bool = False):
        context = chromium.new_context(
            viewport=viewport or PHONE,
            java_script_enabled=script,
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            base_url=site.url,
            service_workers="allow" if worker else "block",
        )
        context.set_default_timeout(30_000)  # a busy machine; what comes at once is not waited for
        context.add_init_script(WHEN_FILLED)
        site.contexts.append(context)
        page = context.new_page()
        page.faults = []
        page.on("pageerror", lambda error: page.faults.append(str(error)))
        page.on(
            "console",
            lambda message: page.faults.append(message.text) if "Content Security Policy" in message.text else None,
        )
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith((site.url, "data:", "blob:"))
                else page.faults.append(f"asked {request.url}")
            ),
        )
        return page

    return new


@pytest.fixture
def kept(phone, site):
    """A phone on which a visit with signal has filled the store; it shows the screen, and has no signal any more."""

    from tests.browser.device_steps import visit

    def new(**options):
        page = phone(**options)
        visit(page)
        page.context.set_offline(True)
        return page

    return new


def _wait_for(url: str, process: Forked | _Begun, log: Path) -> None:
    for _ in range(1200):  # on a busy machine a process may take long to begin; one that ended is seen at once
        if process.ended:
            pytest.fail(f"the server ended: {log.read_text()}")
        try:
            with urllib.request.urlopen(url + "/about", timeout=60):
                return
        except OSError:
            time.sleep(0.05)
    pytest.fail(f"the server does not answer: {log.read_text()}")


@pytest.fixture
def pilot(phone):
    """A signed-up person's phone, filled and without signal."""

    def new(**options):
        page = phone(**options)
        sign_up(page)
        visit(page)
        page.context.set_offline(True)
        return page

    return new

"""A browser with a folder of its own, which can be killed and come back."""

from __future__ import annotations

import os
import shutil
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import ARGUMENTS, PHONE, end
from tests.browser.steps import WHEN_FILLED

UNDEBUGGED = Path(__file__).with_name("undebugged.py")


class Device:
    """A phone whose browser keeps what it stored: cookies, caches, databases.

    Not `debugged`, it has workers as a person's browser has them (`tests/browser/undebugged.py`); `offline` is then for
    its pages alone, and what is to reach the worker must happen to the line.
    """

    def __init__(
        self, chromium: Any, site: Any, folder: Path, *arguments: str, debugged: bool = True, **options: Any
    ) -> None:
        self.chromium, self.site, self.folder = chromium, site, folder
        self.arguments, self.debugged, self.options = arguments, debugged, options
        self.faults: list[str] = []
        self.context: Any = None
        self.page: Any = None

    def open(self, *, offline: bool = False) -> Any:
        """Start the browser; without signal from its first moment where `offline`."""
        self.context = self.chromium.browser_type.launch_persistent_context(
            self.folder,
            executable_path=_path() if self.debugged else UNDEBUGGED,
            headless=True,
            args=[*ARGUMENTS, *self.arguments],
            viewport=PHONE,
            reduced_motion="reduce",
            base_url=self.site.url,
            **self.options,
        )
        self.context.set_default_timeout(30_000)
        self.context.add_init_script(WHEN_FILLED)
        self.context.set_offline(offline)
        self.page = self.fresh()
        return self.page

    def fresh(self) -> Any:
        """A new page, whose faults are collected; after an address that could not be reached only such a one works."""
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        return page

    def kill(self) -> None:
        """End every process of the browser at once: nothing gets a chance to write."""
        for process in self._processes():
            os.kill(process, signal.SIGKILL)
        for _ in range(1200):
            if not self._processes():
                break
            time.sleep(0.05)
        self.close()

    def _processes(self) -> list[int]:
        found = []
        for folder in Path("/proc").iterdir():
            if not folder.name.isdecimal():
                continue
            try:
                command = (folder / "cmdline").read_bytes()
                state = (folder / "stat").read_text().rsplit(")", 1)[1].split()[0]
            except OSError:
                continue
            if f"--user-data-dir={self.folder}".encode() in command and state != "Z":
                found.append(int(folder.name))
        return found

    def close(self) -> None:
        """End it in order."""
        if self.context is not None:
            context, self.context = self.context, None
            try:
                end(context)
            except Exception as error:  # it was killed: there is nothing left to close
                assert "closed" in str(error).lower(), error

    def controlled(self) -> None:
        """Wait until the worker has the page."""
        until(self.page, "Boolean(navigator.serviceWorker.controller)", True)


def until(page: Any, condition: str, wanted: Any) -> None:
    """Wait until a script's value is the wanted one."""
    for _ in range(2400):
        found = page.evaluate(condition)
        if found == wanted:
            return
        page.wait_for_timeout(50)
    pytest.fail(f"{condition}: {found!r} instead of {wanted!r}")


def _path() -> str:
    return os.environ.get("CHROMIUM") or shutil.which("chromium") or ""


@pytest.fixture
def device(chromium, site, tmp_path):
    """Makes devices; each has a folder of its own."""
    made: list[Device] = []

    def new(*arguments: str, **options: Any) -> Device:
        made.append(Device(chromium, site, tmp_path / f"device-{len(made)}", *arguments, **options))
        return made[-1]

    yield new
    for one in made:
        one.close()
        assert one.faults == []

"""Servers as processes of their own, forked from one that has imported everything and does nothing else.

Importing is most of what a server does until it answers, and the tests start some four hundred. What is forked is as
real as one begun anew: it has its own environment, its own process group, and can be killed.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(
    ["quizsvc.cli.serve", "quizsvc.services.memory_replay", "quizsvc.web.app", "gunicorn.app.base",
     "gunicorn.workers.gthread", "werkzeug.serving"]
)  # fmt: skip
_ENDS_S = 60.0


class Forked:
    """A process that calls `target(*args)`; what it prints goes to the end of a file, errors too."""

    def __init__(self, target: Callable[..., Any], *args: Any, environment: Mapping[str, str], log: Path) -> None:
        log.touch()
        self._process = _CONTEXT.Process(target=_run, args=(target, args, dict(environment), log))
        self._process.start()
        pid = self._process.pid
        assert pid is not None
        self.pid = pid

    @property
    def ended(self) -> bool:
        """Whether it runs no more."""
        return self._process.exitcode is not None

    def terminate(self) -> None:
        """Ask it to end, and wait."""
        self._process.terminate()
        self._wait()

    def kill_group(self) -> None:
        """SIGKILL for it and everything it has begun, at once, halted or not."""
        if not self.ended:
            os.killpg(self.pid, signal.SIGKILL)
            self._wait()

    def _wait(self) -> None:
        self._process.join(_ENDS_S)
        assert self.ended, f"process {self.pid} does not end"


def _run(target: Callable[..., Any], args: tuple[Any, ...], environment: dict[str, str], log: Path) -> None:
    os.setsid()
    os.environ.clear()
    os.environ.update(environment)
    with log.open("ab") as written:
        os.dup2(written.fileno(), 1)
        os.dup2(written.fileno(), 2)
    sys.exit(target(*args))

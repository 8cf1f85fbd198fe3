#!/usr/bin/env python3
"""Chromium as a person has it: no debugger is attached to a service worker.

Playwright steers Chromium through a pipe (descriptors 3 and 4) and has the debugger attached to whatever starts,
workers too. Chromium does not stop a worker that has a debugger, and stopping the old one is how a waiting version
takes its place. With the debugger, a page asked for in just that moment sometimes never came, and the new version
waited; the same story told to the same Chromium without one, several dozen times, never did that.

So this program stands in Chromium's place, starts it, and hands each command on; to "attach to what starts" it adds
that workers are left out. All else is Playwright as ever, but for what it does inside workers: `set_offline` reaches
pages only, and `context.service_workers` is empty.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import shutil
import sys

COMMANDS = 3
ALL_BUT_WORKERS = [
    {"type": "browser", "exclude": True},
    {"type": "tab", "exclude": True},
    {"type": "service_worker", "exclude": True},
    {},
]


def main() -> None:
    """Become the browser; a child of this process stays and hands commands on."""
    path = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if path is None:
        sys.exit("no chromium on this machine")
    given = os.dup(COMMANDS)
    read, write = os.pipe()
    if os.fork() == 0:
        for own in (0, 1, 2, 3, 4, read):
            os.close(own)
        with contextlib.suppress(OSError):
            hand_on(given, write)
        os._exit(0)
    os.close(given)
    os.close(write)
    os.dup2(read, COMMANDS)
    os.close(read)
    os.execv(path, [path, *sys.argv[1:]])


def hand_on(given: int, write: int) -> None:
    """Until one of the two sides ends."""
    watched = select.poll()
    watched.register(given, select.POLLIN)
    watched.register(write, 0)  # an error here is the end of the browser
    kept = b""
    while not any(descriptor == write for descriptor, _ in watched.poll()):
        piece = os.read(given, 1 << 16)
        if not piece:
            break
        *whole, kept = (kept + piece).split(b"\0")
        for command in whole:
            if b'"Target.setAutoAttach"' in command:
                changed = json.loads(command)
                changed["params"]["filter"] = ALL_BUT_WORKERS
                command = json.dumps(changed).encode()
            left = command + b"\0"
            while left:
                left = left[os.write(write, left) :]


if __name__ == "__main__":
    main()

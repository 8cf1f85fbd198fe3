"""Ports for programs that take no socket from a trial."""

from __future__ import annotations

import secrets
import socket

LOWEST, ABOVE = 12000, 32768


def free_port() -> int:
    """A port of this machine that nothing listens on, and that the system gives to nobody until the program has it.

    Those that it gives by itself, to both ends of every connection of other trials too, begin at 32768 (Linux,
    `ip_local_port_range`). Drawn apart from `random`, which every worker seeds alike.
    """
    while True:
        port = LOWEST + secrets.randbelow(ABOVE - LOWEST)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
        return port

"""The service as a process of its own, with a clock that the test moves.

    python -m tests.browser.serve PORT CLOCK_FILE [SOCKET]

Settings come from the environment, as for `quizsvc serve`. CLOCK_FILE holds how many seconds the clock is ahead. SOCKET
is a descriptor that was handed down and listens on PORT already.
"""

from __future__ import annotations

import os
import socket
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from werkzeug.serving import make_server

from quizsvc.settings import settings_from
from quizsvc.store.session import Database
from quizsvc.web.app import create_app

BUSY_TIMEOUT_S = 30.0  # a turn comes late on a busy machine, and no trial is about how long it is waited for


def serve(port: int, clock_file: Path, listening: int | None) -> None:
    """Serve on the loopback address until the process is ended."""

    def clock() -> datetime:
        return datetime.now(UTC) + timedelta(seconds=float(clock_file.read_text(encoding="ascii")))

    settings = settings_from(os.environ)
    db = Database.open(settings.database_url, busy_timeout_s=BUSY_TIMEOUT_S)
    app = create_app(settings, clock=clock, db=db)
    make_server("127.0.0.1", port, app, threaded=True, fd=listening).serve_forever()


def serve_on(listening: socket.socket, clock_file: Path) -> None:
    """The same on what listens already."""
    serve(listening.getsockname()[1], clock_file, listening.fileno())


if __name__ == "__main__":
    serve(int(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else None)

"""The service as a process of its own, with a clock that the test moves.

    python -m tests.browser.serve PORT CLOCK_FILE

Settings come from the environment, as for `quizsvc serve`. CLOCK_FILE holds how many seconds the clock is ahead.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from werkzeug.serving import make_server

from quizsvc.settings import settings_from
from quizsvc.web.app import create_app


def main() -> None:
    """Serve on the loopback address until the process is ended."""
    port, clock_file = int(sys.argv[1]), Path(sys.argv[2])

    def clock() -> datetime:
        return datetime.now(UTC) + timedelta(seconds=float(clock_file.read_text(encoding="ascii")))

    app = create_app(settings_from(os.environ), clock=clock)
    make_server("127.0.0.1", port, app, threaded=True).serve_forever()


if __name__ == "__main__":
    main()

"""`quizsvc serve`: the service for a school, by gunicorn."""

from __future__ import annotations

import argparse
import contextlib
import re
import socket
import sys
from typing import TYPE_CHECKING, Any

from quizsvc.cli.words import whole_number
from quizsvc.errors import InputError, NotPreparedError

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings
    from quizsvc.settings import Settings

_DEFAULT_BIND = "127.0.0.1:8019"
_THREADS = 4
_KEEP_OPEN_S = 75  # longer than one item takes; gunicorn's own 2 s is over before anybody has read one


def register(commands: Any) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "serve",
        help="serve the database of the settings (needs the extra `server`)",
        description="Serves the database of the settings. Never changes its schema and never loads a bank: where one "
        "of these is wanting it says the commands to type and stops. Listens on loopback only unless told otherwise; "
        "put a reverse proxy with https in front and set QUIZSVC_PUBLIC_URL and QUIZSVC_TRUSTED_PROXIES.",
    )
    parser.add_argument(
        "--bind", metavar="HOST:PORT", type=_address, default=_DEFAULT_BIND, help=f"default: {_DEFAULT_BIND}"
    )
    parser.add_argument(
        "--workers", metavar="N", type=whole_number(1, 64), default=2, help="processes; default: 2, about one per core"
    )
    parser.set_defaults(run=serve)


def _address(text: str) -> str:
    match = re.fullmatch(r"(\[[0-9a-fA-F:]+\]|[0-9A-Za-z.-]+):([0-9]{1,5})", text)
    if match and int(match[2]) < 65536:
        return text
    raise argparse.ArgumentTypeError(f"'{text}' is not HOST:PORT, such as {_DEFAULT_BIND}")


def serve(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Serve until stopped."""
    settings = surroundings.settings
    try:
        from gunicorn.app.base import BaseApplication
    except ImportError:
        raise NotPreparedError(
            "server-not-installed",
            "gunicorn is not installed, and `serve` runs on it",
            mend="pip install 'quizsvc[server]' (in a checkout: pip install -e '.[server]'); "
            "`quizsvc demo` needs nothing more",
        ) from None
    refuse_unprepared(settings)
    say_what_is_stale(settings)
    refuse_taken(arguments.bind)
    # Before the fork: the workers share the memory of what is imported, and are there sooner.
    from quizsvc.web.app import create_app

    class Server(BaseApplication):  # type: ignore[misc,unused-ignore]
        """gunicorn with our options instead of its command line."""

        def load_config(self) -> None:
            for name, value in options(settings, arguments.bind, arguments.workers).items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            # In each worker, after the fork: a connection to the database cannot be shared.
            return create_app(settings)

    print(f"quizsvc serves {settings.public_url} from http://{arguments.bind}, {arguments.workers} workers", flush=True)
    Server(prog="quizsvc serve").run()
    return 0


def options(settings: Settings, bind: str, workers: int) -> dict[str, Any]:
    """What gunicorn is told."""
    chosen: dict[str, Any] = {
        "bind": bind,
        "workers": workers,
        "proc_name": "quizsvc",
        "loglevel": "info",
        # Its control socket would make a folder in the home of the account that runs the service.
        "control_socket_disable": True,
        # Forwarded headers are read by the application, as many hops as the settings trust.
        "forwarded_allow_ips": "",
        # A worker is replaced now and then, so that a leak somewhere never grows for weeks.
        "max_requests": 20_000,
        "max_requests_jitter": 2_000,
    }
    if settings.trusted_proxies:
        # A proxy buffers slow phones: one request at a time in a process is fastest.
        return chosen | {"worker_class": "sync"}
    # Exposed directly, a slow phone must not hold a whole process. Between two items its connection stays open, which
    # holds no thread: a new one would cost a round trip for each answer.
    return chosen | {"worker_class": "gthread", "threads": _THREADS, "keepalive": _KEEP_OPEN_S}


def refuse_unprepared(settings: Settings) -> None:
    """Raise NotPreparedError where the schema is old or no bank is loaded; says the commands to type."""
    from quizsvc.services import schema
    from quizsvc.services.health import health

    schema.require_current(settings)
    with contextlib.closing(schema.open_database(settings)) as database:
        state = health(database)
    if not state.ok:
        raise NotPreparedError("not-prepared", state.bank.partition(":")[0], mend="quizsvc bank load")


def say_what_is_stale(settings: Settings) -> None:
    """Print one line where stored memory is not what this version makes of the log; to replay is the keeper's."""
    from quizsvc.services import memory_replay, schema

    with contextlib.closing(schema.open_database(settings)) as database:
        if memory_replay.differs(database):
            print(f"note: {memory_replay.TO_REPLAY}", file=sys.stderr, flush=True)


def refuse_taken(bind: str) -> None:
    """Raise InputError where something listens there already: gunicorn alone would retry for seconds first."""
    host, _, port = bind.rpartition(":")
    family = socket.AF_INET6 if host.startswith("[") else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), int(port)))
        except OSError as error:
            raise InputError(
                "serve-address",
                f"cannot listen on {bind}: {(error.strerror or str(error)).lower()}",
                where="--bind",
                mend="stop what listens there, or name another address, such as --bind 127.0.0.1:8020",
            ) from None

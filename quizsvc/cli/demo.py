"""`quizsvc demo`: the invented school on this machine, with nothing to set up."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import signal
import threading
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console
from quizsvc.cli.words import whole_number

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings
    from quizsvc.services.demo import DemoReport
    from quizsvc.settings import Settings

_PORT = 8019


def register(commands: Any) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "demo",
        help="run the invented school on this machine",
        description="Makes a database of its own in the data folder, loads the shipped bank, invents a school with "
        "up to a year of practice behind it, prints the address and the sign-ins, and serves on this machine only. "
        "Ctrl-C stops it; the next start goes on where it stopped.",
    )
    parser.add_argument(
        "--port",
        metavar="N",
        type=whole_number(1, 65535),
        default=_PORT,
        help=f"default {_PORT}; next free one if taken",
    )
    parser.add_argument("--fresh", action="store_true", help="throw the earlier demo away and begin anew")
    parser.add_argument(
        "--lines", metavar="NAME", help="serve nothing: print the practice of one of the school, a line an answer"
    )
    parser.set_defaults(run=demo)


def demo(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Prepare the school and serve it until Ctrl-C."""
    from quizsvc.services import demo as school

    settings = school.demo_settings(surroundings.settings)
    if arguments.lines is not None:
        for line in school.lines(settings, arguments.lines):
            print(line)
        return 0
    with school.only_one(settings):
        with contextlib.ExitStack() as lines:
            report = school.prepare(
                settings,
                fresh=arguments.fresh,
                now=datetime.now(UTC),
                progress=lambda label: lines.enter_context(console.Progress(label)),
            )
        _serve(arguments.port, settings, report)
    return 0


def _serve(wanted_port: int, settings: Settings, report: DemoReport) -> None:
    from quizsvc.cli import local_server
    from quizsvc.web.app import create_app

    port = local_server.free_port(wanted_port)
    settings = dataclasses.replace(settings, public_url=f"http://{local_server.HOST}:{port}")
    server = local_server.listen(port, create_app(settings))
    note = "" if port == wanted_port else f"  (Port {wanted_port} is taken, so this is the next free one.)"

    def stop(*_: object) -> None:
        threading.Thread(target=server.shutdown).start()

    # Ctrl-C is the way to stop it, so it is no failure. It only asks the server to end: raised as an exception it would
    # be lost where it falls into a destructor.
    with server:
        signal.signal(signal.SIGINT, stop)
        print(welcome(report, settings.public_url + note), flush=True)
        server.serve_forever()


def welcome(report: DemoReport, address: str) -> str:
    """What the terminal shows when the demo is up."""
    width = max(len(sign_in.name) for sign_in in report.sign_ins)
    roles = max(len(sign_in.role) for sign_in in report.sign_ins)
    lines = [f"{report.school}, an invented school. {report.caution}", "", f"  {address}", ""]
    lines += ["Press Start there, or sign in as one of the school:", ""]
    lines += [f"  {entry.name:<{width}}  {entry.role:<{roles}}  {entry.password}" for entry in report.sign_ins]
    lines += ["", "Ctrl-C stops it. `quizsvc demo --fresh` begins anew."]
    return "\n".join(lines)

"""`quizsvc`: reads the words, calls the command, turns what goes wrong into text and an exit code.

Exit codes: 0 done; 1 the input has faults; 2 wrong usage; 3 our bug, with an id to quote. As other programs do, it
ends with 130 when stopped by Ctrl-C and 141 when the reader of its output has gone, both without a word.
"""

from __future__ import annotations

import argparse
import os
import secrets
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import cached_property
from importlib.metadata import version
from pathlib import Path

from quizsvc.cli import account, bank, compute, console, db, demo, memory, serve
from quizsvc.cli.words import Parser
from quizsvc.errors import QuizsvcError, UsageError
from quizsvc.settings import Settings, settings_from

_STOPPED = 130
_READER_GONE = 141


class Surroundings:
    """What a command gets beside its words: the environment, and the settings read from it on first use."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        self.environment = environment

    @cached_property
    def settings(self) -> Settings:
        """The settings; raises InputError on one that cannot be read."""
        return settings_from(self.environment)


def parser() -> Parser:
    """The whole command line."""
    top = Parser(prog="quizsvc", description="A spaced-repetition quiz service for aircraft-systems knowledge.")
    top.add_argument("--version", action="version", version=f"quizsvc {version('quizsvc')}")
    commands = top.add_subparsers(metavar="COMMAND", parser_class=Parser, dest="command", required=True)
    for group in (demo, serve, db, bank, compute, account, memory):
        group.register(commands)
    return top


def main(argv: Sequence[str] | None = None, environment: Mapping[str, str] | None = None) -> int:
    """Run one command and return its exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    surroundings = Surroundings(os.environ if environment is None else environment)
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        # What cannot be read or shown as text becomes an escape, never a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(words, surroundings)
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        return _STOPPED
    except BrokenPipeError:
        # The interpreter flushes once more at exit, and must not find the closed pipe then.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return _READER_GONE


def _run(words: list[str], surroundings: Surroundings) -> int:
    try:
        arguments = parser().parse(words)
        run: Callable[[argparse.Namespace, Surroundings], int] = arguments.run
        return run(arguments, surroundings)
    except SystemExit as wish:  # argparse has printed a help text or the version
        return int(wish.code or 0)
    except QuizsvcError as error:
        console.print_error(error)
        return 2 if isinstance(error, UsageError) else error.exit_code
    except BrokenPipeError:
        raise
    except Exception as error:  # the edge: whatever else comes up here is a bug of ours
        console.print_error(_bug(error, words, surroundings))
        return 3


def _bug(error: Exception, words: list[str], surroundings: Surroundings) -> QuizsvcError:
    """Our bug as an error: an id for the person, the details in a file for whoever mends it."""
    quoted = secrets.token_hex(4)
    kept = _keep(quoted, error, words, surroundings)
    details = f"; the details are in {kept}" if kept else ""
    return QuizsvcError(
        "our-bug",
        f"quizsvc itself failed, not what you typed: bug {quoted}",
        mend=f"report it and quote {quoted}{details}",
    )


def _keep(quoted: str, error: Exception, words: list[str], surroundings: Surroundings) -> Path | None:
    """Append the traceback to a file that only its owner reads; None where no file can be written."""
    try:
        path = surroundings.settings.data_dir / "bugs.log"
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(f"bug {quoted}, {datetime.now(UTC):%Y-%m-%d %H:%M:%S} UTC, quizsvc {' '.join(words[:2])}\n")
            file.writelines(traceback.format_exception(error))
            file.write("\n")
        return path
    except (OSError, QuizsvcError):
        return None

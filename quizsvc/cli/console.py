"""What the command line prints: the one renderer of errors, progress lines, JSON.

An error is up to four lines on standard error:

    error: bank-unit-unknown
    what:  answer unit 'pssi' is not a pressure unit
    where: question_bank/tolquenny-19/36-bleed.yaml, line 41, item 'emer-valve-range'
    mend:  did you mean 'psi'? Accepted: Pa, kPa, bar, psi, inHg
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterable
from typing import Any, TextIO

from quizsvc.errors import Finding, FindingsError, QuizsvcError

# A progress line is redrawn at most this often, in seconds: often enough to look alive, too seldom to cost anything.
_REDRAW_S = 0.1


def rendered_error(error: QuizsvcError) -> str:
    """An error as the lines for standard error; one of many findings as a block for each, the sum last."""
    blocks = []
    if isinstance(error, FindingsError):
        blocks = [rendered_finding(finding) for finding in error.findings]
    blocks.append(_block("error", error.reference, error.what, error.where, error.mend))
    return "\n\n".join(blocks)


def rendered_finding(finding: Finding) -> str:
    """A finding as an error block; a remark says so instead of `error`."""
    word = "error" if finding.severity == "fault" else "remark"
    return _block(word, finding.reference, finding.what, finding.where, finding.mend)


def _block(word: str, reference: str, what: str, where: str, mend: str) -> str:
    lines = [f"{word}: {reference}", f"what:  {on_one_line(what)}"]
    if where:
        lines.append(f"where: {on_one_line(where)}")
    if mend:
        lines.append(f"mend:  {on_one_line(mend)}")
    return "\n".join(lines)


def on_one_line(text: str) -> str:
    """The text with control characters written as escapes, so that a quoted value cannot steer a terminal."""
    return "".join(character if character.isprintable() else repr(character)[1:-1] for character in text)


def print_error(error: QuizsvcError) -> None:
    """Print an error to standard error."""
    print(rendered_error(error), file=sys.stderr)


def print_json(value: Any) -> None:
    """Print one JSON document; a line of its own, keys in the order given."""
    print(json.dumps(value, ensure_ascii=False, allow_nan=False, default=str))


def counted(count: int, noun: str, plural: str = "") -> str:
    """`1 fault`, `3 faults`."""
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def print_table(rows: Iterable[tuple[str, ...]]) -> None:
    """Print rows in columns, the last column as it is."""
    rows = list(rows)
    if not rows:
        return
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) - 1)]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=False)]
        print("  ".join([*cells, row[-1]]).rstrip())


class Progress:
    """A line that counts up on a terminal, and nothing at all in a pipe.

    Use as a context manager; call it with (done, total) as often as wanted.
    """

    def __init__(self, label: str, stream: TextIO | None = None) -> None:
        self.label = label
        self.stream = sys.stderr if stream is None else stream
        self.shown = self.stream.isatty()
        self.drawn_at = -1.0
        self.drawn = False

    def __enter__(self) -> Progress:
        return self

    def __call__(self, done: int, total: int) -> None:
        """Say how far the work is."""
        if not self.shown:
            return
        now = time.monotonic()
        if done < total and now - self.drawn_at < _REDRAW_S:
            return
        self.drawn_at = now
        self.drawn = True
        self.stream.write(f"\r{self.label}: {done:,} of {total:,}\x1b[K")
        self.stream.flush()

    def __exit__(self, *exception: object) -> None:
        # The line is wiped: what counts is printed afterwards, and a terminal's scrollback stays clean.
        if self.drawn:
            self.stream.write("\r\x1b[K")
            self.stream.flush()

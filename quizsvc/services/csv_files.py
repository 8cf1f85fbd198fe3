"""Tables as files that a spreadsheet opens: one dialect, one encoding, and no text that it would run as a formula."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

__all__ = ["neutral", "written"]

# What a spreadsheet would take for a formula, blanks before it or not, and the wide forms of the same signs.
_FORMULA = re.compile(r"\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n]")
# A number with its sign is none.
_NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")


def neutral(text: str) -> str:
    """A text with an apostrophe before it where a spreadsheet would run it; a plain number keeps its sign."""
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def written(rows: Iterable[Sequence[Any]]) -> bytes:
    """Rows as RFC 4180 says, in UTF-8 with the mark by which spreadsheets know it. Every text is made neutral here."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        writer.writerow([neutral(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue().encode("utf-8-sig")

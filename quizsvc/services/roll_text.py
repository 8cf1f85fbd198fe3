"""Reading a roll: a table of names that somebody has typed elsewhere. Every faulty line of it is named."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass

from quizsvc.errors import Finding, FindingsError, InputError
from quizsvc.services import passwords

MOST_LINES = 5000
COLUMN = "name"
LOST = "\ufffd"  # what a program writes for a letter that it could not read
_SEPARATORS = (",", ";", "\t")


@dataclass(frozen=True)
class RollName:
    """One name of a text, with the line it stands in."""

    line: int
    shown: str
    key: str


def decoded(file: str, content: bytes) -> str:
    """The text of a file in UTF-8, with or without a byte-order mark.

    Raises
    ------
    FindingsError
        Another encoding; every line that is not UTF-8 is named.
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    mend = "save the table again as CSV in UTF-8"
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _refused([_finding(file, 1, "the file is UTF-16, not UTF-8", mend)])
    lines = content.rstrip(b"\r\n").split(b"\n")
    if len(lines) > MOST_LINES:
        raise _too_many(file, len(lines))
    found = []
    for number, line in enumerate(lines, start=1):
        try:
            line.decode("utf-8")
        except UnicodeDecodeError as fault:
            what = f"byte {fault.start + 1} of the line, {line[fault.start]:#04x}, is not UTF-8"
            found.append(_finding(file, number, what, mend))
    raise _refused(found)


def read_names(file: str, text: str) -> list[RollName]:
    """The names of a table: one a line, or the column `name` of one whose first line has the columns' names.

    Raises
    ------
    FindingsError
        Lines with faults, every one of them named; or more lines than a roll can have.
    """
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").split("\n")
    if len(lines) > MOST_LINES:
        raise _too_many(file, len(lines))
    faults: list[Finding] = []
    names: list[RollName] = []
    first_line: dict[str, int] = {}
    for number, written in _cells(file, lines, faults):
        if LOST in written:
            what = "a letter of the name was lost on the way (U+FFFD stands for it)"
            faults.append(_finding(file, number, what, "type the name again, or save the table as CSV in UTF-8"))
            continue
        try:
            shown = passwords.name(written)
        except InputError as error:
            faults.append(_finding(file, number, error.what, error.mend))
            continue
        key = passwords.name_key(shown)
        if key in first_line:
            mend = "leave one of them out; two people need two names"
            faults.append(_finding(file, number, f"'{shown}' stands in line {first_line[key]} already", mend))
            continue
        first_line[key] = number
        names.append(RollName(number, shown, key))
    if not names and not faults:
        faults.append(_finding(file, 0, "the table has no names", "one name a line"))
    if faults:
        raise _refused(sorted(faults))
    return names


def _cells(file: str, lines: list[str], faults: list[Finding]) -> Iterator[tuple[int, str]]:
    """The cell of the name in each line that is not blank, with the line's number."""
    separator, column = ",", None
    begun = False
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        if not begun:
            begun = True
            separator = max(_SEPARATORS, key=line.count)
            header = [cell.strip().casefold() for cell in _split(line, separator) or []]
            if COLUMN in header:
                column = header.index(COLUMN)
                if header.count(COLUMN) > 1:
                    faults.append(_finding(file, number, f"two columns are called '{COLUMN}'", "rename one of them"))
                continue
        cells = _split(line, separator)
        if cells is None:
            faults.append(_finding(file, number, "a quotation mark is left open", 'close it, or write "" for one'))
        elif column is None and any(cell.strip() for cell in cells[1:]):
            mend = f"one name a line; or a first line that names the columns, one of them '{COLUMN}'"
            faults.append(_finding(file, number, f"the line has {len(cells)} columns", mend))
        elif any(cell.strip() for cell in cells):
            yield number, cells[column or 0] if (column or 0) < len(cells) else ""


def _split(line: str, separator: str) -> list[str] | None:
    """The cells of one line; None where its quotation marks do not close."""
    try:
        return next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error:
        return None


def _too_many(file: str, lines: int) -> FindingsError:
    what = f"the table has {lines} lines"
    return _refused([_finding(file, MOST_LINES + 1, what, f"at most {MOST_LINES}; split it")])


def _finding(file: str, line: int, what: str, mend: str) -> Finding:
    return Finding(file, line, 0, "roll-line", what, mend)


def _refused(faults: list[Finding]) -> FindingsError:
    count = f"{len(faults)} lines have" if len(faults) > 1 else "one line has"
    return FindingsError(
        "roll-refused", f"{count} a fault, so nothing was put on the roll", faults, mend="mend what is listed"
    )

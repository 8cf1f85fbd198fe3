"""The exception tree.

    QuizsvcError
    ├── InputError (also ValueError)      the input has faults: exit 1, or a sentence beside the field
    │   ├── OutOfRangeError               a value outside the range that a function states
    │   └── FindingsError                 many faults of one input, all of them reported
    ├── UsageError                        wrong words on the command line: exit 2
    ├── NotFoundError                     not there, or not this person's: the two look alike
    ├── ConflictError                     taken, or changed meanwhile
    ├── ThrottledError                    too many tries; says when to try again
    ├── StoreUnavailableError             the database cannot be reached or stays locked: nothing was stored
    └── NotPreparedError                  the installation lacks a step: says the command to type

Every error says what happened, where, and how to mend it. Only `cli` and `web` turn them into text for people.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = [
    "ConflictError",
    "Finding",
    "FindingsError",
    "InputError",
    "NotFoundError",
    "NotPreparedError",
    "OutOfRangeError",
    "QuizsvcError",
    "StoreUnavailableError",
    "ThrottledError",
    "UsageError",
]


class QuizsvcError(Exception):
    """Something went wrong in a way that the service can name.

    Parameters
    ----------
    reference : str
        Stable, greppable name in kebab-case, such as `bank-unit-unknown`.
    what : str
        What happened, quoting the value that was given.
    where : str
        Where: file and line, field, address. Empty where it says nothing new.
    mend : str
        How to mend it, easiest cure first.
    """

    exit_code = 1

    def __init__(self, reference: str, what: str, *, where: str = "", mend: str = "") -> None:
        super().__init__(what)
        self.reference = reference
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        parts = [self.what]
        if self.where:
            parts.append(f"({self.where})")
        if self.mend:
            parts.append(f"- {self.mend}")
        return " ".join(parts)


class InputError(QuizsvcError, ValueError):
    """The input has a fault that its author can mend."""


class OutOfRangeError(InputError):
    """A value outside the range that the function states."""


class UsageError(QuizsvcError):
    """The command was typed in a way that it does not take."""

    exit_code = 2


class NotFoundError(QuizsvcError):
    """The thing is not there, or is somebody else's: the answer is the same."""


class ConflictError(QuizsvcError):
    """The name is taken, or the thing has changed meanwhile."""


class ThrottledError(QuizsvcError):
    """Too many tries; `retry_after_s` says how long to wait, in seconds."""

    def __init__(self, reference: str, what: str, *, retry_after_s: int, where: str = "", mend: str = "") -> None:
        super().__init__(reference, what, where=where, mend=mend)
        self.retry_after_s = retry_after_s


class StoreUnavailableError(QuizsvcError):
    """The database cannot be reached or stays locked; nothing was stored, sending again is safe."""


class NotPreparedError(QuizsvcError):
    """The installation lacks a step, and `mend` is the command to type."""


@dataclass(frozen=True, order=True)
class Finding:
    """One thing to say about one place of an input text.

    `line` and `column` count from 1; 0 means the whole file. A `fault` refuses the input, a `remark` does not.
    """

    file: str
    line: int
    column: int
    reference: str
    what: str
    mend: str
    item: str = ""
    severity: Literal["fault", "remark"] = "fault"

    @property
    def where(self) -> str:
        """File, line, column and item as one phrase."""
        place = self.file
        if self.line:
            place += f", line {self.line}, column {self.column}"
        if self.item:
            place += f", item '{self.item}'"
        return place


class FindingsError(InputError):
    """An input with faults, every one of them in `findings`, in the order of the text."""

    def __init__(self, reference: str, what: str, findings: Sequence[Finding], *, mend: str = "") -> None:
        super().__init__(reference, what, mend=mend)
        self.findings = tuple(findings)

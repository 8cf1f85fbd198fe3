"""What comes in from outside is bounded here, before it meets the database.

Ids that cannot exist are not found; text that one of the databases cannot hold is refused with a sentence.
"""

from __future__ import annotations

import re
import uuid as uuids
from typing import Any

from quizsvc.errors import InputError, NotFoundError

_GREATEST_ID = 2**63 - 1
_KEY = re.compile(r"[0-9a-f]{32}")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# What cannot be stored, or is no text: NUL and other controls, lone surrogates.
_SUSPECT = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")


def text(value: Any, field: str, *, longest: int, label: str | None = None, lines: bool = False) -> str:
    """Text that both databases can hold, without blanks around it.

    Parameters
    ----------
    value : object
        What came in.
    field : str
        Name of the form's field, for `where`.
    longest : int
        Greatest length, characters.
    label : str, optional
        How the sentence names it; the field's name if left out.
    lines : bool
        Whether line breaks are allowed.

    Raises
    ------
    InputError
        No text, too long, or with a character that cannot be stored (NUL, lone surrogate, control character).
    """
    label = label or field.replace("_", " ")
    if not isinstance(value, str):
        raise InputError("text-expected", f"{label} is not text", where=field, mend="send it as text")
    value = value.strip()
    if len(value) > longest:
        raise InputError(
            "text-too-long", f"{label} has {len(value)} characters", where=field, mend=f"at most {longest} characters"
        )
    for match in _SUSPECT.finditer(value):
        if not (lines and match[0] in "\n\r\t"):
            raise InputError(
                "text-character",
                f"{label} has a character that cannot be stored (U+{ord(match[0]):04X})",
                where=field,
                mend="type it again by hand, without copied control characters",
            )
    return value


def storable(value: Any, field: str, *, longest: int = 2000, depth: int = 4) -> Any:
    """A value of JSON whose every text both databases can hold; the same rules as `text`, line breaks allowed."""
    if isinstance(value, str):
        return text(value, field, longest=longest, lines=True)
    if value is None or isinstance(value, bool | int | float):
        if isinstance(value, int) and abs(value) > _GREATEST_ID or value in (float("inf"), float("-inf")):
            raise InputError("number-too-large", "a number is too large", where=field, mend="send a smaller one")
        if value != value:
            raise InputError("number-unreadable", "NaN is not a number", where=field, mend="send a number")
        return value
    if depth and isinstance(value, list | tuple) and len(value) <= 100:
        return [storable(entry, field, longest=longest, depth=depth - 1) for entry in value]
    if depth and isinstance(value, dict) and len(value) <= 100:
        return {
            text(key, field, longest=100): storable(entry, field, longest=longest, depth=depth - 1)
            for key, entry in value.items()
        }
    raise InputError("value-shape", f"{field} has a shape that nothing here has", where=field, mend="send it as shown")


def row_id(value: Any, noun: str) -> int:
    """A row number that can exist; anything else is not found."""
    if isinstance(value, int) and not isinstance(value, bool) and 0 < value <= _GREATEST_ID:
        return value
    raise not_found(noun)


def key(value: Any, noun: str) -> str:
    """An id of 128 bits in lower-case hexadecimal; anything else is not found."""
    if isinstance(value, str) and _KEY.fullmatch(value):
        return value
    raise not_found(noun)


def not_found(noun: str) -> NotFoundError:
    """The error for what is not there, and for what is somebody else's: nobody can tell which."""
    return NotFoundError(
        f"{noun.replace(' ', '-')}-not-found", f"there is no such {noun} here", mend="go back to the start page"
    )


def answer_uuid(value: Any) -> str:
    """A UUID as clients make it, in its usual lower-case form."""
    if isinstance(value, str) and _UUID.fullmatch(value):
        return value
    if isinstance(value, str) and len(value) <= 45:
        try:
            return str(uuids.UUID(value))
        except ValueError:
            pass
    raise InputError(
        "answer-uuid", "the answer carries no UUID", where="uuid", mend="send 32 random hexadecimal digits as a UUID"
    )

"""Reading what came in: the edge where unreadable text, endless numbers and foreign shapes stop."""

from __future__ import annotations

import json
import re
import uuid
from datetime import UTC, date, datetime
from typing import Any

from flask import Blueprint, Flask, g, request
from werkzeug.exceptions import UnsupportedMediaType
from werkzeug.routing import BaseConverter, ValidationError

from quizsvc.errors import InputError

__all__ = [
    "KeyConverter",
    "NumberConverter",
    "answer_uuid",
    "choice",
    "day",
    "instant",
    "json_body",
    "json_object",
    "large",
    "local_path",
    "new_uuid",
    "refuse_unknown",
    "refuse_unreadable",
    "register",
    "text",
    "whole",
]

LARGEST_ID = 2**63 - 1
LARGE_BODY = 1024 * 1024  # bytes, for the few forms that carry a whole text

# NUL is refused by PostgreSQL, lone surrogates by every encoder; U+FFFD is what the decoder leaves of broken UTF-8.
_UNREADABLE = re.compile("[\x00\ud800-\udfff\ufffd]")


class KeyConverter(BaseConverter):
    """An id of 128 random bits in lower-case hex."""

    regex = "[0-9a-f]{32}"
    part_isolating = True


class NumberConverter(BaseConverter):
    """A row's number that fits the database's integers."""

    regex = "[0-9]{1,19}"
    part_isolating = True

    def to_python(self, value: str) -> int:
        """The number; one that no row can have matches no address."""
        number = int(value)
        if number > LARGEST_ID:
            raise ValidationError()
        return number


class WhoConverter(NumberConverter):
    """A person's number, or of who has left the service the key in its place, which has more digits than a number."""

    regex = f"{NumberConverter.regex}|{KeyConverter.regex}"

    def to_python(self, value: str) -> int | str:  # type: ignore[override]
        """The number, or the key as it is."""
        return value if len(value) == 32 else super().to_python(value)


def register(app: Flask) -> None:
    """Refuse, before any view runs, text that could not be stored or shown again as it was sent."""

    @app.before_request
    def refuse_unreadable_text() -> None:
        if _UNREADABLE.search(request.path):
            raise _unreadable("the address")
        for field, value in request.args.items(multi=True):
            if _UNREADABLE.search(field + value):
                raise _unreadable("the address")
        if g.get("reads_text_itself"):
            return
        for field, value in request.form.items(multi=True):
            if _UNREADABLE.search(field + value):
                raise _unreadable(_UNREADABLE.sub("?", field)[:60])


def large(blueprint: Blueprint, *views: str, reads_text_itself: bool = False) -> None:
    """Let some of a blueprint's views take a body of 1 MB: a roll, a text of the bank.

    With `reads_text_itself` they also get text that cannot be stored, and say in which line it stands.
    """

    # Runs before the body is looked at, which happens before any view for the form's token.
    @blueprint.url_value_preprocessor
    def allow_large_body(endpoint: str | None, _values: dict[str, Any] | None) -> None:
        if endpoint in {f"{blueprint.name}.{view}" for view in views}:
            request.max_content_length = LARGE_BODY
            request.max_form_memory_size = LARGE_BODY
            g.reads_text_itself = reads_text_itself


def _unreadable(where: str) -> InputError:
    return InputError(
        "text-unreadable",
        "the text holds a character that cannot be stored: a NUL, or a byte that is not UTF-8",
        where=where,
        mend="type it again instead of pasting it",
    )


def text(field: str, *, longest: int, label: str, required: bool = True) -> str:
    """A form's text field, trimmed."""
    value = request.form.get(field, "").strip()
    if required and not value:
        raise InputError(f"{field}-missing", f"{label} is empty", where=field, mend="fill it in and send again")
    if len(value) > longest:
        raise InputError(
            f"{field}-too-long", f"{label} has {len(value)} characters", where=field, mend=f"at most {longest}"
        )
    return value


def whole(value: Any, field: str, *, least: int, most: int) -> int:
    """A whole number from a form field, an address or JSON."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e9:
        value = int(value)  # JSON has one kind of number: 5.0 is 5
    if isinstance(value, bool) or not isinstance(value, int | str):
        number = None
    else:
        written = str(value).strip()
        number = int(written) if re.fullmatch(r"-?[0-9]{1,9}", written) else None
    if number is None or not least <= number <= most:
        raise InputError(
            f"{field.replace('_', '-')}-not-a-number",
            f"'{str(value)[:40]}' is not a whole number from {least} to {most}",
            where=field,
            mend=f"a number from {least} to {most}",
        )
    return number


def choice(value: Any, field: str, allowed: tuple[str, ...]) -> str:
    """One of a few words."""
    if isinstance(value, str) and value in allowed:
        return value
    raise InputError(
        f"{field.replace('_', '-')}-unknown",
        f"'{str(value)[:40]}' is not one of the choices",
        where=field,
        mend=", ".join(allowed),
    )


def day(written: str, field: str) -> date | None:
    """A form's day, as browsers send it; None for an empty field."""
    written = written.strip()
    if not written:
        return None
    try:
        return date.fromisoformat(written)
    except ValueError:
        raise InputError(
            f"{field.replace('_', '-')}-unreadable",
            f"'{written[:40]}' is not a date",
            where=field,
            mend="year-month-day, such as 2027-05-14, or leave it empty",
        ) from None


def answer_uuid(value: Any) -> str:
    """The UUID that the client made for its answer, in its usual spelling."""
    try:
        if not isinstance(value, str) or len(value) != 36:
            raise ValueError
        return str(uuid.UUID(value))
    except ValueError:
        raise InputError(
            "uuid-unreadable",
            f"'{str(value)[:40]}' is not a UUID",
            where="uuid",
            mend="128 random bits as 8-4-4-4-12 hexadecimal digits; the same one when the same answer is sent again",
        ) from None


def new_uuid() -> str:
    """A UUID for a form that a browser without JavaScript sends."""
    return str(uuid.uuid4())


def instant(value: Any, field: str) -> datetime | None:
    """A client's instant, ISO 8601 with its offset from UTC; None where it was left out."""
    if value is None:
        return None
    try:
        if not isinstance(value, str) or len(value) > 40:
            raise ValueError
        read = datetime.fromisoformat(value.upper())
        # A clock may be wrong by decades; beyond that, correcting it would leave what a datetime can hold.
        if read.tzinfo is None or not 1970 <= read.year <= 2999:
            raise ValueError
        return read.astimezone(UTC)
    except ValueError:
        raise InputError(
            f"{field.replace('_', '-')}-unreadable",
            f"'{str(value)[:40]}' is not an instant",
            where=field,
            mend="ISO 8601 with an offset, such as 2026-11-25T14:03:00Z",
        ) from None


def json_body(known: tuple[str, ...]) -> dict[str, Any]:
    """The JSON object of a call; every field is a known one and every text in it can be stored."""
    body = json_object()
    refuse_unknown(body, known)
    refuse_unreadable(body)
    return body


def json_object() -> dict[str, Any]:
    """The JSON object of a call, whatever its fields are."""
    if request.mimetype != "application/json":
        raise UnsupportedMediaType("send Content-Type: application/json")
    try:
        body = json.loads(request.get_data().decode("utf-8"), parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise InputError(
            "json-unreadable", "the body is not readable JSON", where="body", mend="one JSON object in UTF-8"
        ) from None
    if not isinstance(body, dict):
        raise InputError("json-not-an-object", "the body is not a JSON object", where="body", mend="one JSON object")
    return body


def refuse_unknown(body: dict[str, Any], known: tuple[str, ...]) -> None:
    """Refuse a field that the call does not have."""
    unknown = sorted(set(body) - set(known))
    if unknown:
        raise InputError(
            "field-unknown",
            f"'{_UNREADABLE.sub('?', unknown[0])[:40]}' is not a field of this call",
            where="body",
            mend="known fields: " + ", ".join(known),
        )


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not JSON")


def refuse_unreadable(value: Any) -> None:
    """Refuse a value of JSON in which some text could not be stored."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str):
            if _UNREADABLE.search(one):
                raise _unreadable("body")
        elif isinstance(one, dict):
            waiting.extend(one.keys())
            waiting.extend(one.values())
        elif isinstance(one, list):
            waiting.extend(one)


def local_path(value: str | None, otherwise: str) -> str:
    """An address inside this service to go on to; anything that could lead elsewhere becomes `otherwise`."""
    if value and len(value) <= 300 and re.fullmatch(r"/(?![/\\])[A-Za-z0-9_./?=&%-]*", value):
        return value
    return otherwise

"""Names and passwords as people type them."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

from werkzeug.security import check_password_hash, generate_password_hash

from quizsvc.errors import InputError
from quizsvc.services import edge

SHORTEST = 8
LONGEST = 200
LONGEST_NAME = 100


@lru_cache(maxsize=1)
def _nobody() -> str:
    # Compared with when there is no such account: the time that a try takes must not tell which names exist.
    return generate_password_hash("no account has this password")


def name(value: str) -> str:
    """A sign-in name as it is shown; inner blanks become one.

    Raises
    ------
    InputError
        Empty, too long, or with characters that cannot be stored.
    """
    shown = " ".join(unicodedata.normalize("NFC", edge.text(value, "name", longest=LONGEST_NAME)).split())
    if not shown or not any(character.isalnum() for character in shown):
        raise InputError("name-empty", "a name needs a letter or a digit", where="name", mend="type a name")
    if any(unicodedata.category(character) in ("Cf", "Co", "Cn", "Zl", "Zp") for character in shown):
        raise InputError(
            "name-character", "the name has a character that cannot be seen", where="name", mend="type it by hand"
        )
    return shown


def name_key(shown: str) -> str:
    """A name as it is compared: capitals and look-alike forms of a letter make no difference."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", shown).casefold())


def password(value: str, field: str = "password") -> str:
    """A new password that can be taken.

    Raises
    ------
    InputError
        Too short, too long, or with characters that cannot be typed again.
    """
    if not isinstance(value, str) or len(value) < SHORTEST:
        raise InputError(
            "password-too-short",
            f"the password has fewer than {SHORTEST} characters",
            where=field,
            mend=f"at least {SHORTEST} characters; three or four words are easy to keep",
        )
    if len(value) > LONGEST:
        raise InputError(
            "password-too-long", f"the password has {len(value)} characters", where=field, mend=f"at most {LONGEST}"
        )
    # Blanks at either end belong to a password; only what cannot be stored is looked for.
    edge.text(value, field, longest=LONGEST, label="the password")
    return value


def hashed(value: str) -> str:
    """The salted scrypt hash that is stored; takes about 80 ms on purpose, so never inside a unit of work."""
    return generate_password_hash(value)


def matches(stored: str | None, typed: str) -> bool:
    """Whether a typed password is the stored one; takes as long where nothing is stored."""
    if not isinstance(typed, str) or len(typed) > LONGEST:
        typed = ""
    typed = typed.encode("utf-8", "replace").decode("utf-8")
    return check_password_hash(stored or _nobody(), typed) and stored is not None

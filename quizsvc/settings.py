"""Settings, read once from the environment, and the folders that the distribution carries.

Every field of `Settings` has a default, a unit and a help text in its metadata; `tests/test_documentation.py`
fails on one that DEVELOPERS.md does not explain.
"""

from __future__ import annotations

import dataclasses
import os
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from quizsvc.errors import InputError

_PACKAGE = Path(__file__).resolve().parent
LATER_MONTH = ("not said", "yes", "no")


def _setting(variable: str, unit: str, help_text: str) -> Any:
    return dataclasses.field(metadata={"variable": variable, "unit": unit, "help": help_text})


@dataclass(frozen=True)
class Settings:
    """What an installation may choose. Built once at the edge; nothing reads the environment later."""

    database_url: str = _setting(
        "QUIZSVC_DATABASE_URL",
        "URL",
        "The database: sqlite:////absolute/path.db or postgresql+psycopg://user@host/name. "
        "Default: an SQLite file in the data folder.",
    )
    secret_file: Path = _setting(
        "QUIZSVC_SECRET_FILE",
        "path",
        "File with the key that signs form tokens; made once, readable by its owner only. "
        "Default: `secret` in the data folder.",
    )
    data_dir: Path = _setting(
        "QUIZSVC_DATA_DIR",
        "path",
        "Folder for the embedded database and the secret. Default: $XDG_DATA_HOME/quizsvc, or ~/.local/share/quizsvc.",
    )
    public_url: str = _setting(
        "QUIZSVC_PUBLIC_URL",
        "URL",
        "The address people type. Cookies are Secure when it begins with https. Default: http://127.0.0.1:8019",
    )
    trusted_proxies: int = _setting(
        "QUIZSVC_TRUSTED_PROXIES",
        "count",
        "How many reverse proxies stand in front and set X-Forwarded-For, -Proto and -Host. Default: 0",
    )
    time_zone: str = _setting(
        "QUIZSVC_TIME_ZONE",
        "IANA name",
        "Time zone of a new person until they choose their own. Default: UTC",
    )
    bank: Path = _setting(
        "QUIZSVC_BANK",
        "path",
        "Folder of the question bank that `bank check` and `bank load` read when none is named. "
        "Default: the bank that the service ships.",
    )
    # After all others, with a default: what an installation says nothing of is not said.
    later_month: str = dataclasses.field(
        default="not said",
        metadata={
            "variable": "QUIZSVC_LATER_MONTH",
            "unit": "word",
            "help": "Whether this operator lets one serve in the month after the one a check is due in, before the "
            "check is taken: yes, no, or not said. Shown with check dates. Default: not said",
        },
    )

    @property
    def https(self) -> bool:
        """Whether people reach the service over https."""
        return self.public_url.startswith("https:")


def settings_from(environment: Mapping[str, str]) -> Settings:
    """Read the settings from an environment; unset and empty variables take their defaults.

    Raises
    ------
    InputError
        A value that cannot be read; names the variable and what it takes.
    """
    given = {
        name: value
        for name, value in environment.items()
        # Variables of the test command may stay exported in a developer's shell.
        if name.startswith("QUIZSVC_") and not name.startswith("QUIZSVC_TEST_") and value
    }
    known = {field.metadata["variable"] for field in dataclasses.fields(Settings)}
    for name in sorted(given):
        if name not in known:
            raise InputError(
                "setting-unknown",
                f"'{name}' is not a setting",
                where="environment",
                mend=f"known settings: {', '.join(sorted(known))}",
            )
    home = environment.get("XDG_DATA_HOME") or str(Path(environment.get("HOME") or Path.home()) / ".local" / "share")
    data_dir = Path(given.get("QUIZSVC_DATA_DIR", str(Path(home) / "quizsvc"))).expanduser().absolute()
    return Settings(
        database_url=_database_url(given.get("QUIZSVC_DATABASE_URL", f"sqlite:///{data_dir / 'quizsvc.db'}")),
        secret_file=Path(given.get("QUIZSVC_SECRET_FILE", str(data_dir / "secret"))).expanduser().absolute(),
        data_dir=data_dir,
        public_url=_public_url(given.get("QUIZSVC_PUBLIC_URL", "http://127.0.0.1:8019")),
        trusted_proxies=_count("QUIZSVC_TRUSTED_PROXIES", given.get("QUIZSVC_TRUSTED_PROXIES", "0")),
        time_zone=_time_zone(given.get("QUIZSVC_TIME_ZONE", "UTC")),
        bank=Path(given["QUIZSVC_BANK"]).expanduser().absolute() if "QUIZSVC_BANK" in given else question_bank_folder(),
        later_month=_word("QUIZSVC_LATER_MONTH", given.get("QUIZSVC_LATER_MONTH", "not said"), LATER_MONTH),
    )


def _word(variable: str, value: str, words: tuple[str, ...]) -> str:
    if value in words:
        return value
    raise InputError("setting-word", f"'{value}' is not one of the words", where=variable, mend=", ".join(words))


def _database_url(value: str) -> str:
    if value.startswith("postgresql://"):
        value = "postgresql+psycopg://" + value.removeprefix("postgresql://")
    if value.startswith(("sqlite:///", "postgresql+psycopg://")):
        return value
    raise InputError(
        "setting-database-url",
        f"'{value}' is not a database this service knows",
        where="QUIZSVC_DATABASE_URL",
        mend="sqlite:////absolute/path.db or postgresql+psycopg://user@host/name",
    )


def _public_url(value: str) -> str:
    if re.fullmatch(r"https?://([0-9A-Za-z.-]+|\[[0-9a-fA-F:]+\])(:[0-9]{1,5})?/?", value):
        return value.rstrip("/")
    raise InputError(
        "setting-public-url",
        f"'{value}' is not the address of a site",
        where="QUIZSVC_PUBLIC_URL",
        mend="scheme and host only, such as https://quiz.example.org",
    )


def _count(variable: str, value: str) -> int:
    if value.isascii() and value.isdigit() and int(value) <= 10:
        return int(value)
    raise InputError("setting-count", f"'{value}' is not a count", where=variable, mend="a whole number from 0 to 10")


def _time_zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError(
            "setting-time-zone",
            f"'{value}' is not a time zone",
            where="QUIZSVC_TIME_ZONE",
            mend="an IANA name such as UTC or Europe/Lisbon",
        ) from None
    return value


def migrations_folder() -> Path:
    """The folder of Alembic migrations: the packaged one, or the checkout's."""
    return _carried("migrations")


def question_bank_folder() -> Path:
    """The folder of the shipped question bank: the packaged one, or the checkout's."""
    return _carried("question_bank")


def _carried(name: str) -> Path:
    packaged = _PACKAGE / "_packaged" / name
    return packaged if packaged.is_dir() else _PACKAGE.parent / name


def read_or_make_secret(path: Path) -> str:
    """The secret in `path`; makes it with mode 0600 where there is none yet.

    Two processes that start together agree: the file is created exclusively, and the loser reads the winner's.
    """
    try:
        text = _secret(path)
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            "secret-file",
            f"the secret can be neither read nor made: {(getattr(error, 'strerror', None) or 'not a text').lower()}",
            where=str(path),
            mend="let the account that runs the service write there, or set QUIZSVC_DATA_DIR or QUIZSVC_SECRET_FILE",
        ) from None
    if len(text) < 32:
        raise InputError(
            "secret-too-short",
            "the secret file holds fewer than 32 characters",
            where=str(path),
            mend="delete the file; the next start makes a new one, and open forms must be sent again",
        )
    return text


def _secret(path: Path) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    scratch = path.with_name(f"{path.name}.{os.getpid()}.{secrets.token_hex(4)}")
    if not path.exists():
        descriptor = os.open(scratch, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32))
        try:
            # A link appears whole or not at all, so no reader ever sees an empty secret.
            os.link(scratch, path)
        except FileExistsError:
            pass
        finally:
            scratch.unlink()
    return path.read_text(encoding="ascii").strip()

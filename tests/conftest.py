"""Fixtures that every folder of tests may use: real databases of both kinds, a clock that stands still, settings."""

from __future__ import annotations

import os
import random
import secrets
import shutil
from datetime import UTC, datetime, timedelta

import psycopg
import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from quizsvc.services import banks
from quizsvc.settings import Settings, migrations_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from tests import factories, kinds_bank

POSTGRES_URL = os.environ.get("QUIZSVC_TEST_POSTGRES_URL", "")
BUSY_TIMEOUT_S = 30.0  # a turn comes late on a busy machine; what happens after it is over has a database of its own

# How long an example takes is no property of what is tested: another process may have the machine meanwhile.
hypothesis_settings.register_profile("suite", deadline=None, suppress_health_check=[HealthCheck.too_slow])
hypothesis_settings.load_profile("suite")


def pytest_collection_modifyitems(items):
    """Give what drives a browser a second trial: whether Chromium gets its turn is no property of the service.

    The summary counts it, and the first trial's failure is printed whole, to be read and mended. Nothing else is tried
    again: what fails among threads, killed processes or drawn examples has failed.
    """
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(pytest.mark.flaky(reruns=1))


class Clock:
    """A clock that moves when it is told to. Calling it gives the time, aware UTC."""

    def __init__(self, at: datetime = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)) -> None:
        self.at = at

    def __call__(self) -> datetime:
        return self.at

    def advance(self, **span: float) -> datetime:
        """Move on by a `timedelta(**span)`, which may be negative; returns the new time."""
        self.at += timedelta(**span)
        return self.at


@pytest.fixture
def clock():
    """A Monday morning; `clock.advance(days=1)` moves it."""
    return Clock()


@pytest.fixture
def rng():
    """A generator that draws the same numbers in every run."""
    return random.Random(19)


@pytest.fixture
def chance():
    """A generator that follows the run's seed: others in every run, and the same again for the same seed."""
    return random.Random(random.getrandbits(64))


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def backend(request):
    """Which database: every test that asks for one runs on both."""
    return backend_asked_for(request)


def backend_asked_for(request) -> str:
    """The database that a test's parameter names; SQLite where it names none, for a `backend` of a file's own."""
    asked = getattr(request, "param", "sqlite")
    if asked == "postgresql" and not POSTGRES_URL:
        pytest.skip("needs QUIZSVC_TEST_POSTGRES_URL, which tests/run sets")
    return asked


@pytest.fixture(scope="session")
def server():
    """Makes and drops databases on the PostgreSQL server of the tests."""
    server = PostgresServer(POSTGRES_URL)
    yield server
    server.close()


@pytest.fixture(scope="session")
def templates(server, tmp_path_factory):
    """Databases that are made once and copied for each test: `empty`, and `bank` and `kinds` that hold a bank."""
    return Templates(server, tmp_path_factory.mktemp("templates"))


@pytest.fixture
def database_url(backend, server, tmp_path):
    """A database of this test alone, without any table yet."""
    if backend == "sqlite":
        yield f"sqlite:///{tmp_path / 'quizsvc.db'}"
    else:
        url = server.create()
        yield url
        server.drop(url)


@pytest.fixture
def db(backend, database_url, templates):
    """A migrated database without a bank."""
    yield from _opened(backend, database_url, templates, "empty")


@pytest.fixture
def bank_db(backend, database_url, templates):
    """A migrated database with the test bank of `tests.factories`."""
    yield from _opened(backend, database_url, templates, "bank")


@pytest.fixture
def kinds_db(backend, database_url, templates):
    """A migrated database with one item of every kind, of `tests.kinds_bank`."""
    yield from _opened(backend, database_url, templates, "kinds")


@pytest.fixture
def settings(database_url, tmp_path):
    """Settings of an installation that lives in this test's folder."""
    return Settings(
        database_url=database_url,
        secret_file=tmp_path / "secret",
        data_dir=tmp_path,
        public_url="http://127.0.0.1:8019",
        trusted_proxies=0,
        time_zone="UTC",
        bank=tmp_path / "question_bank",
    )


def _opened(backend, url, templates, name):
    templates.fill(backend, url, name)
    database = Database.open(url, busy_timeout_s=BUSY_TIMEOUT_S)
    yield database
    database.close()


class PostgresServer:
    """Databases on a running server, named so that nobody else's are touched."""

    def __init__(self, url: str) -> None:
        self.url = url.replace("postgresql+psycopg://", "postgresql://")
        self.made: set[str] = set()

    def create(self, template: str | None = None) -> str:
        """A new database, empty or a copy of another; returns its URL."""
        url = self.url.rpartition("/")[0].replace("postgresql://", "postgresql+psycopg://")
        name = f"quizsvc_test_{secrets.token_hex(8)}"
        self.run(f"CREATE DATABASE {name}" + (f" TEMPLATE {_name(template)}" if template else ""))
        self.made.add(name)
        return f"{url}/{name}"

    def replace(self, url: str, template: str) -> None:
        """Make a database anew as a copy of another."""
        self.run(f"DROP DATABASE {_name(url)} WITH (FORCE)")
        self.run(f"CREATE DATABASE {_name(url)} TEMPLATE {_name(template)}")

    def drop(self, url: str) -> None:
        """Drop a database, whoever is connected to it."""
        self.run(f"DROP DATABASE IF EXISTS {_name(url)} WITH (FORCE)")
        self.made.discard(_name(url))

    def run(self, statement: str, *values) -> list:
        """Run a statement on the server's own database."""
        with psycopg.connect(self.url, autocommit=True) as connection:
            cursor = connection.execute(statement, values or None)
            return cursor.fetchall() if cursor.description else []

    def end_connections(self, url: str) -> int:
        """End every connection to a database, as a restart of the server would; returns how many."""
        return len(
            self.run(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s AND pid <> pg_backend_pid()",
                _name(url),
            )
        )

    def close(self) -> None:
        """Drop what is left."""
        for name in list(self.made):
            self.drop(name)


class Templates:
    """Filled databases, made when they are first asked for."""

    def __init__(self, server: PostgresServer, folder) -> None:
        self.server = server
        self.folder = folder
        self.made: dict[tuple[str, str], str] = {}

    def fill(self, backend: str, url: str, name: str) -> None:
        """Put a copy of a template in the place of a database."""
        template = self.made.get((backend, name)) or self._make(backend, name)
        if backend == "sqlite":
            shutil.copyfile(_file(template), _file(url))
        else:
            self.server.replace(url, template)

    def _make(self, backend: str, name: str) -> str:
        url = f"sqlite:///{self.folder / name}.db" if backend == "sqlite" else self.server.create()
        database = Database.open(url)
        migration.upgrade(database, migrations_folder())
        if name != "empty":
            write = {"bank": factories.write_bank, "kinds": kinds_bank.write_kinds_bank}[name]
            bank = write(self.folder / f"{backend}-{name}")
            banks.load(database, bank, now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(19))
        if backend == "sqlite":
            with database.engine.connect() as connection:
                connection.connection.driver_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        database.close()
        self.made[backend, name] = url
        return url


def _name(url: str) -> str:
    return url.rpartition("/")[2]


def _file(url: str) -> str:
    return url.removeprefix("sqlite:///")

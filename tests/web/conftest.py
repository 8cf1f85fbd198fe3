"""The application on a real database, and visitors to it."""

from __future__ import annotations

import pytest

from quizsvc.web.app import create_app
from tests.conftest import POSTGRES_URL
from tests.web.pages import Visitor


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both by `on_both`: what a page says does not depend on the database under it."""
    backend = getattr(request, "param", "sqlite")
    if backend == "postgresql" and not POSTGRES_URL:
        pytest.skip("needs QUIZSVC_TEST_POSTGRES_URL, which tests/run sets")
    return backend


@pytest.fixture
def app(settings, bank_db, clock):
    """The web application on a database with the test bank."""
    return create_app(settings, clock=clock, db=bank_db)


@pytest.fixture
def browsers(app):
    """Makes a visitor with cookies of their own."""
    return lambda: Visitor(app.test_client())


@pytest.fixture
def visitor(browsers):
    """A visitor who has never been here."""
    return browsers()


@pytest.fixture
def member(browsers):
    """A visitor who has signed up as Nadir Eshvale."""
    one = browsers()
    one.send(one.get("/sign-up").form("/sign-up"), name="Nadir Eshvale", password="ochre lantern nine")
    return one

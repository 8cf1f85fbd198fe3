"""The application on a real database, and visitors to it."""

from __future__ import annotations

import pytest

from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Person
from quizsvc.web.app import create_app
from quizsvc.web.people import COOKIE
from tests.conftest import backend_asked_for
from tests.services.assigned import add_assignment, add_group, add_person
from tests.web.pages import Visitor


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both by `on_both`: what a page says does not depend on the database under it."""
    return backend_asked_for(request)


@pytest.fixture
def app(settings, bank_db, clock, chance):
    """The web application on a database with the test bank."""
    return create_app(settings, clock=clock, db=bank_db, rng=chance)


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


# An instructor at the desk, with a group and a draft


@pytest.fixture
def sign_up(browsers, bank_db, clock):
    """Makes a visitor who is signed in, with roles. Without a password: hashing one takes longer than a test."""

    def made(name, roles=("pilot",)):
        one = browsers()
        one.person = add_person(bank_db, clock, name, roles)
        with bank_db.writing() as session:
            token = open_session(session, session.get(Person, one.person), device="phone", now=clock()).token
        one.client.set_cookie(COOKIE, token)
        return one

    return made


@pytest.fixture
def instructor(sign_up):
    """Somebody with the role."""
    return sign_up("Rosmund Achterby", ("pilot", "instructor"))


@pytest.fixture
def students(bank_db, clock):
    """Two students; no browsers of their own."""
    return [add_person(bank_db, clock, name) for name in ("Ada Quill", "Bo Tarn")]


@pytest.fixture
def group(bank_db, clock, instructor, students):
    """Their group, in Zurich."""
    return add_group(bank_db, clock, instructors=[instructor.person], students=students)


@pytest.fixture
def draft(bank_db, clock, group):
    """A draft on two items; the address."""
    items = ["essential-bus-feeds", "highest-level-mental"]
    return f"/assignments/{add_assignment(bank_db, clock, group, items, released=False)}"

"""`quizsvc account`: accounts from the machine that runs the service, and their one-time links."""

from __future__ import annotations

import contextlib
import json
import re
from datetime import UTC, datetime

import pytest

from quizsvc.cli import account
from quizsvc.errors import NotFoundError
from quizsvc.services import accounts, schema
from quizsvc.settings import settings_from
from quizsvc.store.tables_people import ROLES


@pytest.fixture(autouse=True)
def schema_made(quizsvc, home, tmp_path):
    """A migrated, empty database."""
    home["QUIZSVC_DATABASE_URL"] = f"sqlite:///{tmp_path / 'quizsvc.db'}"
    assert quizsvc("db", "upgrade")[0] == 0


@pytest.fixture
def database(home):
    """The database that the commands worked on."""
    with contextlib.closing(schema.open_database(settings_from(home))) as db:
        yield db


def secret_in(text):
    """The secret of the link that was printed."""
    return re.search(r"^http://127\.0\.0\.1:8019/link/(\S+)$", text, re.M)[1]


def test_the_roles_offered_are_the_roles_there_are():
    """The command line's list and the database's are one."""
    assert account.ROLES == ROLES


def test_add_prints_a_link_that_signs_in_once(quizsvc, database):
    """Name and role are kept; the link sets the first password and is used up."""
    code, out, err = quizsvc("account", "add", "Ilse Marrandt", "--role", "keeper", "--role", "head of training")
    now = datetime.now(UTC)

    assert (code, err) == (0, "")
    assert out.startswith("One-time link for Ilse Marrandt, good for 24 hours:\n")
    signed_in = accounts.use_link(database, secret_in(out), "a long password", device="test", now=now)
    assert set(signed_in.person.roles) == {"keeper", "head of training"}
    with pytest.raises(NotFoundError):
        accounts.use_link(database, secret_in(out), "another password", device="test", now=now)


def test_json_holds_the_link(quizsvc):
    """For a script that invites a whole class."""
    code, out, err = quizsvc("account", "add", "anna", "--json", QUIZSVC_PUBLIC_URL="https://quiz.example.org")

    added = json.loads(out)
    assert code == 0
    assert (added["name"], added["hours"]) == ("anna", 24)
    assert added["link"].startswith("https://quiz.example.org/link/")


def test_a_new_link_ends_the_earlier_one(quizsvc, database):
    """A forgotten password: only the newest link works."""
    first = secret_in(quizsvc("account", "add", "anna")[1])
    second = secret_in(quizsvc("account", "link", "anna")[1])
    now = datetime.now(UTC)

    with pytest.raises(NotFoundError):
        accounts.look_at_link(database, first, now=now)
    assert accounts.look_at_link(database, second, now=now).name == "anna"


def test_a_taken_name_is_refused(quizsvc):
    """Names are compared as people read them, without case."""
    quizsvc("account", "add", "anna")
    code, out, err = quizsvc("account", "add", "ANNA")

    assert (code, out) == (1, "")
    assert err.startswith("error: name-taken\nwhat:  the name 'ANNA' is taken\n")


@pytest.mark.parametrize("name", ["", "   ", "a\x00b", "a\nb", "x" * 10_000, "\ud800"])
def test_a_broken_name_is_a_sentence(quizsvc, name):
    """Nothing that a shell can pass ends in a failure of ours."""
    code, out, err = quizsvc("account", "add", name)

    assert (code, out) == (1, "")
    assert err.startswith("error: ")
    assert "our-bug" not in err
    assert len(err) < 1500


def test_remove_takes_the_account(quizsvc):
    """Afterwards the name is free and unknown."""
    quizsvc("account", "add", "anna")

    assert quizsvc("account", "remove", "anna") == (0, "Removed anna and every answer given by it.\n", "")
    assert quizsvc("account", "link", "anna")[0] == 1
    assert quizsvc("account", "remove", "anna") == (
        1,
        "",
        "error: account-not-found\nwhat:  no account is named 'anna'\nmend:  check the spelling\n",
    )


def test_the_last_keeper_stays(quizsvc):
    """An installation nobody can keep is refused, with the way out."""
    quizsvc("account", "add", "anna", "--role", "keeper")
    code, out, err = quizsvc("account", "remove", "anna")

    assert (code, out) == (1, "")
    assert err.endswith("mend:  add another first: quizsvc account add NAME --role keeper\n")


def test_without_a_schema_the_command_to_type_is_named(quizsvc, tmp_path):
    """An account needs a database; making one is a decision of its own."""
    code, out, err = quizsvc("account", "add", "anna", QUIZSVC_DATABASE_URL=f"sqlite:///{tmp_path / 'other.db'}")

    assert (code, out) == (1, "")
    assert "mend:  quizsvc db upgrade\n" in err

"""Database locked or gone in mid-request: the learner is told that the answer is not stored yet, and sends it again."""

from __future__ import annotations

import shutil
import sqlite3
import uuid
from contextlib import closing

import pytest
from sqlalchemy import func, select

from quizsvc.store.session import Database
from quizsvc.store.tables import Answer
from quizsvc.web.app import create_app
from tests.web.keys import right
from tests.web.pages import Visitor, on_both


def _stored(db):
    with db.reading() as session:
        return session.scalar(select(func.count()).select_from(Answer))


# PostgreSQL locks rows, not the database; TestGone is for both.
class TestLocked:
    """Another process holds the one writer's lock of an SQLite file, longer than anybody waits."""

    @pytest.fixture
    def impatient(self, settings, bank_db, clock, chance):
        """The application on a database that gives up waiting after a tenth of a second."""
        db = Database.open(settings.database_url, busy_timeout_s=0.1)
        yield create_app(settings, clock=clock, db=db, rng=chance)
        db.close()

    @pytest.fixture
    def locked(self, settings):
        """Locks the file; the context's end lets it go."""
        file = settings.database_url.removeprefix("sqlite:///")

        def lock():
            connection = sqlite3.connect(file, isolation_level=None)
            connection.execute("BEGIN IMMEDIATE")
            return closing(connection)

        return lock

    def test_the_filled_form_comes_back_and_sending_again_stores_it(self, impatient, locked, bank_db):
        """Without JavaScript: 503, a sentence, the answer in the form, one press to send it again."""
        visitor = Visitor(impatient.test_client())
        visitor.start()
        question = visitor.question
        given = right(bank_db, question)
        form = visitor.answer_form()
        with locked():
            visitor.send(form, sureness="think", **given)

            assert visitor.status == 503
            assert "not stored yet" in visitor.page.text
            assert int(visitor.response.headers["Retry-After"]) > 0
            again = visitor.page.form(f"/questions/{question}/answers")
            fields = dict(again.fields)
            for name, value in given.items():
                # Several boxes have one name; the form has them in its own order.
                ticked = sorted(value) if isinstance(value, list) else [value]
                assert sorted(one for key, one in again.fields if key == name) == ticked
            assert fields["sureness"] == "think"
            assert fields["uuid"] == dict(form.fields)["uuid"]
            assert _stored(bank_db) == 0

            visitor.send(again)

            assert visitor.status == 503

        visitor.send(visitor.page.form(f"/questions/{question}/answers"))

        assert visitor.status == 200
        assert "That is the key." in visitor.page.text
        assert _stored(bank_db) == 1

    def test_the_call_says_the_same(self, impatient, locked, bank_db, settings):
        """503 as a problem document; the same body again is stored."""
        client = impatient.test_client()
        headers = {"Origin": settings.public_url}
        begun = client.post("/api/v1/sets", json={"minutes": 5, "acknowledged": ["C1"]}, headers=headers).get_json()
        body = {
            "question": begun["set"]["questions"][0]["id"],
            "uuid": str(uuid.uuid4()),
            "response": {"pass": True},
        }
        with locked():
            reply = client.post("/api/v1/answers", json=body, headers=headers)

            assert reply.status_code == 503
            assert reply.mimetype == "application/problem+json"
            assert "not stored yet" in reply.get_json()["detail"]

        assert client.post("/api/v1/answers", json=body, headers=headers).status_code == 201
        assert _stored(bank_db) == 1

    def test_a_password_is_not_sent_back(self, impatient, locked):
        """A form with a password is filled in again by its person, not by us."""
        visitor = Visitor(impatient.test_client())
        form = visitor.get("/sign-up").form("/sign-up")
        with locked():
            visitor.send(form, name="Jory Sablecott", password="ochre lantern nine")

        assert visitor.status == 503
        assert "ochre lantern nine" not in visitor.page.html
        assert "nothing was stored" in visitor.page.text

    def test_reading_goes_on(self, impatient, locked):
        """A locked writer keeps nobody from the handbook."""
        visitor = Visitor(impatient.test_client())
        with locked():
            for path in ("/", "/handbook", "/cautions", "/sign-in"):
                visitor.get(path)

                assert visitor.status == 200


@on_both
class TestGone:
    """The database goes away between two requests of a set, and comes back."""

    @pytest.fixture
    def away(self, backend, database_url, server, bank_db, tmp_path):
        """Takes the database away and brings it back."""
        if backend == "sqlite":
            file = database_url.removeprefix("sqlite:///")
            kept = tmp_path / "kept"

            class Away:
                def __enter__(self):
                    bank_db.close()
                    kept.mkdir()
                    for ending in ("", "-wal", "-shm"):
                        if shutil.os.path.exists(file + ending):
                            shutil.move(file + ending, kept / ("db" + ending))
                    # A folder in the place of the file: SQLite cannot open that, and cannot make a new file either.
                    shutil.os.mkdir(file)

                def __exit__(self, *_):
                    bank_db.close()
                    shutil.os.rmdir(file)
                    for ending in ("", "-wal", "-shm"):
                        if (kept / ("db" + ending)).exists():
                            shutil.move(kept / ("db" + ending), file + ending)

        else:
            name = database_url.rpartition("/")[2]

            class Away:
                def __enter__(self):
                    server.run(f"ALTER DATABASE {name} WITH ALLOW_CONNECTIONS false")
                    server.end_connections(database_url)

                def __exit__(self, *_):
                    server.run(f"ALTER DATABASE {name} WITH ALLOW_CONNECTIONS true")

        return Away

    def test_an_answer_is_kept_by_the_page_until_the_database_is_back(self, visitor, bank_db, away):
        """The form comes back from the request alone."""
        visitor.start()
        question = visitor.question
        given = right(bank_db, question)
        form = visitor.answer_form()
        with away():
            visitor.send(form, **given)

            assert visitor.status == 503
            assert "not stored yet" in visitor.page.text
            again = visitor.page.form(f"/questions/{question}/answers")

        visitor.send(again)

        assert visitor.status == 200
        assert "That is the key." in visitor.page.text
        assert _stored(bank_db) == 1

    def test_every_page_says_so_in_a_sentence(self, app, browsers, away):
        """503 with the foot of every page; no driver's word, no path, no traceback."""
        visitor = browsers()
        visitor.start()
        paths = [visitor.path, "/", "/log", "/thin-spots", "/account", "/handbook"]
        with away():
            for path in paths:
                page = visitor.get(path)

                assert visitor.status == 503, path
                assert {"C1", "C2"} <= set(page.cautions)
                for word in ("sqlite", "psycopg", "Traceback", "SELECT", "OperationalError", "/tmp"):
                    assert word.lower() not in page.html.lower()
            health = visitor.client.get("/health")

            assert health.status_code == 503
            assert health.get_json()["ok"] is False

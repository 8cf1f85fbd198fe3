"""`quizsvc serve`: what it refuses, what it tells gunicorn, and that it serves and stops."""

from __future__ import annotations

import contextlib
import json
import signal
import socket
import sqlite3
import subprocess
import time

import pytest

from quizsvc.cli import serve
from quizsvc.settings import settings_from
from tests.cli.conftest import PROGRAM
from tests.cli.form_client import FormClient, some_response, start_set
from tests.ports import free_port


@pytest.fixture
def listening():
    """A port of this machine on which something listens already."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


class TestRefusals:
    def test_an_empty_database_names_the_commands(self, quizsvc, home, tmp_path):
        """It neither migrates nor loads by itself: the file stays without a table."""
        code, out, err = quizsvc("serve")

        assert (code, out) == (1, "")
        assert err == (
            "error: schema-missing\nwhat:  the database is empty\nmend:  quizsvc db upgrade, then quizsvc bank load\n"
        )
        with contextlib.closing(sqlite3.connect(tmp_path / ".local/share/quizsvc/quizsvc.db")) as database:
            assert database.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)

    def test_a_database_without_a_bank_names_the_command(self, quizsvc):
        """The schema alone has nothing to ask."""
        quizsvc("db", "upgrade")

        code, out, err = quizsvc("serve")

        assert (code, out) == (1, "")
        assert err == "error: not-prepared\nwhat:  no bank is loaded\nmend:  quizsvc bank load\n"

    def test_an_address_in_use_is_said_at_once(self, quizsvc, prepared, listening):
        """No retries for seconds, no log of gunicorn's."""
        code, out, err = quizsvc("serve", "--bind", f"127.0.0.1:{listening}")

        assert (code, out) == (1, "")
        assert err == (
            f"error: serve-address\nwhat:  cannot listen on 127.0.0.1:{listening}: address already in use\n"
            "where: --bind\nmend:  stop what listens there, or name another address, such as --bind 127.0.0.1:8020\n"
        )


class TestOptions:
    def test_exposed_directly_it_serves_with_threads(self):
        """A slow phone holds a thread, not a process."""
        chosen = serve.options(settings_from({"HOME": "/h"}), "127.0.0.1:8019", 2)

        assert (chosen["worker_class"], chosen["workers"], chosen["bind"]) == ("gthread", 2, "127.0.0.1:8019")

    def test_a_connection_outlives_an_item(self):
        """A minute and more: with the 2 s that gunicorn has by itself, each answer would open a new one."""
        assert serve.options(settings_from({"HOME": "/h"}), "127.0.0.1:8019", 2)["keepalive"] >= 60

    def test_behind_a_proxy_it_serves_with_plain_processes(self):
        """The proxy buffers slow phones."""
        chosen = serve.options(settings_from({"HOME": "/h", "QUIZSVC_TRUSTED_PROXIES": "1"}), "127.0.0.1:8019", 3)

        assert (chosen["worker_class"], chosen["workers"]) == ("sync", 3)

    def test_nothing_is_written_to_the_home(self):
        """gunicorn's control socket would make a folder there."""
        assert serve.options(settings_from({"HOME": "/h"}), "127.0.0.1:8019", 2)["control_socket_disable"] is True

    @pytest.mark.parametrize("bind", ["127.0.0.1:8019", "0.0.0.0:80", "[::1]:8019", "localhost:8019"])
    def test_an_address_is_taken(self, bind):
        """Host or address, and port."""
        assert serve._address(bind) == bind

    @pytest.mark.parametrize("bind", ["8019", ":8019", "127.0.0.1", "127.0.0.1:99999", "unix:/x", "a b:1", "::1:80"])
    def test_what_is_no_address_is_refused(self, bind):
        """Said before anything is opened."""
        with pytest.raises(Exception, match="is not HOST:PORT"):
            serve._address(bind)


def test_it_serves_a_drill_and_stops_at_a_signal(prepared, tmp_path):
    """The real server on each database: health, a question, its feedback; SIGTERM ends it with 0 and frees the port."""
    port = free_port()
    words = [PROGRAM, "serve", "--bind", f"127.0.0.1:{port}"]
    with (tmp_path / "log").open("wb") as log:
        process = subprocess.Popen(words, env=prepared, stdout=subprocess.PIPE, stderr=log, text=True)
    try:
        said = process.stdout.readline()
        client = FormClient(f"http://127.0.0.1:{port}")
        until = time.monotonic() + 120
        health = None
        while health is None and time.monotonic() < until and process.poll() is None:
            with contextlib.suppress(OSError):
                health = client.get("/health")
            time.sleep(0.02)
        assert health is not None, (tmp_path / "log").read_text()
        question = start_set(client)
        feedback = client.send(question.form("/answers"), some_response(question.form("/answers")))
    finally:
        process.send_signal(signal.SIGTERM)
        rest, _ = process.communicate(timeout=120)

    assert said == f"quizsvc serves http://127.0.0.1:8019 from http://127.0.0.1:{port}, 2 workers\n"
    assert json.loads(health.text)["ok"] is True
    assert (question.status, feedback.status, feedback.url) == (200, 200, question.url)
    assert not feedback.has_form("/answers")
    assert process.returncode == 0
    assert not (tmp_path / ".gunicorn").exists()

"""What a person reads when the fault is ours, and what the log keeps."""

from __future__ import annotations

import logging
import re


def _broken(app):
    app.add_url_rule("/broken", view_func=lambda: {}["the secret name of a column"])
    app.add_url_rule("/api/v1/broken", "api_broken", view_func=lambda: 1 / 0)
    return app.test_client()


def test_a_bug_says_so_with_a_number_to_quote(app, caplog):
    """No traceback, no inner word; the same number stands in the log beside the traceback."""
    with caplog.at_level(logging.ERROR):
        response = _broken(app).get("/broken")
    page = response.get_data(as_text=True)
    number = re.search(r"logged as ([0-9a-f]{8})", page)[1]

    assert response.status_code == 500
    assert "a fault of the service, not yours" in page
    assert "KeyError" not in page
    assert "secret name" not in page
    assert 'data-caution="C1"' in page
    record = next(record for record in caplog.records if number in record.getMessage())
    assert record.exc_info[0] is KeyError


def test_a_bug_in_a_call_is_a_problem_document(app):
    """RFC 9457: type, title, status, detail."""
    reply = _broken(app).get("/api/v1/broken")

    assert reply.status_code == 500
    assert reply.mimetype == "application/problem+json"
    assert reply.get_json()["type"] == "urn:quizsvc:our-bug"
    assert reply.get_json()["status"] == 500
    assert "ZeroDivision" not in reply.get_data(as_text=True)


def test_a_wrong_method_says_which_are_taken(visitor):
    """405 keeps its Allow header."""
    response = visitor.client.get("/sign-out")

    assert response.status_code == 405
    assert "POST" in response.headers["Allow"]
    assert 'href="/"' in response.get_data(as_text=True)


def test_an_unloaded_bank_says_the_command(settings, db, clock, chance):
    """Not prepared: what to type, on the page that a keeper sees first."""
    from quizsvc.web.app import create_app
    from tests.web.pages import Visitor

    visitor = Visitor(create_app(settings, clock=clock, db=db, rng=chance).test_client())
    visitor.start()

    assert visitor.status == 503
    assert "quizsvc bank load" in visitor.page.text

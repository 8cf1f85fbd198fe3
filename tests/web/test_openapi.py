"""The service does what its own description says, tried with generated requests."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings

from quizsvc.web.app import create_app
from tests.web.description import Description

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


@pytest.fixture
def description(app):
    """As the service gives it."""
    return Description(app.test_client().get("/api/v1/openapi.json").get_json())


def test_the_description_holds(app):
    """Every generated call gets a status, a content type and a body that the description names; none gets a 500."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app)
    origin = app.extensions["quizsvc"].settings.public_url
    client = app.test_client()
    client.post("/api/v1/sets", json={"minutes": 5, "acknowledged": ["C1"]}, headers={"Origin": origin})
    session = client.get_cookie("session").value
    kept = client.post("/api/v1/kept-questions", json={"format": 1}, headers={"Origin": origin}).get_json()
    tried = []
    stored = []

    for result in schema.get_all_operations():
        operation = result.ok()
        strategy = operation.as_strategy()

        @given(case=strategy)
        @hypothesis_settings(
            max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None
        )
        def one(case):
            # The tool takes what a WSGI application gives as it is, and unpacks nothing.
            case.headers = {**(case.headers or {}), "Origin": origin, "Accept-Encoding": "identity"}
            case.cookies = {**(case.cookies or {}), "session": session}
            tried.append(case.operation.label)
            batch = case.operation.label == "POST /api/v1/answer-batches"
            if batch and len(tried) % 4:
                # Nothing generated hits upon the person and their questions.
                case.body["person"] = kept["person"]
                for question, answer in zip(kept["questions"], case.body["answers"], strict=False):
                    answer["question"] = question["id"]
            reply = case.call_and_validate()
            if batch and reply.status_code == 200:
                stored.extend(one["stored"] for one in reply.json()["results"])

        one()

    assert {
        "POST /api/v1/sets",
        "POST /api/v1/answers",
        "POST /api/v1/kept-questions",
        "POST /api/v1/answer-batches",
    } <= set(tried)
    # Both forms of a result were held against their description.
    assert {True, False} == set(stored)


def test_a_method_that_is_not_described_is_not_taken(app, description):
    """RFC 9110 section 15.5.6: 405, and Allow names what is taken; the body is a described problem (RFC 9457)."""
    tried = 0
    for path, described in description.operations.items():
        for method in sorted(set(METHODS) - described):
            reply = app.test_client().open(path, method=method)
            assert reply.status_code == 405, (method, path)
            # HEAD and OPTIONS come with every address; a description need not name them.
            assert set(reply.headers["Allow"].split(", ")) - {"HEAD", "OPTIONS"} == described
            for known in described:
                description.check_reply(known, path, 405, reply.headers, reply.get_json())
            assert reply.get_json()["status"] == 405
            tried += 1
    assert tried == 4 * len(description.operations)


def test_a_fault_of_the_service_is_described(settings, bank_db, description, chance):
    """A clock that does not work is no fault of the caller: 500, as a described problem (RFC 9457)."""

    def stopped():
        raise OSError("the clock stands still")

    app = create_app(settings, clock=stopped, db=bank_db, rng=chance)
    reply = app.test_client().post(
        "/api/v1/sets", json={"minutes": 5, "acknowledged": ["C1"]}, headers={"Origin": settings.public_url}
    )

    assert reply.status_code == 500
    for path, methods in description.operations.items():
        for method in methods:
            description.check_reply(method, path, 500, reply.headers, reply.get_json())

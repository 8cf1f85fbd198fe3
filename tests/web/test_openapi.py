"""The service does what its own description says, tried with generated requests."""

from __future__ import annotations

import schemathesis
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings


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

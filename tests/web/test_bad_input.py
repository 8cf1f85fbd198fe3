"""What bad input gets: a sentence, never a 500."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from quizsvc.store.tables import Answer, Person
from tests.web.pages import on_both

UUID = "6f0e3a52-0d4b-4e6c-9a52-111111111111"


def _token(visitor, path="/sign-in"):
    return dict(visitor.get(path).form(path).fields)["csrf_token"]


def test_a_body_of_ten_megabytes_is_refused(visitor):
    """413 and a sentence, for a form and for JSON."""
    big = b"x" * 10_000_000
    form = visitor.client.post("/sign-in", data=big, content_type="application/x-www-form-urlencoded")
    call = visitor.client.post("/api/v1/answers", data=big, content_type="application/json", headers=_own(visitor))

    assert form.status_code == 413
    assert "64 KB" in form.get_data(as_text=True)
    assert call.status_code == 413
    assert call.mimetype == "application/problem+json"


def test_a_file_in_a_form_is_refused_when_large(visitor):
    """Also as parts of a multipart form."""
    response = visitor.client.post("/sign-in", data={"name": (__import__("io").BytesIO(b"x" * 100_000), "a.txt")})

    assert response.status_code == 413


@on_both
@pytest.mark.parametrize("text", ["a\x00b", "\ufffd"])
def test_text_that_cannot_be_stored_is_refused(visitor, text):
    """NUL, and what is left of bytes that are not UTF-8."""
    token = _token(visitor)
    for path, field in (("/sign-in", "name"), ("/sign-up", "name"), ("/sign-in", "password"), ("/sign-up", text)):
        response = visitor.client.post(path, data={"csrf_token": token, field: text})

        assert response.status_code == 422
        assert "cannot be stored" in response.get_data(as_text=True)


@pytest.mark.parametrize(
    "query", ["/log?system=%00", "/log?outcome=%ff%fe", "/handbook/%00/x", "/link/%ed%a0%80", "/%c0"]
)
def test_an_address_that_is_not_text_is_refused(member, query):
    """In the path and in the query."""
    assert member.client.get(query).status_code in (404, 422)


def test_bytes_that_are_not_utf8_in_a_form_are_refused(visitor):
    """Raw bytes, as a broken client sends them."""
    token = _token(visitor)
    response = visitor.client.post(
        "/sign-in",
        data=b"csrf_token=" + token.encode() + b"&name=%ff%fe&password=x",
        content_type="application/x-www-form-urlencoded",
    )

    assert response.status_code == 422


@on_both
@pytest.mark.parametrize(
    "path",
    [
        f"/account/devices/{2**70}/end",
        f"/account/devices/{2**63}/end",
        f"/account/devices/{2**63 - 1}/end",
        "/account/devices/-1/end",
        "/account/devices/1e9/end",
        f"/questions/{2**70}/answers",
        f"/sets/{2**70}/end",
    ],
)
def test_an_id_that_cannot_exist_is_not_there(member, path):
    """2**70, minus one, a float: 404 on both databases."""
    token = dict(member.get("/account").form("/sign-out").fields)

    assert member.client.post(path, data=token).status_code == 404


@pytest.mark.parametrize("page", ["0", "-1", "x", str(2**70), "1" * 5000, "1.5", "٣"])
def test_a_page_number_that_is_none_is_refused(member, page):
    """The log's page."""
    response = member.client.get("/log", query_string={"page": page})

    assert response.status_code == 422


@pytest.mark.parametrize("minutes", ["", "0", "61", "-5", "5.5", "five", str(2**70), "٥"])
def test_minutes_that_are_none_are_refused(visitor, bank_db, minutes):
    """And nobody is created for them."""
    form = visitor.get("/").form("/sets")
    visitor.send(form, ("minutes", minutes))

    assert visitor.status == 422
    with bank_db.reading() as session:
        assert session.scalar(select(func.count()).select_from(Person)) == 0


@pytest.mark.parametrize(
    "change",
    [
        {"uuid": ""},
        {"uuid": "not-a-uuid"},
        {"uuid": "0" * 36},
        {"uuid": UUID + "0"},
        {"sureness": "certain"},
        {"option": "no-such-option", "options": "no-such-option", "text": "no number at all"},
        {"option": "x" * 10_000, "options": "x" * 10_000, "text": "9" * 10_000},
        {"text": "1e999", "option": "<b>", "options": "<b>"},
    ],
)
def test_a_broken_answer_is_no_answer(visitor, bank_db, change):
    """422, the question stays, nothing is stored."""
    visitor.start()
    form = visitor.answer_form()
    kept = {name for name, _ in form.fields} | form.names
    sent = {name: value for name, value in change.items() if name in kept or name == "uuid"}
    visitor.send(form, **sent)

    assert visitor.status == 422
    assert visitor.page.has_form(form.action)
    with bank_db.reading() as session:
        assert session.scalar(select(func.count()).select_from(Answer)) == 0


def _own(visitor):
    return {"Origin": visitor.client.application.extensions["quizsvc"].settings.public_url}

"""Headers, cookies, form tokens, proxies."""

from __future__ import annotations

import dataclasses
import re

import pytest

from quizsvc.web.app import create_app
from tests.web.pages import Visitor

# design.md section 7, word by word.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data:",
    "connect-src": "'self'",
    "worker-src": "'self'",
    "manifest-src": "'self'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}


@pytest.mark.parametrize("path", ["/", "/nowhere", "/static/quizsvc.css", "/health", "/api/v1/openapi.json", "/log"])
def test_every_response_carries_the_policy(visitor, path):
    """Pages, errors, files, redirects and JSON alike."""
    headers = visitor.client.get(path, buffered=True).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))

    assert policy == POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


def test_pages_are_not_kept_by_anybody(member):
    """A page names its person."""
    for path in ("/", "/account", "/log", "/account/export.json"):
        assert member.client.get(path).headers["Cache-Control"] == "no-store"


def test_no_page_has_inline_script_or_style(member):
    """The policy would refuse them; nobody should learn that in a browser."""
    paths = ["/", "/account", "/log", "/thin-spots", "/handbook", "/about", "/cautions", "/sign-in", "/sign-up"]
    member.start()
    paths.append(member.path)
    member.pass_on()
    paths.append(member.path)
    for path in paths:
        for tag, attributes in member.get(path).tags:
            assert tag != "style"
            assert "style" not in attributes
            assert not [name for name in attributes if name.startswith("on")]
            if tag == "script":
                assert attributes["src"].startswith("/static/")


class TestCookies:
    def test_the_session_cookie_is_shielded(self, visitor):
        """HttpOnly, SameSite=Lax, the whole site, for long; not Secure where the address is http."""
        page = visitor.get("/")
        form = page.form("/sets")
        response = visitor.client.post("/sets", data=_filled(form, minutes="5"))
        cookie = next(one for one in response.headers.getlist("Set-Cookie") if one.startswith("session="))

        assert "HttpOnly" in cookie
        assert "SameSite=Lax" in cookie
        assert "Path=/" in cookie
        assert "Max-Age=34560000" in cookie
        assert "Secure" not in cookie

    def test_cookies_are_secure_behind_https(self, settings, bank_db, clock, chance):
        """Both of them, where the public address begins with https."""
        app = create_app(
            dataclasses.replace(settings, public_url="https://quiz.example.org"), clock=clock, db=bank_db, rng=chance
        )
        client = app.test_client()
        base = "https://quiz.example.org"
        page = Visitor(client)
        page._arrive(client.get("/", base_url=base))
        response = client.post("/sets", base_url=base, data=_filled(page.page.form("/sets"), minutes="5"))
        cookies = response.headers.getlist("Set-Cookie")

        assert response.status_code == 303
        assert any(one.startswith("session=") for one in cookies)
        assert all("Secure" in one and "HttpOnly" in one and "SameSite=Lax" in one for one in cookies)


class TestFormToken:
    @pytest.mark.parametrize("path", ["/sets", "/sign-in", "/sign-up", "/sign-out", "/account", "/account/delete"])
    def test_a_form_without_its_token_is_refused(self, member, path):
        """With a sentence; nothing is stored."""
        response = member.client.post(path, data={"minutes": "5", "acknowledged": "C1", "name": "Nadir Eshvale"})

        assert response.status_code == 400
        assert "nothing was stored" in response.get_data(as_text=True)

    def test_every_post_route_checks_its_token(self, app, member):
        """All of them but the JSON calls, which have a check of their own."""
        paths = [
            re.sub(r"<(?:(\w+):)?\w+>", lambda part: {"key": "0" * 32, "number": "1"}.get(part[1], "x"), rule.rule)
            for rule in app.url_map.iter_rules()
            if "POST" in rule.methods and not rule.rule.startswith("/api/")
        ]

        assert len(paths) >= 13
        for path in paths:
            assert member.client.post(path, data={}).status_code == 400, path

    def test_a_token_does_not_run_out(self, visitor, clock):
        """A form may lie open for a week: its page sends as on the first day."""
        form = visitor.get("/").form("/sets")
        clock.advance(days=8)
        visitor.send(form, ("minutes", "5"))

        assert visitor.path.startswith("/questions/")

    def test_anothers_token_does_not_serve(self, browsers):
        """A token belongs to the browser that got it."""
        form = browsers().get("/").form("/sets")
        other = browsers()
        other.get("/sign-in")
        other.send(form, ("minutes", "5"))

        assert other.status == 400


def test_no_proxy_is_believed_unless_told(settings, bank_db, clock, chance):
    """X-Forwarded-For counts only as many hops as the settings trust."""
    seen = []
    for hops in (0, 1):
        app = create_app(dataclasses.replace(settings, trusted_proxies=hops), clock=clock, db=bank_db, rng=chance)
        app.before_request(lambda: seen.append(__import__("flask").request.remote_addr))
        app.test_client().get("/about", headers={"X-Forwarded-For": "203.0.113.9"})

    assert seen == ["127.0.0.1", "203.0.113.9"]


def _filled(form, **more):
    values = {}
    for name, value in [*form.fields, *more.items()]:
        values.setdefault(name, []).append(value)
    return values

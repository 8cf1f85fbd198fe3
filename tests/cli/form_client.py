"""A browser without JavaScript, as small as a drill allows: pages, their forms, cookies."""

from __future__ import annotations

import http.cookiejar
import json
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any


@dataclass
class Form:
    """One form of a page: where it goes, what it sends as it stands, and what may be picked."""

    action: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    choices: dict[str, list[str]] = field(default_factory=dict)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Page:
    """What came back."""

    url: str
    status: int
    text: str
    forms: tuple[Form, ...]

    @property
    def words(self) -> str:
        """The text without tags, spaces made single."""
        reader = _Words()
        reader.feed(self.text)
        return " ".join(" ".join(reader.parts).split())

    def form(self, ending: str) -> Form:
        """The form whose address ends so."""
        return next(form for form in self.forms if form.action.endswith(ending))

    def has_form(self, ending: str) -> bool:
        """Whether there is a form whose address ends so."""
        return any(form.action.endswith(ending) for form in self.forms)


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []

    def handle_data(self, data: str) -> None:
        self.parts.append(data)


class _Forms(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.open: Form | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.open = Form(given.get("action", ""))
            self.forms.append(self.open)
        elif self.open is not None and tag == "input":
            self._input(self.open, given)
        elif self.open is not None and tag == "button" and given.get("name"):
            self.open.buttons.append((given["name"], given.get("value", "")))

    def _input(self, form: Form, given: dict[str, str]) -> None:
        name, kind = given.get("name", ""), given.get("type", "text")
        if kind == "hidden":
            form.fields.append((name, given.get("value", "")))
        elif kind in ("radio", "checkbox"):
            form.choices.setdefault(name, []).append(given.get("value", ""))
        else:
            form.typed.append(name)

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None


class FormClient:
    """Opens pages of one service and sends their forms; follows redirects and keeps cookies as a browser does."""

    def __init__(self, base: str, timeout_s: float = 30.0) -> None:
        self.base = base
        self.timeout_s = timeout_s
        self.cookies = http.cookiejar.CookieJar()
        # No proxy: the service under test is on this machine.
        self.opener = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(self.cookies)
        )

    def get(self, path: str) -> Page:
        """Open a page."""
        return self._open(urllib.request.Request(self.base + path))

    def send(self, form: Form, *extra: tuple[str, str]) -> Page:
        """Send a form as it stands, with what a person picked, typed or pressed added."""
        body = urllib.parse.urlencode([*form.fields, *extra]).encode()
        return self._open(urllib.request.Request(self.base + form.action, data=body, headers={"Origin": self.base}))

    def call(self, path: str, body: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        """Send JSON as the pages' own script does; gives the status and the reply."""
        headers = {"Origin": self.base, "Content-Type": "application/json"}
        request = urllib.request.Request(self.base + path, data=json.dumps(body).encode(), headers=headers)
        try:
            with self.opener.open(request, timeout=self.timeout_s) as reply:
                return reply.status, json.loads(reply.read())
        except urllib.error.HTTPError as refused:
            with refused:
                return refused.code, json.loads(refused.read())

    def _open(self, request: urllib.request.Request) -> Page:
        try:
            with self.opener.open(request, timeout=self.timeout_s) as reply:
                url, status, text = reply.url, reply.status, reply.read().decode()
        except urllib.error.HTTPError as refused:
            with refused:
                url, status, text = refused.url, refused.code, refused.read().decode()
        reader = _Forms()
        reader.feed(text)
        return Page(url, status, text, tuple(reader.forms))


def start_set(client: FormClient, minutes: str = "5") -> Page:
    """Press Start; the first question comes back."""
    return client.send(client.get("/").form("/sets"), ("minutes", minutes))


def some_response(form: Form) -> tuple[str, str]:
    """A response that can be read, right or wrong; a question of more than one control is passed."""
    picked = [name for name in form.choices if name != "sureness"]
    if form.typed == ["text"]:
        return "text", "1000"
    if not form.typed and picked in (["option"], ["options"]):
        return picked[0], form.choices[picked[0]][0]
    return "pass", "1"

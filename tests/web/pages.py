"""A reader of our own pages for tests: forms, links, cautions and visible text, without a browser."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

import pytest
from flask.testing import FlaskClient

# Marks a test, class or module whose subject is what the database holds or refuses.
on_both = pytest.mark.parametrize(
    "backend", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)], indirect=True
)


@dataclass
class Form:
    """A form as a browser would send it: hidden and preset fields, its buttons, the values that can be picked."""

    action: str
    method: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    buttons: list[tuple[str, str]] = field(default_factory=list)
    choices: list[tuple[str, str]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)


class Page(HTMLParser):
    """One parsed page or fragment."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.html = html
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.cautions: dict[str, str] = {}
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._text: list[str] = []
        self._headings: list[str] = []
        self._heading = False
        self._caution: str | None = None
        self._select: str | None = None
        self._area: str | None = None
        self.feed(html)

    @property
    def text(self) -> str:
        """The visible words, blanks joined."""
        return " ".join("".join(self._text).split())

    @property
    def heading(self) -> str:
        """The words of the first h1."""
        return " ".join(self._headings[0].split()) if self._headings else ""

    def form(self, action: str) -> Form:
        """The first form with this action."""
        return next(one for one in self.forms if one.action == action)

    def has_form(self, action: str) -> bool:
        """Whether a form with this action is there."""
        return any(one.action == action for one in self.forms)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = dict(attrs)
        self.tags.append((tag, at))
        form = self.forms[-1] if self.forms else None
        if tag == "form":
            self.forms.append(Form(at.get("action") or "", (at.get("method") or "get").lower()))
        elif tag == "input" and form and at.get("name"):
            form.names.add(at["name"])
            if at.get("type") in ("radio", "checkbox"):
                form.choices.append((at["name"], at.get("value") or ""))
                if "checked" in at:
                    form.fields.append((at["name"], at.get("value") or ""))
            else:
                form.fields.append((at["name"], at.get("value") or ""))
        elif tag == "button" and form:
            form.buttons.append((at.get("name") or "", at.get("value") or ""))
        elif tag == "textarea" and form:
            form.names.add(at.get("name") or "")
        elif tag == "select":
            self._select = at.get("name")
        elif tag == "option" and form and self._select and "selected" in at:
            form.fields.append((self._select, at.get("value") or ""))
        elif tag == "a" and at.get("href"):
            self.links.append(at["href"])
        elif tag in ("h1", "h2"):
            self._heading = tag == "h1"
            if self._heading:
                self._headings.append("")
        if at.get("data-caution"):
            self._caution = at["data-caution"]
            self.cautions[self._caution] = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "p":
            self._caution = None
        if tag == "h1":
            self._heading = False

    def handle_data(self, data: str) -> None:
        self._text.append(data)
        if self._heading:
            self._headings[-1] += data
        if self._caution:
            self.cautions[self._caution] += data


class Visitor:
    """A person with a browser that runs no scripts: follows links, fills forms, keeps cookies."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client
        self.path = "/"
        self.status = 0
        self.page = Page("")

    def get(self, path: str) -> Page:
        """Open an address."""
        return self._arrive(self.client.get(path, follow_redirects=True))

    def send(self, form: Form, button: tuple[str, str] | None = None, **filled: Any) -> Page:
        """Send a form with its preset fields, some of them filled in; a list sends several values."""
        pairs = [(name, value) for name, value in form.fields if name not in filled]
        for name, value in filled.items():
            pairs += [(name, one) for one in (value if isinstance(value, list) else [value])]
        if button:
            pairs.append(button)
        sent: dict[str, list[str]] = {}
        for name, value in pairs:
            sent.setdefault(name, []).append(value)
        if form.method == "get":
            return self._arrive(self.client.get(form.action, query_string=sent, follow_redirects=True))
        return self._arrive(self.client.post(form.action, data=sent, follow_redirects=True))

    def _arrive(self, response: Any) -> Page:
        self.response = response
        self.status = response.status_code
        self.path = response.request.path
        self.page = Page(response.get_data(as_text=True))
        return self.page

    # The steps of a drill

    def start(self, minutes: int = 5, *, long: bool = False) -> Page:
        """Press Start, for a Short or a Long set."""
        form = next(one for one in self.get("/").forms if one.action == "/sets" and ("long" in one.names) == long)
        return self.send(form, ("minutes", str(minutes)))

    def answer_form(self) -> Form:
        """The form of the question on the screen."""
        return next(one for one in self.page.forms if one.action.endswith("/answers"))

    @property
    def question(self) -> str:
        """The id of the question on the screen."""
        return self.answer_form().action.split("/")[2]

    def pass_on(self) -> Page:
        """Press `pass`."""
        return self.send(self.answer_form(), ("pass", "1"))

    def next(self) -> Page:
        """Go on from the feedback."""
        return self.get(next(tag[1]["href"] for tag in self.page.tags if tag[0] == "a" and "data-swap" in tag[1]))

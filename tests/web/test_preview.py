"""The authors' preview: who may see it, what it shows, and that it follows the files."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import pytest

from quizsvc.services import accounts
from quizsvc.web.app import create_app
from tests.factories import write_bank
from tests.web.pages import Visitor

NOW = datetime(2026, 11, 25, 8, tzinfo=UTC)


@pytest.fixture
def files(tmp_path):
    """The bank that the settings name."""
    write_bank(tmp_path / "files")
    return tmp_path / "files"


@pytest.fixture
def app(settings, bank_db, clock, files, chance):
    """The application on those files."""
    return create_app(dataclasses.replace(settings, bank=files), clock=clock, db=bank_db, rng=chance)


@pytest.fixture
def with_roles(app, bank_db, clock):
    """A signed-in visitor with the roles given."""

    def make(*roles):
        name = f"Rosmund Achterby {len(roles)}"
        accounts.add_account(bank_db, name, roles, now=clock())
        secret = accounts.make_link(bank_db, name, hours=24, by=None, now=clock())
        signed_in = accounts.use_link(bank_db, secret, "ochre lantern nine", device="test", now=clock())
        client = app.test_client()
        client.set_cookie("session", signed_in.token)
        return Visitor(client)

    return make


PAGES = ("/preview", "/preview/version.json")


class TestWho:
    """Keys stand on these pages."""

    def test_nobody_is_led_to_the_sign_in(self, visitor):
        """As for every screen that belongs to a person."""
        visitor.get("/preview")

        assert visitor.path == "/sign-in"

    def test_a_pilot_is_refused_and_sees_no_key(self, with_roles, files):
        """404, as for an address without a page; the link is not on the settings page."""
        pilot = with_roles("pilot")
        item = next(line.split()[-1] for line in _lines(files) if line.startswith("- item:"))

        for path in (*PAGES, f"/preview/{item}"):
            page = pilot.get(path)
            assert pilot.status == 404
            assert "Key" not in page.text
        assert "/preview" not in pilot.get("/account").links

    @pytest.mark.parametrize("role", ["item author", "reviewer", "keeper"])
    def test_authors_reviewers_and_the_keeper_get_in_by_their_settings(self, with_roles, role):
        """One role is enough."""
        author = with_roles("pilot", role)

        assert "/preview" in author.get("/account").links
        assert author.get("/preview").heading == "Preview"


def _lines(files):
    return [line for file in sorted(files.rglob("*.yaml")) for line in file.read_text().splitlines()]


class TestPage:
    """What an author reads."""

    def test_every_item_of_the_files_can_be_looked_at(self, with_roles, files):
        """With its key, and the cautions it owes."""
        author = with_roles("item author")
        items = [line.split()[-1] for line in _lines(files) if line.startswith("- item:")]
        listed = author.get("/preview")

        assert {f"/preview/{item}" for item in items} <= set(listed.links)
        for item in items:
            page = author.get(f"/preview/{item}")
            assert page.heading == item
            assert "Key" in page.text

    def test_a_draft_says_that_nobody_has_read_it(self, with_roles, files):
        """C8."""
        file = next(file for file in sorted(files.glob("tolquenny-19/*.yaml")) if "- item:" in file.read_text())
        file.write_text(file.read_text().replace("status: live", "status: draft"))
        item = next(line.split()[-1] for line in file.read_text().splitlines() if line.startswith("- item:"))

        assert "C8" in with_roles("reviewer").get(f"/preview/{item}").cautions

    def test_faults_are_shown_with_their_place_and_cure(self, with_roles, files):
        """A typing slip in a concept's id."""
        file = next(file for file in sorted(files.glob("tolquenny-19/*.yaml")) if "- item:" in file.read_text())
        file.write_text(file.read_text().replace("concept: P-DIFF", "concept: P-DFIF"))
        text = file.read_text()
        item = next(line.split()[-1] for line in text[: text.index("P-DFIF")].splitlines()[::-1] if "- item:" in line)
        page = with_roles("item author").get(f"/preview/{item}")

        assert "unknown concept 'P-DFIF'" in page.text.lower() or "P-DFIF" in page.text
        assert "P-DIFF" in page.text
        assert "Nothing can be drawn" in page.text

    def test_markup_in_a_file_is_text(self, with_roles, files):
        """An author's page escapes as every page does."""
        file = next(file for file in sorted(files.glob("tolquenny-19/*.yaml")) if "- item:" in file.read_text())
        file.write_text(file.read_text().replace("stem: ", "stem: <script>alert(1)</script> ", 1))
        item = next(line.split()[-1] for line in file.read_text().splitlines() if line.startswith("- item:"))
        html = with_roles("item author").get(f"/preview/{item}").html

        assert "<script>alert" not in html

    def test_the_search_keeps_what_was_asked(self, with_roles, files):
        """And says how many there are."""
        author = with_roles("item author")
        whole = author.get("/preview")
        none = author.get("/preview?q=zzzz")

        assert "0 of" in none.text and "0 of" not in whole.text

    def test_an_unknown_item_is_a_page_and_no_traceback(self, with_roles):
        """404."""
        author = with_roles("item author")
        page = author.get("/preview/no-such-item")

        assert author.status == 404
        assert "no-such-item" in page.text

    def test_the_version_follows_the_files(self, with_roles, files):
        """What an open page asks for."""
        author = with_roles("item author")
        before = author.client.get("/preview/version.json").get_json()["version"]
        file = next(files.glob("tolquenny-19/*.yaml"))
        file.write_text(file.read_text() + "\n# one more line\n")

        assert author.client.get("/preview/version.json").get_json()["version"] != before

"""The installed page: its manifest, its worker, and what it shows where the service does not answer."""

from __future__ import annotations

import struct

import pytest
import sqlalchemy as sa

from quizsvc.store.tables import Caution
from tests.browser import steps
from tests.browser.device_steps import HERE, begin
from tests.browser.installed_steps import (
    CONTROLLED,
    WAITS,
    installed,
    line,
    live_start,
    look_for_another,
    replace,
    site,
    versions,
)
from tests.browser.offline import device, until

__all__ = ["device", "installed", "line", "replace", "site"]
pytestmark = pytest.mark.browser
ADDED = " The school adds this."


@pytest.fixture
def publish(site, replace):
    """Publishes another version: a service of its own on the same database, where a school has added to C1."""

    def new():
        with site.db.writing() as session:
            session.execute(sa.update(Caution).where(Caution.id == "C1").values(text=Caution.text + ADDED))
        replace()

    return new


class TestManifest:
    """W3C Web Application Manifest; what browsers ask for before they offer to install."""

    def test_members(self, phone):
        """Names, start and display as the specification spells them; Chromium reads it without a complaint."""
        page = phone()
        page.goto("/")
        found = page.context.new_cdp_session(page).send("Page.getAppManifest")
        manifest = page.request.get("/manifest.webmanifest").json()

        assert found["errors"] == []
        assert found["url"].endswith("/manifest.webmanifest")
        assert {"name", "short_name", "start_url", "scope", "display", "icons", "id"} <= set(manifest)
        assert manifest["display"] in ("standalone", "minimal-ui", "fullscreen")
        assert manifest["start_url"].startswith(manifest["scope"])
        assert (
            "Not for operational use" in manifest["description"] or "not for operational use" in manifest["description"]
        )

    def test_nothing_stands_in_the_way_of_installing(self, phone):
        """Chromium's own list of reasons against it."""
        page = phone(worker=True)
        page.goto("/")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        found = page.context.new_cdp_session(page).send("Page.getInstallabilityErrors")
        # A private window installs nothing, whatever the page is like.
        assert [one["errorId"] for one in found["installabilityErrors"]] in ([], ["in-incognito"])

    def test_icons_have_the_size_they_say(self, phone):
        """Width and height stand in bytes 16 to 24 of a PNG (W3C PNG specification, 11.2.1); one is maskable."""
        page = phone()
        page.goto("/")
        icons = page.request.get("/manifest.webmanifest").json()["icons"]
        for icon in icons:
            reply = page.request.get(icon["src"])
            assert reply.status == 200
            assert reply.headers["content-type"].split(";")[0] == icon["type"]
            if icon["type"] == "image/png":
                body = reply.body()
                assert body[:8] == b"\x89PNG\r\n\x1a\n"
                assert "x".join(map(str, struct.unpack(">II", body[16:24]))) == icon["sizes"]

        sizes = {(icon["sizes"], icon.get("purpose", "any")) for icon in icons}
        assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes


class TestWithoutTheService:
    """What opens where nobody answers."""

    @pytest.mark.parametrize("state", ["refused", "hanging"])
    def test_start_opens_and_drills(self, installed, line, state):
        """The service is stopped, or the network hangs: Start paints from the device, and a set begins."""
        installed.close()
        page = installed.open()
        line.set(state)
        page.goto("/", wait_until="commit")
        page.locator("[data-begin]").wait_for()
        begin(page)

        assert page.locator("[data-set-open]").count() == 1

    def test_without_signal_from_the_first_moment(self, installed, line):
        """Flight mode before the browser starts, for the page and for the worker."""
        installed.close()
        line.set("refused")
        page = installed.open(offline=True)
        page.goto("/")
        page.locator("[data-begin]").wait_for()
        begin(page)

        assert page.locator("[data-set-open]").count() == 1

    @pytest.mark.parametrize("address", ["/log", "/handbook", "/nowhere"])
    def test_other_pages_say_that_they_need_it(self, installed, line, address):
        """Not the browser's own page: a sentence, and what there is here."""
        line.set("refused")
        page = installed.fresh()
        page.goto(address)

        page.locator("[data-begin]").wait_for()
        page.locator("#status:has-text('This page needs the service')").wait_for()

    def test_a_page_that_hangs_is_not_waited_for_for_ever(self, installed, line):
        """After some seconds the device's own screen comes."""
        line.set("hanging")
        page = installed.fresh()
        page.goto("/log", wait_until="commit")

        page.locator("[data-begin]").wait_for()
        page.locator("#status:has-text('This page needs the service')").wait_for()

    def test_when_it_is_back_so_are_the_pages(self, installed, line):
        """Nothing of the outage is kept."""
        line.set("refused")
        page = installed.fresh()
        page.goto("/log")
        page.locator("[data-begin]").wait_for()
        line.set("through")
        for _ in range(20):  # the worker waits 8 s for a page, and a busy machine may take longer
            page.goto("/log")
            if not page.locator("[data-device]").count():
                break

        assert page.locator("h1").inner_text() == "Log of answers"

    def test_the_plain_start_page_is_live_where_nothing_is_kept(self, device, line):
        """Who never kept a question gets the service's own start page, and the browser's own where it is away."""
        phone = device()
        page = phone.open()
        page.goto("/")
        until(page, CONTROLLED, True)
        page.goto("/")

        assert page.locator("form[action='/sets']").count() >= 1
        assert page.locator("[data-device]").count() == 0


class TestVersions:
    """One version at a time, and never another inside a set."""

    def test_a_new_one_waits_for_the_end_of_a_set(self, installed, line, publish):
        """Published while a question is open: it waits; the set goes on as it was; on Start it takes over."""
        page = installed.page
        begin(page, minutes=3)
        (old,) = versions(page)
        publish()
        look_for_another(page)
        until(page, WAITS, True)
        page.wait_for_timeout(500)
        assert old in versions(page)
        assert page.evaluate(WAITS) is True
        assert ADDED.strip() not in page.locator("footer").inner_text()

        page.get_by_role("button", name="Stop here").click()
        until(page, WAITS, False)
        until(page, f"caches.has('{old}')", False)
        (new,) = versions(page)
        assert new != old
        line.set("refused")
        page = installed.fresh()
        page.goto(HERE)
        page.locator("[data-begin]").wait_for()
        assert ADDED.strip() in page.locator("footer").inner_text()

    def test_an_open_set_in_another_tab_holds_it_back(self, installed, publish):
        """The tab that looks for it shows no set; the other does, with a question of the service."""
        other = installed.fresh()
        live_start(other)
        other.get_by_text("Go on").first.click()
        other.locator("[data-question], [data-set-open]").first.wait_for()
        page = installed.page
        (old,) = versions(page)
        publish()
        page.goto("/about")
        look_for_another(page)
        until(page, WAITS, True)
        page.goto("/about")
        page.wait_for_timeout(500)
        assert old in versions(page)
        other.close()
        # Each page that is opened asks for it; the tab that was closed may hold its lock for a moment.
        for _ in range(20):
            page.goto("/about")
            page.wait_for_timeout(200)
            if not page.evaluate(WAITS):
                break
        until(page, f"caches.has('{old}')", False)

    def test_questions_and_answers_outlive_it(self, installed, publish):
        """A new version replaces the shell, never what the person keeps."""
        page = installed.page
        count = "indexedDB.databases().then((all) => all.map((one) => one.name).sort().join())"
        before = page.evaluate(count)
        assert "quizsvc-" in before
        (old,) = versions(page)
        publish()
        page.goto("/about")
        look_for_another(page)
        until(page, f"caches.has('{old}')", False)

        assert page.evaluate(count) == before
        assert page.evaluate("caches.has('kept')") is True
        page.goto(HERE)
        page.locator("[data-begin]").wait_for()


class TestNobodyInside:
    """What browsers keep for everybody names nobody."""

    def test_no_cache_holds_a_person(self, device, site):
        """After signing up, drilling, and looking at the own pages: no name, no token, no question in any cache."""
        phone = device()
        page = phone.open()
        steps.start(page)
        asked = steps.question(page)
        page.goto("/sign-up")
        page.get_by_label("Name").fill("Nadir Eshvale")
        page.get_by_label("Password").fill("ochre lantern nine")
        page.get_by_role("button", name="Sign up").click()
        page.get_by_text("Signed up as").wait_for()
        for address in (HERE, "/log", "/account", "/thin-spots", "/"):
            page.goto(address)
        until(page, CONTROLLED, True)
        kept = page.evaluate(
            """async () => {
              const found = {};
              for (const name of await caches.keys()) {
                const cache = await caches.open(name);
                for (const request of await cache.keys()) {
                  found[`${name} ${new URL(request.url).pathname}`] = await (await cache.match(request)).text();
                }
              }
              return found;
            }"""
        )

        assert any(name.endswith(HERE) for name in kept)
        for name, text in kept.items():
            assert "Nadir" not in text, name
            assert asked not in text, name
            assert 'name="csrf_token"' not in text, name
            path = name.split(" ", 1)[1]
            assert path in (HERE, "/kept") or path.startswith("/static/"), name


class TestPlainHttp:
    """Without https a browser keeps nothing, and the page says so."""

    def test_the_screen_says_why(self, device, line):
        """An address that is not this machine by name: no fault, the reason in words, and with signal all works."""
        phone = device("--host-resolver-rules=MAP hangar.example 127.0.0.1")
        page = phone.open()
        page.goto(f"http://hangar.example:{line.port}{HERE}")

        page.get_by_text("only where the address begins with https").wait_for()
        assert page.evaluate("isSecureContext") is False
        page.goto(f"http://hangar.example:{line.port}/")
        assert page.locator("form[action='/sets']").count() >= 1

"""What takes the place of the device's own start screen, and what the page does where a browser keeps nothing."""

from __future__ import annotations

import json
import shutil

import pytest

from tests.browser.conftest import ROOT
from tests.browser.device_steps import HERE, begin, visit
from tests.browser.installed_steps import SHELLS, WAITS, installed, line, live_start, look_for_another, replace, site
from tests.browser.offline import device, until

__all__ = ["device", "installed", "line", "replace", "site"]
pytestmark = pytest.mark.browser
LIVE = "form[action='/sets']"
LINK = "Open the start page"


# Two seconds are the person's, not the machine's: where a trial is about what comes, it may take longer to come.
PATIENT = "AbortSignal.timeout = ((real) => (ms) => real(30 * ms))(AbortSignal.timeout.bind(AbortSignal))"


class TestTheLiveStart:
    """Start paints from the device at once; the service's own start page follows where it can."""

    def test_it_takes_the_place_of_a_page_that_nobody_touched(self, installed, site):
        """The same address, the person's own screen; a set of the service begins from it."""
        page = installed.fresh()
        page.add_init_script(PATIENT)
        page.goto("/")
        page.locator(LIVE).first.wait_for()

        assert page.locator("[data-device]").count() == 0
        assert page.evaluate("location.pathname") == "/"
        assert page.get_by_text("Go on").first.is_visible()
        page.locator("a[data-swap], form[data-start] button, a.button").first.click()
        page.locator("[data-question]").wait_for()

    def test_it_does_not_come_late(self, installed, line):
        """After two seconds the device's own stays, whatever arrives then, with a link to the other."""
        line.hold()
        page = installed.fresh()
        page.goto("/", wait_until="commit")
        page.get_by_role("link", name=LINK).wait_for()
        line.let_go()
        page.wait_for_timeout(300)
        assert page.locator("[data-device]").count() == 1

        page.get_by_role("link", name=LINK).click()
        page.locator(LIVE).first.wait_for()
        assert page.locator("[data-device]").count() == 0

    @pytest.mark.parametrize("touch", ["key", "press", "focus"])
    def test_it_does_not_take_a_page_out_of_a_hand(self, installed, line, touch):
        """A key, a press or the focus came before it."""
        line.hold()
        page = installed.fresh()
        # With this call the page begins to look out for a touch; other calls of its come before.
        with page.expect_request("**/?live"):
            page.goto("/", wait_until="commit")
        page.locator("[data-begin]").wait_for()
        if touch == "key":
            page.keyboard.press("ArrowDown")
        elif touch == "press":
            page.locator("h1").click()
        else:
            page.locator(".skip").focus()
        line.let_go()
        page.get_by_role("link", name=LINK).wait_for()

        assert page.locator("[data-device]").count() == 1
        assert page.locator(LIVE).count() == 0

    def test_a_set_that_was_begun_meanwhile_goes_on(self, installed, line):
        """No line about the start page either: there is a question on the screen."""
        line.hold()
        page = installed.fresh()
        page.goto("/", wait_until="commit")
        page.locator("[data-begin]").wait_for()
        begin(page)
        line.let_go()
        page.wait_for_timeout(2500)

        assert page.locator("[data-set-open]").count() == 1
        assert page.get_by_role("link", name=LINK).count() == 0


def test_a_waiting_answer_leaves_a_way_to_the_device(installed, line):
    """In a set of the service the signal goes: the answer waits, and a link leads to what is kept here."""
    page = installed.fresh()
    live_start(page)
    page.get_by_text("Go on").first.click()
    page.locator("[data-answer]").wait_for()
    line.set("refused")
    page.get_by_role("button", name="pass", exact=True).click()
    page.get_by_role("link", name="Go on with what is on this device").click()

    page.locator("[data-begin]").wait_for()
    begin(page)
    assert page.evaluate("location.pathname") == HERE


class TestRefused:
    """A browser that keeps nothing: the page goes on with signal."""

    def test_storage_is_refused(self, device):
        """Chromium's own setting against all site data: Start works as without it, the device's screen says why."""
        phone = device()
        settings = phone.folder / "Default"
        settings.mkdir(parents=True)
        refused = {"profile": {"default_content_setting_values": {"cookies": 2}}}
        (settings / "Preferences").write_text(json.dumps(refused), encoding="utf-8")
        page = phone.open()
        page.goto("/")
        # The setting is in force: the browser's own refusal, of the worker too.
        until(page, "navigator.serviceWorker.register('/sw.js').then(() => 'taken', () => 'refused')", "refused")
        assert page.locator(LIVE).count() >= 1
        page.goto(HERE)

        page.get_by_text("its browser refuses storage").wait_for()
        page.get_by_text("This browser does not keep the page itself").wait_for()
        page.get_by_role("link", name="Start", exact=True).click()
        page.locator(LIVE).first.wait_for()

    def test_only_the_worker_is_refused(self, phone):
        """Questions are kept, the page is not: a set runs with signal, and the screen says what will not."""
        page = phone()  # in whose context workers are blocked
        visit(page)
        page.get_by_text("This browser does not keep the page itself").wait_for()
        begin(page)

        assert page.locator("[data-set-open]").count() == 1
        assert page.faults == []

    def test_where_it_is_kept_nothing_is_said(self, installed):
        """The sentence is not for everybody."""
        assert not installed.page.get_by_text("This browser does not keep the page itself").is_visible()


def test_another_version_of_a_file_comes_between_sets(installed, line, replace, tmp_path):
    """The service is replaced by one whose script says another word: the old one in the set, the new after it."""
    page = installed.page
    begin(page, minutes=3)
    folder = tmp_path / "next"
    shutil.copytree(ROOT / "quizsvc", folder / "quizsvc", ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "tests").symlink_to(ROOT / "tests")
    script = folder / "quizsvc/web/static/device-home.js"
    script.write_text(script.read_text("utf-8").replace("kept here, about", "held here, about"), encoding="utf-8")
    replace(folder)
    look_for_another(page)
    until(page, WAITS, True)

    # A page opened beside the set is of the version that the set began with.
    beside = installed.fresh()
    beside.goto(HERE)
    beside.get_by_text("kept here, about").wait_for()
    page.get_by_role("button", name="Stop here").click()
    until(page, WAITS, False)
    until(page, f"{SHELLS}.then((names) => names.length)", 1)
    line.set("refused")
    after = installed.fresh()
    after.goto(HERE)
    after.get_by_text("held here, about").wait_for()

"""Takes the pictures that the README shows: `python -m tests.browser.take_pictures URL FOLDER`.

URL is that of a running service with a bank, such as the one that `quizsvc demo` prints; FOLDER is usually
`tests/browser/pictures`. Run by hand when a screen has changed; nothing compares the pictures with anything.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, PHONE

ITEM_WORDS = ("shows a differential of", "What is the cabin altitude?")
TRIES = 40


def main() -> int:
    """Drill Long sets until the item of the README is on the screen, and take its picture."""
    url, folder = sys.argv[1], Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGUMENTS)
        page = browser.new_context(viewport=PHONE, device_scale_factor=2, base_url=url).new_page()
        found = _find(page)
        if found:
            page.screenshot(path=folder / "item-360-light.png")
        browser.close()
    print("taken" if found else "the item was not asked; try again")
    return 0 if found else 1


def _find(page: Any) -> bool:
    for _ in range(TRIES):
        page.goto("/")
        page.locator("button[name=minutes][value='25']").click()
        page.wait_for_selector("[data-answer]")
        while page.locator("[data-answer]").count():
            stem = page.locator("#stem").inner_text()
            if page.locator("details.card").count() and all(word in stem for word in ITEM_WORDS):
                return True
            page.get_by_role("button", name="pass", exact=True).click()
            page.wait_for_selector("#outcome")
            page.locator(".next a.button").click()
            page.wait_for_selector("[data-answer], h1:text-is('End of set')")
    return False


if __name__ == "__main__":
    sys.exit(main())

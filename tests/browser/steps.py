"""What a person does on a screen of the drill."""

from __future__ import annotations

from typing import Any

from playwright.sync_api import expect

from tests.web.keys import fields, right, wrong

expect.set_options(timeout=60_000)  # a busy machine; Playwright's own is 5 s


# A page goes on fetching after it has come: later scripts, and where somebody is signed in, questions to keep. This
# says of a page when it is done with all of it. The first script takes the clock as it is, before a trial changes it.
WHEN_FILLED = """{
  const find = performance.getEntriesByType.bind(performance);
  const wait = setTimeout.bind(window);
  let begun = false;
  const come = async (...files) => {
    const there = (file) => find("resource").some(({ name }) => name.endsWith(`/${file}.js`));
    while (!files.every(there)) await new Promise((done) => wait(done, 20));
  };
  const said = () => (document.documentElement.dataset.filled = "");
  addEventListener("load", async () => {
    await come("installed", "outbox", "fill", "store", "send");
    if (!begun && !document.querySelector("[href='/account']")) said();
  });
  addEventListener("begun", () => {
    begun = true;
    delete document.documentElement.dataset.filled;
  });
  addEventListener("kept", async () => {
    if (document.querySelector("[data-device]")) await come("live");
    said();
  });
}"""


def filled(page: Any) -> None:
    """Wait until a page that has come, or a set that was begun on it, fetches nothing more by itself."""
    page.locator("html[data-filled]").wait_for(state="attached")


def arrive(page: Any, what: str) -> None:
    """Wait for something of a new screen, and then for its style and its scripts: a link is 19 px high without them."""
    page.locator(what).first.wait_for(state="attached")
    page.wait_for_load_state()


def start(page: Any, minutes: int | None = None) -> None:
    """Press Start, or one of the other lengths."""
    page.goto("/")
    if minutes is None:
        page.locator("button.start").click()
    else:
        page.locator(f"button[name=minutes][value='{minutes}']").first.click()
    arrive(page, "[data-answer]")


def question(page: Any) -> str:
    """The id of the question on the screen."""
    return page.locator("[data-question]").get_attribute("data-question")


def fill(page: Any, response: dict[str, Any]) -> None:
    """Pick or type an answer, as a thumb does it."""
    if page.locator("button[name=spoken]").count():
        page.locator("button[name=spoken]").click()
        arrive(page, "input[name=spoken]")
    for name, value in fields(response).items():
        if name in ("option", "options", "points"):
            for one in value if isinstance(value, list) else [value]:
                page.locator(f"label.row:has(input[value='{one}'])").click()
        elif name == "text" or name.startswith("reading-"):
            page.locator(f"[name='{name}']").fill(value)
        elif name.startswith(("place-", "after-")):
            page.locator(f"select[name='{name}']").select_option(value)
        elif name.startswith(("pair-", "row-")):
            page.locator(f"label:has(input[name='{name}'][value='{value}'])").click()


def answer(page: Any, db: Any, *, correctly: bool) -> None:
    """Answer the question on the screen and wait for its feedback, or for the next part of its scenario."""
    asked = question(page)
    fill(page, (right if correctly else wrong)(db, asked))
    page.get_by_role("button", name="Answer", exact=True).click()
    arrive(page, f"#outcome, [data-question]:not([data-question='{asked}'])")


def go_on(page: Any) -> bool:
    """Press Next or End of set, unless the next part is there already; whether another question came."""
    if page.locator("[data-answer]").count():
        return True
    before = page.url
    page.locator(".next a.button").click()
    arrive(page, "[data-answer], h1:text-is('End of set')")
    expect(page).not_to_have_url(before)
    return page.locator("[data-answer]").count() == 1

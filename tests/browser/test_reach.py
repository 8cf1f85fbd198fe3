"""axe (WCAG 2.2 AA) on every address that gives a page, for those who get it, in light and dark, on phone and desk."""

from __future__ import annotations

from urllib.parse import urlsplit

import pytest

from quizsvc.settings import settings_from
from quizsvc.web.app import create_app
from tests.browser import axe, steps
from tests.browser.screens import INSTRUCTOR, KINDS, NOBODY, PILOT, REVIEWER, drill_addresses, unfold, visitor, world

pytestmark = pytest.mark.browser

BENCH = "/bench/tolquenny-19"

# Every GET route with example addresses of its own, by who gets them. Those without a page say what they give.
PAGES = {
    "/": {NOBODY: ["/"], PILOT: ["/"]},
    "/about": {NOBODY: ["/about"]},
    "/cautions": {NOBODY: ["/cautions"]},
    "/sign-in": {NOBODY: ["/sign-in"]},
    "/sign-up": {NOBODY: ["/sign-up"]},
    "/link/<secret>": {NOBODY: ["/link/{link}", "/link/nothing"]},
    "/claim": {},  # a test of its own: the offer comes only after answers without a name
    "/log": {PILOT: ["/log", "/log?outcome=miss", "/log?outcome=void&system=none"]},
    "/thin-spots": {PILOT: ["/thin-spots"], REVIEWER: ["/thin-spots"]},
    "/plan": {PILOT: ["/plan"], REVIEWER: ["/plan"]},
    "/plan/check-date": {
        PILOT: ["/plan/check-date", "/plan/check-date?last_check=2026-03-31&interval=12&counted=own"],
    },
    "/plan/debrief": {PILOT: ["/plan/debrief"]},
    "/expectation": {PILOT: ["/expectation"], REVIEWER: ["/expectation"]},
    "/on-this-device": {NOBODY: ["/on-this-device"], PILOT: ["/on-this-device"]},
    "/account": {PILOT: ["/account"], REVIEWER: ["/account"]},
    "/account/password": {PILOT: ["/account/password"]},
    "/account/devices": {PILOT: ["/account/devices"]},
    "/account/delete": {PILOT: ["/account/delete"]},
    "/handbook": {NOBODY: ["/handbook"]},
    "/handbook/<aircraft>/<section>": {
        NOBODY: ["/handbook/tolquenny-19/21-10", "/handbook/tolquenny-19/99"],
        PILOT: ["/handbook/tolquenny-19/21-10?from={asked}"],
    },
    "/bench": {NOBODY: ["/bench"]},
    "/bench/<aircraft>": {
        NOBODY: [BENCH],
        PILOT: [f"{BENCH}?fail=L_GEN&fail=TIE&node=SPDBRK", f"{BENCH}?fail=RELIEF&fail=CPC&at-BLEED=OFF"],
    },
    "/bank-desk": {REVIEWER: ["/bank-desk"], PILOT: ["/bank-desk"]},
    "/bank-desk/handbook": {REVIEWER: ["/bank-desk/handbook"]},
    "/bank-desk/handbook/<number:revision_id>": {REVIEWER: ["{school[handbook]}"]},
    "/bank-desk/new": {REVIEWER: ["/bank-desk/new"]},
    "/bank-desk/items/<desk_item>": {
        REVIEWER: [
            "{school[desk item]}",
            "{school[own desk item]}",
            "{school[withdrawn desk item]}",
            "{school[desk item out of use]}",
            "{school[desk item left behind]}",
        ],
    },  # fmt: skip
    "/preview": {REVIEWER: ["/preview", "/preview?q=gauge"], PILOT: ["/preview"]},
    "/preview/<item>": {REVIEWER: [f"/preview/asked-as-{kind}" for kind in sorted({*KINDS, "scenario"})]},
    "/sets/<key:set_id>": {PILOT: ["/sets/{ended_set}", "/sets/{open_set}"]},
    "/questions/<key:question_id>": {},  # drill_addresses
    "/homework": {PILOT: ["/homework"], REVIEWER: ["/homework"]},
    "/homework/<number:assignment_id>": {PILOT: ["{homework[begun]}", "{homework[not begun]}", "{homework[over]}"]},
    "/works/<key:work_id>": {PILOT: ["{homework[work]}", "{homework[work handed in]}", "{homework[work told]}"]},
    "/works/<key:work_id>/questions/<key:question_id>": {
        PILOT: ["{homework[number]}", "{homework[part]}", "{homework[match]}", "{homework[feedback]}"]
    },
    "/works/<key:work_id>/all": {PILOT: ["{homework[all]}"]},
    "/works/<key:work_id>/hand-in": {PILOT: ["{homework[hand in]}"]},
    "/works/<key:work_id>/receipt": {PILOT: ["{homework[receipt]}"]},
    "/account/notices": {PILOT: ["/account/notices"], INSTRUCTOR: ["/account/notices"]},
    "/account/re-marks": {PILOT: ["/account/re-marks"]},
    "/account/calendar": {PILOT: ["/account/calendar"]},
    "/account/looks": {PILOT: ["/account/looks"], INSTRUCTOR: ["/account/looks"]},
    "/account/sharing": {PILOT: ["/account/sharing"]},
    "/account/squawks": {PILOT: ["/account/squawks"]},
    "/join": {NOBODY: ["/join"], PILOT: ["/join"]},
    "/join/<code>": {
        NOBODY: ["{school[code]}", "/join/22222222"],
        PILOT: ["{school[code]}"],
        REVIEWER: ["{school[code]}"],
    },
    "/desk": {INSTRUCTOR: ["/desk"], PILOT: ["/desk"]},
    "/groups/new": {INSTRUCTOR: ["/groups/new"]},
    "/groups/<number:group_id>": {INSTRUCTOR: ["{school[group]}", "{school[empty]}"], PILOT: ["{school[group]}"]},
    "/groups/<number:group_id>/code": {INSTRUCTOR: ["{school[group]}/code", "{school[empty]}/code"]},
    "/groups/<number:group_id>/roll": {INSTRUCTOR: ["{school[group]}/roll", "{school[empty]}/roll"]},
    "/groups/<number:group_id>/roll/links": {INSTRUCTOR: ["{school[group]}/roll/links", "{school[empty]}/roll/links"]},
    "/groups/<number:group_id>/assignments/new": {INSTRUCTOR: ["{school[group]}/assignments/new"]},
    "/assignments/<number:assignment_id>": {INSTRUCTOR: ["{school[assignment]}", "{school[draft]}"]},
    "/assignments/<number:assignment_id>/items": {INSTRUCTOR: ["{school[draft]}/items"]},
    "/assignments/<number:assignment_id>/rules": {INSTRUCTOR: ["{school[assignment]}/rules", "{school[draft]}/rules"]},
    "/assignments/<number:assignment_id>/preview": {INSTRUCTOR: ["{school[draft]}/preview"]},
    "/assignments/<number:assignment_id>/preview/<number:person_id>": {
        INSTRUCTOR: ["{school[assignment]}/preview/{school[person]}"]
    },
    "/assignments/<number:assignment_id>/print": {INSTRUCTOR: ["{school[assignment]}/print"]},
    "/assignments/<number:assignment_id>/print/answers": {INSTRUCTOR: ["{school[assignment]}/print/answers"]},
    "/assignments/<number:assignment_id>/allowances": {INSTRUCTOR: ["{school[assignment]}/allowances"]},
    "/assignments/<number:assignment_id>/spread": {INSTRUCTOR: ["{school[told]}/spread"]},
    "/assignments/<number:assignment_id>/statistics": {INSTRUCTOR: ["{school[told]}/statistics"]},
    "/assignments/<number:assignment_id>/marks": {INSTRUCTOR: ["{school[told]}/marks"]},
    "/assignments/<number:assignment_id>/marks/<who:person_id>": {
        INSTRUCTOR: ["{school[told]}/marks/{school[person]}"]
    },
    "/assignments/<number:assignment_id>/places/<number:place>/re-mark": {
        INSTRUCTOR: ["{school[assignment]}/places/1/re-mark"]
    },
    "/squawks": {INSTRUCTOR: ["/squawks"], REVIEWER: ["/squawks"]},
    "/squawks/<number:squawk_id>": {INSTRUCTOR: ["{school[squawk]}"], REVIEWER: ["{school[squawk]}"]},
    "/groups/<number:group_id>/practice": {INSTRUCTOR: ["{school[group]}/practice"]},
    "/training": {REVIEWER: ["/training"]},
    "/training/groups": {REVIEWER: ["/training/groups"]},
    "/people/<number:person_id>/evidence": {
        who: ["/people/{school[person]}/evidence"] for who in (PILOT, INSTRUCTOR, REVIEWER)
    },
    "/people/<number:person_id>/evidence.html": {REVIEWER: ["/people/{school[person]}/evidence.html"]},
}
# Those of a role alone are looked at as what they are by test_monday, test_evidence and test_calendar.
NO_PAGES_OF = {
    "/training.csv",
    "/assignments/<number:assignment_id>/marks.csv",
    "/people/<number:person_id>/evidence.csv",
    "/people/<number:person_id>/evidence.json",
    "/files/<key:file_id>",
    "/closings/<feed_secret>.ics",
}
NO_PAGES = {
    "/static/<path:filename>": "/static/icon.svg",
    "/health": "/health",
    "/api/v1/openapi.json": "/api/v1/openapi.json",
    "/account/export.csv": "/account/export.csv",
    "/account/export.json": "/account/export.json",
    "/preview/version.json": "/preview/version.json",
    "/bank-desk/export.yaml": "/bank-desk/export.yaml",
    "/sw.js": "/sw.js",
    "/manifest.webmanifest": "/manifest.webmanifest",
}
ELSEWHERE = ["/nowhere"]
REFUSED = {"/nowhere": 404, "/link/nothing": 404, "/handbook/tolquenny-19/99": 404, f"/preview of {PILOT}": 404}
REFUSED |= {"/join/22222222": 404, f"/desk of {PILOT}": 404, f"/bank-desk of {PILOT}": 404}


@pytest.fixture(scope="module")
def made(templates, tmp_path_factory):
    """One service for the whole file: nothing here changes it."""
    with world(templates, tmp_path_factory.mktemp("reach")) as whole:
        yield whole


@pytest.fixture
def routes(made, tmp_path):
    """Every rule that answers GET."""
    app = create_app(settings_from({"QUIZSVC_DATA_DIR": str(tmp_path)}), db=made.site.db)
    return {rule.rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())}


def addresses(made, routes, who):
    """What that person is shown: example addresses of every route, and for the pilot the whole drill."""
    values = {**vars(made), "asked": made.asked["number"]}
    found = {one: one.format_map(values) for rule in routes & set(PAGES) for one in PAGES[rule].get(who, ())}
    if who == NOBODY:
        found |= {one: one for one in ELSEWHERE}
    if who == PILOT:
        # How an answer turned out changes words and shapes only, so one kind shows the other outcomes.
        left_out = {
            f"feedback: {kind}, {outcome}" for kind, outcome in made.told if kind != "one" and outcome != "miss"
        }
        found |= {name: one for name, one in drill_addresses(made).items() if name not in left_out}
    return found


def test_every_route_has_a_row(routes):
    """A new address without an example here is a page that nobody has looked at."""
    assert routes - set(PAGES) - set(NO_PAGES) - NO_PAGES_OF == set()


def test_what_is_called_no_page_is_none(made, routes, chromium):
    """So that a page cannot hide there."""
    page = visitor(chromium, made, REVIEWER)
    for rule, address in NO_PAGES.items():
        if rule in routes:
            answer = page.request.get(address)
            assert answer.ok, address
            assert "text/html" not in answer.headers["content-type"], address


def look(page, name, found):
    """Run axe with every fold open."""
    unfold(page)
    axe.look(page, name, found)


@pytest.mark.parametrize("who", [NOBODY, PILOT, REVIEWER, INSTRUCTOR])
def test_axe_finds_nothing_on_any_address(made, chromium, routes, who):
    """WCAG 2.2 AA, all rules that a program can check; every fold open; and no two screens have the same title."""
    page, found, statuses, titles = visitor(chromium, made, who), [], {}, {}
    for name, address in addresses(made, routes, who).items():
        answer = page.goto(address)
        assert answer.headers["content-type"].startswith("text/html"), address
        statuses[name] = (answer.status, REFUSED.get(name, REFUSED.get(f"{name} of {who}", 200)))
        if answer.status == 200:
            titles.setdefault(page.title(), set()).add(urlsplit(page.url).path)
        look(page, name, found)

    assert found == []
    assert {name: pair for name, pair in statuses.items() if pair[0] != pair[1]} == {}
    assert page.faults == []
    assert {title: paths for title, paths in titles.items() if len(paths) > 1} == {}


def test_axe_finds_nothing_for_a_person_without_a_name(made, chromium):
    """First screens, settings and sign-in of somebody who has only answered, a refused form, and the offer to claim."""
    page, found = visitor(chromium, made, NOBODY), []
    steps.start(page)
    steps.answer(page, made.site.db, correctly=False)
    for address in ("/", "/account", "/account/delete", "/log", "/thin-spots", "/sign-up"):
        page.goto(address)
        look(page, address, found)
    page.goto("/sign-in")
    for password, what in (("wrong lantern nine", "#refusal"), ("ochre lantern nine", "button[name=accept]")):
        page.get_by_label("Name").fill(f"Aluna Dreywick {PILOT}")
        page.get_by_label("Password").fill(password)
        page.get_by_role("button", name="Sign in").click()
        steps.arrive(page, what)
        look(page, f"signed in with {password}", found)

    assert page.url.endswith("/claim")
    page.context.clear_cookies(name="form")
    with page.expect_navigation():
        page.locator("button[name=accept]").first.click()
    look(page, "a form that is too old", found)
    assert found == []
    assert page.faults == []

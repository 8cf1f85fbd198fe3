"""Who may see what: every route, for a visitor, for its person and for another person."""

from __future__ import annotations

import logging
import re

import pytest

# What anybody may open. Every other GET route belongs to a person.
OPEN = {
    "/": 200,
    "/about": 200,
    "/cautions": 200,
    "/handbook": 200,
    "/health": 200,
    "/join": 200,
    "/manifest.webmanifest": 200,
    "/on-this-device": 200,
    "/sign-in": 200,
    "/sign-up": 200,
    "/sw.js": 200,
    "/api/v1/openapi.json": 200,
}
OWN = (
    "/account",
    "/account/calendar",
    "/account/delete",
    "/account/devices",
    "/account/export.csv",
    "/account/export.json",
    "/account/looks",
    "/account/notices",
    "/account/password",
    "/account/re-marks",
    "/account/sharing",
    "/account/squawks",
    "/homework",
    "/log",
    "/thin-spots",
    "/expectation",
    "/plan",
    "/plan/check-date",
    "/plan/debrief",
)
# Addresses with a part that varies, and static files; each has its own test here.
VARYING = {
    "/training",  # of the head of training, as what follows with a person or a file: test_evidence
    "/training.csv",
    "/training/groups",  # test_groups
    "/people/<number:person_id>/evidence",
    "/people/<number:person_id>/evidence.csv",
    "/people/<number:person_id>/evidence.html",
    "/people/<number:person_id>/evidence.json",
    "/files/<key:file_id>",
    "/groups/<number:group_id>/practice",
    "/closings/<feed_secret>.ics",  # test_calendar
    "/assignments/<number:assignment_id>",  # of instructors, as what follows it: test_assignments
    "/assignments/<number:assignment_id>/allowances",
    "/assignments/<number:assignment_id>/items",
    "/assignments/<number:assignment_id>/marks",  # test_monday, with those below that are of instructors too
    "/assignments/<number:assignment_id>/marks.csv",
    "/assignments/<number:assignment_id>/marks/<who:person_id>",
    "/assignments/<number:assignment_id>/places/<number:place>/re-mark",
    "/assignments/<number:assignment_id>/spread",
    "/assignments/<number:assignment_id>/statistics",
    "/squawks",
    "/squawks/<number:squawk_id>",
    "/assignments/<number:assignment_id>/preview",
    "/assignments/<number:assignment_id>/preview/<number:person_id>",
    "/assignments/<number:assignment_id>/print",
    "/assignments/<number:assignment_id>/print/answers",
    "/assignments/<number:assignment_id>/rules",
    "/bank-desk",  # of authors and reviewers, as what follows: test_bank_desk
    "/bank-desk/export.yaml",
    "/bank-desk/handbook",
    "/bank-desk/handbook/<number:revision_id>",
    "/bank-desk/items/<desk_item>",
    "/bank-desk/new",
    "/bench",
    "/bench/<aircraft>",
    "/claim",
    "/desk",  # of instructors, as what follows with a group: test_groups
    "/groups/<number:group_id>",
    "/groups/<number:group_id>/assignments/new",
    "/groups/<number:group_id>/code",
    "/groups/<number:group_id>/roll",
    "/groups/<number:group_id>/roll/links",
    "/groups/new",
    "/handbook/<aircraft>/<section>",
    "/homework/<number:assignment_id>",  # as what follows with a work: test_homework
    "/join/<code>",
    "/link/<secret>",
    "/preview",  # of a role: test_preview
    "/preview/<item>",
    "/preview/version.json",
    "/questions/<key:question_id>",
    "/sets/<key:set_id>",
    "/static/<path:filename>",
    "/works/<key:work_id>",
    "/works/<key:work_id>/all",
    "/works/<key:work_id>/hand-in",
    "/works/<key:work_id>/questions/<key:question_id>",
    "/works/<key:work_id>/receipt",
}


def test_every_page_is_in_one_of_the_lists(app):
    """A new page fails here until somebody has said who may see it."""
    pages = {rule.rule for rule in app.url_map.iter_rules() if "GET" in rule.methods}

    assert pages == set(OPEN) | set(OWN) | VARYING


@pytest.mark.parametrize("path", sorted(OPEN))
def test_open_pages_open_to_anybody(visitor, path):
    """Without a session."""
    assert visitor.client.get(path).status_code == OPEN[path]


@pytest.mark.parametrize("path", [*OWN, "/claim", "/sets/" + "0" * 32, "/questions/" + "0" * 32])
def test_own_pages_lead_a_visitor_to_sign_in(visitor, path):
    """And back to the page afterwards."""
    response = visitor.client.get(path)

    assert response.status_code == 303
    assert response.headers["Location"] == f"/sign-in?next={path}"


@pytest.mark.parametrize("path", OWN)
def test_own_pages_open_to_their_person(member, path):
    """Signed in."""
    assert member.client.get(path).status_code == 200


@pytest.mark.parametrize("path", OWN)
def test_a_made_up_cookie_is_nobody(visitor, path):
    """A guessed session, an empty one, one with bytes that no session has."""
    for value in ("0" * 43, "", "ä", "x" * 4000):
        visitor.client.set_cookie("session", value)

        assert visitor.client.get(path).status_code == 303


class TestAnotherPersons:
    @pytest.fixture
    def other(self, browsers):
        """Somebody with a set of their own, and its addresses."""
        one = browsers()
        one.start()
        one.pass_on()
        return one

    def test_another_persons_question_looks_like_an_unknown_one(self, other, member, caplog):
        """404 alike to the last letter, and logged with who asked."""
        question = other.path
        with caplog.at_level(logging.WARNING):
            foreign = member.client.get(question)
            unknown = member.client.get("/questions/" + "0" * 32)

        assert foreign.status_code == unknown.status_code == 404
        assert foreign.get_data() == unknown.get_data()
        assert [record.getMessage() for record in caplog.records if question in record.getMessage()]

    def test_another_persons_set_looks_like_an_unknown_one(self, other, member):
        """To look at, to end, to take again."""
        own_set = next(form.action for form in other.page.forms if form.action.endswith("/end")).removesuffix("/end")
        token = dict(member.get("/account").form("/sign-out").fields)
        for path in (own_set, "/sets/" + "0" * 32):
            assert member.client.get(path).status_code == 404
            assert member.client.post(path + "/end", data=token).status_code == 404
            assert member.client.post(path + "/repeats", data=token).status_code == 404
        assert "End of set" not in other.get(own_set).heading

    def test_nobody_answers_or_disputes_for_another(self, browsers, member):
        """404, and the question stays open."""
        one = browsers()
        one.start()
        question = one.path
        token = dict(member.get("/account").form("/sign-out").fields)
        answer = {**token, "uuid": "6f0e3a52-0d4b-4e6c-9a52-111111111111", "pass": "1"}

        assert member.client.post(question + "/answers", data=answer).status_code == 404
        assert member.client.post(question + "/squawks", data={**token, "text": "mine"}).status_code == 404
        assert one.get(question).has_form(question + "/answers")

    def test_nobody_signs_another_out(self, browsers, member):
        """A device of another person is not there."""
        other = browsers()
        other.send(other.get("/sign-up").form("/sign-up"), name="Aluna Dreywick", password="ochre lantern nine")
        end = next(form.action for form in other.get("/account/devices").forms if form.action.endswith("/end"))
        token = dict(member.get("/account").form("/sign-out").fields)
        member.client.post(end, data=token)

        assert other.get("/account") and other.path == "/account"


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("get", "/nowhere"),
        ("get", "/questions/xyz"),
        ("get", "/questions/" + "A" * 32),
        ("get", "/sets/" + "0" * 33),
        ("get", f"/sets/{2**70}"),
        ("get", "/handbook/tolquenny-19/99-99"),
        ("get", "/handbook/no-such/21-10"),
        ("get", "/static/../app.py"),
        ("get", "/static/%2e%2e/app.py"),
        ("get", "/link/unknown"),
    ],
)
def test_what_is_not_there_is_a_404_with_a_sentence(member, method, path):
    """Never a 500, and always a way on."""
    response = getattr(member.client, method)(path)

    assert response.status_code == 404
    assert "Nothing at this address" in response.get_data(as_text=True)
    assert 'href="/"' in response.get_data(as_text=True)


def test_static_files_are_kept_by_browsers_and_versioned(visitor):
    """A year, under an address that changes with the file."""
    page = visitor.get("/")
    addresses = [tag[1]["href"] for tag in page.tags if tag[0] == "link"] + [
        tag[1]["src"] for tag in page.tags if tag[0] == "script"
    ]

    assert len(addresses) >= 3
    for address in addresses:
        response = visitor.client.get(address, buffered=True)
        assert response.status_code == 200
        if address == "/manifest.webmanifest":
            assert response.headers["Cache-Control"] == "no-cache"
            continue
        assert re.match(r"/static/v-[0-9a-f]{12}/", address)
        assert "max-age=31536000" in response.headers["Cache-Control"]
        # The same file by an old version, or by none, is looked after at each visit.
        for other in (re.sub("v-[0-9a-f]{12}", "v-0123456789ab", address), re.sub("v-[0-9a-f]{12}/", "", address)):
            again = visitor.client.get(other, buffered=True)
            assert again.data == response.data and "max-age=31536000" not in again.headers["Cache-Control"]


def test_health_says_database_migration_and_bank(visitor):
    """One word each."""
    seen = visitor.client.get("/health").get_json()

    assert seen["ok"] is True
    assert set(seen) == {"ok", "database", "migration", "bank"}

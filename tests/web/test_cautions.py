"""Every route and export, and the cautions it owes (domain/vocabulary.md, the table of C-ids)."""

from __future__ import annotations

import json

import pytest

from quizsvc.services import reading
from quizsvc.store.tables import Concept, Question, Revision
from quizsvc.web.cautions import WITHOUT_DATABASE

# What a page owes beyond C1 at its foot and C2 in its header band, which every page owes.
OWED = {
    "/": {"C9"},
    "/about": {"C4", "C7"},
    "/account/sharing": {"C7"},
    "/join": {"C7"},
    "/on-this-device": {"C9"},
    "/sign-in": {"C7"},
    "/sign-up": {"C7"},
    "/thin-spots": {"C4"},
    "/training": {"C4"},
    "/training/groups": {"C4"},
    "/expectation": {"C4"},
    "/plan": {"C4"},
    "/plan/check-date": {"C4"},  # and C12 with the day its text was read: test_plan
    "/plan/debrief": {"C4"},
}


def _pages(app):
    return sorted(
        rule.rule
        for rule in app.url_map.iter_rules()
        if "GET" in rule.methods and "<" not in rule.rule and not rule.rule.endswith((".json", ".csv", ".yaml"))
        # No screens: a program's answer, a script, the words under an icon.
        and rule.rule not in ("/health", "/claim", "/sw.js", "/manifest.webmanifest")
    )  # fmt: skip


def test_every_page_carries_its_cautions_in_the_banks_words(app, bank_db, browsers, member):
    """Walks every page without a variable part, signed in and not."""
    words = reading.cautions(bank_db)
    for visitor in (browsers(), member):
        for path in _pages(app):
            page = visitor.get(path)
            # A screen of a role that this visitor lacks is not there for them: its own tests look at its cautions.
            there = visitor.path == path and visitor.status == 200
            owed = {"C1", "C2"} | (OWED.get(path, set()) if there else set())

            assert owed <= set(page.cautions), f"{path} lacks {owed - set(page.cautions)}"
            for one in owed - {"C7"}:
                assert page.cautions[one] == words[one], path
            if "C7" in owed:
                assert page.cautions["C7"] == words["C7"].replace("{text}", "nobody else sees practice answers")


def test_c1_stands_above_start_and_at_the_foot(visitor):
    """Both places."""
    html = visitor.get("/").html
    start = html.index('name="minutes"')

    assert 'data-caution="C1"' in html[:start]
    assert 'data-caution="C1"' in html[start:]


def test_every_item_carries_its_cautions_on_question_and_feedback(visitor, bank_db, clock):
    """Inside the item, not only on the page around it: C2 on each of the aircraft's, C10 with a pressure card."""
    words = reading.cautions(bank_db)
    seen = set()
    for _ in range(12):
        visitor.start(minutes=25, long=True)
        while "/questions/" in visitor.path:
            for step in ("question", "feedback"):
                item = visitor.page.html[visitor.page.html.index("<article") :]
                owed = _owed_by_item(visitor, bank_db)
                seen |= owed
                for one in owed:
                    assert f'data-caution="{one}"' in item, f"{visitor.path} ({step}) lacks {one}"
                    assert visitor.page.cautions[one].startswith(words[one].split("{")[0])
                assert "C1" in visitor.page.cautions
                if step == "question":
                    visitor.pass_on()
            visitor.next()
        if {"C2", "C10"} <= seen:
            break
        clock.advance(days=1)

    assert {"C2", "C10"} <= seen


def _owed_by_item(visitor, db):
    with db.reading() as session:
        question = session.get(Question, visitor.path.split("/")[2])
        folder = session.get(Concept, question.concept_id).folder
        body = json.loads(session.get(Revision, question.revision_id).body)
    owed = set()
    if body.get("aircraft") or folder != "general":
        owed.add("C2")
    if body.get("how") == "table":
        owed.add("C10")
    return owed | set(question.record.get("cautions", ()))


def test_error_pages_carry_the_foot(visitor):
    """Also where there is nothing."""
    page = visitor.get("/nowhere")

    assert {"C1", "C2"} <= set(page.cautions)


def test_exports_and_calls_carry_their_cautions(member):
    """JSON and CSV exports: C1, C2, C4; the answer call: C1 and the item's own."""
    member.start()
    member.pass_on()
    exported = json.loads(member.client.get("/account/export.json").get_data(as_text=True))

    assert {"C1", "C2", "C4"} <= set(exported["cautions"])
    assert "Not for operational use." in member.client.get("/account/export.csv").get_data(as_text=True)
    assert "Not for operational use." in member.client.get("/api/v1/openapi.json").get_data(as_text=True)


def test_the_words_for_a_lost_database_are_the_banks(bank_db):
    """The foot of a page is owed when the database is away too."""
    words = reading.cautions(bank_db)
    for one, text in WITHOUT_DATABASE.items():
        assert words[one] == text


@pytest.mark.parametrize("path", ["/claim"])
def test_the_claim_page_carries_the_foot(member, browsers, path):
    """It shows only after signing in with answers on the device."""
    other = browsers()
    other.start()
    other.pass_on()
    other.send(other.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")

    assert other.path == path
    assert {"C1", "C2"} <= set(other.page.cautions)

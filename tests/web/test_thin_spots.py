"""Thin spots: two of each system shown, the rest in folds that say what is in them; no concept is left out."""

from __future__ import annotations

import itertools
import re
from collections import Counter

import pytest
from sqlalchemy import select

from quizsvc.services import holds
from quizsvc.store.tables import Concept, Item, Person
from tests.web.keys import fields, right


@pytest.fixture
def systems(bank_db):
    """The system of each concept with a live item, from the database itself."""
    live = select(Concept.id, Concept.system).join(Item, Item.concept_id == Concept.id).where(Item.status == "live")
    with bank_db.reading() as session:
        return dict(session.execute(live).all())


def drill(visitor, clock, days):
    """Pass every question of a set a day."""
    for _ in range(days):
        visitor.start(minutes=10)
        while "/questions/" in visitor.path:
            visitor.pass_on()
            visitor.next()
        clock.advance(days=1)


def rows(html):
    """Concept and state of each row."""
    return re.findall(r'<li data-concept="([^"]+)">.*?<b>(\w+)', html, re.DOTALL)


def parts(visitor):
    """By the name of a system: the rows shown, the rows in its fold, and the words of the fold."""
    html = visitor.client.get("/thin-spots").get_data(as_text=True)
    found = {}
    for part in html.split("<h2>")[1:]:
        name = part.split("</h2>")[0]
        shown, _, fold = part.partition("<details")
        summary = re.search(r"<summary>(.*?)</summary>", fold, re.DOTALL)
        found[name] = (rows(shown), rows(fold), re.sub(r"<[^>]+>", "", summary[1]) if summary else "")
    counts = found.pop("How many of each", None)  # no table of noughts before the first answer
    assert (counts is None) == (not any(shown for shown, _, _ in found.values()))
    assert counts in (None, ([], [], ""))
    return found


@pytest.mark.parametrize("days", [0, 1, 4])
def test_every_concept_stands_there_once_under_its_system(visitor, clock, systems, days):
    """Before the first answer, after a few, and when all was asked; at most two of a system, none untried, unfolded."""
    visitor.start()
    drill(visitor, clock, days)
    found = parts(visitor)

    listed = [(concept, name) for name, (shown, folded, _) in found.items() for concept, _ in (*shown, *folded)]
    assert sorted(listed) == sorted((one, name[:1].upper() + name[1:]) for one, name in systems.items())
    for shown, _, _ in found.values():
        assert len(shown) <= 2
        assert "untried" not in dict(shown).values()
    assert any(shown for shown, _, _ in found.values()) == (days > 0)


@pytest.mark.parametrize("days", [0, 1, 4])
def test_a_fold_says_what_is_in_it(visitor, clock, systems, days):
    """How many, of which system, and how many of each state."""
    visitor.start()
    drill(visitor, clock, days)
    seen = 0
    for name, (shown, folded, words) in parts(visitor).items():
        if not folded:
            assert words == ""
            continue
        count = Counter(state for _, state in folded)
        told = re.fullmatch(r"(\d+) (more )?of ([^:,]+)(?:: (.+)|, (?:all )?(\w+))", words)
        assert told, words
        assert (int(told[1]), bool(told[2])) == (len(folded), bool(shown))
        assert told[3].lower() == name.lower()
        if told[5]:
            assert count == {told[5]: len(folded)}
        else:
            assert {state: int(n) for n, state in (one.split() for one in told[4].split(", "))} == count
        seen += 1
    assert seen


def test_the_thinnest_are_those_shown(visitor, clock, bank_db):
    """Of a system no concept in the fold is expected less than one that is shown; reckoned from the same memory."""
    visitor.start(minutes=25, long=True)
    for place in itertools.count():
        if "/questions/" not in visitor.path:
            break
        if place % 2:
            visitor.send(visitor.answer_form(), **fields(right(bank_db, visitor.question)))
        else:
            visitor.pass_on()
        visitor.next()
    clock.advance(days=1)
    drill(visitor, clock, 1)
    with bank_db.reading() as session:
        person = session.scalars(select(Person.id)).one()
    expected = {row.concept: row.expectation for row in holds.thin_spots(bank_db, person, now=clock()).rows}
    thinner = 0
    for shown, folded, _ in parts(visitor).values():
        upper = [expected[concept] for concept, _ in shown]
        lower = [expected[concept] for concept, state in folded if state != "untried"]
        assert upper == sorted(upper)
        assert lower == sorted(lower)
        if upper and lower:
            assert upper[-1] <= lower[0]
            thinner += upper[0] < lower[-1]
    assert thinner

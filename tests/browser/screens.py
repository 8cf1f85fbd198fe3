"""A service with something on every screen: persons, questions of each kind open and answered, and their addresses."""

from __future__ import annotations

import random
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from quizsvc.services import accounts, issuing, practice
from quizsvc.store import questions
from quizsvc.store.tables import Item, PracticeSet
from tests.browser.conftest import Site, serving
from tests.browser.desk_screens import desk_addresses
from tests.browser.homework_screens import homework_addresses
from tests.browser.school_screens import school_addresses
from tests.browser.steps import WHEN_FILLED
from tests.web.keys import right, wrong

NOBODY, PILOT, REVIEWER, INSTRUCTOR = "nobody", "a pilot", "a reviewer", "an instructor"
KINDS = {"one", "some", "number", "order", "match", "still-works", "gauge", "profile", "say"}

# The outcomes that a person can bring about, and what brings each.
RESPONSES: dict[str, Callable[[Any, str], dict[str, Any]]] = {
    "full": right,
    "miss": wrong,
    "pass": lambda db, question_id: {"pass": True},
}


@dataclass
class World:
    """What the addresses of the screens need."""

    site: Site
    tokens: dict[str, str] = field(default_factory=dict)
    link: str = ""
    open_set: str = ""
    ended_set: str = ""
    asked: dict[str, str] = field(default_factory=dict)
    """Open questions by kind, those of the scenario as `one (b)`."""
    told: dict[tuple[str, str], str] = field(default_factory=dict)
    """Answered questions by kind and outcome; of the scenario the last part, whose screen shows them all."""
    homework: dict[str, str] = field(default_factory=dict)
    """Addresses of homework, by what they show."""
    school: dict[str, str] = field(default_factory=dict)
    """Addresses of the instructor's groups and assignments, by what they show."""
    kept: str = ""
    """A part of a scenario that is answered while its feedback waits."""


@contextmanager
def world(templates: Any, folder: Path) -> Iterator[World]:
    """The service with the bank that has every kind; a pilot with a name, a reviewer, their sets, open and ended."""
    bank = templates.folder / "sqlite-kinds"
    with serving(templates, folder, "kinds", QUIZSVC_BANK=str(bank)) as site:
        made = World(site)
        now = datetime.now(UTC)
        long_ago = now - timedelta(days=3)
        ids = {}
        for who, roles in (
            (PILOT, ("pilot",)), (REVIEWER, ("pilot", "reviewer", "item author", "head of training")),
            (INSTRUCTOR, ("pilot", "instructor")),
        ):  # fmt: skip
            name = f"Aluna Dreywick {who}"
            accounts.add_account(site.db, name, roles, now=long_ago)
            secret = accounts.make_link(site.db, name, hours=24, by=None, now=long_ago)
            signed_in = accounts.use_link(
                site.db, secret, "ochre lantern nine", device="Firefox on Linux", now=long_ago
            )
            made.tokens[who], ids[who] = signed_in.token, signed_in.person.id
            if who == PILOT:
                _drill(made, signed_in.person.id, now)
                made.homework = homework_addresses(site.db, signed_in.person.id, now)
        asked = made.asked["number"]
        made.school = school_addresses(site.db, ids[INSTRUCTOR], ids[PILOT], made.homework, asked, now)
        made.school |= desk_addresses(site.db, ids[REVIEWER], now)
        accounts.add_account(site.db, "Pim Holloquist", now=now)
        made.link = accounts.make_link(site.db, "Pim Holloquist", hours=24, by=None, now=now)
        yield made


def _drill(made: World, person_id: int, now: datetime) -> None:
    db = made.site.db
    # On separate days, so that there is enough to say for an expectation.
    for day, (outcome, respond) in enumerate(RESPONSES.items()):
        then = now - timedelta(days=len(RESPONSES) - 1 - day)
        made.ended_set, rows = _one_of_each(db, person_id, then)
        for row in rows:
            asked = respond(db, row["id"])
            practice.record_answer(
                db, person_id, row["id"], uuid=str(uuid.uuid4()), raw=asked, sureness="think", now=then,
                rng=random.Random(19),
            )  # fmt: skip
            made.told["scenario" if row["part"] else row["kind"], outcome] = row["id"]
        practice.end_set(db, person_id, made.ended_set, now=then)
    # Readings right and the wrong option: in part.
    _, rows = _one_of_each(db, person_id, now)
    partly = next(row["id"] for row in rows if row["kind"] == "gauge")
    practice.record_answer(
        db, person_id, partly, uuid=str(uuid.uuid4()), sureness="guess", now=now,
        raw=right(db, partly) | {"option": wrong(db, partly)["option"]},
    )  # fmt: skip
    made.told["gauge", "part"] = partly
    # A second answer to a question is kept as void, which the Log shows.
    practice.record_answer(
        db, person_id, made.told["one", "full"], uuid=str(uuid.uuid4()), raw={"pass": True}, sureness=None, now=now
    )
    made.open_set, rows = _one_of_each(db, person_id, now)
    made.asked = {f"{row['kind']} ({row['part']})" if row["part"] else row["kind"]: row["id"] for row in rows}
    made.kept = made.asked["number (a)"]
    practice.record_answer(
        db, person_id, made.kept, uuid=str(uuid.uuid4()), raw=right(db, made.kept), sureness=None, now=now,
        rng=random.Random(19),
    )  # fmt: skip


def _one_of_each(db: Any, person_id: int, now: datetime) -> tuple[str, list[dict[str, Any]]]:
    """Write one question of every live item, in one set."""
    set_id = uuid.uuid4().hex
    live = sa.select(Item.revision_id).where(Item.status == "live").order_by(Item.id)
    with db.writing() as session:
        session.add(PracticeSet(id=set_id, person_id=person_id, long=True, minutes=25, started_at=now))
        session.flush()
        drawn = [
            one
            for revision in session.scalars(live)
            for one in issuing.drafts(session, person_id, revision, random.Random(19))
        ]
        rows = [
            one.row(person_id=person_id, set_id=set_id, position=position, reason="Due today.", now=now)
            for position, one in enumerate(drawn, 1)
        ]
        questions.add_questions(session, rows)
    return set_id, rows


def visitor(chromium: Any, made: World, who: str, **options: Any) -> Any:
    """A page of a browser in which that person is signed in; what its pages may not do is collected in `faults`."""
    context = chromium.new_context(
        base_url=made.site.url, **({"reduced_motion": "reduce", "service_workers": "block"} | options)
    )
    context.set_default_timeout(30_000)
    context.add_init_script(WHEN_FILLED)
    made.site.contexts.append(context)
    if who in made.tokens:
        context.add_cookies([{"name": "session", "value": made.tokens[who], "url": made.site.url}])
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on(
        "console",
        lambda message: page.faults.append(message.text) if "Content Security Policy" in message.text else None,
    )
    return page


def unfold(page: Any) -> None:
    """Open every fold, so that all of a screen is looked at."""
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


def drill_addresses(made: World) -> dict[str, str]:
    """Every screen of a drill, each kind open and with its feedback."""
    found = {"start": "/", "end of set": f"/sets/{made.ended_set}", "kept part": f"/questions/{made.kept}"}
    found |= {f"question: {kind}": f"/questions/{one}" for kind, one in made.asked.items() if one != made.kept}
    found["question: say, spoken"] = f"/questions/{made.asked['say']}?spoken=1"
    found |= {f"feedback: {kind}, {outcome}": f"/questions/{one}" for (kind, outcome), one in made.told.items()}
    return found

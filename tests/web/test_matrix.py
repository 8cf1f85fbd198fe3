"""Every address and verb for every part in the school, in one's own group and in another's.

Rule of the issue: whoever asks for what is not theirs is told the same, 404, as for what does not exist. A route
without a row here fails.
"""

from __future__ import annotations

import random
import re
import uuid
from dataclasses import dataclass, field

import pytest
import sqlalchemy as sa

from quizsvc.services import (
    accounts,
    calendar_feed,
    desk_items,
    handbook_revisions,
    joining,
    practice,
    produced_files,
    squawks,
)
from quizsvc.store.tables import DeviceSession, Membership
from quizsvc.web.app import create_app
from tests.services import desk_texts, doing
from tests.services.assigned import add_assignment, add_group
from tests.services.drills import begin, start

VISITOR, PILOT, STUDENT, MATE, ELSEWHERE = "visitor", "pilot", "student", "mate", "student elsewhere"
INSTRUCTOR, OTHER, HEAD = "instructor", "instructor elsewhere", "head of training"
REVIEWER, AUTHOR, KEEPER = "reviewer", "item author", "keeper"
ROLES = {
    PILOT: ("pilot",),
    STUDENT: ("pilot",),
    MATE: ("pilot",),
    ELSEWHERE: ("pilot",),
    INSTRUCTOR: ("pilot", "instructor"),
    OTHER: ("pilot", "instructor"),
    HEAD: ("head of training",),
    REVIEWER: ("reviewer",),
    AUTHOR: ("item author",),
    KEEPER: ("keeper",),
}
IN = frozenset(ROLES)  # whoever is signed in
ANYBODY = IN | {VISITOR}
GROUP = frozenset({INSTRUCTOR, STUDENT, MATE})
TEACHERS = frozenset({INSTRUCTOR, OTHER})
BANK = frozenset({REVIEWER, AUTHOR, KEEPER})
DESK = frozenset({REVIEWER, AUTHOR})

# Who is let in, by verb and rule. Everybody else who is signed in is told 404; a visitor is led to sign in.
ROWS: dict[str, frozenset[str]] = {
    # for everybody
    "GET /": ANYBODY,
    "GET /about": ANYBODY,
    "GET /cautions": ANYBODY,
    "GET /handbook": ANYBODY,
    "GET /handbook/<aircraft>/<section>": ANYBODY,
    "GET /bench": ANYBODY,
    "GET /bench/<aircraft>": ANYBODY,
    "GET /health": ANYBODY,
    "GET /closings/<feed_secret>.ics": ANYBODY,
    "GET /manifest.webmanifest": ANYBODY,
    "GET /on-this-device": ANYBODY,
    "GET /sw.js": ANYBODY,
    "GET /static/<path:filename>": ANYBODY,
    "GET /join": ANYBODY,
    "GET /join/<code>": ANYBODY,
    "GET /sign-in": ANYBODY,
    "GET /sign-up": ANYBODY,
    "GET /link/<secret>": ANYBODY,
    "GET /api/v1/openapi.json": ANYBODY,
    "POST /join": ANYBODY,
    "POST /sign-in": ANYBODY,
    "POST /sign-up": ANYBODY,
    "POST /link/<secret>": ANYBODY,
    "POST /sets": ANYBODY,
    "POST /api/v1/sets": ANYBODY,
    "POST /sign-out": ANYBODY,
    # one's own
    "GET /account": IN,
    "GET /account/delete": IN,
    "GET /account/calendar": IN,
    "POST /account/calendar": IN,
    "POST /account/calendar/end": IN,
    "GET /account/devices": IN,
    "GET /account/export.csv": IN,
    "GET /account/export.json": IN,
    "GET /account/looks": IN,
    "GET /account/notices": IN,
    "GET /account/re-marks": IN,
    "GET /account/password": IN,
    "GET /account/sharing": IN,
    "GET /account/squawks": IN,
    "GET /claim": IN,
    "GET /expectation": IN,
    "GET /homework": IN,
    "GET /log": IN,
    "GET /plan": IN,
    "GET /plan/check-date": IN,
    "GET /plan/debrief": IN,
    "GET /thin-spots": IN,
    "POST /account": IN,
    "POST /account/delete": IN,
    "POST /account/notices/seen": IN,
    "POST /account/password": IN,
    "POST /account/sharing": IN,
    "POST /claim": IN,
    "POST /join/<code>": IN,
    "POST /plan/check-date": IN,
    "POST /plan/debrief": IN,
    "POST /api/v1/kept-questions": IN,
    "POST /api/v1/answer-batches": IN,
    "GET /sets/<key:set_id>": frozenset({STUDENT}),
    "GET /questions/<key:question_id>": frozenset({STUDENT}),
    "POST /account/devices/<number:device_id>/end": frozenset({STUDENT}),
    "POST /sets/<key:set_id>/end": frozenset({STUDENT}),
    "POST /sets/<key:set_id>/repeats": frozenset({STUDENT}),
    "POST /questions/<key:question_id>/answers": frozenset({STUDENT}),
    "POST /questions/<key:question_id>/squawks": frozenset({STUDENT}),
    "POST /api/v1/answers": frozenset({STUDENT}),
    # homework of somebody in the group
    "GET /homework/<number:assignment_id>": frozenset({STUDENT, MATE}),
    "POST /homework/<number:assignment_id>/works": frozenset({STUDENT, MATE}),
    "GET /works/<key:work_id>": frozenset({STUDENT}),
    "GET /works/<key:work_id>/all": frozenset({STUDENT}),
    "GET /works/<key:work_id>/hand-in": frozenset({STUDENT}),
    "GET /works/<key:work_id>/receipt": frozenset({STUDENT}),
    "GET /works/<key:work_id>/questions/<key:question_id>": frozenset({STUDENT}),
    "POST /works/<key:work_id>/all": frozenset({STUDENT}),
    "POST /works/<key:work_id>/hand-in": frozenset({STUDENT}),
    "POST /works/<key:work_id>/questions/<key:question_id>": frozenset({STUDENT}),
    "POST /works/<key:work_id>/questions/<key:question_id>/squawks": frozenset({STUDENT}),
    "PUT /api/v1/drafts": frozenset({STUDENT}),
    # the instructor's
    "GET /training": frozenset({HEAD}),
    "GET /training/groups": frozenset({HEAD}),
    "POST /training/groups/<number:group_id>/instructor": frozenset({HEAD}),
    "GET /training.csv": frozenset({HEAD}),
    **{
        f"GET /people/<number:person_id>/evidence{ending}": frozenset({HEAD, INSTRUCTOR, STUDENT})
        for ending in ("", ".html", ".csv", ".json")
    },
    "GET /files/<key:file_id>": frozenset({HEAD, STUDENT}),
    "GET /desk": TEACHERS,
    "GET /groups/new": TEACHERS,
    "POST /groups/new": TEACHERS,
    "GET /groups/<number:group_id>": GROUP,
    "POST /groups/<number:group_id>": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/leave": GROUP,
    "GET /groups/<number:group_id>/code": frozenset({INSTRUCTOR}),
    "GET /groups/<number:group_id>/practice": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/code": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/code/end": frozenset({INSTRUCTOR}),
    "GET /groups/<number:group_id>/roll": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/roll": frozenset({INSTRUCTOR}),
    "GET /groups/<number:group_id>/roll/links": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/roll/links": frozenset({INSTRUCTOR}),
    "GET /groups/<number:group_id>/assignments/new": frozenset({INSTRUCTOR}),
    "POST /groups/<number:group_id>/assignments/new": frozenset({INSTRUCTOR}),
    **{
        f"POST /groups/<number:group_id>/members/<number:number>/{verb}": frozenset({INSTRUCTOR})
        for verb in ("answer", "remove", "part", "link")
    },
    **{
        f"GET /assignments/<number:assignment_id>{page}": frozenset({INSTRUCTOR})
        for page in (
            "", "/items", "/rules", "/preview", "/preview/<number:person_id>", "/print", "/print/answers",
            "/allowances", "/spread", "/statistics", "/marks", "/marks.csv", "/marks/<who:person_id>",
            "/places/<number:place>/re-mark",
        )
    },
    **{
        f"POST /assignments/<number:assignment_id>{page}": frozenset({INSTRUCTOR})
        for page in ("/items", "/rules", "/preview", "/release", "/take-back", "/allowances", "/discard", "/copy",
            "/places/<number:place>/re-mark")
    },
    # of those who answer for the bank
    "GET /squawks": TEACHERS | {REVIEWER},
    "GET /squawks/<number:squawk_id>": TEACHERS | {REVIEWER},
    "POST /squawks/<number:squawk_id>": TEACHERS | {REVIEWER},
    "POST /squawks/<number:squawk_id>/practice": frozenset({REVIEWER}),
    "GET /bank-desk": DESK,
    "GET /bank-desk/export.yaml": DESK,
    "GET /bank-desk/new": frozenset({AUTHOR}),
    "POST /bank-desk/new": frozenset({AUTHOR}),
    "GET /bank-desk/items/<desk_item>": DESK,
    "POST /bank-desk/items/<desk_item>": frozenset({AUTHOR}),
    "POST /bank-desk/items/<desk_item>/read": frozenset({REVIEWER}),
    "POST /bank-desk/items/<desk_item>/live": frozenset({REVIEWER}),
    "POST /bank-desk/items/<desk_item>/send-back": frozenset({REVIEWER}),
    "POST /bank-desk/items/<desk_item>/withdraw": DESK,
    **{
        f"POST /bank-desk/items/<desk_item>/{verb}": frozenset({AUTHOR})
        for verb in ("take-over", "delete", "drop-changes", "draft")
    },
    "GET /bank-desk/handbook": frozenset({REVIEWER}),
    "POST /bank-desk/handbook": frozenset({REVIEWER}),
    "GET /bank-desk/handbook/<number:revision_id>": frozenset({REVIEWER}),
    "POST /bank-desk/handbook/<number:revision_id>": frozenset({REVIEWER}),
    "GET /preview": BANK,
    "GET /preview/<item>": BANK,
    "GET /preview/version.json": BANK,
}  # fmt: skip


@dataclass
class World:
    """An application with a school in it, a client for each part, and what the addresses need."""

    app: object
    tokens: dict[str, str] = field(default_factory=dict)
    ids: dict[str, int] = field(default_factory=dict)
    values: dict[str, str] = field(default_factory=dict)
    homework_question: str = ""
    clients: dict[str, object] = field(default_factory=dict)
    form_tokens: dict[str, str] = field(default_factory=dict)

    def client(self, who):
        """The browser of that person."""
        if who not in self.clients:
            self.clients[who] = self.app.test_client()
        if who in self.tokens:
            self.clients[who].set_cookie("session", self.tokens[who])
        else:
            self.clients[who].delete_cookie("session")  # a set may have made somebody of the visitor
        return self.clients[who]

    def path(self, rule, *, unknown=False):
        """The rule's address with what there is, or with numbers that nothing has."""

        def value(found):
            kind, name = found[1] or "", found[2]
            if unknown:
                return "f" * 32 if kind == "key:" else "987654321" if kind in ("number:", "who:") else "nothing"
            if name == "question_id" and "/works/" in rule:
                return self.homework_question
            # Who waits is to be answered; everything else is done to somebody in the group.
            return self.values["waiting" if name == "number" and rule.endswith("/answer") else name]

        return re.sub(r"<(\w+:)?(\w+)>", value, rule)

    def body(self, rule, *, unknown=False):
        """What a call of the API names, for those that name something."""
        question = "f" * 32 if unknown else self.values["question_id"]
        return {
            "/api/v1/sets": {"minutes": 5, "acknowledged": ["C1"]},
            "/api/v1/answers": {"question": question, "uuid": str(uuid.uuid4()), "response": {"pass": True}},
            "/api/v1/kept-questions": {"format": 1},
            "/api/v1/answer-batches": {"format": 1, "person": 1, "answers": []},
            "/api/v1/drafts": {
                "work": "f" * 32 if unknown else self.values["work_id"],
                "question": "f" * 32 if unknown else self.homework_question,
                "version": 1,
                "response": {"pass": True},
            },
        }[rule]

    def ask(self, who, verb, rule, *, unknown=False):
        """Ask as that person; forms are sent with little more than their token."""
        client = self.client(who)
        path = self.path(rule, unknown=unknown)
        if path.startswith("/api/") and verb != "GET":
            call = {"POST": client.post, "PUT": client.put}[verb]
            return call(path, json=self.body(rule, unknown=unknown), headers={"Origin": "http://127.0.0.1:8019"})
        if verb == "GET":
            return client.get(path)
        return client.post(path, data={"csrf_token": self.form_token(who), "text": "One sentence."})

    def form_token(self, who):
        """The token that this person's forms carry."""
        if who not in self.form_tokens:
            page = self.client(who).get("/account" if who in self.tokens else "/sign-in").get_data(as_text=True)
            self.form_tokens[who] = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)[1]
        return self.form_tokens[who]


@pytest.fixture
def world(bank_db, settings, clock, chance):
    """Two groups, an assignment that a student has handed in, a draft of another, a drill, a squawk."""
    made = World(create_app(settings, clock=clock, db=bank_db, rng=chance))
    rng = random.Random(19)
    for who, roles in ROLES.items():
        name = f"Osric Tamblane, {who}"
        accounts.add_account(bank_db, name, roles, now=clock())
        secret = accounts.make_link(bank_db, name, hours=24, by=None, now=clock())
        signed_in = accounts.use_link(bank_db, secret, "ochre lantern nine", device="a tablet", now=clock())
        made.tokens[who], made.ids[who] = signed_in.token, signed_in.person.id
    accounts.add_account(bank_db, "Pim Holloquist", now=clock())
    ids = made.ids
    group = add_group(bank_db, clock, instructors=[ids[INSTRUCTOR]], students=[ids[STUDENT], ids[MATE]])
    add_group(bank_db, clock, name="Umber intake", instructors=[ids[OTHER]], students=[ids[ELSEWHERE]])
    waits = begin(bank_db, clock).person.id
    given = add_assignment(bank_db, clock, group, ["gate-slow-leak", "cabin-from-differential"], tries=3)
    work = doing.begin(bank_db, clock, rng, ids[STUDENT], given)
    doing.fill(bank_db, clock, ids[STUDENT], work)
    doing.hand_in(bank_db, clock, ids[STUDENT], work)
    drill = start(bank_db, clock, rng, ids[STUDENT])
    question = drill.questions[0].id
    practice.record_answer(
        bank_db, ids[STUDENT], question, uuid=str(uuid.uuid4()), raw={"pass": True}, sureness=None, now=clock()
    )
    squawk = squawks.raise_squawk(bank_db, ids[STUDENT], question, "Two are right.", now=clock())
    made.homework_question = work.questions[0].id
    with bank_db.writing() as session:
        waiting = Membership(group_id=group, person_id=waits, part="student", state="waiting", asked_at=clock())
        session.add(waiting)
        session.flush()
        number = waiting.id
        inside = session.scalar(sa.select(Membership.id).where(Membership.person_id == ids[MATE]))
        device = session.scalar(sa.select(DeviceSession.id).where(DeviceSession.person_id == ids[STUDENT]))
    made.values = {
        "aircraft": "tolquenny-19",
        "section": "21-10",
        "filename": "quizsvc.css",
        "secret": accounts.make_link(bank_db, "Pim Holloquist", hours=24, by=None, now=clock()),
        "code": joining.make_code(bank_db, ids[INSTRUCTOR], group, rng=rng, now=clock()),
        "item": "gate-slow-leak",
        "device_id": str(device),
        "desk_item": desk_items.start(bank_db, ids[AUTHOR], folder="tolquenny-19", text=desk_texts.RUDDER, now=clock()),
        "revision_id": str(
            handbook_revisions.record(
                bank_db, ids[REVIEWER], folder="tolquenny-19", name="Revision 7", sections=["21-10"], now=clock()
            )
        ),
        "group_id": str(group),
        "waiting": str(number),
        "number": str(inside),
        "assignment_id": str(given),
        "person_id": str(ids[STUDENT]),
        "place": "1",
        "work_id": work.id,
        "question_id": question,
        "set_id": drill.id,
        "squawk_id": str(squawk.id),
        "feed_secret": calendar_feed.make(bank_db, ids[STUDENT], now=clock()),
        "file_id": produced_files.keep(
            bank_db,
            ids[HEAD],
            what=produced_files.FOR_HEAD,
            person_id=ids[STUDENT],
            title="Evidence sheet",
            media_type="text/csv",
            body=b"x",
            now=clock(),
        ).id,
    }
    return made


def routes(app):
    """All verbs and rules of the application."""
    return {(verb, rule.rule) for rule in app.url_map.iter_rules() for verb in rule.methods - {"HEAD", "OPTIONS"}}


def test_every_route_has_a_row(app):
    """And every row a route."""
    assert {f"{verb} {rule}" for verb, rule in routes(app)} == set(ROWS)


def test_what_is_not_ones_own_is_not_there(world):
    """Signed in and not let in: 404, to the letter as for what nobody has."""
    wrong = []
    for row, let_in in ROWS.items():
        verb, rule = row.split(" ", 1)
        for who in IN - let_in:
            found = world.ask(who, verb, rule)
            if found.status_code != 404:
                wrong.append((row, who, found.status_code))
            elif "<" in rule or rule.startswith("/api/"):
                unknown = world.ask(who, verb, rule, unknown=True)
                if (unknown.status_code, _said(unknown)) != (404, _said(found)):
                    wrong.append((row, who, "reads otherwise than an unknown one"))

    assert not wrong, "\n".join(map(str, wrong))


def test_a_visitor_is_led_to_sign_in(world):
    """To read; a sender is told that nothing was stored."""
    wrong = []
    for row, let_in in ROWS.items():
        verb, rule = row.split(" ", 1)
        if VISITOR in let_in:
            continue
        found = world.ask(VISITOR, verb, rule)
        if verb == "GET":
            good = found.status_code == 303 and found.headers["Location"].startswith("/sign-in")
        else:
            good = found.status_code == 401
        if not good:
            wrong.append((row, found.status_code))

    assert not wrong, "\n".join(map(str, wrong))


def test_who_is_let_in_gets_there(world):
    """Each page opens to everybody who is let in. What is sent without its fields is no matter of who sends it."""
    wrong = []
    rows = sorted(ROWS, key=lambda row: (not row.startswith("GET"), row in LAST, row))
    for row in rows:
        verb, rule = row.split(" ", 1)
        people = sorted(ROWS[row])
        if verb != "GET":
            people = people[:1]  # what one has sent may leave nothing for the next
        for who in people:
            found = world.ask(who, verb, rule)
            if found.status_code in (401, 403, 404) or found.status_code >= 500:
                wrong.append((row, who, found.status_code))

    assert not wrong, "\n".join(map(str, wrong))


# What ends somebody's session or part in the group comes after all others.
LAST = (
    "POST /groups/<number:group_id>/code",
    "POST /groups/<number:group_id>/code/end",
    "POST /groups/<number:group_id>/members/<number:number>/remove",
    "POST /groups/<number:group_id>/leave",
    "POST /account/devices/<number:device_id>/end",
    "POST /sign-out",
)


def _said(response):
    """What a reply says, without the token that each page has anew and without what was asked for."""
    text = response.get_data(as_text=True)
    return re.sub(r'value="[^"]{20,}"|"(instance|where)": ?"[^"]*"|[0-9a-f]{32}|\d{6,}', "", text)

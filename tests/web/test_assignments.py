"""Assignments at the desk: from nothing to released, what is refused, who may see what, and paper."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from quizsvc.store.tables import Assignment, Membership, Notice, Question, Work
from tests.services import doing
from tests.services.assigned import add_assignment, add_person


def stored(db, path):
    """The row of an assignment's address."""
    with db.reading() as session:
        return session.get(Assignment, int(path.split("/")[2]))


def test_from_nothing_to_released(bank_db, clock, instructor, group, students):
    """New, items, rules, preview, release: five screens, and the preview is what the students get."""
    page = instructor.get(f"/groups/{group}/assignments/new")
    page = instructor.send(
        page.form(f"/groups/{group}/assignments/new"),
        title="Pressurisation for Monday",
        system="21 automatic",
        count="2",
    )
    path = instructor.path.removesuffix("/items")

    assert instructor.path == f"{path}/items"
    assert "cabin-from-differential" in page.text and "highest-level-mental" in page.text

    page = instructor.get(f"{path}/rules")
    page = instructor.send(page.form(f"{path}/rules"), closes="2026-03-30T20:00")

    assert instructor.path == f"{path}/preview"
    assert "Drawn for all 2" in page.text
    with bank_db.reading() as session:
        drawn = {row.id: row.drawn for row in session.scalars(sa.select(Question).where(Question.work_id.is_not(None)))}
    assert len(drawn) == 4

    page = instructor.send(page.form(f"{path}/release"))

    assert instructor.path == path
    assert page.heading == "Pressurisation for Monday"
    found = stored(bank_db, path)
    assert (found.state, found.opens_at) == ("released", clock())
    # Europe/Zurich has summer time from 29 March 2026 (EU directive 2000/84/EC: last Sunday of March), so UTC+2.
    assert found.closes_at == datetime(2026, 3, 30, 18, 0, tzinfo=UTC)
    with bank_db.reading() as session:
        again = {row.id: row.drawn for row in session.scalars(sa.select(Question).where(Question.work_id.is_not(None)))}
        told = session.execute(sa.select(Notice.person_id, Notice.path)).all()
    assert again == drawn
    assert sorted(told) == [(student, path.replace("assignments", "homework")) for student in students]


def test_nothing_is_made_where_nothing_fits(bank_db, instructor, group):
    """What was typed stays; no empty draft is left behind."""
    page = instructor.get(f"/groups/{group}/assignments/new")
    page = instructor.send(
        page.form(f"/groups/{group}/assignments/new"), title="No such thing", system="21 automatic", kind="order"
    )

    assert instructor.status == 422
    assert "No item fits" in page.text
    assert 'value="No such thing"' in page.html
    with bank_db.reading() as session:
        assert session.scalar(sa.select(sa.func.count()).select_from(Assignment)) == 0


class TestTimes:
    """Closings by the clock of the group's zone."""

    @pytest.fixture
    def send(self, instructor, draft):
        """Sends the rules with some fields changed."""
        return lambda **fields: instructor.send(instructor.get(f"{draft}/rules").form(f"{draft}/rules"), **fields)

    def test_a_skipped_hour_is_refused_with_two_ways_out(self, instructor, bank_db, draft, send):
        """Zone database, EU rules: on 28 March 2027 the clock goes from 01:59:59 to 03:00:00."""
        before = stored(bank_db, draft).closes_at

        page = send(closes="2027-03-28T02:30", title="Kept as typed")

        assert instructor.status == 422
        assert "2027-03-28 01:30 or 2027-03-28 03:30" in page.text
        assert 'value="2027-03-28T02:30"' in page.html and 'value="Kept as typed"' in page.html
        assert stored(bank_db, draft).closes_at == before

    @pytest.mark.parametrize(("which", "utc_hour"), [("earlier", 0), ("later", 1)])
    def test_of_a_doubled_hour_the_page_asks_which(self, instructor, bank_db, draft, send, which, utc_hour):
        """Zone database, EU rules: on 25 October 2026 02:30 comes at UTC+2 and again at UTC+1."""
        page = send(closes="2026-10-25T02:30")

        assert instructor.status == 422
        assert "the earlier (UTC+02:00)" in page.text and "the later (UTC+01:00)" in page.text

        instructor.send(page.form(f"{draft}/rules"), closes_which=which)

        assert stored(bank_db, draft).closes_at == datetime(2026, 10, 25, utc_hour, 30, tzinfo=UTC)
        again = instructor.get(f"{draft}/rules").form(f"{draft}/rules")
        assert ("closes_which", which) in again.fields

    @pytest.mark.parametrize(
        ("fields", "words"),
        [
            ({"closes": "yesterday"}, "not a date and a time"),
            ({"closes": ""}, "closing is empty"),
            ({"opens": "", "closes": "2026-03-02T09:59"}, "lies in the past"),
            ({"closes": "2026-03-10T10:00", "opens": "2026-03-10T10:00"}, "closes before it opens"),
            ({"closes": "2026-03-10T10:00", "late_until": "2026-03-10T09:59"}, "before the closing"),
            ({"tries": "11"}, "whole number from 1 to 10"),
            ({"title": "  "}, "title is empty"),
            ({"sitting": "1", "sitting_minutes": "30", "feedback": "straight away"}, "no feedback before its end"),
            ({"numbers": "shared"}, "not one of the choices"),
        ],
    )
    def test_what_cannot_be_is_refused_in_words(self, instructor, bank_db, draft, send, fields, words):
        """Nothing is stored."""
        page = send(**fields)

        assert instructor.status == 422
        assert words in page.text
        assert stored(bank_db, draft).version == 1


class TestTwoInstructors:
    """Nobody's change is overwritten unseen."""

    def test_the_second_is_told_and_keeps_what_was_typed(self, instructor, bank_db, draft):
        """409, the rules as they are now, and what was sent in the form."""
        stale = instructor.get(f"{draft}/rules").form(f"{draft}/rules")
        instructor.send(instructor.get(f"{draft}/rules").form(f"{draft}/rules"), title="Of the first")

        page = instructor.send(stale, title="Of the second")

        assert instructor.status == 409
        assert "Somebody changed it meanwhile" in page.text
        assert "What it is now Of the first" in page.text and 'value="Of the second"' in page.html
        assert stored(bank_db, draft).title == "Of the first"

    def test_items_release_and_taking_back_ask_for_the_version(self, instructor, bank_db, draft):
        """Each from a page that is out of date."""
        items = instructor.get(f"{draft}/items").form(f"{draft}/items")
        release = instructor.get(f"{draft}/preview").form(f"{draft}/release")
        instructor.send(instructor.get(f"{draft}/rules").form(f"{draft}/rules"), title="Changed")

        statuses = []
        for form, button in ((items, ("remove", "essential-bus-feeds")), (release, None)):
            instructor.send(form, button)
            statuses.append(instructor.status)

        assert statuses == [409, 409]
        found = stored(bank_db, draft)
        assert (found.state, found.version) == ("draft", 2)


class TestAllowances:
    """Extensions and excuses."""

    def test_given_told_and_taken_back(self, instructor, bank_db, clock, group, students):
        """With the reason; the person has a notice of each."""
        path = f"/assignments/{add_assignment(bank_db, clock, group, ['essential-bus-feeds'])}/allowances"
        page = instructor.get(path)
        give = next(one for one in page.forms if "reason" in one.names)
        page = instructor.send(give, person=str(students[1]), until="2026-03-20T20:00", reason="Ill on the 8th.")

        assert "Bo Tarn: extension until 20 Mar 2026, 20:00" in page.text
        assert "Ill on the 8th." in page.text

        page = instructor.send(page.form(path), ("take_back", str(students[1])))

        assert "taken back" in page.text
        with bank_db.reading() as session:
            told = session.scalars(sa.select(Notice.text).order_by(Notice.id)).all()
        assert [text.split(":")[0] for text in told] == [
            "Extension until 20 Mar 2026, 20",
            "The extension is taken back",
        ]

    @pytest.mark.parametrize(
        ("fields", "words"),
        [
            ({"reason": ""}, "reason is empty"),
            ({"until": ""}, "has no end"),
            ({"until": "2026-03-05T10:00"}, "before the closing"),
            ({"until": "2027-03-28T02:30"}, "is not on the clock"),
            ({"until": "2026-10-25T02:30"}, "on the clock twice"),
        ],
    )
    def test_what_cannot_be_is_refused_and_stays_typed(
        self, instructor, bank_db, clock, group, students, fields, words
    ):
        """422, with the reason still in its field."""
        path = f"/assignments/{add_assignment(bank_db, clock, group, ['essential-bus-feeds'])}/allowances"
        give = next(one for one in instructor.get(path).forms if "reason" in one.names)

        page = instructor.send(
            give, **({"person": str(students[0]), "until": "2026-03-20T20:00", "reason": "Ill."} | fields)
        )

        assert instructor.status == 422
        assert words in page.text
        assert "reason" in fields or ">Ill.</textarea>" in page.html

    def test_who_is_in_a_sitting_is_said(self, instructor, bank_db, clock, rng, group, students):
        """Beside the name, until when; an extension then may end before the closing."""
        number = add_assignment(bank_db, clock, group, ["essential-bus-feeds"], sitting_minutes=40)
        doing.begin(bank_db, clock, rng, students[0], number)
        path = f"/assignments/{number}/allowances"
        page = instructor.get(path)
        # The clock of these tests stands at 09:00 UTC, in Zurich 10:00.
        assert "Ada Quill, in a Sitting until 2 Mar 2026, 10:40" in page.text
        give = next(one for one in page.forms if "reason" in one.names)
        page = instructor.send(give, person=str(students[0]), until="2026-03-02T11:00", reason="Fire drill.")

        assert "Ada Quill: extension until 2 Mar 2026, 11:00" in page.text
        assert "Ada Quill, in a Sitting until 2 Mar 2026, 11:00" in page.text


class TestTakingBack:
    """Taking back."""

    def test_before_anybody_begins_it_is_a_draft_again(self, instructor, bank_db, clock, group):
        """Then after somebody began it is over for good."""
        path = f"/assignments/{add_assignment(bank_db, clock, group, ['essential-bus-feeds'])}"
        instructor.send(instructor.get(path).form(f"{path}/take-back"))

        assert stored(bank_db, path).state == "draft"

    def test_after_that_it_is_over_for_good(self, instructor, bank_db, clock, group, students):
        """The work stays."""
        number = add_assignment(bank_db, clock, group, ["essential-bus-feeds"])
        with bank_db.writing() as session:
            session.add(
                Work(
                    id="0" * 32,
                    assignment_id=number,
                    person_id=students[0],
                    number=1,
                    drawn_at=clock(),
                    begun_at=clock(),
                    late=False,
                )
            )
        path = f"/assignments/{number}"
        instructor.send(instructor.get(path).form(f"{path}/take-back"))

        assert stored(bank_db, path).state == "taken back"
        page = instructor.get(f"{path}/rules")
        assert not page.has_form(f"{path}/rules")
        assert instructor.client.post(f"{path}/rules").status_code in (400, 409, 422)
        with bank_db.reading() as session:
            assert session.get(Work, "0" * 32) is not None


class TestDeleting:
    """Only a draft can go."""

    def test_a_draft_goes_with_its_preview(self, instructor, bank_db, group, draft):
        """And with every question of it."""
        page = instructor.get(f"{draft}/preview")
        instructor.send(page.form(f"{draft}/preview"))
        instructor.send(instructor.get(draft).form(f"{draft}/discard"))

        assert instructor.path == f"/groups/{group}"
        assert stored(bank_db, draft) is None
        with bank_db.reading() as session:
            assert session.scalar(sa.select(sa.func.count()).where(Question.work_id.is_not(None))) == 0

    def test_what_is_released_stays(self, instructor, bank_db, draft):
        """By the form of a page from before, too."""
        form = instructor.get(draft).form(f"{draft}/discard")
        instructor.send(instructor.get(f"{draft}/preview").form(f"{draft}/release"))
        instructor.send(form)

        assert instructor.status == 409
        form.fields = [(name, "2" if name == "version" else value) for name, value in form.fields]
        page = instructor.send(form)
        assert (instructor.status, "Take it back instead" in page.text) == (422, True)
        assert stored(bank_db, draft).state == "released"


PATHS = (
    "/assignments/{0}",
    "/assignments/{0}/allowances",
    "/assignments/{0}/items",
    "/assignments/{0}/preview",
    "/assignments/{0}/preview/{1}",
    "/assignments/{0}/print",
    "/assignments/{0}/print/answers",
    "/assignments/{0}/rules",
    "/groups/{2}/assignments/new",
)
POSTS = (
    "/assignments/{0}/copy",
    "/assignments/{0}/discard",
    "/assignments/{0}/allowances",
    "/assignments/{0}/items",
    "/assignments/{0}/preview",
    "/assignments/{0}/release",
    "/assignments/{0}/rules",
    "/assignments/{0}/take-back",
    "/groups/{2}/assignments/new",
)


class TestWhoMaySee:
    """404 alike for what is not theirs."""

    @pytest.fixture
    def addresses(self, bank_db, clock, group, draft, students):
        """Values of the addresses' parts, and those of nothing."""
        own = (draft.split("/")[2], students[0], group)
        return {"own": own, "unknown": ("999", "999", "999")}

    @pytest.mark.parametrize("who", ["student in the group", "other instructor", "instructor by part only", "head"])
    def test_not_theirs_looks_like_unknown(self, sign_up, bank_db, clock, group, addresses, who):
        """By GET and by POST, to the letter but for the address."""
        roles = {"other instructor": ("instructor",), "head": ("head of training",)}.get(who, ("pilot",))
        other = sign_up("Perel Ostrand", roles)
        if "group" in who or "part" in who:
            part = "student" if "student" in who else "instructor"
            with bank_db.writing() as session:
                session.add(Membership(group_id=group, person_id=other.person, part=part, state="in", asked_at=clock()))
        token = dict(other.get("/account").forms[0].fields)["csrf_token"]
        for path in PATHS:
            pages = [other.client.get(path.format(*addresses[which])) for which in ("own", "unknown")]
            assert [page.status_code for page in pages] == [404, 404], path
            assert pages[0].data == pages[1].data, path
        for path in POSTS:
            for which in ("own", "unknown"):
                answer = other.client.post(path.format(*addresses[which]), data={"csrf_token": token})
                assert answer.status_code == 404, (path, which)

    def test_a_visitor_is_sent_to_sign_in(self, visitor, addresses):
        """Nothing is said about what is there."""
        for path in PATHS:
            answer = visitor.client.get(path.format(*addresses["own"]))
            assert (answer.status_code, answer.headers["Location"][:9]) == (303, "/sign-in?"), path

    def test_a_person_of_another_group_has_no_preview(self, instructor, bank_db, clock, draft):
        """Also for the assignment's own instructor."""
        stranger = add_person(bank_db, clock, "Stran Gerson")

        assert instructor.client.get(f"{draft}/preview/{stranger}").status_code == 404


def test_a_closing_that_moves_is_told(instructor, bank_db, clock, group, students):
    """After release a later closing may come, and the students are told of it."""
    path = f"/assignments/{add_assignment(bank_db, clock, group, ['essential-bus-feeds'])}"
    clock.advance(hours=1)
    page = instructor.send(instructor.get(f"{path}/rules").form(f"{path}/rules"), closes="2026-03-12T20:00")

    assert instructor.path == path, page.text
    with bank_db.reading() as session:
        told = session.scalars(sa.select(Notice.text)).all()
    assert told == ["Bleed air for Monday now closes 12 Mar 2026, 20:00 (Europe/Zurich)."] * 2
    assert stored(bank_db, path).closes_at - clock() > timedelta(days=7)

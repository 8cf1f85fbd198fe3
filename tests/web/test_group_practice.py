"""A group's practice, unnamed, for its instructor: counted by hand, and nothing below five people."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from quizsvc.services.sessions import open_session
from quizsvc.store.tables import Answer, Grade, Membership, Person, PracticeSet, Question, Revision
from quizsvc.web.people import COOKIE
from tests.factories import new_uuid
from tests.services import assigned, handed_in
from tests.web.pages import on_both

HIGH, AUTOMATIC = "gate-slow-leak", "cabin-from-differential"


def practised(db, clock, person_id, item, credits):
    """Answers of practice to one item with these credits, as rows."""
    with db.writing() as session:
        revision = session.scalars(sa.select(Revision).where(Revision.item_id == item)).first()
        drill = PracticeSet(
            id=new_uuid().replace("-", ""), person_id=person_id, started_at=clock(), minutes=5, long=False
        )  # fmt: skip
        session.add(drill)
        session.flush()
        for position, credit in enumerate(credits, 1):
            question = Question(
                id=new_uuid().replace("-", ""), person_id=person_id, set_id=drill.id, position=position, item_id=item,
                revision_id=revision.id, concept_id=revision.concept_id, kind=revision.kind, drawn={}, draw_key="-",
                option_order=[], record={}, reason="due", offline=False, issued_at=clock(),
            )  # fmt: skip
            session.add(question)
            session.flush()
            answer = Answer(
                uuid=new_uuid(), question_id=question.id, person_id=person_id, again=False, raw={}, response={},
                received_at=clock(), effective_at=clock(), local_day=1,
            )  # fmt: skip
            session.add(answer)
            session.flush()
            outcome = "full" if credit == 1 else "miss"
            session.add(
                Grade(answer_id=answer.id, number=1, outcome=outcome, credit=credit, marks=[], graded_at=clock())
            )


@pytest.fixture
def school(browsers, bank_db, clock):
    """An instructor's browser, six students, the address."""
    by, students, given = handed_in.school(bank_db, clock, [HIGH])
    one = browsers()
    with bank_db.writing() as session:
        token = open_session(session, session.get(Person, by), device="desk", now=clock()).token
        group = session.scalar(sa.select(Membership.group_id).where(Membership.person_id == by))
    one.client.set_cookie(COOKIE, token)
    one.students, one.given, one.address = students, given, f"/groups/{group}/practice"
    return one


@on_both
def test_five_people_are_averaged_and_four_are_not_shown(school, bank_db, clock):
    """Means of 1, 0, 1/2, 1/2, 1/4: 2.25 / 5 = 45 of 100, over 1 + 1 + 2 + 2 + 4 answers. Homework counts not."""
    for student, credits in zip(school.students, ([1], [0], [1, 0], [0, 1], [0, 0, 1, 0]), strict=False):
        practised(bank_db, clock, student, HIGH, credits)
    for student in school.students[:4]:
        practised(bank_db, clock, student, AUTOMATIC, [0])
    handed_in.do(bank_db, clock, school.students[5], school.given, ["wrong"])
    page = school.get(school.address)

    assert "21 high field 45 of 100 points on average over 5 people; 10 answers." in page.text
    assert "21 automatic" not in page.text
    assert "Student" not in page.text
    assert {"C1", "C2", "C4"} <= set(page.cautions)


def test_what_is_older_than_four_weeks_is_not_in_it(school, bank_db, clock):
    """27 days are lately, 29 are not."""
    for student in school.students:
        practised(bank_db, clock, student, HIGH, [1])
    clock.advance(days=27)
    assert "100 of 100 points on average over 6 people" in school.get(school.address).text
    clock.advance(days=2)
    assert "There is no system that five people practised." in school.get(school.address).text


def test_a_group_of_four_shows_nothing(school, bank_db, clock):
    """Also where those who left practised, and an instructor did."""
    for student in school.students:
        practised(bank_db, clock, student, HIGH, [1])
    with bank_db.writing() as session:
        gone = sa.update(Membership).where(Membership.person_id.in_(school.students[:2])).values(state="left")
        session.execute(gone)
    page = school.get(school.address)

    assert "fewer than five students" in page.text and "of 100" not in page.text


def test_another_instructor_finds_nothing(browsers, bank_db, clock, school):
    """404."""
    other = assigned.add_person(bank_db, clock, "Rosmund Achterby", roles=("instructor",))
    one = browsers()
    with bank_db.writing() as session:
        token = open_session(session, session.get(Person, other), device="desk", now=clock()).token
    one.client.set_cookie(COOKIE, token)

    assert one.client.get(school.address).status_code == 404

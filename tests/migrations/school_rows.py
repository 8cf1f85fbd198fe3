"""One row in each table of the school, written as the models have them."""

from __future__ import annotations

import sqlalchemy as sa

from quizsvc.store import tables
from quizsvc.store.tables import Person, Question, Revision, Squawk
from quizsvc.store.tables_school import __name__ as SCHOOL

TABLES = {
    one.__tablename__ for one in tables.Base.__subclasses__() if one.__module__ == SCHOOL
}  # what goes when the older code comes back


def write(db, now, *, question_id=None):
    """Fill every table of the school; a question that is given becomes homework that was not handed in."""
    with db.writing() as session:
        person = session.scalar(sa.select(Person.id).where(Person.name.is_not(None)))
        item, revision = session.execute(sa.select(Revision.item_id, Revision.id).limit(1)).one()
        group = tables.Group(
            name="Winter intake", name_key="winter intake", time_zone="UTC", aircraft=["tolquenny-19"], made_by=person,
            made_at=now,
        )  # fmt: skip
        session.add(group)
        session.flush()
        assignment = tables.Assignment(
            group_id=group.id, title="Bleed air", state="released", version=1, numbers="own",
            feedback="with the mark", tries=1, made_by=person, made_at=now, changed_at=now, released_by=person,
            released_at=now,
        )  # fmt: skip
        session.add(assignment)
        session.flush()
        work = tables.Work(
            id="a" * 32, assignment_id=assignment.id, person_id=person, number=1, drawn_at=now, begun_at=now, late=False
        )
        session.add(work)
        session.flush()
        draft_of = question_id or session.scalar(sa.select(Question.id).limit(1))
        if question_id:
            session.execute(
                sa.update(Question)
                .where(Question.id == question_id)
                .values(set_id=None, work_id=work.id, place=1, sealed=True)
            )
        session.add_all(
            [
                tables.Membership(
                    group_id=group.id, person_id=person, part="student", state="in", asked_at=now, joined_at=now
                ),
                tables.RollEntry(group_id=group.id, name="Pim Holloquist", name_key="pim holloquist", imported_at=now),
                tables.JoinCode(code="KX7RM2QD", group_id=group.id, made_by=person, made_at=now, expires_at=now),
                tables.AssignmentPlace(assignment_id=assignment.id, position=1, item_id=item, revision_id=revision),
                tables.CommonDraw(assignment_id=assignment.id, position=1, number=1, drafts=[{}]),
                tables.DraftResponse(question_id=draft_of, version=1, raw={"pass": True}, saved_at=now),
                tables.Allowance(
                    assignment_id=assignment.id, person_id=person, what="excused", reason="Ill.", taken_back=False,
                    given_by=person, given_at=now,
                ),
                tables.Notice(person_id=person, text="Excused: Bleed air.", path="/homework", at=now),
                tables.Look(person_id=person, looked_by=person, what="mark list", at=now),
                tables.ProducedFile(
                    id="b" * 32, what="mark list", title="Bleed air", media_type="text/csv", body=b"name\r\n",
                    sha256="0" * 64, made_by=person, made_at=now,
                ),
                tables.CalendarFeed(person_id=person, secret_hash="0" * 64, made_at=now),
                tables.Sharing(
                    person_id=person, practice_to_instructors=True, expectation_to_head=False, changed_at=now
                ),
                tables.DeskItem(
                    id="own-item", folder="tolquenny-19", text="item: own-item", state="draft", version=1,
                    author_id=person, changed_at=now,
                ),
                tables.DeskStep(
                    item_id="own-item", what="sent back", text="The key is wrong.", version=1, by=person, at=now
                ),
                tables.HandbookRevision(
                    folder="tolquenny-19", name="3", sections=["8.1"], items=[item], made_by=person, made_at=now
                ),
                tables.SquawkStep(
                    squawk_id=session.scalar(sa.select(Squawk.id).limit(1)), status="deferred", text="Later.",
                    by=person, at=now,
                ),
            ]
        )  # fmt: skip

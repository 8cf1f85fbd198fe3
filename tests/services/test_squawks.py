"""Disputing an item: who raises it decides (design.md section 7)."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import holds, practice, reading, squawks
from quizsvc.store import people
from quizsvc.store.tables import Item, Revision, Squawk
from tests.services.drills import answer, begin, count, right, start
from tests.services.test_accounts import sign_up
from tests.services.test_answers import same_as_replayed

DANGEROUS = "essential-bus-feeds"  # consequence 3
ORDINARY = "gate-slow-leak"  # consequence 2


@pytest.fixture
def question_of(bank_db, clock, rng):
    """A question of an item, for a person."""

    def find(person_id, item):
        drill = start(bank_db, clock, rng, person_id, minutes=200)
        return next(question for question in drill.questions if question.item == item)

    return find


def with_role(db, clock, role):
    """Somebody who holds a role."""
    person = sign_up(db, clock, name=f"The {role}").person
    with db.writing() as session:
        people.set_roles(session, person.id, ["pilot", role])
    return person


@pytest.mark.parametrize(
    ("role", "item", "withdrawn"),
    [
        ("pilot", DANGEROUS, False),
        ("head of training", DANGEROUS, False),
        ("instructor", DANGEROUS, True),
        ("reviewer", DANGEROUS, True),
        ("instructor", ORDINARY, False),
    ],
)
def test_who_raises_it_decides(bank_db, clock, question_of, role, item, withdrawn):
    """Withdrawn only by instructor or reviewer, and only at consequence 3; else live and marked disputed."""
    person = with_role(bank_db, clock, role)
    question = question_of(person.id, item)
    view = squawks.raise_squawk(bank_db, person.id, question.id, "Two options are right.", now=clock())
    shown = practice.question_view(bank_db, person.id, question.id, now=clock())

    assert (view.status, view.withdrawn) == ("open", withdrawn)
    # C11 of vocabulary.md: two endings, the one that is true comes back.
    assert view.caution == (
        "Squawk received. Item is withdrawn until a reviewer has read it."
        if withdrawn
        else "Squawk received. Item stays live and is marked disputed."
    )
    assert all(sentence in reading.cautions(bank_db)["C11"] for sentence in view.caution.split(". "))
    assert (shown.withdrawn, shown.item_disputed) == (withdrawn, True)
    assert count(bank_db, Item, Item.withdrawn_by == "squawk") == withdrawn


def test_a_withdrawn_item_is_not_asked_and_its_answers_are_void(bank_db, clock, rng, question_of):
    """A question that was out before: its answer is kept as `void: withdrawn` and moves no memory."""
    learner = begin(bank_db, clock).person
    out = question_of(learner.id, DANGEROUS)
    instructor = with_role(bank_db, clock, "instructor")
    squawks.raise_squawk(
        bank_db, instructor.id, question_of(instructor.id, DANGEROUS).id, "The bus is wrong.", now=clock()
    )
    given = answer(bank_db, clock, learner.id, out.id, right(bank_db, out.id))
    later = start(bank_db, clock, rng, learner.id, minutes=200)

    assert (given.feedback.outcome, given.feedback.void_reason) == ("void", "withdrawn")
    assert given.question.withdrawn
    assert DANGEROUS not in {question.item for question in later.questions}
    assert same_as_replayed(bank_db, clock, learner.id)


def test_what_was_learned_on_it_is_suspect(bank_db, clock, rng):
    """Everyone who had it right is rebuilt: the hold is suspect (vocabulary.md)."""
    from quizsvc.store.tables import Concept

    # Another way of asking the concept keeps it active, so that its hold is still listed.
    learner = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, learner.id, minutes=200)
    question = next(question for question in drill.questions if question.concept == "P-DIFF")
    answer(bank_db, clock, learner.id, question.id, right(bank_db, question.id))
    with bank_db.writing() as session:
        session.execute(sa.update(Concept).where(Concept.id == "P-DIFF").values(consequence=3))
    reviewer = with_role(bank_db, clock, "reviewer")
    theirs = None
    while theirs is None:
        drill = start(bank_db, clock, rng, reviewer.id, minutes=200)
        theirs = next((found for found in drill.questions if found.item == question.item), None)
    squawks.raise_squawk(bank_db, reviewer.id, theirs.id, "The trap is the key.", now=clock())
    spots = holds.thin_spots(bank_db, learner.id, now=clock())

    assert {row.concept: row.state for row in spots.rows}["P-DIFF"] == "suspect"
    assert spots.counts["suspect"] == 1
    assert same_as_replayed(bank_db, clock, learner.id)


def test_the_same_words_again_store_one(bank_db, clock, question_of):
    """A request that was sent twice."""
    person = begin(bank_db, clock).person
    question = question_of(person.id, ORDINARY)
    views = [squawks.raise_squawk(bank_db, person.id, question.id, " No. ", now=clock()) for _ in range(3)]

    assert len(set(views)) == count(bank_db, Squawk) == 1


@pytest.mark.parametrize("text", ["", "  \n ", "a\0b", "\ud800", "x" * 2001, None])
def test_words_that_cannot_be_stored(bank_db, clock, question_of, text):
    """A sentence at the field, nothing stored."""
    person = begin(bank_db, clock).person
    question = question_of(person.id, ORDINARY)
    with pytest.raises(InputError) as caught:
        squawks.raise_squawk(bank_db, person.id, question.id, text, now=clock())

    assert (caught.value.where, count(bank_db, Squawk)) == ("text", 0)


def test_another_persons_question(bank_db, clock, question_of):
    """Not found, like one that is not there."""
    question = question_of(begin(bank_db, clock).person.id, ORDINARY)
    other = begin(bank_db, clock).person
    for key in (question.id, "0" * 32, "x"):
        with pytest.raises(NotFoundError):
            squawks.raise_squawk(bank_db, other.id, key, "No.", now=clock())

    assert count(bank_db, Squawk) == 0


def test_a_squawk_about_an_older_text_leaves_the_new_one(bank_db, clock, question_of):
    """The revision that was asked is withdrawn; the item goes on with the one in use."""
    instructor = with_role(bank_db, clock, "instructor")
    question = question_of(instructor.id, DANGEROUS)
    with bank_db.writing() as session:
        old = session.scalars(sa.select(Revision).where(Revision.item_id == DANGEROUS)).one()
        values = {column.key: getattr(old, column.key) for column in Revision.__table__.columns if column.key != "id"}
        new = Revision(**(values | {"number": 2, "hash": "another"}))
        session.add(new)
        session.flush()
        session.get(Item, DANGEROUS).revision_id = new.id
    squawks.raise_squawk(bank_db, instructor.id, question.id, "It was wrong.", now=clock())

    assert count(bank_db, Item, Item.withdrawn_at.is_not(None)) == 0
    assert practice.question_view(bank_db, instructor.id, question.id, now=clock()).withdrawn

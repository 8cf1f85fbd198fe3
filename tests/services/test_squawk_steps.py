"""What becomes of a squawk: read by reviewers and instructors, answered in words, with the item brought back or not."""

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import notices, squawk_steps, squawks
from quizsvc.store.tables import Item, Revision
from tests.services import assigned
from tests.services.drills import answer, begin, right, start
from tests.services.test_answers import same_as_replayed

DANGEROUS, ORDINARY = "essential-bus-feeds", "gate-slow-leak"


@pytest.fixture
def school(bank_db, clock):
    """A reviewer, an instructor and a pilot."""
    return {
        role: assigned.add_person(bank_db, clock, f"The {role}", roles=(role,))
        for role in ("reviewer", "instructor", "pilot")
    }


@pytest.fixture
def raised(bank_db, clock, rng, school):
    """Raise a squawk about an item as one of them; returns its number."""

    def by(role, item, text="Two options are right."):
        drill = start(bank_db, clock, rng, school[role], minutes=200)
        question = next(one for one in drill.questions if one.item == item)
        return squawks.raise_squawk(bank_db, school[role], question.id, text, now=clock()).id

    return by


def step(db, clock, by, squawk, status="deferred", text="Read again in the book.", seen=0):
    squawk_steps.add_step(db, by, squawk, status=status, text=text, seen=seen, now=clock())


def out_of_use(db, item):
    with db.reading() as session:
        found = session.get(Item, item)
        revision = session.get(Revision, found.revision_id)
        return found.withdrawn_by, revision.withdrawn_at is not None


def test_steps_are_kept_and_the_last_one_is_the_status(bank_db, clock, school, raised):
    """Deferred by one, fixed by another; whoever raised it is told."""
    squawk = raised("pilot", ORDINARY)
    step(bank_db, clock, school["instructor"], squawk)
    clock.advance(days=1)
    step(bank_db, clock, school["reviewer"], squawk, "fixed", "The option is reworded.", seen=1)

    view = squawk_steps.detail(bank_db, school["instructor"], squawk)
    assert view.row.status == "fixed"
    assert [(one.status, one.by, one.text) for one in view.steps] == [
        ("deferred", "The instructor", "Read again in the book."),
        ("fixed", "The reviewer", "The option is reworded."),
    ]
    assert [one.text for one in notices.listed(bank_db, school["pilot"])] == [
        "Your squawk has an answer: fixed.", "Your squawk has an answer: deferred.",
    ]  # fmt: skip


def test_no_fault_found_by_a_reviewer_brings_the_item_back(bank_db, clock, rng, school, raised):
    """Also into the memory of who had learned on it: the concept is suspect no longer."""
    learner = begin(bank_db, clock).person
    drill = start(bank_db, clock, rng, learner.id, minutes=200)
    question = next(one for one in drill.questions if one.item == DANGEROUS)
    answer(bank_db, clock, learner.id, question.id, right(bank_db, question.id))
    squawk = raised("instructor", DANGEROUS)
    assert out_of_use(bank_db, DANGEROUS) == ("squawk", True)
    with bank_db.reading() as session:
        assert session.scalar(sa.select(Item.withdrawn_at).where(Item.id == DANGEROUS)) == clock()

    assert squawk_steps.detail(bank_db, school["reviewer"], squawk).may_find_no_fault

    step(bank_db, clock, school["reviewer"], squawk, "no fault found")
    assert out_of_use(bank_db, DANGEROUS) == (None, False)
    assert same_as_replayed(bank_db, clock, learner.id)


def test_no_fault_found_on_a_withdrawn_item_takes_a_reviewer(bank_db, clock, school, raised):
    """C11: withdrawn until a reviewer has read it. The instructor may still defer it."""
    squawk = raised("instructor", DANGEROUS)
    assert not squawk_steps.detail(bank_db, school["instructor"], squawk).may_find_no_fault
    with pytest.raises(InputError) as refused:
        step(bank_db, clock, school["instructor"], squawk, "no fault found")
    assert refused.value.reference == "squawk-no-reviewer"
    assert squawk_steps.detail(bank_db, school["instructor"], squawk).steps == ()
    step(bank_db, clock, school["instructor"], squawk, "deferred")
    assert out_of_use(bank_db, DANGEROUS) == ("squawk", True)


def test_another_squawk_keeps_it_out_of_use(bank_db, clock, rng, school):
    """Instructor and reviewer both withdrew it: it comes back when the second one is settled too."""
    numbers = {}
    questions = {}
    for role in ("instructor", "reviewer"):
        drill = start(bank_db, clock, rng, school[role], minutes=200)
        questions[role] = next(one.id for one in drill.questions if one.item == DANGEROUS)
    for role, question in questions.items():
        numbers[role] = squawks.raise_squawk(bank_db, school[role], question, f"Wrong, says {role}.", now=clock()).id
    step(bank_db, clock, school["reviewer"], numbers["instructor"], "no fault found")
    assert out_of_use(bank_db, DANGEROUS) == ("squawk", True)
    step(bank_db, clock, school["reviewer"], numbers["reviewer"], "no fault found")
    assert out_of_use(bank_db, DANGEROUS) == (None, False)


def test_who_answers_second_is_told(bank_db, clock, school, raised):
    """Both had no step before their eyes; the second writes nothing."""
    squawk = raised("pilot", ORDINARY)
    step(bank_db, clock, school["instructor"], squawk)
    with pytest.raises(ConflictError) as told:
        step(bank_db, clock, school["reviewer"], squawk, "fixed")
    assert told.value.reference == "squawk-moved"
    assert len(squawk_steps.detail(bank_db, school["reviewer"], squawk).steps) == 1


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("changes", "reference"),
    [({"text": "  "}, "squawk-step-empty"), ({"status": "closed"}, "squawk-status-unknown"),
     ({"text": "x" * 2001}, "text-too-long"), ({"text": "a\0b"}, "text-character")],
)  # fmt: skip
def test_what_cannot_be_a_step(bank_db, clock, school, raised, changes, reference):
    """No words, too many, another status."""
    squawk = raised("pilot", ORDINARY)
    with pytest.raises(InputError) as refused:
        step(bank_db, clock, school["reviewer"], squawk, **changes)
    assert refused.value.reference == reference


def test_nobody_else_reads_them(bank_db, clock, school, raised):
    """Not even whoever raised it; the list names no person."""
    squawk = raised("pilot", ORDINARY)
    for ask in (
        lambda: squawk_steps.listed(bank_db, school["pilot"]),
        lambda: squawk_steps.detail(bank_db, school["pilot"], squawk),
        lambda: step(bank_db, clock, school["pilot"], squawk),
        lambda: squawk_steps.detail(bank_db, school["reviewer"], squawk + 1),
    ):
        with pytest.raises(NotFoundError):
            ask()
    rows, total = squawk_steps.listed(bank_db, school["instructor"], status="open")
    assert total == 1 and rows[0].item == ORDINARY and rows[0].text == "Two options are right."
    assert squawk_steps.listed(bank_db, school["instructor"], status="fixed") == ([], 0)
    assert "The pilot" not in repr(squawk_steps.detail(bank_db, school["reviewer"], squawk))

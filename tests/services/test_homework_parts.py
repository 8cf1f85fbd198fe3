"""A scenario in homework: its parts are questions of one chain, and own earlier drafts are followed at handing in."""

from __future__ import annotations

import pytest

from quizsvc.services import handing_in, homework
from tests.services.assigned import add_assignment, add_group, add_person
from tests.services.doing import begin, grades, hand_in, save


@pytest.fixture
def work(kinds_db, clock, rng):
    """A student's work on the scenario of the kinds' bank, by a rule of feedback."""

    def make(feedback):
        person = add_person(kinds_db, clock, "Ada Quill")
        group = add_group(kinds_db, clock, students=[person])
        assignment = add_assignment(kinds_db, clock, group, ["asked-as-scenario"], feedback=feedback)
        return person, begin(kinds_db, clock, rng, person, assignment)

    return make


def test_own_drafts_are_followed_at_handing_in(kinds_db, clock, work):
    """6,900 off the schedule is a miss; from there (6,900 - 5,600)/550 = 2.36 min by hand is full."""
    person, one = work("with the mark")
    for question, raw in zip(one.questions, ({"text": "6,900"}, {"option": "none"}, {"text": "2.4"}), strict=True):
        save(kinds_db, clock, person, one, question.id, raw)
    before = homework.question(kinds_db, person, one.id, one.questions[2].id, now=clock())
    hand_in(kinds_db, clock, person, one)
    after = homework.question(kinds_db, person, one.id, one.questions[2].id, now=clock())

    assert [answer for _, answer in before.view.earlier] == ["6,900", "no gain, stay in CREW TGT"]
    assert grades(kinds_db, one) == [(1, "miss"), (2, "full"), (3, "full")]
    assert "a 6,900 ft" in (after.view.feedback.remark or "") + after.view.feedback.why
    assert "From 5,600 ft to 6,900 ft" in after.view.feedback.why


def test_a_part_left_open_is_followed_by_its_key(kinds_db, clock, work):
    """As for a pass in practice: (7,100 - 5,600)/550 is 2.7 min by hand."""
    person, one = work("with the mark")
    save(kinds_db, clock, person, one, one.questions[2].id, {"text": "2.7"})
    hand_in(kinds_db, clock, person, one, anyway=True)

    assert grades(kinds_db, one) == [(1, "pass"), (2, "pass"), (3, "full")]


def test_straight_away_waits_for_the_last_part_but_for_what_is_put_right(kinds_db, clock, work):
    """Part b is put right before going on, so it is told at once; a and c come with the last."""
    person, one = work("straight away")
    a, b, c = (question.id for question in one.questions)

    def answer(question, raw):
        return handing_in.answer_now(kinds_db, person, one.id, question, raw=raw, sureness=None, now=clock()).view

    assert answer(a, {"text": "6,900"}).feedback is None
    assert answer(b, {"option": "back"}).feedback.outcome == "miss"
    assert homework.question(kinds_db, person, one.id, a, now=clock()).view.kept
    assert answer(c, {"text": "2.4"}).feedback.outcome == "full"
    assert homework.question(kinds_db, person, one.id, a, now=clock()).view.feedback.outcome == "miss"

"""A learner's stories, on the forms that a browser without scripts sends."""

from __future__ import annotations

import uuid

from sqlalchemy import func, select

from quizsvc.services import accounts
from quizsvc.store.tables import Acknowledgement, Answer, Grade, Person, PracticeSet, Question, Squawk
from tests.web.keys import right, wrong
from tests.web.pages import on_both


def _count(db, table, *where):
    with db.reading() as session:
        return session.scalar(select(func.count()).select_from(table).where(*where))


class TestStart:
    def test_start_is_one_tap_and_asks_nothing(self, visitor, bank_db):
        """The first page has a Start button with its minutes; pressing it shows an item."""
        page = visitor.get("/")
        start = next(form for form in page.forms if form.action == "/sets" and "long" not in form.names)

        assert start.buttons[0] == ("minutes", "5")
        assert set(start.names) <= {"csrf_token", "acknowledged"}

        visitor.send(start, start.buttons[0])

        assert visitor.status == 200
        assert visitor.path.startswith("/questions/")
        assert visitor.page.heading.startswith("1 of ")

    def test_looking_makes_no_person(self, visitor, bank_db):
        """A person is created by the POST that starts a set, not by a visit."""
        for path in ("/", "/handbook", "/about", "/cautions", "/sign-in"):
            visitor.get(path)

        assert _count(bank_db, Person) == 0

        visitor.start()

        assert _count(bank_db, Person) == 1

    def test_start_acknowledges_what_stood_above_it(self, visitor, bank_db):
        """C1 and, once a day, C9 are stored with the time."""
        page = visitor.get("/")

        assert {"C1", "C9"} <= set(page.cautions)

        visitor.start()

        with bank_db.reading() as session:
            assert sorted(session.scalars(select(Acknowledgement.caution_id))) == ["C1", "C9"]

    def test_c9_is_shown_once_a_day(self, visitor, clock):
        """Not again on the same day, again on the next."""
        visitor.start()

        assert "C9" not in visitor.get("/").cautions

        clock.advance(days=1)

        assert "C9" in visitor.get("/").cautions

    def test_a_set_without_the_acknowledgement_is_refused(self, visitor, bank_db):
        """Nobody starts without C1."""
        form = visitor.get("/").form("/sets")
        form.fields = [(name, value) for name, value in form.fields if name != "acknowledged"]
        visitor.send(form, ("minutes", "5"))

        assert visitor.status == 422
        assert "C1" in visitor.page.text
        assert _count(bank_db, PracticeSet) == 0


@on_both
class TestAnswer:
    def test_a_right_answer_shows_the_word_and_the_working(self, visitor, bank_db):
        """Outcome in words, the key, the working, the handbook one tap away."""
        visitor.start()
        visitor.send(visitor.answer_form(), **right(bank_db, visitor.question))

        assert visitor.status == 200
        assert "That is the key." in visitor.page.text
        assert "Working" in visitor.page.text

    def test_a_wrong_answer_is_told_without_scolding(self, visitor, bank_db):
        """The word is `miss`, and no word of reproach stands on the page."""
        visitor.start()
        visitor.send(visitor.answer_form(), **wrong(bank_db, visitor.question))

        assert " miss " in visitor.page.text
        assert "Not the key." in visitor.page.text
        for word in ("wrong", "fail", "sorry", "oops", "bad", "incorrect"):
            assert word not in visitor.page.text.lower().split()

    def test_sure_and_missed_is_said(self, visitor, bank_db):
        """The dangerous case has its own sentence."""
        visitor.start()
        visitor.send(visitor.answer_form(), sureness="sure", **wrong(bank_db, visitor.question))

        assert "You were sure" in visitor.page.text

    def test_pass_leaves_unanswered_on_purpose(self, visitor, bank_db):
        """`pass` is stored as such and shows the key."""
        visitor.start()
        visitor.pass_on()

        assert "Left unanswered on purpose" in visitor.page.text
        assert _count(bank_db, Grade, Grade.outcome == "pass") == 1

    def test_the_key_is_not_on_the_page_before_the_answer(self, visitor, bank_db):
        """The grading record stays on the server."""
        visitor.start()

        assert "is-key" not in visitor.page.html
        assert "Working" not in visitor.page.text

    def test_nothing_picked_comes_back_with_a_sentence(self, visitor, bank_db):
        """Nothing is stored, the question stays."""
        visitor.start()
        question = visitor.question
        form = visitor.answer_form()
        if ("text", "") in form.fields:
            visitor.send(form, text="  ")
        else:
            visitor.send(form)

        assert visitor.status == 422
        assert "yet" in visitor.page.text
        assert visitor.question == question
        assert _count(bank_db, Answer) == 0

    def test_an_unreadable_number_comes_back_as_typed(self, visitor, bank_db):
        """A sentence beside the field, and what was typed in it."""
        visitor.start(minutes=25, long=True)
        while not any(name == "text" for name, _ in visitor.answer_form().fields):
            visitor.pass_on()
            visitor.next()
        before = _count(bank_db, Answer)
        visitor.send(visitor.answer_form(), text="about six & <b>half</b>", sureness="guess")

        assert visitor.status == 422
        assert ("text", "about six & <b>half</b>") in visitor.answer_form().fields
        assert ("sureness", "guess") in visitor.answer_form().fields
        assert "<b>half" not in visitor.page.html
        assert _count(bank_db, Answer) == before

    def test_the_same_form_twice_is_stored_once(self, visitor, bank_db):
        """A double tap, or the back button and again: same UUID, one answer, same feedback."""
        visitor.start()
        form = visitor.answer_form()
        given = right(bank_db, visitor.question)
        first = visitor.send(form, **given).text
        second = visitor.send(form, **given).text

        assert first == second
        assert _count(bank_db, Answer) == 1

    def test_a_second_answer_to_one_question_is_void(self, visitor, bank_db):
        """It is kept, counts for nothing, and the first one's feedback stays."""
        visitor.start()
        form = visitor.answer_form()
        visitor.send(form, **wrong(bank_db, visitor.question))
        form.fields = [(name, value) for name, value in form.fields if name != "uuid"]
        visitor.send(form, uuid=str(uuid.uuid4()), **right(bank_db, form.action.split("/")[2]))

        assert "Not the key." in visitor.page.text
        assert _count(bank_db, Answer) == 2
        assert _count(bank_db, Grade, Grade.outcome == "void") == 1


@on_both
class TestSet:
    def test_a_closed_browser_loses_nothing(self, visitor, bank_db):
        """The start page offers to go on where one stopped."""
        visitor.start()
        visitor.pass_on()
        visitor.next()
        second = visitor.question
        page = visitor.get("/")

        assert "1 of " in page.heading

        visitor.get(next(link for link in page.links if link.startswith("/sets/")))

        assert visitor.question == second

    def test_stop_here_ends_the_set_with_what_was_answered(self, visitor):
        """No loss and no reproach at any item."""
        visitor.start()
        visitor.pass_on()
        stop = next(form for form in visitor.page.forms if form.action.endswith("/end"))
        visitor.send(stop)

        assert visitor.page.heading == "End of set"
        assert "1 of " in visitor.page.text
        assert "not answered" in visitor.page.text
        assert not any(link.startswith("/sets/") for link in visitor.get("/").links)

    def test_the_missed_are_offered_again_with_new_numbers(self, visitor, bank_db):
        """At the end, by choice; the repeats are marked and stand apart."""
        visitor.start()
        while "/questions/" in visitor.path:
            visitor.send(visitor.answer_form(), **wrong(bank_db, visitor.question))
            visitor.next()

        assert visitor.page.heading == "End of set"

        offer = next(form for form in visitor.page.forms if form.action.endswith("/repeats"))
        visitor.send(offer)

        assert visitor.page.heading.startswith("Again: ")

        while "/questions/" in visitor.path:
            visitor.send(visitor.answer_form(), **right(bank_db, visitor.question))
            visitor.next()

        assert "Again, with new numbers" in visitor.page.text
        assert not any(form.action.endswith("/repeats") for form in visitor.page.forms)

    def test_nothing_missed_offers_nothing(self, visitor, bank_db):
        """No offer where all was right."""
        visitor.start()
        while "/questions/" in visitor.path:
            visitor.send(visitor.answer_form(), **right(bank_db, visitor.question))
            visitor.next()

        assert not any(form.action.endswith("/repeats") for form in visitor.page.forms)

    def test_a_set_goes_on_on_another_device(self, member, browsers, bank_db):
        """Signed in elsewhere, the same question waits."""
        member.start()
        member.pass_on()
        member.next()
        waiting = member.question
        other = browsers()
        other.send(other.get("/sign-in").form("/sign-in"), name="Nadir Eshvale", password="ochre lantern nine")
        page = other.get("/")
        other.get(next(link for link in page.links if link.startswith("/sets/")))

        assert other.question == waiting


class TestSquawk:
    def test_a_squawk_is_stored_and_the_true_caution_shown(self, visitor, bank_db):
        """C11 says what became of the item."""
        visitor.start()
        visitor.pass_on()
        squawk = next(form for form in visitor.page.forms if form.action.endswith("/squawks"))
        visitor.send(squawk, text="Two options can be defended <script>alert(1)</script>")

        assert "Squawk received." in visitor.page.text
        assert "<script>alert" not in visitor.page.html
        assert _count(bank_db, Squawk) == 1

    def test_an_empty_squawk_is_refused(self, visitor, bank_db):
        """A sentence, and nothing stored."""
        visitor.start()
        visitor.pass_on()
        squawk = next(form for form in visitor.page.forms if form.action.endswith("/squawks"))
        visitor.send(squawk, text="   ")

        assert visitor.status == 422
        assert _count(bank_db, Squawk) == 0

    def test_an_instructors_squawk_withdraws_what_can_hurt(self, browsers, bank_db, clock):
        """C11's other sentence; an answer to a question asked before counts for nothing, and the page says so."""
        accounts.add_account(bank_db, "Rosmund Achterby", ["instructor"], now=clock())
        secret = accounts.make_link(bank_db, "Rosmund Achterby", hours=24, now=clock())
        instructor, pilot = browsers(), browsers()
        instructor.send(instructor.get(f"/link/{secret}").form(f"/link/{secret}"), password="ochre lantern nine")
        item = _open_question_on(pilot, bank_db, clock, "D-BUS")
        waiting = pilot.path
        assert _open_question_on(instructor, bank_db, clock, "D-BUS") == item
        instructor.pass_on()
        instructor.send(next(one for one in instructor.page.forms if one.action.endswith("/squawks")), text="Two keys.")

        assert "Item is withdrawn until a reviewer has read it." in instructor.page.text

        assert "was withdrawn" in pilot.get(waiting).text
        pilot.send(pilot.answer_form(), **right(bank_db, pilot.question))
        assert "Counts for nothing: withdrawn." in pilot.page.text


def _open_question_on(visitor, db, clock, concept):
    """Drill until a question on the concept is on the screen, open; returns its item."""
    for _ in range(12):
        visitor.start(minutes=25, long=True)
        while "/questions/" in visitor.path:
            with db.reading() as session:
                question = session.get(Question, visitor.question)
                if question.concept_id == concept:
                    return question.item_id
            visitor.pass_on()
            visitor.next()
        clock.advance(days=1)
    raise AssertionError(f"{concept} was never asked")

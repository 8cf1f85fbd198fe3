"""Texts of the bank desk on their way back: sent back, taken over, deleted, withdrawn, made a draft again."""

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import (
    accounts,
    desk_items,
    desk_release,
    desk_steps,
    handbook_revisions,
    notices,
)
from quizsvc.store import bank
from quizsvc.store.tables import AssignmentPlace, DeskItem, DeskStep, Grade, Item, Person, Question, Revision
from tests.services import assigned, desk_doing
from tests.services.desk_texts import CLIMB, RUDDER
from tests.services.drills import answer, begin, right
from tests.services.drills import start as start_drill
from tests.services.test_answers import same_as_replayed
from tests.services.test_desk_items import ITEM, start

WORDS = "The essential bus does not feed it.\nSee 24-10."


@pytest.fixture
def school(bank_db, clock):
    """Two authors, a reviewer, one who is both, and an instructor."""
    return {
        name: assigned.add_person(bank_db, clock, name, roles)
        for name, roles in {
            "Wenna Astley": ("item author",),
            "Corin Peverell": ("item author",),
            "Ysolt Brandreth": ("reviewer",),
            "Tamsin Orme": ("reviewer", "item author"),
            "Dunstan Okeby": ("pilot", "instructor", "keeper"),
        }.items()
    }


@pytest.fixture
def wenna(school):
    """Who writes."""
    return school["Wenna Astley"]


@pytest.fixture
def ysolt(school):
    """Who reads."""
    return school["Ysolt Brandreth"]


@pytest.fixture
def tamsin(school):
    """Who may do both."""
    return school["Tamsin Orme"]


@pytest.fixture
def put_into_use(bank_db, clock):
    """Reads a text and puts it into use, as one person."""
    return lambda by, item=ITEM, **given: desk_doing.put_into_use(bank_db, clock, by, item, **given)


def view(db, person, item=ITEM):
    return desk_items.one(db, person, item)


def version(db, person):
    return view(db, person).version


def save(db, clock, person, text):
    desk_items.save(db, person, ITEM, text=text, version=version(db, person), now=clock())


def history(db, person):
    """What was done and by whom, the first step first."""
    return [(step.what, step.by) for step in reversed(view(db, person).steps)]


def in_use(db, item=ITEM):
    """Whether an item is in use, and of which revision its row is."""
    with db.reading() as session:
        row = session.get(Item, item)
        return row.withdrawn_by, session.get(Revision, row.revision_id).number


def told(db, person):
    return [(one.text, one.path) for one in notices.listed(db, person)]


class TestSendingBack:
    """A reader says what is wrong."""

    def test_words_notice_and_history(self, bank_db, clock, wenna, ysolt):
        """The author has the words beside the text; they stay in its history when it was changed and read."""
        start(bank_db, clock, wenna)
        clock.advance(minutes=5)
        desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())

        found = view(bank_db, wenna)
        assert (found.said.text, found.said.by, found.said.at) == (WORDS, "Ysolt Brandreth", clock())
        assert (found.row.state, found.row.sent_back, found.version) == ("draft", "waits", 1)
        assert [path for _, path in told(bank_db, wenna)] == [f"/bank-desk/items/{ITEM}"]
        assert all(word not in told(bank_db, wenna)[0][0] for word in (ITEM, "essential"))

        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        found = view(bank_db, wenna)
        assert (found.said.text, found.row.sent_back) == (WORDS, "changed")

    def test_once_it_was_read_the_words_are_history_only(self, bank_db, clock, wenna, ysolt, put_into_use):
        """And nothing asks the author for anything any more."""
        start(bank_db, clock, wenna)
        desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())
        put_into_use(ysolt)

        found = view(bank_db, wenna)
        assert (found.said, found.row.sent_back) == (None, "")
        assert history(bank_db, wenna) == [
            ("sent back", "Ysolt Brandreth"),
            ("read", "Ysolt Brandreth"),
            ("put into use", "Ysolt Brandreth"),
        ]

    def test_what_was_read_is_a_draft_again(self, bank_db, clock, wenna, ysolt, tamsin):
        """A second reader found what the first had missed."""
        start(bank_db, clock, wenna)
        desk_release.read(bank_db, ysolt, ITEM, version=1, check=desk_doing.look(bank_db), now=clock())
        desk_steps.send_back(bank_db, tamsin, ITEM, version=2, words=WORDS, now=clock())

        found = view(bank_db, wenna)
        assert (found.row.state, found.row.sent_back, found.text) == ("draft", "waits", RUDDER)

    def test_sent_twice_it_is_kept_once(self, bank_db, clock, wenna, ysolt):
        """The same form pressed again tells nobody twice."""
        start(bank_db, clock, wenna)
        for _ in range(2):
            desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())
        assert (len(view(bank_db, wenna).steps), len(told(bank_db, wenna))) == (1, 1)

    def test_what_is_refused(self, bank_db, clock, school, wenna, ysolt, tamsin, put_into_use):
        """No words, an older text, one that is in use; and for everybody but a second reader there is none."""
        start(bank_db, clock, wenna)
        with pytest.raises(InputError, match="what is wrong is not said"):
            desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=" \n", now=clock())
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        with pytest.raises(ConflictError):
            desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())
        for name in ("Wenna Astley", "Corin Peverell", "Dunstan Okeby"):
            with pytest.raises(NotFoundError):
                desk_steps.send_back(bank_db, school[name], ITEM, version=2, words=WORDS, now=clock())
        put_into_use(ysolt)
        with pytest.raises(ConflictError, match="is live now"):
            desk_steps.send_back(bank_db, tamsin, ITEM, version=4, words=WORDS, now=clock())
        assert told(bank_db, wenna) == []

    def test_a_reviewer_who_writes_cannot_send_their_own_back(self, bank_db, clock, tamsin):
        """It is theirs."""
        start(bank_db, clock, tamsin)
        with pytest.raises(NotFoundError):
            desk_steps.send_back(bank_db, tamsin, ITEM, version=1, words=WORDS, now=clock())


class TestTakingOver:
    """The author's account is gone, whole or but for a row without a name."""

    def leave(self, db, clock, person, way="deleted"):
        if way == "deleted":
            accounts.delete_account(db, person, now=clock())
        else:
            with db.writing() as session:
                session.execute(sa.update(Person).where(Person.id == person).values(name=None, name_key=None))

    @pytest.mark.parametrize("way", ["deleted", "pseudonym"])
    def test_another_author_takes_it_and_a_second_person_releases_it(
        self, bank_db, clock, school, wenna, ysolt, put_into_use, way
    ):
        """Until then nobody can; afterwards it is as if they had written it, and the history says so."""
        start(bank_db, clock, wenna)
        corin = school["Corin Peverell"]
        with pytest.raises(NotFoundError):
            view(bank_db, corin)
        self.leave(bank_db, clock, wenna, way)
        assert not view(bank_db, ysolt).may_review
        with pytest.raises(NotFoundError):
            put_into_use(ysolt)

        assert [(row.id, row.left) for row in desk_items.listed(bank_db, corin)] == [(ITEM, True)]
        assert (view(bank_db, corin).may_take_over, view(bank_db, corin).may_write) == (True, False)
        desk_steps.take_over(bank_db, corin, ITEM, version=1, now=clock())
        assert (view(bank_db, corin).may_take_over, view(bank_db, corin).may_write) == (False, True)
        assert (view(bank_db, ysolt).row.author, view(bank_db, ysolt).row.left) == ("Corin Peverell", False)
        put_into_use(ysolt)
        assert [what for what, _ in history(bank_db, corin)] == ["taken over", "read", "put into use"]

    def test_who_takes_it_over_never_reads_it(self, bank_db, clock, wenna, tamsin, put_into_use):
        """Also a reviewer: for them it is their own."""
        start(bank_db, clock, wenna)
        self.leave(bank_db, clock, wenna)
        desk_steps.take_over(bank_db, tamsin, ITEM, version=1, now=clock())
        assert not view(bank_db, tamsin).may_review
        with pytest.raises(NotFoundError):
            put_into_use(tamsin)

    def test_who_had_read_it_takes_over_a_draft(self, bank_db, clock, wenna, tamsin, ysolt, put_into_use):
        """What is in use stays; somebody else reads the text anew."""
        start(bank_db, clock, wenna)
        put_into_use(tamsin)
        self.leave(bank_db, clock, wenna)
        desk_steps.take_over(bank_db, tamsin, ITEM, version=3, now=clock())

        assert view(bank_db, tamsin).row.state == "draft"
        assert in_use(bank_db) == (None, 1)
        put_into_use(ysolt)
        assert in_use(bank_db) == (None, 1), "the same text is the same revision"

    def test_what_somebody_else_had_read_stays_in_use(self, bank_db, clock, school, wenna, ysolt, put_into_use):
        """Only its author is another one."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        self.leave(bank_db, clock, wenna)
        desk_steps.take_over(bank_db, school["Corin Peverell"], ITEM, version=3, now=clock())
        assert view(bank_db, school["Corin Peverell"]).row.state == "live"

    def test_a_handbooks_revision_waits_for_it(self, bank_db, clock, school, wenna, ysolt, put_into_use):
        """Read again by a reviewer once somebody answers for it."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        self.leave(bank_db, clock, wenna)
        number = handbook_revisions.record(
            bank_db, ysolt, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=clock()
        )
        found = {one.id: one for one in handbook_revisions.detail(bank_db, ysolt, number)[1]}
        assert (found[ITEM].left, found[ITEM].may_read) == (True, False)
        with pytest.raises(NotFoundError):
            handbook_revisions.read_again(bank_db, ysolt, number, ITEM)
        desk_steps.take_over(bank_db, school["Corin Peverell"], ITEM, version=3, now=clock())
        handbook_revisions.read_again(bank_db, ysolt, number, ITEM)
        assert in_use(bank_db) == (None, 1)

    def test_only_authors_and_only_once(self, bank_db, clock, school, wenna, ysolt, tamsin):
        """Whose author is there is nobody's to take; the second one finds it taken."""
        start(bank_db, clock, wenna)
        corin = school["Corin Peverell"]
        with pytest.raises(NotFoundError):
            desk_steps.take_over(bank_db, corin, ITEM, version=1, now=clock())
        with pytest.raises(ConflictError, match="yours already"):
            desk_steps.take_over(bank_db, wenna, ITEM, version=1, now=clock())
        self.leave(bank_db, clock, wenna)
        for by in (ysolt, school["Dunstan Okeby"]):
            with pytest.raises(NotFoundError):
                desk_steps.take_over(bank_db, by, ITEM, version=1, now=clock())
        with pytest.raises(ConflictError, match="changed meanwhile"):
            desk_steps.take_over(bank_db, corin, ITEM, version=2, now=clock())
        desk_steps.take_over(bank_db, corin, ITEM, version=1, now=clock())
        with pytest.raises(NotFoundError):
            desk_steps.take_over(bank_db, tamsin, ITEM, version=1, now=clock())


class TestDeleting:
    """A draft that nobody was ever asked."""

    def test_it_goes_with_its_history(self, bank_db, clock, wenna, ysolt):
        """And its id is free again."""
        start(bank_db, clock, wenna)
        desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())
        assert view(bank_db, wenna).may_delete
        with pytest.raises(ConflictError):
            desk_steps.delete(bank_db, wenna, ITEM, version=2)
        desk_steps.delete(bank_db, wenna, ITEM, version=1)

        with bank_db.reading() as session:
            assert session.get(DeskItem, ITEM) is None
            assert session.scalar(sa.select(sa.func.count()).select_from(DeskStep)) == 0
        start(bank_db, clock, wenna)

    def test_only_by_its_author(self, bank_db, clock, school, wenna, ysolt):
        """For everybody else there is none, or it is not theirs."""
        start(bank_db, clock, wenna)
        for by in (ysolt, school["Corin Peverell"], school["Dunstan Okeby"]):
            with pytest.raises(NotFoundError):
                desk_steps.delete(bank_db, by, ITEM, version=1)

    def test_not_what_has_been_in_use(self, bank_db, clock, wenna, ysolt, put_into_use):
        """Its changes can be dropped instead."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        assert not view(bank_db, wenna).may_delete
        with pytest.raises(ConflictError, match="has been in use"):
            desk_steps.delete(bank_db, wenna, ITEM, version=4)


def test_an_item_of_the_same_name_from_a_file_is_none_of_the_desks(bank_db, clock, wenna, ysolt):
    """It is not withdrawn there, and does not keep the draft from being deleted."""
    start(bank_db, clock, wenna)
    with bank_db.writing() as session:  # as a load brings it: the desk's name was free in the bank
        there = session.get(Item, "essential-bus-feeds")
        session.add(
            Item(
                id=ITEM, source="shipped", concept_id=there.concept_id, status="live", revision_id=there.revision_id,
                homework_only=False,
            )
        )  # fmt: skip
    assert (view(bank_db, ysolt).may_withdraw, view(bank_db, wenna).may_delete) == (False, True)
    with pytest.raises(ConflictError, match="not in use"):
        desk_steps.withdraw(bank_db, ysolt, ITEM, version=1, reason="Wrong.", now=clock())
    desk_steps.delete(bank_db, wenna, ITEM, version=1)
    assert in_use(bank_db)[0] is None


class TestDroppingChanges:
    """Back to the text that is in use."""

    def test_it_counts_as_read_as_it_was(self, bank_db, clock, wenna, ysolt, tamsin, put_into_use):
        """By whoever had read that text, not by who read the one that is dropped."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        before = view(bank_db, wenna)
        assert not before.may_drop
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        found = view(bank_db, wenna)
        assert found.may_drop and found.live_text == before.text
        desk_steps.drop_changes(bank_db, wenna, ITEM, version=4, now=clock())

        after = view(bank_db, wenna)
        assert (after.text, after.row.state, after.may_drop) == (before.text, "live", False)
        with bank_db.reading() as session:
            assert session.get(DeskItem, ITEM).read_by == ysolt
        with pytest.raises(ConflictError, match="no other text"):
            desk_steps.drop_changes(bank_db, wenna, ITEM, version=5, now=clock())

    def test_a_reader_who_has_left_leaves_a_draft(self, bank_db, clock, wenna, ysolt, put_into_use):
        """Somebody reads it once more; the revision stays the same."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        accounts.delete_account(bank_db, ysolt, now=clock())
        desk_steps.drop_changes(bank_db, wenna, ITEM, version=4, now=clock())
        found = view(bank_db, wenna)
        assert (found.text, found.row.state) == (RUDDER, "draft")


class TestWithdrawing:
    """A school's item goes out of use at the desk."""

    def test_out_of_use_with_its_reason_and_back_by_a_second_person(self, bank_db, clock, wenna, ysolt, put_into_use):
        """The text says it, practice asks it no more; a draft again, read, in use: the same revision."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        desk_steps.withdraw(bank_db, ysolt, ITEM, version=3, reason="The bus was moved.", now=clock())

        found = view(bank_db, wenna)
        assert (found.row.state, found.row.withdrawn_by, found.may_withdraw) == ("withdrawn", "bank", False)
        assert "status: withdrawn" in found.text
        assert (found.steps[0].what, found.steps[0].text) == ("withdrawn", "The bus was moved.")
        assert [path for _, path in told(bank_db, wenna)] == [f"/bank-desk/items/{ITEM}"]
        with bank_db.reading() as session:
            assert ITEM not in [row.id for row in bank.askable(session, ["tolquenny-19"])]

        desk_steps.draft_again(bank_db, wenna, ITEM, version=4, now=clock())
        assert view(bank_db, wenna).text == RUDDER
        assert in_use(bank_db) == ("bank", 1)
        put_into_use(ysolt)
        assert in_use(bank_db) == (None, 1)
        with bank_db.reading() as session:
            assert ITEM in [row.id for row in bank.askable(session, ["tolquenny-19"])]

    def test_by_its_author_without_a_notice(self, bank_db, clock, wenna, ysolt, put_into_use):
        """Who does it knows it. A changed text stays the draft that it is, and is live when it was read."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        desk_steps.withdraw(bank_db, wenna, ITEM, version=4, reason="The bus was moved.", now=clock())

        assert told(bank_db, wenna) == []
        assert view(bank_db, wenna).row.state == "draft"
        assert in_use(bank_db) == ("bank", 1)
        put_into_use(ysolt)
        assert in_use(bank_db) == (None, 2)

    def test_dropping_changes_of_a_withdrawn_item_leaves_it_withdrawn(self, bank_db, clock, wenna, ysolt, put_into_use):
        """Going back to its text is not reading it."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        save(bank_db, clock, wenna, RUDDER.replace("alive", "powered"))
        desk_steps.withdraw(bank_db, wenna, ITEM, version=4, reason="The bus was moved.", now=clock())
        desk_steps.drop_changes(bank_db, wenna, ITEM, version=5, now=clock())
        assert (view(bank_db, wenna).row.state, in_use(bank_db)) == ("withdrawn", ("bank", 1))

    def test_what_a_handbook_withdrew_can_be_given_up(self, bank_db, clock, wenna, ysolt, put_into_use):
        """It waits for no reading again any more."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        number = handbook_revisions.record(
            bank_db, ysolt, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=clock()
        )
        desk_steps.withdraw(bank_db, wenna, ITEM, version=3, reason="Gone from the handbook.", now=clock())
        assert in_use(bank_db) == ("bank", 1)
        with pytest.raises(ConflictError):
            handbook_revisions.read_again(bank_db, ysolt, number, ITEM)

    def test_nothing_that_was_answered_is_lost(self, bank_db, clock, rng, wenna, ysolt, put_into_use):
        """The answer before keeps its grade, one after it counts for nothing, and memory is what the log gives."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt)
        with bank_db.writing() as session:  # so that a set asks it
            session.execute(
                sa.update(Item)
                .where(Item.id == "essential-bus-feeds")
                .values(withdrawn_at=clock(), withdrawn_by="bank")
            )
        people = [begin(bank_db, clock).person for _ in range(2)]
        asked = {}
        for person in people:
            start_drill(bank_db, clock, rng, person.id, minutes=200)
            with bank_db.reading() as session:
                asked[person.id] = session.scalar(
                    sa.select(Question.id).where(Question.person_id == person.id, Question.item_id == ITEM)
                )
        first, second = people
        answer(bank_db, clock, first.id, asked[first.id], right(bank_db, asked[first.id]))
        desk_steps.withdraw(bank_db, wenna, ITEM, version=3, reason="The bus was moved.", now=clock())
        late = answer(bank_db, clock, second.id, asked[second.id], right(bank_db, asked[second.id]))

        assert late.feedback.outcome == "void"
        with bank_db.reading() as session:
            assert sorted(session.scalars(sa.select(Grade.outcome))) == ["full", "void"]
        for person in people:
            assert same_as_replayed(bank_db, clock, person.id)

    def test_released_homework_keeps_its_revision(self, bank_db, clock, school, wenna, ysolt, put_into_use):
        """It names the same text as before."""
        start(bank_db, clock, wenna)
        put_into_use(ysolt, homework_only=True)
        group = assigned.add_group(bank_db, clock, instructors=[school["Dunstan Okeby"]])
        given = assigned.add_assignment(bank_db, clock, group, [ITEM])

        def frozen():
            with bank_db.reading() as session:
                return session.scalars(
                    sa.select(AssignmentPlace.revision_id).where(AssignmentPlace.assignment_id == given)
                ).all()

        before = frozen()
        desk_steps.withdraw(bank_db, wenna, ITEM, version=3, reason="The bus was moved.", now=clock())
        assert frozen() == before

    def test_what_is_refused(self, bank_db, clock, school, wenna, ysolt, put_into_use):
        """No reason, an older text, one that is not in use; and for everybody else there is none."""
        start(bank_db, clock, wenna)
        with pytest.raises(ConflictError, match="not in use"):
            desk_steps.withdraw(bank_db, wenna, ITEM, version=1, reason="Wrong.", now=clock())
        with pytest.raises(ConflictError, match="is draft now"):
            desk_steps.draft_again(bank_db, wenna, ITEM, version=1, now=clock())
        put_into_use(ysolt)
        with pytest.raises(InputError, match="the reason is not said"):
            desk_steps.withdraw(bank_db, wenna, ITEM, version=3, reason="", now=clock())
        with pytest.raises(ConflictError, match="changed meanwhile"):
            desk_steps.withdraw(bank_db, wenna, ITEM, version=2, reason="Wrong.", now=clock())
        for name in ("Corin Peverell", "Dunstan Okeby"):
            with pytest.raises(NotFoundError):
                desk_steps.withdraw(bank_db, school[name], ITEM, version=3, reason="Wrong.", now=clock())
        assert in_use(bank_db) == (None, 1)


def test_another_text_keeps_its_own_history(bank_db, clock, wenna, ysolt):
    """Steps belong to one text."""
    start(bank_db, clock, wenna)
    start(bank_db, clock, wenna, CLIMB)
    desk_steps.send_back(bank_db, ysolt, ITEM, version=1, words=WORDS, now=clock())
    assert {row.id: row.sent_back for row in desk_items.listed(bank_db, ysolt)} == {ITEM: "waits", "school-climb": ""}
    assert view(bank_db, wenna, "school-climb").steps == ()

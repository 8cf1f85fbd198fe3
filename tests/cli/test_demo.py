"""`quizsvc demo`: an invented school from an empty home, again and afresh."""

from __future__ import annotations

import contextlib
import dataclasses
import random
import re
import signal
import socket
import stat
import subprocess
from datetime import UTC, date, datetime, timedelta

import pytest

from quizsvc.cli import local_server
from quizsvc.errors import ConflictError, FindingsError, InputError, QuizsvcError
from quizsvc.memory.recall import recall_of
from quizsvc.memory.states import ConceptState, LearnerState, state_word
from quizsvc.services import accounts, demo, demo_history, groups, schema, weights
from quizsvc.services.clocks import days_since_epoch
from quizsvc.services.demo_lines import Line
from quizsvc.services.demo_school import Member, Practice, read_school
from quizsvc.settings import question_bank_folder, settings_from
from quizsvc.store.tables import Answer, Concept, Grade, Learner, Person, Question
from quizsvc.store.tables import ConceptState as ConceptRow
from tests import factories
from tests.cli.conftest import PROGRAM
from tests.cli.form_client import FormClient, some_response, start_set
from tests.ports import free_port

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def silent(label):
    """Progress for nobody."""
    return lambda done, total: None


class Running:
    """The real demo; reads what it says until it is up."""

    def __init__(self, home, *words):
        self.process = subprocess.Popen(
            [PROGRAM, "demo", *words], env=home, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        self.said = ""
        for line in self.process.stdout:
            self.said += line
            if line.startswith("Ctrl-C"):
                break

    @property
    def address(self):
        """Where it serves."""
        found = re.search(r"^  (http://127\.0\.0\.1:\d+)", self.said, re.M)
        assert found, self.said + self.process.stderr.read()
        return found[1]

    def password(self, name):
        """The password that was printed for somebody."""
        return re.search(rf"^  {name} .*  (\S+)$", self.said, re.M)[1]

    def stop(self):
        """Ctrl-C; gives exit code, and what was said on standard error."""
        self.process.send_signal(signal.SIGINT)
        _, err = self.process.communicate(timeout=120)
        return self.process.returncode, err


def sign_in(running, name, password):
    """A browser of somebody who signs in with the password that was printed."""
    client = FormClient(running.address)
    page = client.send(client.get("/sign-in").form("/sign-in"), ("name", name), ("password", password))
    assert page.status == 200
    return client


def moved(client, running):
    """The same browser, cookies and all, on the address of another start."""
    client.base = running.address
    return client


@pytest.fixture
def wanted():
    """A port that is free now."""
    return free_port()


def test_a_first_demo_a_second_and_a_fresh_one(home, tmp_path, wanted):
    """From nothing: a drill without an account, a sign-in with a past; again: all still there; afresh: all new."""
    first = Running(home, "--port", str(wanted))
    try:
        client = FormClient(first.address)
        question = start_set(client)
        feedback = client.send(question.form("/answers"), some_response(question.form("/answers")))
        password = first.password("Wendeline Parro")
        signed_in = sign_in(first, "Wendeline Parro", password)
        past = signed_in.get("/log").words
        instructor = sign_in(first, "Tobiah Quenley", first.password("Tobiah Quenley"))
        assigned = {name: instructor.get(f"/assignments/1/{name}") for name in ("spread", "marks", "preview")}
    finally:
        ended = first.stop()
    assert first.address == f"http://127.0.0.1:{wanted}"
    assert first.said.startswith("Oskerby Vale Flight School, an invented school. Study aid. Not for operational use.")
    assert (question.status, feedback.status) == (200, 200)
    assert int(re.search(r"([\d,]+) answers", past)[1].replace(",", "")) > 50
    assert [page.status for page in assigned.values()] == [200, 200, 200]
    assert "Bleed air and the cabin" in assigned["spread"].words and "Extension to" in assigned["marks"].words
    assert ended == (0, "")

    data = tmp_path / ".local/share/quizsvc"
    assert {entry.name for entry in data.iterdir()} <= {"demo.db", "demo.db-shm", "demo.db-wal", "demo.lock",
                                                       "demo-sign-ins.json", "secret"}  # fmt: skip
    assert stat.S_IMODE((data / "demo-sign-ins.json").stat().st_mode) == 0o600

    with socket.create_server(("127.0.0.1", wanted)):
        second = Running(home, "--port", str(wanted))
        try:
            again = moved(client, second).get("/log")
            assert second.password("Wendeline Parro") == password
            busy = subprocess.run([PROGRAM, "demo"], env=home, capture_output=True, text=True, timeout=120)
        finally:
            second.stop()
    assert second.address != first.address
    assert f"(Port {wanted} is taken, so this is the next free one.)" in second.said
    assert "1 answer" in again.words
    assert (busy.returncode, busy.stdout) == (1, "")
    assert busy.stderr.startswith("error: demo-running\nwhat:  a demo of this data folder is running already\n")

    fresh = Running(home, "--fresh", "--port", str(wanted))
    try:
        gone = moved(client, fresh).get("/log")
    finally:
        fresh.stop()
    assert fresh.password("Wendeline Parro") != password
    assert "1 answer" not in gone.words


class TestSchool:
    def test_the_shipped_school_can_be_read(self):
        """Names and roles of the invented school; the aircraft is one of the bank's."""
        text = (question_bank_folder() / "demo-school.yaml").read_text()
        school = read_school("demo-school.yaml", text)

        assert school.name == "Oskerby Vale Flight School"
        assert (question_bank_folder() / school.aircraft / "aircraft.yaml").is_file()
        assert {"keeper", "instructor", "pilot"} <= {role for member in school.people for role in member.roles}

    def test_every_fault_is_reported_with_its_place(self):
        """Unknown word, missing word, wrong type: all in one run."""
        text = """\
school: A school
aircraft: a
time-zone: UTC
colour: red
people:
  - name: Anna
    roles: pilot
    experience: rated
  - roles: [pilot]
    experience: rated
    practice: {weeks: many, days-a-week: 3, hold: 0.5, idle-for: 1}
  - name: Berta
    roles: [pilot]
    experience: rated
    practice: {weeks: 2, days-a-week: 3, hold: 0.5, idle-for: 1, away: {since: 9}}
"""
        with pytest.raises(FindingsError) as refused:
            read_school("demo-school.yaml", text)

        assert [(finding.line, finding.what) for finding in refused.value.findings] == [
            (4, "'colour' is not a word here"),
            (7, "'roles' is 'pilot'"),
            (9, "'name' is missing"),
            (11, "'weeks' is 'many'"),
            (15, "'for' is missing"),
        ]

    def test_an_absence_is_without_evenings(self):
        """Daily from three weeks back, away from the 15th day back for six: six evenings before it, nine after."""
        habits = Practice(weeks=3, days_a_week=7, hold=0.5, idle_for=1, away=(15, 6))
        member = Member("Anna", ("pilot",), "rated", practice=habits)
        evenings = list(demo_history.days_of_practice(member, NOW, random.Random(1)))

        assert [(NOW.date() - one.date()).days for one in evenings] == [*range(21, 15, -1), *range(9, 0, -1)]

    def test_the_faults_of_a_group_are_named(self):
        """A name that is nobody's, an instructor who is none, one day without the other, nobody who instructs."""
        text = """\
school: A school
aircraft: a
time-zone: UTC
people:
  - {name: Anna, roles: [pilot], experience: rated}
groups:
  - name: One
    instructors: [Anna]
    students: [Berta]
    since: 3
  - name: Two
    instructors: []
    students: []
"""
        with pytest.raises(FindingsError) as refused:
            read_school("demo-school.yaml", text)

        assert sorted((finding.line, finding.what) for finding in refused.value.findings) == [
            (7, "an intake has a first and a last day"),
            (8, "'Anna' is no instructor"),
            (9, "'Berta' is nobody of the school"),
            (11, "nobody instructs the group"),
        ]

    @pytest.mark.parametrize("text", ["", "[]", "school: [", "\x00", "people: []"])
    def test_what_is_no_school_is_refused(self, text):
        """A broken file is a fault of the input."""
        with pytest.raises(FindingsError):
            read_school("demo-school.yaml", text)


@pytest.fixture
def settings(home, tmp_path):
    """The demo's settings, with a small school and the tests' bank."""
    bank = factories.write_bank(tmp_path / "question_bank")
    (bank / "demo-school.yaml").write_text(
        """\
school: A small school
aircraft: tolquenny-19
time-zone: UTC
people:
  - {name: Anna, roles: [keeper, instructor], experience: rated}
  - name: Berta
    roles: [pilot]
    experience: in training
    minutes-a-day: 5
    check-in: 30
    practice: {weeks: 3, days-a-week: 5, hold: 0.7, idle-for: 2}
  - {name: Carla, roles: [pilot, instructor], experience: rated}
  - {name: Dora, roles: [pilot], experience: rated}
groups:
  - {name: An intake, instructors: [Anna, Carla], students: [Berta], waiting: [Dora], since: 10, for: 20}
"""
    )
    return dataclasses.replace(demo.demo_settings(settings_from(home)), bank=bank)


def prepare(settings, **options):
    """Prepare the demo at a time that stands still."""
    return demo.prepare(settings, **({"fresh": False, "now": NOW, "progress": silent} | options))


def history(settings):
    """What the Log holds, without the ids that are drawn anew each time."""
    with contextlib.closing(schema.open_database(settings)) as db, db.reading() as session:
        rows = session.query(Answer, Grade, Question).join(Grade, Grade.answer_id == Answer.id)
        rows = rows.join(Question, Question.id == Answer.question_id).order_by(Answer.id)
        return [
            (answer.received_at, question.item_id, question.drawn, answer.raw, answer.sureness, grade.outcome)
            for answer, grade, question in rows
        ]


class TestLines:
    """The practice of one of the school, a line an answer."""

    def test_every_answer_has_a_line_that_agrees_with_the_log_and_with_memory(self, settings):
        """Times, outcomes and reasons are those stored; the last line of a concept has the recall and the hold that the
        stored state gives; each next day is that of the concept's next line."""
        prepare(settings)
        lines = demo.lines(settings, "BERTA")
        with contextlib.closing(schema.open_database(settings)) as db, db.reading() as session:
            stored = list(
                session.query(Answer.effective_at, Question.item_id, Question.reason, Grade.outcome, Concept.title)
                .join(Question, Question.id == Answer.question_id)
                .join(Grade, Grade.answer_id == Answer.id)
                .join(Concept, Concept.id == Question.concept_id)
                .order_by(Answer.effective_at, Answer.id)
            )
            learner = session.query(Learner).filter(Learner.newest_at.is_not(None)).one()
            states = {
                title: ConceptState.from_json(state)
                for title, state in session.query(Concept.title, ConceptRow.state).join(
                    ConceptRow, ConceptRow.concept_id == Concept.id
                )
            }
            used = weights.of_version(session, learner.weights_version)
        learner = LearnerState.from_json(learner.state)

        assert [(one.at, one.item, one.reason, one.outcome, one.concept) for one in lines] == [
            tuple(row) for row in stored
        ]
        newest = {one.concept: one for one in lines}
        assert {concept: one.state for concept, one in newest.items()} == {
            concept: state_word(state) for concept, state in states.items()
        }
        last = lines[-1]
        now = days_since_epoch(last.at)
        assert last.after == recall_of(learner, states[last.concept], now, used)
        if last.lasts_until is not None:
            days = (last.lasts_until - last.at.date()).days
            assert recall_of(learner, states[last.concept], now + days, used) < 0.70
            assert days == 0 or recall_of(learner, states[last.concept], now + days - 1, used) >= 0.70
        for number, one in enumerate(lines):
            later = next((two for two in lines[number + 1 :] if two.concept == one.concept), None)
            assert one.next_on == (later.at.date() if later else None)
        assert any(one.repeat for one in lines) and any(one.next_on for one in lines)

    def test_it_reads_like_a_sentence(self):
        """Two lines by hand: what was said and is still to come, and what was not."""
        line = Line(
            at=datetime(2026, 2, 9, 18, 40, tzinfo=UTC), concept="What ESS feeds", kind="one", item="ess-feeds",
            reason="You have not been asked this yet.", outcome="miss", sureness="sure", repeat=False, before=0.314,
            after=0.966, state="unsettled", lasts_until=date(2026, 2, 20), next_on=None,
        )  # fmt: skip
        again = dataclasses.replace(
            line, reason="", outcome="full", sureness=None, repeat=True, lasts_until=None, next_on=date(2026, 3, 1)
        )
        assert str(line) == (
            "2026-02-09 18:40 | What ESS feeds by one ess-feeds | You have not been asked this yet. | miss (sure)"
            " | recall 0.31 to 0.97 | unsettled | due 2026-02-20, has not come again"
        )
        assert str(again) == (
            "2026-02-09 18:40 | What ESS feeds by one ess-feeds | Homework. | full, repeat"
            " | recall 0.31 to 0.97 | unsettled | not due within a year, came again 2026-03-01"
        )

    def test_without_a_demo_and_for_nobody_it_says_so(self, settings, quizsvc):
        """The command and its two refusals; a person who has not practised has no lines."""
        code, out, err = quizsvc("demo", "--lines", "Berta")
        assert (code, out) == (1, "")
        assert "error: demo-missing" in err and "mend:  run once: quizsvc demo" in err
        prepare(settings)
        code, out, err = quizsvc("demo", "--lines", "Berta")
        assert (code, err) == (0, "")
        assert out.splitlines() == [str(line) for line in demo.lines(settings, "Berta")]
        assert quizsvc("demo", "--lines", "Anna") == (0, "", "")
        code, out, err = quizsvc("demo", "--lines", "Zora")
        assert (code, out) == (1, "")
        assert "error: nobody-of-that-name" in err


class TestPrepare:
    def test_the_past_lies_in_the_past_and_looks_like_practice(self, settings):
        """Weeks of evenings, all before now; right and wrong answers, beliefs, repeats."""
        report = prepare(settings)
        past = history(settings)

        assert len(past) == report.answers > 50
        assert all(NOW - timedelta(weeks=3, days=1) <= row[0] < NOW - timedelta(days=1) for row in past)
        assert len({row[0].date() for row in past}) >= 10
        assert {"full", "miss"} <= {row[5] for row in past}
        assert "void" not in {row[5] for row in past}

    def test_the_same_past_is_invented_each_time(self, settings):
        """A report about the demo can be looked at by somebody else; only passwords differ."""
        first = prepare(settings)
        past = history(settings)
        second = prepare(settings, fresh=True)

        assert history(settings) == past
        assert [entry.password for entry in first.sign_ins] != [entry.password for entry in second.sign_ins]

    def test_the_school_can_sign_in(self, settings):
        """Names, roles and passwords as reported; the settings are those of the text."""
        report = prepare(settings)
        with contextlib.closing(schema.open_database(settings)) as db:
            people = {
                entry.name: accounts.sign_in(
                    db, None, entry.name, entry.password, address="127.0.0.1", device="test", now=NOW
                ).person
                for entry in report.sign_ins
            }

        assert set(people) == {"Anna", "Berta", "Carla", "Dora"}
        assert people["Anna"].roles == ("instructor", "keeper")
        assert people["Berta"].check_date == date(2026, 4, 1)
        assert (people["Berta"].minutes_a_day, people["Berta"].experience) == (5, "in training")

    def test_its_groups_have_their_people(self, settings):
        """Two who instruct, one who is in, one who waits; an intake with its days."""
        prepare(settings)
        with contextlib.closing(schema.open_database(settings)) as db:
            with db.reading() as session:
                ids = dict(session.query(Person.name, Person.id))
            number = groups.own(db, ids["Carla"])[0].id
            group = groups.view(db, ids["Carla"], number)

        assert (group.name, group.starts_on, group.ends_on) == ("An intake", date(2026, 2, 20), date(2026, 3, 22))
        assert [(one.name, one.part) for one in group.members] == [
            ("Anna", "instructor"),
            ("Berta", "student"),
            ("Carla", "instructor"),
        ]
        assert [one.name for one in group.waiting] == ["Dora"]

    def test_a_second_start_keeps_what_was_practised_since(self, settings):
        """Nothing is invented twice, and the printed passwords are the same."""
        first = prepare(settings)
        past = history(settings)
        second = prepare(settings, now=NOW + timedelta(days=3))

        assert (second.answers, history(settings)) == (0, past)
        assert second.sign_ins == first.sign_ins

    def test_a_build_that_was_cut_off_leaves_nothing_half_made(self, settings, monkeypatch):
        """Ctrl-C in the middle: there is no demo yet, and the next start makes a whole one."""
        monkeypatch.setattr(demo_history, "practise", interrupted_after(5))
        with pytest.raises(KeyboardInterrupt):
            prepare(settings)
        monkeypatch.undo()
        assert not (settings.data_dir / "demo.db").exists()

        assert prepare(settings).answers == len(history(settings)) > 50
        assert not list(settings.data_dir.glob("demo-being-made*"))

    def test_a_database_that_cannot_be_used_says_how_to_begin_anew(self, settings):
        """A text file under the demo's name: the cure is the option, and it works."""
        settings.data_dir.mkdir(parents=True)
        (settings.data_dir / "demo.db").write_text("notes\n" * 1000)
        with pytest.raises(QuizsvcError) as refused:
            prepare(settings)
        assert refused.value.mend.startswith("quizsvc demo --fresh begins anew")

        assert prepare(settings, fresh=True).answers > 50

    def test_it_never_touches_the_database_of_the_settings(self, home, tmp_path):
        """A school's own database is another file, whatever the demo throws away."""
        own = settings_from(home | {"QUIZSVC_DATABASE_URL": f"sqlite:///{tmp_path / 'demo.db'}"})

        assert demo.demo_settings(own).database_url != own.database_url
        assert demo.demo_settings(settings_from(home)).database_url != settings_from(home).database_url

    def test_a_data_folder_that_cannot_be_made(self, home, tmp_path):
        """Says where, and which setting names another place."""
        (tmp_path / "file").write_text("")
        blocked = demo.demo_settings(settings_from(home | {"QUIZSVC_DATA_DIR": str(tmp_path / "file" / "data")}))
        with pytest.raises(InputError, match="cannot be made") as refused, demo.only_one(blocked):
            pass

        assert refused.value.where == str(tmp_path / "file" / "data")

    def test_two_demos_of_one_folder_do_not_meet(self, settings):
        """The second is told of the first; when that has ended, it may."""
        with demo.only_one(settings):
            with pytest.raises(ConflictError, match="running already"), demo.only_one(settings):
                pass
        with demo.only_one(settings):
            pass


def interrupted_after(sets):
    """The real practice, cut off after so many sets as Ctrl-C would."""
    practise, left = demo_history.practise, iter(range(sets))

    def until_interrupted(*arguments):
        if next(left, None) is None:
            raise KeyboardInterrupt
        return practise(*arguments)

    return until_interrupted


class TestPort:
    def test_the_next_free_port_is_taken(self):
        """A busy port is stepped over."""
        with socket.create_server(("127.0.0.1", 0)) as server:
            busy = server.getsockname()[1]
            found = local_server.free_port(busy)

        assert busy < found <= busy + 100

    def test_no_free_port_is_a_clear_error(self):
        """The last port of all, and busy."""
        with socket.create_server(("127.0.0.1", 65535)), pytest.raises(InputError, match="no free port from 65535 on"):
            local_server.free_port(65535)

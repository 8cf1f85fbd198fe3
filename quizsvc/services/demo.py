"""The demo: a database of its own in the data folder, with the shipped bank and an invented school in it."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import random
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from quizsvc.errors import ConflictError, InputError, QuizsvcError
from quizsvc.services import (
    accounts,
    banks,
    demo_groups,
    demo_history,
    demo_homework,
    demo_lines,
    links,
    reading,
    schema,
)
from quizsvc.services.bank_files import read_file
from quizsvc.services.demo_school import Member, School, read_school
from quizsvc.services.views import SettingsForm
from quizsvc.settings import Settings, question_bank_folder
from quizsvc.store.session import Database

SEED = 19
_DATABASE = "demo.db"
_SIGN_INS = "demo-sign-ins.json"
_LOCK = "demo.lock"
# Letters and digits that no font confuses.
_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class SignIn:
    """How to sign in as a member of the school."""

    name: str
    role: str
    password: str


@dataclass(frozen=True)
class DemoReport:
    """What the terminal says; `answers` counts the invented ones, 0 where an earlier demo goes on."""

    school: str
    caution: str
    sign_ins: tuple[SignIn, ...]
    answers: int


def demo_settings(settings: Settings) -> Settings:
    """The settings with the demo's own database: never the school's, so that `--fresh` cannot cost anybody anything."""
    url = f"sqlite:///{settings.data_dir / _DATABASE}"
    return dataclasses.replace(settings, database_url=url, trusted_proxies=0, bank=question_bank_folder())


@contextlib.contextmanager
def only_one(settings: Settings) -> Iterator[None]:
    """Hold the data folder's demo for this process; two of them would build and delete under each other."""
    try:
        import fcntl
    except ImportError:  # a platform without it: the second demo is then at its own risk
        yield
        return
    _make_folder(settings)
    with open(settings.data_dir / _LOCK, "w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise ConflictError(
                "demo-running",
                "a demo of this data folder is running already",
                where=str(settings.data_dir),
                mend="open the address that it printed, stop it with Ctrl-C, or set QUIZSVC_DATA_DIR to another folder",
            ) from None
        yield


def prepare(settings: Settings, *, fresh: bool, now: datetime, progress: Callable[[str], Progress]) -> DemoReport:
    """Make the demo's database, or bring the earlier one up to date.

    Parameters
    ----------
    settings : Settings
        Those of `demo_settings`.
    fresh : bool
        Throw the earlier demo away first.
    now : datetime
        The present; the invented weeks end before it.
    progress : callable
        Given a label, returns what is called with (done, total).

    Raises
    ------
    QuizsvcError
        The data folder cannot be written, or the earlier demo's database cannot be used.
    """
    _make_folder(settings)
    file = settings.data_dir / _DATABASE
    school = read_school("demo-school.yaml", read_file(settings.bank / "demo-school.yaml"))
    if fresh:
        for old in (file, *_beside(file), settings.data_dir / _SIGN_INS):
            old.unlink(missing_ok=True)
    answers = 0
    if not file.exists():
        answers = _build(settings, file, school, now, progress)
    else:
        _bring_up_to_date(settings, now, progress)
    with contextlib.closing(schema.open_database(settings)) as db:
        sign_ins = _sign_ins(settings, db, school, now)
        caution = reading.cautions(db)["C1"]
    return DemoReport(school.name, caution, sign_ins, answers)


def lines(settings: Settings, name: str) -> tuple[demo_lines.Line, ...]:
    """The log of somebody of the school, a line an answer; the demo may be running meanwhile.

    Parameters
    ----------
    settings : Settings
        Those of `demo_settings`.
    name : str
        One that the demo prints.

    Raises
    ------
    QuizsvcError
        There is no demo yet, or nobody of that name in it.
    """
    if not (settings.data_dir / _DATABASE).exists():
        raise InputError(
            "demo-missing", "there is no demo yet", where=str(settings.data_dir), mend="run once: quizsvc demo"
        )
    with contextlib.closing(schema.open_database(settings)) as db:
        return demo_lines.lines_of(db, name)


def _make_folder(settings: Settings) -> None:
    try:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(
            "data-folder",
            f"the data folder cannot be made: {(fault.strerror or str(fault)).lower()}",
            where=str(settings.data_dir),
            mend="set QUIZSVC_DATA_DIR to a folder that you may write",
        ) from None


def _beside(file: Path) -> list[Path]:
    return [file.with_name(file.name + ending) for ending in ("-wal", "-shm", "-journal")]


def _build(settings: Settings, file: Path, school: School, now: datetime, progress: Callable[[str], Progress]) -> int:
    """Build under another name and rename at the end: what is there under the right name is whole."""
    scratch = file.with_name("demo-being-made.db")
    for old in (scratch, *_beside(scratch), settings.data_dir / _SIGN_INS):
        old.unlink(missing_ok=True)
    building = dataclasses.replace(settings, database_url=f"sqlite:///{scratch}")
    schema.upgrade(building)
    with contextlib.closing(schema.open_database(building)) as db:
        first_day = now - timedelta(weeks=max((m.practice.weeks for m in school.people if m.practice), default=0) + 1)
        banks.load(db, settings.bank, now=first_day, rng=random.Random(SEED), progress=progress("checking the bank"))
        ids = {member.name: _add(db, school, member, first_day, now) for member in school.people}
        demo_groups.make_groups(db, school, ids, begun=first_day, now=now, rng=random.SystemRandom())
        answers = _history(db, school, ids, now, progress("inventing practice"))
    os.replace(scratch, file)
    return answers


def _bring_up_to_date(settings: Settings, now: datetime, progress: Callable[[str], Progress]) -> None:
    try:
        schema.upgrade(settings)
        with contextlib.closing(schema.open_database(settings)) as db:
            banks.load(db, settings.bank, now=now, rng=random.Random(SEED), progress=progress("checking the bank"))
    except QuizsvcError as error:
        error.mend = f"quizsvc demo --fresh begins anew; or: {error.mend}" if error.mend else "quizsvc demo --fresh"
        raise


def _add(db: Database, school: School, member: Member, first_day: datetime, now: datetime) -> int:
    person_id = accounts.add_account(db, member.name, member.roles, now=first_day, time_zone=school.time_zone)
    check_date = (now + timedelta(days=member.check_in)).date() if member.check_in is not None else None
    form = SettingsForm((school.aircraft,), check_date, member.minutes_a_day, school.time_zone, member.experience)
    accounts.update_settings(db, person_id, form, now=first_day)
    return person_id


def _history(db: Database, school: School, ids: dict[str, int], now: datetime, progress: Progress) -> int:
    """Practice and homework of everybody in the order of time, as it would have come about."""
    learners = {}
    evenings = []
    for member in school.people:
        if member.practice is None:
            continue
        rng = random.Random(f"{SEED} {member.name}")
        learners[member.name] = demo_history.Invented(member.practice.hold, rng)
        evenings += [(begin, member) for begin in demo_history.days_of_practice(member, now, rng)]
    evenings.sort(key=lambda evening: (evening[0], evening[1].name))

    def practises(begin: datetime, member: Member) -> demo_homework.Event:
        minutes = min(member.minutes_a_day, 10)
        return begin, lambda: demo_history.practise(db, ids[member.name], learners[member.name], minutes, begin)

    events = [practises(*evening) for evening in evenings]
    events += demo_homework.events(db, school, ids, now=now, seed=str(SEED))
    events.sort(key=lambda event: event[0])
    answers = 0
    for done, (_, happens) in enumerate(events, start=1):
        answers += happens()
        progress(done, len(events))
    return answers


def _sign_ins(settings: Settings, db: Database, school: School, now: datetime) -> tuple[SignIn, ...]:
    """The passwords of an earlier start, or new random ones; kept in a file that only its owner reads."""
    path = settings.data_dir / _SIGN_INS
    with contextlib.suppress(OSError, ValueError, TypeError):
        return tuple(SignIn(**entry) for entry in json.loads(path.read_text(encoding="utf-8")))
    sign_ins = []
    for member in school.people:
        password = "-".join("".join(secrets.choice(_ALPHABET) for _ in range(4)) for _ in range(3))
        secret = links.make_link(db, member.name, hours=1, by=None, now=now)
        links.use_link(db, secret, password, device="demo", now=now)
        sign_ins.append(SignIn(member.name, ", ".join(member.roles), password))
    path.unlink(missing_ok=True)
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        json.dump([dataclasses.asdict(entry) for entry in sign_ins], file, indent=1)
    return tuple(sign_ins)

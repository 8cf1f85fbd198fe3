"""Accounts: sign up, settings, passwords, and what a keeper does at the command line.

Also the one module that `web` and `cli` need for people: the verbs of its neighbours are names here too.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import edge, memory_log, passwords, uninstructed
from quizsvc.services.clocks import time_zone_name
from quizsvc.services.links import look_at_link, make_link, use_link
from quizsvc.services.own_data import OWN_SHEET, delete_account, export_own
from quizsvc.services.sessions import (
    asking,
    begin_anonymous,
    devices,
    end_device,
    new_person,
    open_session,
    person_of,
    sign_out,
)
from quizsvc.services.sign_in import claim, claim_offer, sign_in
from quizsvc.services.views import SettingsForm, SignedIn
from quizsvc.store import bank, device_sessions, leaving, people
from quizsvc.store.session import Database
from quizsvc.store.tables_people import EXPERIENCES, ROLES

__all__ = [
    "add_account",
    "begin_anonymous",
    "change_password",
    "claim",
    "claim_offer",
    "delete_account",
    "devices",
    "end_device",
    "export_own",
    "look_at_link",
    "make_link",
    "person_of",
    "remove_account",
    "sign_in",
    "sign_out",
    "sign_up",
    "update_settings",
    "use_link",
]


def sign_up(
    db: Database, token: str | None, name: str, password: str, *, device: str, time_zone: str, now: datetime
) -> SignedIn:
    """Turn this device's person into an account with the same id, or make a new one where it has none.

    Raises
    ------
    InputError
        A name or password that cannot be taken; `where` is the field.
    ConflictError
        The name is taken, or this device's person has a name already.
    """
    shown = passwords.name(name)
    name_key = passwords.name_key(shown)
    password_hash = passwords.hashed(passwords.password(password))
    with name_taken(shown), db.writing() as session:
        if people.by_name(session, name_key) is not None:
            raise taken(shown)
        who = asking(session, token)
        if who is None:
            person = new_person(
                session, time_zone=time_zone, now=now, name=shown, name_key=name_key, password_hash=password_hash
            )
        elif who.person.name is None:
            person = who.person
            person.name, person.name_key, person.password_hash = shown, name_key, password_hash
        else:
            raise ConflictError(
                "sign-up-signed-in",
                f"this device is signed in as {who.person.name}",
                where="name",
                mend="sign out first to make another account",
            )
        people.set_roles(session, person.id, ["pilot"])
        if who is not None:
            session.delete(who.session)
        return open_session(session, person, device=device, now=now)


def update_settings(db: Database, person_id: int, form: SettingsForm, *, now: datetime) -> None:
    """Keep a person's own settings; another experience changes where their memory starts, so it is rebuilt.

    Raises
    ------
    InputError
        A setting that cannot be taken; `where` is the field.
    """
    if not (isinstance(form.minutes_a_day, int) and 1 <= form.minutes_a_day <= 240):
        raise InputError(
            "minutes-a-day", f"'{form.minutes_a_day}' minutes", where="minutes_a_day", mend="from 1 to 240 minutes"
        )
    if form.experience not in EXPERIENCES:
        raise InputError(
            "experience-unknown",
            f"'{str(form.experience)[:40]}' is not one of the words",
            where="experience",
            mend=f"one of: {', '.join(EXPERIENCES)}",
        )
    zone = time_zone_name(form.time_zone)
    with db.writing() as session:
        learner = people.lock(session, edge.row_id(person_id, "person"))
        person = people.by_id(session, person_id)
        if person is None or learner is None:
            raise edge.not_found("person")
        _refuse_unknown_aircraft(form.aircraft, [key for key, _name in bank.aircraft_list(session)])
        moved = person.experience != form.experience
        person.aircraft = list(dict.fromkeys(form.aircraft))
        person.check_date = form.check_date
        person.minutes_a_day = form.minutes_a_day
        person.time_zone = zone
        person.experience = form.experience
        if moved:
            memory_log.rebuild(session, person, learner)


def _refuse_unknown_aircraft(wanted: Sequence[str], known: Sequence[str]) -> None:
    for key in wanted:
        if key not in known:
            raise InputError(
                "aircraft-unknown",
                f"'{str(key)[:80]}' is not an aircraft of the bank",
                where="aircraft",
                mend=f"one of: {', '.join(known)}" if known else "load a bank first: quizsvc bank load",
            )


def change_password(db: Database, token: str | None, old: str, new: str, *, now: datetime) -> None:
    """Set a new password; every other session of the person ends.

    Raises
    ------
    InputError
        The old password is wrong, or the new one cannot be taken.
    """
    with db.reading() as session:
        who = asking(session, token)
        if who is None or who.person.password_hash is None:
            raise edge.not_found("account")
        stored = who.person.password_hash
    if not passwords.matches(stored, old):
        raise InputError("password-wrong", "the old password is not right", where="old", mend="type it once more")
    new_hash = passwords.hashed(passwords.password(new, "new"))
    with db.writing() as session:
        who = asking(session, token)
        if who is None or who.person.password_hash != stored:
            raise ConflictError("password-changed", "the password was changed meanwhile", mend="sign in again")
        who.person.password_hash = new_hash
        device_sessions.end_all(session, who.person.id, but=who.session.id)


def add_account(
    db: Database, name: str, roles: Sequence[str] = ("pilot",), *, now: datetime, time_zone: str = "UTC"
) -> int:
    """Add an account without a password; its person gets in by a one-time link. Returns the person's id.

    Raises
    ------
    ConflictError
        The name is taken.
    InputError
        A name or role that cannot be taken.
    """
    shown = passwords.name(name)
    for role in roles:
        if role not in ROLES:
            raise InputError(
                "role-unknown", f"'{role}' is not a role", where="--role", mend=f"one of: {', '.join(ROLES)}"
            )
    name_key = passwords.name_key(shown)
    with name_taken(shown), db.writing() as session:
        if people.by_name(session, name_key) is not None:
            raise taken(shown)
        person = new_person(session, time_zone=time_zone, now=now, name=shown, name_key=name_key)
        people.set_roles(session, person.id, roles or ["pilot"])
        return person.id


def remove_account(db: Database, name: str, *, now: datetime) -> None:
    """Remove an account with everything of its person; squawks stay without the person, homework without the name.

    Raises
    ------
    NotFoundError
        No account has that name.
    ConflictError
        It is the last keeper's.
    """
    with db.writing() as session:
        person = people.by_name(session, passwords.name_key(passwords.name(name)))
        if person is None:
            raise NotFoundError("account-not-found", f"no account is named '{name}'", mend="check the spelling")
        if "keeper" in people.roles(session, person.id) and people.count_with_role(session, "keeper") == 1:
            raise ConflictError(
                "account-last-keeper",
                f"'{name}' is the last keeper of this installation",
                mend="add another first: quizsvc account add NAME --role keeper",
            )
        people.lock(session, person.id)
        alone = [group.name for group in uninstructed.left_alone(session, person.id)]
        leaving.remove(session, person.id, own_sheets=OWN_SHEET, at=now)
        uninstructed.tell_heads(session, alone, now)


class name_taken:
    """Turns the loss of a race for a name (two devices sign up at once) into the sentence of a taken name."""

    def __init__(self, shown: str) -> None:
        self.shown = shown

    def __enter__(self) -> None:
        return None

    def __exit__(self, _kind: object, fault: BaseException | None, _trace: object) -> None:
        if isinstance(fault, ConflictError) and fault.reference == "store-conflict":
            raise taken(self.shown) from fault


def taken(shown: str) -> ConflictError:
    """The error for a name that somebody has."""
    return ConflictError(
        "name-taken",
        f"the name '{shown}' is taken",
        where="name",
        mend="choose another, or sign in if it is yours",
    )

"""Accounts: names, passwords, sessions, links, own settings, deleting."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
import sqlalchemy as sa

from quizsvc.errors import ConflictError, InputError, NotFoundError
from quizsvc.services import accounts, links
from quizsvc.services.views import SettingsForm
from quizsvc.store.tables import DeviceSession, Learner, OneTimeLink, Person

PASSWORD = "a short sentence"


def sign_up(db, clock, name="Nadir Eshvale", token=None, password=PASSWORD):
    """Sign somebody up on a phone."""
    return accounts.sign_up(db, token, name, password, device="phone", time_zone="UTC", now=clock())


def sign_in(db, clock, name="Nadir Eshvale", password=PASSWORD, token=None, address="192.0.2.1"):
    """Sign somebody in on a tablet."""
    return accounts.sign_in(db, token, name, password, address=address, device="tablet", now=clock())


def count(db, table):
    """How many rows a table has."""
    with db.reading() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(table))


class TestSignUp:
    """Getting a name."""

    def test_a_new_account_is_signed_in(self, db, clock):
        """The token leads to the person, who is a pilot."""
        signed_in = sign_up(db, clock)

        person = accounts.person_of(db, signed_in.token, now=clock())
        assert person == signed_in.person
        assert (person.name, person.roles, person.anonymous) == ("Nadir Eshvale", ("pilot",), False)
        assert count(db, Learner) == 1

    def test_an_anonymous_person_keeps_the_id(self, bank_db, clock):
        """Signing up turns that person into the account, and the old token ends."""
        before = accounts.begin_anonymous(bank_db, device="phone", time_zone="Asia/Tokyo", now=clock())
        after = sign_up(bank_db, clock, token=before.token)

        assert after.person.id == before.person.id
        assert after.person.time_zone == "Asia/Tokyo"
        assert accounts.person_of(bank_db, before.token, now=clock()) is None
        assert (count(bank_db, Person), count(bank_db, DeviceSession)) == (1, 1)

    @pytest.mark.parametrize(
        "name", ["Nadir Eshvale", "nadir eshvale", "NADIR  ESHVALE", " Nadir Eshvale ", "Ｎadir Eshvale"]
    )
    def test_a_taken_name_is_taken_in_any_dress(self, db, clock, name):
        """Capitals, blanks and wide letters make no other name."""
        sign_up(db, clock)
        with pytest.raises(ConflictError) as caught:
            sign_up(db, clock, name=name)

        assert (caught.value.reference, caught.value.where) == ("name-taken", "name")
        assert count(db, Person) == 1

    @pytest.mark.parametrize(
        "name",
        ["", "   ", "...", "a\0b", "a\ud800b", "a\nb", "x" * 101, "a\u200bb", "a\u202eb", "\x7f", 7, None],
        ids=lambda name: repr(name)[:12],
    )
    def test_a_broken_name_is_a_sentence(self, db, clock, name):
        """NUL, surrogates, invisible or no letters: refused at the field, nothing stored."""
        with pytest.raises(InputError) as caught:
            sign_up(db, clock, name=name)

        assert caught.value.where == "name"
        assert caught.value.mend
        assert count(db, Person) == 0

    @pytest.mark.parametrize("password", ["", "seven77", "x" * 201, "long enough\0", "long enough\udc00"])
    def test_a_broken_password_is_a_sentence(self, db, clock, password):
        """Too short, too long, or what no keyboard types."""
        with pytest.raises(InputError) as caught:
            sign_up(db, clock, password=password)

        assert caught.value.where == "password"
        assert password not in str(caught.value) or not password
        assert count(db, Person) == 0

    def test_names_of_many_scripts(self, db, clock):
        """Letters of any script, and an address, are names; each finds its owner again."""
        for name in ("Ångström", "Мария", "田中", "someone@example.org", "O'Brien-Smythe 2"):
            sign_up(db, clock, name=name)
            assert sign_in(db, clock, name=name).person.name == name

    def test_two_at_once_for_one_name(self, db, clock):
        """Of eight that want it at the same moment one gets it, the others hear that it is taken."""
        outcomes = []

        def want():
            try:
                outcomes.append(sign_up(db, clock).person.id)
            except ConflictError as fault:
                outcomes.append(fault.reference)

        threads = [threading.Thread(target=want) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert sorted(map(str, outcomes))[1:] == ["name-taken"] * 7
        assert count(db, Person) == 1

    def test_a_signed_in_device_does_not_sign_up_again(self, db, clock):
        """The account of the device is never given another name."""
        token = sign_up(db, clock).token
        with pytest.raises(ConflictError, match="signed in as"):
            sign_up(db, clock, name="Another", token=token)

        assert count(db, Person) == 1

    def test_no_secret_is_stored(self, db, clock):
        """Neither password nor token stands anywhere in the database."""
        token = sign_up(db, clock).token
        with db.reading() as session:
            person = session.scalars(sa.select(Person)).one()
            device = session.scalars(sa.select(DeviceSession)).one()

        assert person.password_hash.startswith("scrypt:")
        assert PASSWORD not in person.password_hash
        assert token not in device.token_hash


class TestSessions:
    """Devices that are signed in."""

    def test_no_token_is_nobody(self, db, clock):
        """None, empty, unknown, absurd: nobody, and never an error."""
        sign_up(db, clock)
        for token in (None, "", "unknown", "x" * 10_000, "\0", "\ud800"):
            assert accounts.person_of(db, token, now=clock()) is None

    def test_last_seen_moves_at_most_once_a_minute(self, db, clock):
        """The note of a visit is one write a minute, not one a request."""
        token = sign_up(db, clock).token
        begun = clock()
        accounts.person_of(db, token, now=clock.advance(seconds=59))
        assert accounts.devices(db, 1)[0].last_seen_at == begun

        accounts.person_of(db, token, now=clock.advance(seconds=1))
        assert accounts.devices(db, 1)[0].last_seen_at == begun + timedelta(seconds=60)

    def test_an_idle_session_ends_after_400_days(self, db, clock):
        """As long as a browser keeps the cookie, and not a day more."""
        token = sign_up(db, clock).token
        assert accounts.person_of(db, token, now=clock.advance(days=400)) is not None
        assert accounts.person_of(db, token, now=clock.advance(days=401)) is None

    def test_sign_out_ends_this_device_alone(self, db, clock):
        """The other device stays signed in."""
        phone = sign_up(db, clock).token
        tablet = sign_in(db, clock).token
        accounts.sign_out(db, phone, now=clock())
        accounts.sign_out(db, phone, now=clock())

        assert accounts.person_of(db, phone, now=clock()) is None
        assert accounts.person_of(db, tablet, now=clock()) is not None

    def test_the_list_of_own_devices(self, db, clock):
        """Newest first; this one is marked."""
        sign_up(db, clock)
        clock.advance(hours=1)
        tablet = sign_in(db, clock).person
        listed = accounts.devices(db, tablet.id, this=tablet.device_id)

        assert [(device.device, device.this_one) for device in listed] == [("tablet", True), ("phone", False)]

    def test_ending_a_device_needs_to_own_it(self, db, clock):
        """Somebody else's device, an unknown one and an id that cannot exist are all not found."""
        mine = sign_up(db, clock).person
        other = sign_up(db, clock, name="Another").person
        for device_id in (other.device_id, 12345, 2**70, -1, 0):
            with pytest.raises(NotFoundError):
                accounts.end_device(db, mine.id, device_id, now=clock())

        accounts.end_device(db, mine.id, mine.device_id, now=clock())
        assert [len(accounts.devices(db, person.id)) for person in (mine, other)] == [0, 1]


class TestPassword:
    """Changing it."""

    def test_a_new_password_ends_other_sessions(self, db, clock):
        """The device that changes it stays, all others have to sign in again."""
        phone = sign_up(db, clock).token
        tablet = sign_in(db, clock).token
        accounts.change_password(db, phone, PASSWORD, "another sentence", now=clock())

        assert accounts.person_of(db, tablet, now=clock()) is None
        assert accounts.person_of(db, phone, now=clock()) is not None
        assert sign_in(db, clock, password="another sentence")
        with pytest.raises(InputError):
            sign_in(db, clock)

    @pytest.mark.parametrize(("old", "new", "field"), [("wrong", "long enough", "old"), (PASSWORD, "short", "new")])
    def test_the_sentence_stands_at_its_field(self, db, clock, old, new, field):
        """A wrong old one and a new one that cannot be taken change nothing."""
        token = sign_up(db, clock).token
        with pytest.raises(InputError) as caught:
            accounts.change_password(db, token, old, new, now=clock())

        assert caught.value.where == field
        assert sign_in(db, clock)


class TestLinks:
    """One-time links."""

    def test_first_sign_in(self, db, clock):
        """An account without a password gets one through the link, which then is used up."""
        accounts.add_account(db, "Keeper", ["keeper"], now=clock())
        secret = links.make_link(db, "keeper", hours=24, now=clock())
        seen = accounts.look_at_link(db, secret, now=clock())
        assert (seen.name, seen.first_sign_in, seen.expires_at) == ("Keeper", True, clock() + timedelta(hours=24))

        signed_in = accounts.use_link(db, secret, PASSWORD, device="phone", now=clock())
        assert signed_in.person.roles == ("keeper",)
        assert sign_in(db, clock, name="Keeper")
        for use in (
            lambda: accounts.look_at_link(db, secret, now=clock()),
            lambda: accounts.use_link(db, secret, PASSWORD, device="phone", now=clock()),
        ):
            with pytest.raises(NotFoundError):
                use()

    def test_a_forgotten_password_ends_old_sessions(self, db, clock):
        """Whoever has the old password, or a device with it, is out."""
        old = sign_up(db, clock).token
        secret = links.make_link(db, "Nadir Eshvale", now=clock())
        accounts.use_link(db, secret, "another sentence", device="phone", now=clock())

        assert accounts.person_of(db, old, now=clock()) is None

    def test_it_runs_out(self, db, clock):
        """After its hours the link is like one never made."""
        sign_up(db, clock)
        secret = links.make_link(db, "Nadir Eshvale", hours=24, now=clock())
        with pytest.raises(NotFoundError):
            accounts.look_at_link(db, secret, now=clock.advance(hours=24))

    def test_a_password_that_cannot_be_taken_does_not_use_it_up(self, db, clock):
        """The person may try again with the same link."""
        sign_up(db, clock)
        secret = links.make_link(db, "Nadir Eshvale", now=clock())
        with pytest.raises(InputError):
            accounts.use_link(db, secret, "short", device="phone", now=clock())

        assert accounts.use_link(db, secret, "another sentence", device="phone", now=clock())

    def test_the_newest_link_works_alone(self, db, clock):
        """A second link withdraws the first."""
        sign_up(db, clock)
        first = links.make_link(db, "Nadir Eshvale", now=clock())
        second = links.make_link(db, "Nadir Eshvale", now=clock())

        with pytest.raises(NotFoundError):
            accounts.look_at_link(db, first, now=clock())
        assert accounts.look_at_link(db, second, now=clock())

    def test_used_once_by_two_at_the_same_moment(self, db, clock):
        """Of four that press at once one gets in."""
        sign_up(db, clock)
        secret = links.make_link(db, "Nadir Eshvale", now=clock())
        outcomes = []

        def press():
            try:
                accounts.use_link(db, secret, "another sentence", device="phone", now=clock())
                outcomes.append("in")
            except NotFoundError:
                outcomes.append("out")

        threads = [threading.Thread(target=press) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()

        assert sorted(outcomes) == ["in", "out", "out", "out"]

    def test_stored_hashed(self, db, clock):
        """The secret stands nowhere in the database."""
        sign_up(db, clock)
        secret = links.make_link(db, "Nadir Eshvale", now=clock())
        with db.reading() as session:
            assert secret not in session.scalars(sa.select(OneTimeLink.secret_hash)).one()

    @pytest.mark.parametrize("hours", [0, -1, 169])
    def test_hours_have_a_bound(self, db, clock, hours):
        """At most the seven days of a printed roll."""
        sign_up(db, clock)
        with pytest.raises(InputError):
            links.make_link(db, "Nadir Eshvale", hours=hours, now=clock())


def form(**changes):
    """Settings that can be taken."""
    usual = {
        "aircraft": (),
        "check_date": None,
        "minutes_a_day": 15,
        "time_zone": "Europe/Lisbon",
        "experience": "rated",
    }
    return SettingsForm(**(usual | changes))


class TestSettings:
    """A person's own choices."""

    def test_they_are_kept(self, bank_db, clock):
        """What was chosen comes back with the person."""
        signed_in = sign_up(bank_db, clock)
        wanted = form(aircraft=("tolquenny-19",), check_date=(clock() + timedelta(days=90)).date())
        accounts.update_settings(bank_db, signed_in.person.id, wanted, now=clock())

        person = accounts.person_of(bank_db, signed_in.token, now=clock())
        assert (
            SettingsForm(person.aircraft, person.check_date, person.minutes_a_day, person.time_zone, person.experience)
            == wanted
        )

    @pytest.mark.parametrize(
        ("field", "value"),
        [
            ("minutes_a_day", 0),
            ("minutes_a_day", 241),
            ("time_zone", "Mars/Olympus"),
            ("time_zone", "../../etc/passwd"),
            ("time_zone", "a\0b"),
            ("experience", "expert"),
            ("aircraft", ("another-jet",)),
        ],
    )
    def test_a_setting_that_cannot_be_taken(self, bank_db, clock, field, value):
        """The sentence names the field, and nothing is changed."""
        signed_in = sign_up(bank_db, clock)
        with pytest.raises(InputError) as caught:
            accounts.update_settings(bank_db, signed_in.person.id, form(**{field: value}), now=clock())

        assert caught.value.where == field
        assert accounts.person_of(bank_db, signed_in.token, now=clock()) == signed_in.person

    @pytest.mark.parametrize("person_id", [99, 2**70, -1])
    def test_nobodys_settings(self, db, clock, person_id):
        """A person who is not there, or whose id cannot exist."""
        with pytest.raises(NotFoundError):
            accounts.update_settings(db, person_id, form(), now=clock())


class TestKeeping:
    """What a keeper does at the command line."""

    def test_adding(self, db, clock):
        """An account with its roles, and no way in but a link."""
        accounts.add_account(db, "Instructor", ["instructor", "pilot"], now=clock())
        with pytest.raises(InputError):
            sign_in(db, clock, name="Instructor", password="")

        assert count(db, Person) == 1

    def test_a_role_that_is_none(self, db, clock):
        """The accepted ones are listed."""
        with pytest.raises(InputError, match="keeper"):
            accounts.add_account(db, "Somebody", ["admin"], now=clock())

        assert count(db, Person) == 0

    def test_removing(self, db, clock):
        """Person, sessions and memory go; the name is free again."""
        token = sign_up(db, clock).token
        accounts.remove_account(db, "nadir eshvale", now=clock())

        assert accounts.person_of(db, token, now=clock()) is None
        assert [count(db, table) for table in (Person, DeviceSession, Learner)] == [0, 0, 0]
        assert sign_up(db, clock)

    def test_the_last_keeper_stays(self, db, clock):
        """An installation is never left without a keeper."""
        person_id = accounts.add_account(db, "Keeper", ["keeper"], now=clock())
        with pytest.raises(ConflictError):
            accounts.remove_account(db, "Keeper", now=clock())
        with pytest.raises(ConflictError):
            accounts.delete_account(db, person_id, now=clock())

        accounts.add_account(db, "Second", ["keeper"], now=clock())
        accounts.remove_account(db, "Keeper", now=clock())
        assert count(db, Person) == 1

    @pytest.mark.parametrize("verb", [accounts.remove_account, links.make_link])
    def test_an_unknown_name(self, db, clock, verb):
        """Says that nobody has it."""
        with pytest.raises(NotFoundError, match="Nobody"):
            verb(db, "Nobody", now=clock())

"""Names, passwords, devices, settings: the stories of item 8."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import update

from quizsvc.services import accounts
from quizsvc.store.tables import Person

PASSWORD = "ochre lantern nine"


def _sign_in(visitor, name, password=PASSWORD):
    return visitor.send(visitor.get("/sign-in").form("/sign-in"), name=name, password=password)


class TestSignUp:
    def test_answers_given_without_a_name_go_along(self, visitor, bank_db):
        """The person stays the same, the log too."""
        visitor.start()
        visitor.pass_on()
        visitor.send(visitor.get("/sign-up").form("/sign-up"), name="Jory Sablecott", password=PASSWORD)

        assert "Signed up as Jory Sablecott." in visitor.page.text
        assert "1 answer, newest first" in visitor.get("/log").text

    def test_a_taken_name_is_refused_with_a_sentence(self, member, visitor):
        """Beside the field, the name kept, the password not."""
        visitor.send(visitor.get("/sign-up").form("/sign-up"), name="nadir eshvale", password=PASSWORD)

        assert visitor.status == 409
        assert "is taken" in visitor.page.text
        assert ("name", "nadir eshvale") in visitor.page.form("/sign-up").fields
        assert PASSWORD not in visitor.page.html

    @pytest.mark.parametrize("name", ["", "   ", "x" * 101, "a\u202eb", "\u200b", "a\x07b"])
    def test_a_broken_name_is_refused_with_a_sentence(self, visitor, name):
        """Never a 500."""
        visitor.send(visitor.get("/sign-up").form("/sign-up"), name=name, password=PASSWORD)

        assert visitor.status == 422
        assert visitor.page.has_form("/sign-up")

    @pytest.mark.parametrize("password", ["", "short", "x" * 201])
    def test_a_password_that_cannot_be_taken_is_refused(self, visitor, password):
        """Too short, too long, none."""
        visitor.send(visitor.get("/sign-up").form("/sign-up"), name="Pim Holloquist", password=password)

        assert visitor.status == 422
        assert "password" in visitor.page.text.lower()


class TestSignIn:
    def test_name_and_password_open_the_account(self, member, visitor):
        """And one lands where one wanted to go."""
        page = visitor.get("/log")

        assert visitor.path == "/sign-in"

        visitor.send(page.form("/sign-in"), name="Nadir Eshvale", password=PASSWORD)

        assert visitor.path == "/log"

    @pytest.mark.parametrize("onward", ["//evil.example", "https://evil.example", "/\\evil.example", "evil"])
    def test_nobody_is_led_elsewhere_after_signing_in(self, member, visitor, onward):
        """An address outside this service is not followed."""
        form = visitor.get("/sign-in").form("/sign-in")
        form.fields = [(name, value) for name, value in form.fields if name != "next"]
        response = visitor.client.post(
            "/sign-in", data={**dict(form.fields), "name": "Nadir Eshvale", "password": PASSWORD, "next": onward}
        )

        assert response.status_code == 303
        assert response.headers["Location"] == "/"

    def test_a_wrong_password_and_an_unknown_name_look_alike(self, member, visitor):
        """Nobody can find out who has an account."""
        _sign_in(visitor, "Nadir Eshvale", "another sentence")
        wrong = (visitor.status, visitor.page.text)
        _sign_in(visitor, "Nobody Here", "another sentence")

        assert visitor.status == wrong[0] == 422
        assert visitor.page.text == wrong[1]

    def test_many_wrong_tries_are_slowed(self, member, visitor, clock):
        """With the time to wait; afterwards the right password works."""
        statuses = []
        for _ in range(8):
            _sign_in(visitor, "Nadir Eshvale", "another sentence")
            statuses.append(visitor.status)

        assert 429 in statuses
        assert int(visitor.response.headers["Retry-After"]) > 0
        assert "too many" in visitor.page.text.lower()

        clock.advance(minutes=30)
        _sign_in(visitor, "Nadir Eshvale")

        assert visitor.status == 200
        assert visitor.path == "/"

    def test_answers_given_before_are_offered_and_added(self, member, browsers):
        """Claimed once, counted in words."""
        other = browsers()
        other.start()
        other.pass_on()
        _sign_in(other, "Nadir Eshvale")

        assert other.path == "/claim"
        assert "One answer was" in other.page.text

        other.send(other.page.form("/claim"), ("accept", "yes"))

        assert "Added to your log: 1 answer." in other.page.text
        assert "1 answer, newest first" in other.get("/log").text
        assert other.get("/claim") and other.path == "/"

    def test_answers_given_before_can_be_left_out(self, member, browsers):
        """Somebody else may have used this device."""
        other = browsers()
        other.start()
        other.pass_on()
        _sign_in(other, "Nadir Eshvale")
        other.send(other.page.form("/claim"), ("accept", "no"))

        assert "No answers yet" in other.get("/log").text

    def test_sign_out_ends_the_session(self, member):
        """The old cookie opens nothing afterwards."""
        cookie = member.client.get_cookie("session").value
        member.send(member.get("/account").form("/sign-out"))

        assert member.client.get_cookie("session") is None

        member.client.set_cookie("session", cookie)
        member.get("/account")

        assert member.path == "/sign-in"


class TestPassword:
    def test_a_new_password_signs_other_devices_out(self, member, browsers):
        """This device stays, the other one does not."""
        other = browsers()
        _sign_in(other, "Nadir Eshvale")
        member.send(
            member.get("/account/password").form("/account/password"), old=PASSWORD, new="another short sentence"
        )

        assert "Password changed" in member.page.text
        assert member.get("/account") and member.path == "/account"
        assert other.get("/account") and other.path == "/sign-in"

    def test_a_wrong_old_password_changes_nothing(self, member, browsers):
        """A sentence beside the field."""
        member.send(member.get("/account/password").form("/account/password"), old="not it at all", new="new sentence")

        assert member.status == 422
        other = browsers()
        _sign_in(other, "Nadir Eshvale")
        assert other.path == "/"

    def test_a_one_time_link_sets_a_password_once(self, member, browsers, bank_db, clock):
        """Looking does not use it up; using it does; then it is unknown like any other."""
        secret = accounts.make_link(bank_db, "Nadir Eshvale", hours=24, now=clock())
        other = browsers()
        other.get(f"/link/{secret}")
        page = other.get(f"/link/{secret}")

        assert "Nadir Eshvale" in page.heading

        other.send(page.form(f"/link/{secret}"), password="from the link")

        assert "Password set." in other.page.text
        assert browsers().client.get(f"/link/{secret}").status_code == 404
        third = browsers()
        _sign_in(third, "Nadir Eshvale", "from the link")
        assert third.path == "/"

    def test_a_link_that_ran_out_is_not_there(self, member, browsers, bank_db, clock):
        """After its hours nobody can tell it from one that was never made."""
        secret = accounts.make_link(bank_db, "Nadir Eshvale", hours=24, now=clock())
        clock.advance(hours=25)

        assert browsers().client.get(f"/link/{secret}").status_code == 404
        assert browsers().client.get("/link/never-made").status_code == 404


class TestDevices:
    def test_devices_are_listed_in_plain_words(self, member, browsers):
        """By kind, with a button each."""
        other = browsers()
        other.client.environ_base["HTTP_USER_AGENT"] = "Mozilla/5.0 (iPhone; CPU iPhone OS 17) AppleWebKit Safari/604.1"
        _sign_in(other, "Nadir Eshvale")
        page = member.get("/account/devices")

        assert "Safari on iPhone" in page.text
        assert "(this one)" in page.text

    def test_a_device_can_be_signed_out_from_another(self, member, browsers):
        """A lost phone."""
        other = browsers()
        _sign_in(other, "Nadir Eshvale")
        theirs = _own_device(other)
        ends = [form for form in member.get("/account/devices").forms if form.action.endswith("/end")]

        assert len(ends) == 2

        member.send(next(form for form in ends if form.action == f"/account/devices/{theirs}/end"))

        assert other.get("/account") and other.path == "/sign-in"
        assert member.get("/account") and member.path == "/account"


def _own_device(visitor):
    page = visitor.get("/account/devices")
    html = page.html
    this_one = html.index("(this one)")
    return html[html.index("/account/devices/", this_one) :].split("/")[3]


class TestSettings:
    def test_own_settings_are_kept(self, member):
        """Aircraft, check date, minutes a day, time zone, experience."""
        form = member.get("/account").form("/account")
        aircraft = next(value for name, value in form.choices if name == "aircraft")
        member.send(
            form,
            aircraft=[aircraft],
            check_date="2027-05-14",
            minutes_a_day="12",
            time_zone="Europe/Lisbon",
            experience="in training",
        )

        assert "Settings kept." in member.page.text
        kept = member.get("/account").form("/account").fields
        assert ("aircraft", aircraft) in kept
        assert ("check_date", "2027-05-14") in kept
        assert ("minutes_a_day", "12") in kept
        assert ("experience", "in training") in kept
        assert "<option selected>Europe/Lisbon" in member.page.html

    @pytest.mark.parametrize(
        ("field", "value"),
        [
            ("check_date", "next week"),
            ("check_date", "2027-02-30"),
            ("minutes_a_day", "many"),
            ("minutes_a_day", "0"),
            ("minutes_a_day", str(2**70)),
            ("time_zone", "Mars/Olympus"),
            ("time_zone", "../../etc/passwd"),
            ("experience", "ace"),
            ("aircraft", "no-such-aircraft"),
        ],
    )
    def test_a_setting_that_cannot_be_taken_is_refused(self, member, field, value):
        """With a sentence, and the rest of the form as it was filled."""
        form = member.get("/account").form("/account")
        filled = {
            "minutes_a_day": "17", "check_date": "", "time_zone": "UTC", "experience": "rated", "aircraft": [],
            field: value,
        }  # fmt: skip
        member.send(form, **filled)

        assert member.status == 422
        if field != "minutes_a_day":
            assert ("minutes_a_day", "17") in member.page.form("/account").fields

    def test_times_are_shown_in_the_persons_zone(self, member, clock):
        """A log in Auckland shows Auckland's clock."""
        form = member.get("/account").form("/account")
        member.send(form, minutes_a_day="5", check_date="", time_zone="Pacific/Auckland", experience="rated")
        member.start()
        member.pass_on()

        # New Zealand's daylight time is UTC+13 (tz database, Rule NZ).
        local = clock() + timedelta(hours=13)
        assert f"{local.day} {local:%b %Y, %H:%M}" in member.get("/log").text

    def test_a_zone_that_the_list_lacks_is_kept(self, member, bank_db):
        """Saving another setting does not move a person to UTC."""
        with bank_db.writing() as session:
            session.execute(update(Person).values(time_zone="Etc/GMT+5"))

        assert "<option selected>Etc/GMT+5" in member.get("/account").html


class TestDelete:
    def test_the_name_must_be_typed(self, member):
        """A slip of the thumb deletes nothing."""
        member.send(member.get("/account/delete").form("/account/delete"), name="nadir")

        assert member.status == 422
        assert member.get("/account") and member.path == "/account"

    def test_everything_goes(self, member, browsers):
        """Afterwards the name is free and the password opens nothing."""
        member.start()
        member.pass_on()
        member.send(member.get("/account/delete").form("/account/delete"), name="Nadir Eshvale")

        assert "Deleted" in member.page.text
        other = browsers()
        _sign_in(other, "Nadir Eshvale")
        assert other.status == 422

    def test_one_without_a_name_can_go_too(self, visitor, browsers):
        """The word `delete` stands for the name."""
        visitor.start()
        visitor.pass_on()
        visitor.send(visitor.get("/account/delete").form("/account/delete"), name="delete")

        assert "Deleted" in visitor.page.text
        assert visitor.get("/log") and visitor.path == "/sign-in"

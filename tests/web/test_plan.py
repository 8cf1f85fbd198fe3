"""The screens of the plan to the check, of its date from the last one, and of the debrief, without scripts."""

from __future__ import annotations

import dataclasses
import re
from datetime import UTC, date, datetime

import pytest

from quizsvc.services import accounts, check_dates, debriefs, reading
from quizsvc.web.app import create_app
from tests.services.test_expectation import check_on
from tests.web.pages import Visitor
from tests.web.test_expectation import person_of

FORBIDDEN = re.compile(r"\b(ready|competent|current|qualified|proficient|streak|badge|level up|well done)\b", re.I)


def forms_of(page):
    """The form that shows the months, and the one that plans the day."""
    return [one for one in page.forms if one.action == "/plan/check-date"]


def main_of(page):
    """The words of the page between its frame's."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.html.split("<main", 1)[1].split("</main>", 1)[0]))


@pytest.mark.parametrize("path", ["/plan", "/plan/check-date", "/plan/debrief"])
def test_they_belong_to_a_person(visitor, path):
    """Who has no session is led to sign in."""
    visitor.get(path)

    assert visitor.path == "/sign-in"


def test_they_are_found_from_start_settings_and_expectation(member):
    """No address has to be known."""
    assert "/plan" in member.get("/").links
    assert "/plan/check-date" in member.get("/account").links
    assert {"/plan/check-date", "/plan/debrief", "/expectation", "/account"} <= set(member.get("/plan").links)


class TestCheckDate:
    """From the last check to the day planned, by two forms."""

    def test_the_months_are_shown_and_the_day_is_planned(self, app, member, bank_db):
        """Reference row 2024-03-31, 12 months, a year on: due in March 2026, 1 February to 30 April."""
        page = member.send(forms_of(member.get("/plan/check-date"))[0], last_check="2025-03-31", interval="12")
        assert "Due in March 2026" in page.text
        assert "1 February 2026 to 30 April 2026" in page.text
        assert "Next one due then: March 2027" in main_of(page)
        page = member.send(forms_of(page)[1], check_date="2026-04-20")

        assert member.path == "/plan" and "Check planned for 20 April 2026." in page.text
        assert "49 days to the check on 20 April 2026, about 35 study days" in page.text
        assert "Last taken on 31 March 2025; the day planned lies in the month after." in page.text
        assert accounts.person_of(
            bank_db, member.client.get_cookie("session").value, now=datetime(2026, 3, 2, 9, tzinfo=UTC)
        ).check_date == date(2026, 4, 20)

    def test_it_says_to_verify_and_never_what_a_person_may_do(self, member, bank_db):
        """C4, and C12 with the day on which the rule was read; the operator has said nothing."""
        words = reading.cautions(bank_db)
        page = member.get("/plan/check-date?last_check=2025-03-31&interval=12&counted=own")

        assert page.cautions["C4"] == words["C4"]
        assert page.cautions["C12"] == words["C12"].replace("{date}", "25 November 2026")
        assert "Dates to verify with your authority and your operator." in page.text
        assert (
            "in April 2026, the month after, before the check is taken: your operator has not said so here."
            in page.text
        )
        said = main_of(page)
        for caution in page.cautions.values():
            said = said.replace(caution, "")
        assert not FORBIDDEN.search(said)

    @pytest.mark.parametrize(
        ("word", "said"),
        [
            ("yes", "This operator lets one serve in April 2026, the month after, before the check is taken; ask"),
            ("no", "This operator does not let one serve after 31 March 2026 before the check is taken."),
        ],
    )
    def test_what_the_operator_says_is_the_installations_setting(self, settings, bank_db, clock, word, said, chance):
        """QUIZSVC_LATER_MONTH."""
        app = create_app(dataclasses.replace(settings, later_month=word), clock=clock, db=bank_db, rng=chance)
        one = Visitor(app.test_client())
        one.send(one.get("/sign-up").form("/sign-up"), name="Ilse Marrandt", password="ochre lantern ten")

        assert said in one.get("/plan/check-date?last_check=2025-03-31&interval=12").text

    def test_it_remembers_and_a_check_taken_late_counts_earlier(self, member):
        """Reference row of the month after: taken 30 April 2025, counts in March, due in March 2026."""
        page = member.send(
            forms_of(member.get("/plan/check-date"))[0], last_check="2025-04-30", interval="12", counted="before"
        )
        member.send(forms_of(page)[1], check_date="2026-03-20")
        page = member.get("/plan/check-date")

        assert "Due in March 2026" in page.text
        assert dict(forms_of(page)[0].fields) == {"last_check": "2025-04-30", "interval": "12", "counted": "before"}

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"last_check": "31.3.2025"}, "'31.3.2025' is not a date"),
            ({"last_check": ""}, "The date of the last check is missing"),
            ({"last_check": "2026-03-03"}, "2026-03-03 is in the future"),
            ({"last_check": "2025-03-31", "interval": "13"}, "'13' is not an interval between checks"),
            ({"last_check": "2025-03-31", "interval": "a year"}, "'a year' is not a whole number"),
            ({"last_check": "2025-03-31", "counted": "sideways"}, "'sideways' is not one of the choices"),
        ],
    )
    def test_what_cannot_be_read_is_said_and_stays_typed(self, member, typed, said):
        """422, the sentence, and the words in their fields."""
        page = member.send(forms_of(member.get("/plan/check-date"))[0], **typed)

        assert member.status == 422 and said in page.text
        if typed["last_check"]:
            assert ("last_check", typed["last_check"]) in forms_of(page)[0].fields

    @pytest.mark.parametrize(
        ("day", "said"),
        [("", "No day is given."), ("2026-03-01", "2026-03-01 has passed."), ("tomorrow", "'tomorrow' is not a date")],
    )
    def test_a_day_that_cannot_be_planned_for_is_said(self, member, day, said):
        """The months stay on the page, nothing is kept."""
        page = member.send(forms_of(member.get("/plan/check-date?last_check=2025-03-31"))[0])
        page = member.send(forms_of(page)[1], check_date=day)

        assert member.status == 422 and said in page.text and "Due in March 2026" in page.text
        assert "No check date." in member.get("/plan").text

    def test_the_plain_date_of_the_settings_stays_a_way(self, member):
        """Typed there, it is planned for; no months are shown."""
        member.send(member.get("/account").form("/account"), time_zone="UTC", check_date="2026-03-30")
        page = member.get("/plan")

        assert "28 days to the check on 30 March 2026, about 20 study days" in page.text
        assert "Months of the check" not in page.text and "C12" not in page.cautions


class TestPlan:
    """What the page says, stage by stage."""

    def test_who_is_new_gets_what_fits_in_and_what_comes_up(self, member):
        """And no figure about what is held."""
        page = member.get("/plan")

        assert "No check date." in page.text and "planned for the 60 days ahead" in page.text
        assert "With 10 minutes on each study day about" in page.text and "by 1 May 2026" in page.text
        assert "16 concepts were never asked; there is time to reach all of them." in page.text
        assert "Five more minutes a day: about" in page.text
        assert "You have not been asked this yet." in page.text
        assert "Too little to say." in page.text
        assert page.cautions["C4"]
        assert "%" not in main_of(page)

    def test_a_budget_too_small_is_said_plainly(self, member):
        """One minute a day and two days."""
        member.send(
            member.get("/account").form("/account"), time_zone="UTC", check_date="2026-03-04", minutes_a_day="1"
        )
        page = member.get("/plan")

        left = re.search(r"16 concepts were never asked; (\d+) of them will stay unasked\.", page.text)
        assert left and 0 < int(left[1]) < 16
        assert re.search(r"about \d of the 16 concepts once, the others not", page.text)
        more = re.search(r"Five more minutes a day: about \d+ more answers, .*; (\d+) would stay unasked", page.text)
        assert more and int(more[1]) < int(left[1])

    @pytest.mark.parametrize(
        ("now", "start", "there", "away"),
        [
            (datetime(2026, 5, 10, 12, tzinfo=UTC), "Plan to the check, 14 May",
                ["Gone over in the last week", "Limits and drills still to come",
                "Nothing has come up yet of 13 limits and drills in ", "This week"], ["Stop here."]),
            (datetime(2026, 5, 13, 19, tzinfo=UTC), "The check is tomorrow: nothing is planned for tonight",
                ["Stop here. The check is tomorrow, 14 May 2026."], ["This week",
                "Limits and drills still to come", "What fits in", "What fades"]),
            (datetime(2026, 5, 14, 9, tzinfo=UTC), "The check is today: nothing is planned",
                ["The check is today.", "tell what was asked"], ["This week"]),
            (datetime(2026, 5, 15, 9, tzinfo=UTC), "The check date has passed: tell what was asked",
                ["The check date, 14 May 2026, has passed.", "Tell what was asked",
                "the 60 days ahead"], ["Stop here."]),
        ],
    )  # fmt: skip
    def test_the_last_week_the_evening_the_day_and_after(self, app, member, bank_db, clock, now, start, there, away):
        """Each says what is to be done then, the start page too, and no word of praise or of what a person is."""
        check_on(bank_db, clock, person_of(app, member), date(2026, 5, 14))
        clock.at = now
        page = member.get("/plan")

        for words in there:
            assert words in page.text
        for words in away:
            assert words not in page.text
        assert not FORBIDDEN.search(main_of(page))
        assert f'<a href="/plan">{start}</a>' in member.get("/").html

    def test_an_empty_bank_is_no_error(self, app, member, bank_db):
        """A person without an aircraft and a bank without what they fly: nothing fits, and nothing breaks."""
        member.send(member.get("/account").form("/account"), time_zone="UTC", aircraft=[])

        assert "12 concepts were never asked" in member.get("/plan").text


class TestDebrief:
    """The day after the check."""

    def passed(self, app, member, bank_db, clock):
        """A check that was on 1 March, last taken in March 2025."""
        person = person_of(app, member)
        clock.at = datetime(2026, 2, 20, 9, tzinfo=UTC)
        last = check_dates.reckoned(date(2025, 3, 31), 12, "own", today=date(2026, 2, 20))
        check_dates.plan_check(bank_db, person.id, last, date(2026, 3, 1), now=clock())
        clock.at = datetime(2026, 3, 2, 9, tzinfo=UTC)
        return person

    def test_what_is_ticked_is_kept_and_the_next_month_follows(self, app, member, bank_db, clock):
        """The day is filled in; after it the plan has no date, and the month due is a year on."""
        self.passed(app, member, bank_db, clock)
        page = member.get("/plan/debrief")
        form = page.form("/plan/debrief")
        assert ("taken_on", "2026-03-01") in form.fields and ("concept", "D-BUS") in form.choices
        page = member.send(form, concept=["D-BUS", "G-T4"])

        assert "Kept: 2 concepts asked at the check of 1 March 2026." in page.text
        assert "No check date." in page.text and "1 February 2027 to 30 April 2027" in page.text
        assert "/plan/debrief?check=2026-03-01" in page.links
        again = member.get("/plan/debrief?check=2026-03-01").form("/plan/debrief")
        assert {value for name, value in again.fields if name == "concept"} == {"D-BUS", "G-T4"}
        assert "Forgotten" in member.send(again, button=("forget", "1")).text
        assert "/plan/debrief?check=2026-03-01" not in member.page.links

    def test_what_cannot_be_is_said_and_the_ticks_stay(self, app, member, bank_db, clock):
        """A day to come."""
        self.passed(app, member, bank_db, clock)
        form = member.get("/plan/debrief").form("/plan/debrief")
        page = member.send(form, taken_on="2026-03-09", concept=["D-BUS"])

        assert member.status == 422 and "2026-03-09 is in the future." in page.text
        kept = page.form("/plan/debrief").fields
        assert ("taken_on", "2026-03-09") in kept and ("concept", "D-BUS") in kept

    def test_anothers_check_is_not_there(self, app, member, browsers, bank_db, clock):
        """As one that never was."""
        debriefs.keep_debrief(bank_db, person_of(app, member).id, date(2026, 3, 1), ["D-BUS"], now=clock())
        other = browsers()
        other.send(other.get("/sign-up").form("/sign-up"), name="Ilse Marrandt", password="ochre lantern ten")

        for address in ("/plan/debrief?check=2026-03-01", "/plan/debrief?check=2026-03-02"):
            assert other.client.get(address).status_code == 404

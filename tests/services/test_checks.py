"""A person's checks: the date from the last one, the plan to it, the debrief after it; and where they go with them."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta

import pytest

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import accounts, check_dates, debriefs, practice
from quizsvc.services.check_plan import plan_to_check
from quizsvc.store import checks
from quizsvc.store.tables import Person
from quizsvc.store.tables_people import CheckDebrief, LastCheck
from tests.conftest import backend_asked_for
from tests.services.drills import answer, begin, count, right, start, wrong
from tests.services.test_accounts import sign_in, sign_up
from tests.services.test_expectation import check_on, drill
from tests.web.pages import on_both

# The test bank (tests.factories): what is to be recalled of it is its limits and drills.
LIMITS = {"D-BUS", *(f"G-T{number}" for number in range(1, 13))}
COVERS = "Before a check every system, limit and drill comes up once; this one has not yet."
ASKED = "It was asked at your last check, so it comes oftener."


@pytest.fixture
def backend(request):
    """SQLite, unless a test asks for both by `on_both`: what is reckoned does not depend on the database under it."""
    return backend_asked_for(request)


def check_date(db, person):
    """The check date as stored."""
    with db.reading() as session:
        return session.get(Person, person.id).check_date


def last(day, interval=12, counted="own", today=date(2026, 3, 2)):
    """A last check as typed."""
    return check_dates.reckoned(day, interval, counted, today=today)


# --- the date from the last check -----------------------------------------------------------------------------------


class TestDate:
    """Rows of reference/regulations/currency_cases.csv, through the service."""

    def test_the_months_follow_and_the_day_is_kept(self, bank_db, clock):
        """Last check 15 March 2025, every 12 months: due in March 2026, 1 February to 30 April count in it."""
        person = begin(bank_db, clock).person
        assert check_dates.of_person(bank_db, person.id) is None
        typed = last(date(2025, 3, 15))
        check_dates.plan_check(bank_db, person.id, typed, date(2026, 4, 20), now=clock())
        kept = check_dates.of_person(bank_db, person.id)

        assert kept == typed
        assert (kept.due.first, kept.due.month, kept.due.last) == (
            date(2026, 2, 1),
            date(2026, 3, 1),
            date(2026, 4, 30),
        )
        assert check_date(bank_db, person) == date(2026, 4, 20)
        assert plan_to_check(bank_db, person.id, now=clock()).day == date(2026, 4, 20)

    @pytest.mark.parametrize(
        ("counted", "due"), [("own", date(2026, 4, 1)), ("after", date(2026, 5, 1)), ("before", date(2026, 3, 1))]
    )
    def test_a_check_taken_early_or_late_counts_in_the_month_it_was_due(self, counted, due):
        """Taken on 30 April 2025: the table's row of the month after has it due again in March 2026."""
        typed = last(date(2025, 4, 30), counted=counted)

        assert typed.due.month == due and typed.counted == counted

    @pytest.mark.parametrize(
        ("day", "interval", "counted", "where"),
        [
            (None, 12, "own", "last_check"),
            (date(2026, 3, 3), 12, "own", "last_check"),  # tomorrow
            (date(1949, 12, 31), 12, "own", "last_check"),
            (date(2025, 3, 3), 13, "own", "interval"),
            (date(2025, 3, 3), 12, "sideways", "counted"),
        ],
    )
    def test_what_is_no_last_check_is_refused(self, day, interval, counted, where):
        """The field is named."""
        with pytest.raises(InputError) as refused:
            last(day, interval, counted)
        assert refused.value.where == where

    @pytest.mark.parametrize("day", [None, date(2026, 3, 1), date(2030, 3, 1), date(9999, 12, 31)])
    def test_a_day_that_cannot_be_planned_for_changes_nothing(self, bank_db, clock, day):
        """None, yesterday, four years ahead: refused, and the last check is not kept either."""
        person = begin(bank_db, clock).person
        with pytest.raises(InputError) as refused:
            check_dates.plan_check(bank_db, person.id, last(date(2025, 3, 15)), day, now=clock())

        assert refused.value.where == "check_date"
        assert check_date(bank_db, person) is None and check_dates.of_person(bank_db, person.id) is None

    @on_both
    def test_the_newest_last_check_takes_the_place_of_the_one_before(self, bank_db, clock):
        """One row a person; today is a day that can be planned for."""
        person = begin(bank_db, clock).person
        for day in (date(2024, 3, 15), date(2025, 3, 15)):
            check_dates.plan_check(bank_db, person.id, last(day), date(2026, 3, 2), now=clock())

        assert check_dates.of_person(bank_db, person.id).taken_on == date(2025, 3, 15)
        assert count(bank_db, LastCheck) == 1


# --- the plan -------------------------------------------------------------------------------------------------------


class TestPlan:
    """What the screen of the plan says, day by day."""

    def test_the_time_left_is_counted_in_the_persons_days(self, bank_db, clock):
        """4 weeks ahead: 28 days, 20 of them study days; 16 concepts, none asked; 5 minutes more are as much again."""
        person = begin(bank_db, clock).person
        check_on(bank_db, clock, person, date(2026, 3, 30))
        found = plan_to_check(bank_db, person.id, now=clock())

        assert (found.stage, found.days, found.study_days) == ("ahead", 28, 20)
        assert (found.concepts, found.untried, found.time.beyond_reach) == (16, 16, 0)
        assert found.more.minutes == 2 * found.time.minutes == 10
        assert found.more.answers == pytest.approx(2 * found.time.answers)
        assert found.time.rounds == pytest.approx(found.time.answers / 16)

    def test_a_budget_too_small_says_how_many_stay_unasked(self, bank_db, clock):
        """One minute a day with two days left: what fits is fewer than sixteen."""
        person = begin(bank_db, clock).person
        form = accounts.SettingsForm(person.aircraft, date(2026, 3, 4), 1, "UTC", "rated")
        accounts.update_settings(bank_db, person.id, form, now=clock())
        found = plan_to_check(bank_db, person.id, now=clock())

        assert found.time.rounds < 1 and found.time.answers < 16
        assert found.time.beyond_reach == 16 - int(found.time.answers)
        assert found.more.beyond_reach < found.time.beyond_reach

    @pytest.mark.parametrize(
        ("now", "stage"),
        [
            ((2026, 5, 6, 21, 59), "ahead"),  # 6 May 23:59 in Berlin, summer time: eight days ahead
            ((2026, 5, 6, 22, 0), "last week"),  # 7 May 00:00
            ((2026, 5, 13, 15, 59), "last week"),  # the day before, 17:59
            ((2026, 5, 13, 16, 0), "evening"),  # the day before, 18:00
            ((2026, 5, 13, 22, 0), "day"),  # 14 May 00:00
            ((2026, 5, 14, 21, 59), "day"),
            ((2026, 5, 14, 22, 0), "past"),
        ],
    )
    def test_the_stages_go_by_the_persons_clock(self, bank_db, clock, now, stage):
        """Check on 14 May in Berlin (UTC+2 in summer; tz database, Rule EU)."""
        person = begin(bank_db, clock, "Europe/Berlin").person
        check_on(bank_db, clock, person, date(2026, 5, 14))
        found = plan_to_check(bank_db, person.id, now=datetime(*now, tzinfo=UTC))

        assert found.stage == stage
        assert (found.covered is not None) == (stage in ("last week", "evening", "day"))
        assert bool(found.week) == (stage not in ("evening", "day"))

    def test_without_a_date_it_looks_sixty_days_ahead(self, bank_db, clock):
        """And says so."""
        person = begin(bank_db, clock).person
        found = plan_to_check(bank_db, person.id, now=clock())

        assert (found.stage, found.check, found.day, found.days) == ("undated", None, date(2026, 5, 1), 60)

    def test_this_week_gives_each_concept_one_reason(self, bank_db, clock):
        """No concept twice; a first set asks what was never asked; a look later the same day says the same."""
        person = begin(bank_db, clock).person
        found = plan_to_check(bank_db, person.id, now=clock())
        titles = [title for one in found.week for title, _ in one.concepts]

        assert found.week[0].reason == "You have not been asked this yet."
        assert len(titles) == len(set(titles)) == 16
        assert plan_to_check(bank_db, person.id, now=clock()) == found

    def test_what_fades_by_the_check_waits_for_enough_answers(self, bank_db, clock):
        """Nothing before; then concepts that are held, each by a day up to the check, the soonest first."""
        person = begin(bank_db, clock).person
        assert not plan_to_check(bank_db, person.id, now=clock()).enough
        drill(bank_db, clock, person, 3, correctly=False, rng=random.Random(1))
        drill(bank_db, clock, person, 2, correctly=True, rng=random.Random(2))
        check_on(bank_db, clock, person, clock().date() + timedelta(days=300))
        found = plan_to_check(bank_db, person.id, now=clock())
        days = [one.day for one in found.fading]

        assert found.enough and days and days == sorted(days)
        assert clock().date() < days[0] and days[-1] <= found.day

    def test_the_last_week_goes_over_what_has_not_come_up_in_it(self, bank_db, clock):
        """A set of that week says so; what it asked is counted, and what is left are the limits it did not ask."""
        rng = random.Random(2)
        person = begin(bank_db, clock).person
        drill(bank_db, clock, person, 5, correctly=True, rng=rng)
        check_on(bank_db, clock, person, clock().date() + timedelta(days=9))
        before = start(bank_db, clock, rng, person.id)
        assert COVERS not in {one.reason for one in before.questions}

        clock.advance(days=5)
        found = plan_to_check(bank_db, person.id, now=clock())
        assert found.stage == "last week" and found.covered.limits == len(LIMITS)
        assert found.covered.limits_came_up == 0 and all(one.came_up == 0 for one in found.covered.systems)
        week = start(bank_db, clock, rng, person.id, minutes=4)
        assert COVERS in {one.reason for one in week.questions}
        for question in week.questions:
            answer(bank_db, clock, person.id, question.id, right(bank_db, question.id), now=clock.advance(seconds=20))
        asked = {question.concept for question in week.questions}
        found = plan_to_check(bank_db, person.id, now=clock())

        assert sum(one.came_up for one in found.covered.systems) == len(asked)
        assert found.covered.limits_came_up == len(asked & LIMITS)
        assert len(found.covered.limits_left) == len(LIMITS - asked)

    def test_a_person_that_is_not_there_is_not_found(self, bank_db, clock):
        """As everywhere."""
        with pytest.raises(NotFoundError):
            plan_to_check(bank_db, 99, now=clock())


# --- the debrief ----------------------------------------------------------------------------------------------------


class TestDebrief:
    """The day after."""

    def test_what_was_asked_weighs_more_for_a_year(self, bank_db, clock):
        """It is said as the reason while nothing weightier is; to the end of March 2027 for a check in March 2026."""
        rng = random.Random(3)
        person = sign_up(bank_db, clock).person  # who has no name is gone after a year away
        drill(bank_db, clock, person, 8, correctly=True, rng=rng)
        told = ["D-BUS", "G-T1", "G-T2", "G-T3"]
        debriefs.keep_debrief(bank_db, person.id, date(2026, 3, 10), told, now=clock())

        def reasons(at):
            clock.at = at
            asked = start(bank_db, clock, random.Random(4), person.id, minutes=60)
            return {one.concept: one.reason for one in asked.questions}

        soon = reasons(clock.advance(hours=5))
        assert ASKED in {soon.get(concept) for concept in told}
        assert ASKED not in {reason for concept, reason in soon.items() if concept not in told}
        clock.at = datetime(2027, 3, 30, 9, 0, tzinfo=UTC)
        drill(bank_db, clock, person, 1, correctly=True, rng=rng)  # so that nothing is long unseen or due
        assert ASKED in reasons(datetime(2027, 3, 31, 23, 0, tzinfo=UTC)).values()
        assert ASKED not in reasons(datetime(2027, 4, 1, 0, 0, tzinfo=UTC)).values()

    @pytest.mark.parametrize(
        ("taken", "due"),
        [
            # Last check counts in March 2025, every 12 months; rows of currency_cases.csv a year on.
            (date(2026, 2, 1), date(2027, 3, 1)),
            (date(2026, 3, 20), date(2027, 3, 1)),
            (date(2026, 4, 30), date(2027, 3, 1)),
            (date(2026, 5, 1), date(2027, 5, 1)),
            (date(2026, 1, 31), date(2027, 1, 1)),
        ],
    )
    def test_the_check_becomes_the_last_one(self, bank_db, clock, taken, due):
        """The month due after it follows; the date that has come is done with, and practice looks sixty days ahead."""
        person = begin(bank_db, clock).person
        clock.at = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)
        typed = last(date(2025, 3, 31), today=date(2026, 1, 15))
        check_dates.plan_check(bank_db, person.id, typed, taken, now=clock())
        clock.at = datetime(2026, 5, 2, 9, 0, tzinfo=UTC)
        assert debriefs.debrief_form(bank_db, person.id, None, now=clock()).taken_on == taken
        debriefs.keep_debrief(bank_db, person.id, taken, ["D-BUS"], now=clock())

        assert check_dates.of_person(bank_db, person.id).due.month == due
        assert check_date(bank_db, person) is None
        found = plan_to_check(bank_db, person.id, now=clock())
        assert (found.stage, found.days, found.told) == ("undated", 60, (taken,))

    def test_a_date_that_has_not_come_stays(self, bank_db, clock):
        """And an older check than the last one moves no month."""
        person = begin(bank_db, clock).person
        check_dates.plan_check(bank_db, person.id, last(date(2025, 3, 31)), date(2026, 3, 20), now=clock())
        debriefs.keep_debrief(bank_db, person.id, date(2024, 3, 5), [], now=clock())

        assert check_date(bank_db, person) == date(2026, 3, 20)
        assert check_dates.of_person(bank_db, person.id).taken_on == date(2025, 3, 31)

    @on_both
    def test_it_is_told_once_a_day_put_right_and_forgotten(self, bank_db, clock):
        """The second telling takes the place of the first."""
        person = begin(bank_db, clock).person
        day = date(2026, 2, 20)
        for told in (["D-BUS"], ["G-T1", "G-T2", "G-T1"]):
            debriefs.keep_debrief(bank_db, person.id, day, told, now=clock())
        form = debriefs.debrief_form(bank_db, person.id, day, now=clock())
        assert form.told and form.asked == {"G-T1", "G-T2"}
        assert count(bank_db, CheckDebrief) == 1

        debriefs.forget_debrief(bank_db, person.id, day)
        assert count(bank_db, CheckDebrief) == 0
        for again in (day, None):
            with pytest.raises(NotFoundError):
                debriefs.forget_debrief(bank_db, person.id, again)
        with pytest.raises(NotFoundError):
            debriefs.debrief_form(bank_db, person.id, day, now=clock())

    @pytest.mark.parametrize(
        ("day", "concepts", "where"),
        [
            (None, [], "taken_on"),
            (date(2026, 3, 3), [], "taken_on"),
            (date(1949, 1, 1), [], "taken_on"),
            (date(2026, 3, 2), ["D-BUS", "NO-SUCH"], "concept"),
        ],
    )
    def test_what_cannot_be_is_refused(self, bank_db, clock, day, concepts, where):
        """And nothing is kept."""
        person = begin(bank_db, clock).person
        with pytest.raises(InputError) as refused:
            debriefs.keep_debrief(bank_db, person.id, day, concepts, now=clock())

        assert refused.value.where == where
        assert count(bank_db, CheckDebrief) == 0

    def test_another_persons_is_not_there(self, bank_db, clock):
        """By the same day."""
        one, other = begin(bank_db, clock).person, begin(bank_db, clock).person
        debriefs.keep_debrief(bank_db, one.id, date(2026, 3, 1), ["D-BUS"], now=clock())

        with pytest.raises(NotFoundError):
            debriefs.debrief_form(bank_db, other.id, date(2026, 3, 1), now=clock())
        with pytest.raises(NotFoundError):
            debriefs.forget_debrief(bank_db, other.id, date(2026, 3, 1))


# --- with the person ------------------------------------------------------------------------------------------------


@on_both
def test_debriefs_told_before_signing_in_go_to_the_account(bank_db, clock):
    """With the answers; of a day that the account told of itself its own stays."""
    owner = sign_up(bank_db, clock).person
    debriefs.keep_debrief(bank_db, owner.id, date(2026, 3, 1), ["D-BUS"], now=clock())
    phone = begin(bank_db, clock)
    for day in (date(2026, 3, 1), date(2025, 3, 1)):
        debriefs.keep_debrief(bank_db, phone.person.id, day, ["G-T1"], now=clock())
    asked = start(bank_db, clock, random.Random(5), phone.person.id).questions[0]
    answer(bank_db, clock, phone.person.id, asked.id, wrong(bank_db, asked.id))
    accounts.claim(bank_db, sign_in(bank_db, clock, token=phone.token).token, True, now=clock())

    with bank_db.reading() as session:
        told = [(one.taken_on, one.concepts) for one in checks.debriefs(session, owner.id)]
    assert told == [(date(2026, 3, 1), ["D-BUS"]), (date(2025, 3, 1), ["G-T1"])]
    assert count(bank_db, CheckDebrief) == 2


@on_both
def test_both_are_in_the_persons_export_and_go_with_them(bank_db, clock):
    """As plain values; deleted with the account."""
    person = sign_up(bank_db, clock).person
    check_dates.plan_check(bank_db, person.id, last(date(2025, 4, 30), 12, "before"), date(2026, 3, 9), now=clock())
    debriefs.keep_debrief(bank_db, person.id, date(2025, 4, 30), ["D-BUS"], now=clock())
    own = accounts.export_own(bank_db, person.id, now=clock())

    assert own["last_check"] == {"taken_on": "2025-04-30", "interval_months": 12, "counts_in": "2025-03"}
    assert [(one["taken_on"], one["concepts"]) for one in own["debriefs"]] == [("2025-04-30", ["D-BUS"])]
    accounts.delete_account(bank_db, person.id, now=clock())
    assert count(bank_db, LastCheck) == count(bank_db, CheckDebrief) == 0


def test_without_a_check_a_set_is_planned_as_ever(bank_db, clock):
    """Where none is near and nothing was told there is nothing to go over, and nothing comes oftener."""
    person = begin(bank_db, clock).person
    plain = practice.start_set(bank_db, person.id, minutes=5, now=clock(), rng=random.Random(6))

    assert {one.reason for one in plain.questions} == {"You have not been asked this yet."}

"""What a person's answers tell of how they practise; each number is counted by hand beside it."""

from __future__ import annotations

import pytest

from quizsvc.memory.habit import NO_HABIT, Given, habit_of

TODAY = 740_000
DAY_S = 86_400.0


def answers(day, *took, seconds=30.0, kind="one", set_id=None, **more):
    """Answers of one set begun at noon of a day, each so many seconds after the one before."""
    start = day * DAY_S + 43_200.0
    found = []
    at = start
    for one in took:
        at += one
        found.append(Given(set_id or f"set of {day}", kind, seconds, start, at, day, **more))
    return found


def test_who_has_not_practised_of_late_has_the_usual_habit():
    """Five days of seven, the minutes said, the items' own seconds: so too after sixty days away."""
    assert habit_of([], today=TODAY) is NO_HABIT
    assert NO_HABIT.study_share == 5 / 7
    assert NO_HABIT.minutes_a_day(8) == 8
    assert NO_HABIT.pace("one") == 1.0
    assert not NO_HABIT.enough


class TestPace:
    """Factor of an item's seconds."""

    def test_it_leans_to_one_with_the_weight_of_twenty_answers(self):
        """Twenty answers in four times the time: four to the power 20 / (20 + 20), which is two."""
        habit = habit_of(answers(TODAY, *[120.0] * 20), today=TODAY)

        assert habit.pace("one") == pytest.approx(2.0, rel=1e-12)
        assert habit.pace("number") == 1.0

    def test_half_and_double_weigh_alike(self):
        """Five answers: the fifth root of what the ratio is, .5 ** (5/25) and 2 ** (5/25)."""
        quick = habit_of(answers(TODAY, *[15.0] * 5), today=TODAY).pace("one")
        slow = habit_of(answers(TODAY, *[60.0] * 5), today=TODAY).pace("one")

        assert quick**5 == pytest.approx(0.5, rel=1e-12)
        assert slow**5 == pytest.approx(2.0, rel=1e-12)

    @pytest.mark.parametrize(("took", "pace"), [(3.0, 0.5), (300.0, 2.0)])
    def test_it_stays_between_half_and_double(self, took, pace):
        """Sixty answers in a tenth, and in ten times, the time: .1 ** (60/80) is .18, 10 ** (60/80) is 5.6."""
        assert habit_of(answers(TODAY, *[took] * 60), today=TODAY).pace("one") == pace

    def test_a_telephone_laid_aside_is_no_pace(self):
        """Two of five after more than ten minutes, one at once: the three that are left took as long as expected."""
        habit = habit_of(answers(TODAY, 30.0, 601.0, 30.0, 7200.0, 1.9, 30.0), today=TODAY)

        assert habit.pace("one") == 1.0

    def test_the_median_stands_against_long_thinking(self):
        """Of 30, 30 and 590 seconds the middle one is 30."""
        assert habit_of(answers(TODAY, 30.0, 590.0, 30.0), today=TODAY).pace("one") == 1.0

    def test_kinds_have_their_own(self):
        """Numbers take double, choices as long as expected."""
        given = answers(TODAY, *[30.0] * 20) + answers(TODAY, *[180.0] * 20, seconds=90.0, kind="number", set_id="b")
        habit = habit_of(given, today=TODAY)

        assert habit.pace("one") == 1.0
        assert habit.pace("number") == pytest.approx(2**0.5, rel=1e-12)

    def test_a_part_of_a_scenario_and_a_repeat_tell_no_pace(self):
        """Their seconds are not those of the answer; their time is used all the same: 20 times 2 minutes."""
        habit = habit_of(answers(TODAY - 1, *[120.0] * 20, alone=False), today=TODAY)

        assert habit.pace("one") == 1.0
        assert habit.minutes == 40.0

    def test_a_question_put_later_counts_from_then(self):
        """A repeat offered an hour after the last answer took 30 s, not an hour."""
        first = answers(TODAY, 30.0)
        late = Given(first[0].set_id, "one", 30.0, first[0].at + 3600.0, first[0].at + 3660.0, TODAY)

        # Ratios 1 and 2: median 1.5, two answers: the eleventh root of 1.5.
        assert habit_of([*first, late], today=TODAY).pace("one") ** 11 == pytest.approx(1.5, rel=1e-12)


class TestDays:
    """Days with practice, and minutes on them."""

    def test_three_days_a_week_for_eight_weeks(self):
        """24 days of 56: (24 + 14 * 5/7) / (56 + 14) = 34/70, which is 3.4 days a week."""
        first = TODAY - 56
        days = [first + 7 * week + day for week in range(8) for day in (0, 2, 4)]
        habit = habit_of([one for day in days for one in answers(day, 30.0)], today=TODAY)

        assert (habit.practised, habit.observed) == (24, 56)
        assert habit.study_share == pytest.approx(34 / 70, rel=1e-12)
        assert habit.enough

    def test_today_counts_only_once_it_has_an_answer(self):
        """Yesterday alone: one of one. Yesterday and today: two of two. A day passed over between: two of three."""
        yesterday, today = answers(TODAY - 1, 30.0), answers(TODAY, 30.0)
        before = answers(TODAY - 2, 30.0)

        for given, counted in (
            (yesterday, (1, 1)),
            ([*yesterday, *today], (2, 2)),
            ([*before, *today], (2, 3)),
            (before, (1, 2)),
        ):
            habit = habit_of(given, today=TODAY)
            assert (habit.practised, habit.observed) == counted

    def test_a_week_says_little(self):
        """Seven of seven days: (7 + 10) / (7 + 14) = 17/21; not said aloud yet."""
        habit = habit_of([one for day in range(7) for one in answers(TODAY - 7 + day, 30.0)], today=TODAY)

        assert habit.study_share == pytest.approx(17 / 21, rel=1e-12)
        assert not habit.enough

    def test_one_day_in_eight_weeks_is_a_seldom_habit(self):
        """Fifty days ago and never since: (1 + 10) / (50 + 14) = 11/64, above 0."""
        habit = habit_of(answers(TODAY - 50, 30.0), today=TODAY)

        assert habit.study_share == pytest.approx(11 / 64, rel=1e-12)

    def test_minutes_lean_to_those_said(self):
        """Ten days of 4 minutes beside 8 said: (10 * 4 + 10 * 8) / 20 = 6."""
        given = [one for day in range(10) for one in answers(TODAY - 10 + day, *[30.0] * 8)]
        habit = habit_of(given, today=TODAY)

        assert habit.minutes == 4.0
        assert habit.minutes_a_day(8) == pytest.approx(6.0, rel=1e-12)

    def test_a_day_that_is_not_over_says_nothing_of_minutes(self):
        """One answer today so far, eight yesterday."""
        habit = habit_of([*answers(TODAY - 1, *[30.0] * 8), *answers(TODAY, 30.0)], today=TODAY)

        assert (habit.minutes, habit.minutes_of) == (4.0, 1)

    def test_a_pause_is_used_only_as_long_as_the_item_takes(self):
        """30 s, two hours away, 30 s: three items of 30 s, a minute and a half."""
        assert habit_of(answers(TODAY - 1, 30.0, 7200.0, 30.0), today=TODAY).minutes == 1.5

    def test_a_zone_changed_to_one_behind_loses_no_day(self):
        """An answer of a day that has not begun here yet: never more days with practice than days."""
        habit = habit_of([*answers(TODAY, 30.0), *answers(TODAY + 1, 30.0)], today=TODAY)

        assert (habit.practised, habit.observed) == (2, 2)
        assert habit.study_share <= 1.0

"""Item statistics at their edges: few people, void marks, questions that do not vary, keys that are wrong."""

import math

import pytest

from quizsvc.bank.item_statistics import spread, statistics

NAN = math.nan


class TestMissing:
    """What does not count is NaN."""

    def test_a_question_void_for_everybody_drops_out_of_the_sums(self):
        """By hand: the two other columns agree in three of four people; 2x2 table 2,1,0,1 has phi 1/sqrt(3)."""
        found = statistics([[1, NAN, 1], [1, NAN, 1], [1, NAN, 0], [0, NAN, 0]])
        assert found.items[1].people == 0
        assert found.items[1].share_right is None and found.items[1].mean is None
        assert found.items[1].item_rest is None and found.items[1].alpha_without is None
        assert (found.people, found.complete) == (4, 4)
        # (ad - bc) / sqrt(product of the margins) = (2*1 - 1*0) / sqrt(3*1*2*2)
        assert found.items[0].item_rest == pytest.approx(2 / math.sqrt(12))
        # Of two questions nothing is left to have an alpha without one.
        assert found.items[0].alpha_without is None

    def test_who_lacks_a_mark_counts_for_the_share_only(self):
        """Three of four right in the first column; the fourth person is in no correlation."""
        found = statistics([[1, 1], [0, 0], [1, 1], [1, NAN]])
        assert found.items[0].share_right == 0.75
        assert found.items[0].people == 4 and found.items[1].people == 3
        assert (found.people, found.complete) == (4, 3)
        assert found.items[0].item_rest == pytest.approx(1)

    @pytest.mark.parametrize("marks", [[[NAN, NAN]], [[1, 1]], [[], []]])
    def test_nothing_to_correlate_is_none_and_no_number(self, marks):
        """One person, or none, or no question."""
        found = statistics(marks)
        assert found.alpha is None
        assert all(one.item_rest is None for one in found.items)


class TestEdges:
    """No spread, parts, refusals."""

    def test_a_question_that_all_get_right_has_no_correlation(self):
        """Neither has the other, against a rest that does not vary."""
        found = statistics([[1, 0], [1, 1], [1, 0]])
        assert found.items[0].share_right == 1
        assert found.items[0].item_rest is None and found.items[1].item_rest is None

    def test_thirds_that_sum_to_the_same_are_no_spread(self):
        """1/3 + 2/3 and 2/3 + 1/3: everybody has one point, so alpha has nothing to be of."""
        found = statistics([[1 / 3, 2 / 3], [2 / 3, 1 / 3], [0.1, 0.9], [0.9, 0.1]])
        assert found.alpha is None

    def test_part_marks_are_in_the_mean_and_not_in_the_share_right(self):
        """0.5 and 1: mean 0.75, one of two fully right."""
        found = statistics([[0.5], [1]])
        assert found.items[0].mean == 0.75 and found.items[0].share_right == 0.5
        assert not found.right_or_wrong

    @pytest.mark.parametrize("marks", [[1, 0], [[1.5]], [[-0.1]]])
    def test_what_is_no_table_of_marks_is_refused(self, marks):
        """A list, or marks outside 0 to 1."""
        with pytest.raises(ValueError):
            statistics(marks)


class TestGoodMissIt:
    """A wrong key shows as a negative correlation."""

    def test_the_reversed_key_is_found(self):
        """Twelve people, five questions on which the same six are right, and one on which exactly they are wrong."""
        good = [[1] * 5 + [0]] * 6
        weak = [[0] * 5 + [1]] * 6
        found = statistics(good + weak)
        assert [one.good_miss_it for one in found.items] == [False] * 5 + [True]
        assert found.items[5].item_rest == pytest.approx(-1)

    def test_a_hair_below_zero_is_noise(self):
        """Ten people, phi = -1/9 (2x2 table 0,1,1,8): less than one standard error, 1/3."""
        found = statistics([[1, 1]] * 8 + [[1, 0], [0, 1]])
        assert found.items[0].item_rest == pytest.approx(-1 / 9)
        assert not found.items[0].good_miss_it


class TestFew:
    """When not to lean on it."""

    @pytest.mark.parametrize(("people", "few"), [(29, True), (30, False)])
    def test_people(self, people, few):
        """Thirty complete rows are the least that goes without a warning."""
        assert statistics([[1, 0]] * people).few_people is few

    @pytest.mark.parametrize(("questions", "few"), [(9, True), (10, False)])
    def test_questions(self, questions, few):
        """Ten questions; void ones do not count."""
        assert statistics([[1] * questions + [NAN]] * 3).few_items is few


class TestSpread:
    """Who chose what, counted."""

    def test_each_listed_id_in_its_order(self):
        """Counted by hand; an unlisted id counts nowhere, one named twice by a person counts once."""
        assert dict(spread([["a"], ["b", "a"], ["x"], ["c", "c"]], ["c", "a", "b", "d"])) == {
            "c": 1, "a": 2, "b": 1, "d": 0,
        }  # fmt: skip

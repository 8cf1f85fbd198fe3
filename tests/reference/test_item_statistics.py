"""Item statistics against LSAT6 and LSAT7 (Bock & Lieberman 1970) and against independent libraries."""

import numpy as np
import pytest
from scipy import stats
from sklearn.linear_model import LinearRegression

from quizsvc.bank.item_statistics import statistics
from tests.reference.tables import half_last_digit, rows_of

FORMS = ("lsat6", "lsat7")


def marks_of(form):
    """The table of 1,000 people from the frequencies of the 32 patterns."""
    rows = rows_of(f"memory/{form}.csv")
    patterns = [[int(row[f"item{one}"]) for one in range(1, 6)] for row in rows]
    return np.repeat(np.array(patterns, dtype=float), [int(row["frequency"]) for row in rows], axis=0)


@pytest.mark.parametrize("form", FORMS)
class TestLsat:
    """To the printed digits of the table in data/memory, whose head says where they were read."""

    def test_each_item(self, form):
        """Share right, item-rest correlation and KR-20 without the item."""
        found = statistics(marks_of(form))
        printed = [row for row in rows_of("memory/lsat_item_statistics.csv") if row["form"] == form]
        assert len(found.items) == len(printed) == 5
        for ours, row in zip(found.items, printed, strict=True):
            assert ours.people == 1000
            assert ours.share_right == ours.mean
            for value, column in (
                (ours.share_right, "p_correct"),
                (ours.item_rest, "point_biserial_rest"),
                (ours.alpha_without, "kr20_if_deleted"),
            ):
                assert value == pytest.approx(float(row[column]), abs=half_last_digit(row[column]))

    def test_kr20(self, form):
        """All marks are 0 or 1, so alpha is KR-20."""
        found = statistics(marks_of(form))
        printed = {row["statistic"]: row["value"] for row in rows_of("memory/lsat_test_statistics.csv")
                   if row["form"] == form}  # fmt: skip
        assert found.right_or_wrong
        assert found.alpha == pytest.approx(
            float(printed["kr20_divisor_n"]), abs=max(half_last_digit(printed["kr20_divisor_n"]), 0.00005)
        )
        assert (found.people, found.complete) == (1000, 1000)
        assert not found.few_people
        assert found.few_items


def test_published_output_of_lsat6():
    """Rizopoulos (2006), Journal of Statistical Software 17(5), section 4.1: Cronbach's alpha 0.2950 of all items,
    0.2754 0.2376 0.2168 0.2459 0.2663 without the first to the fifth; share right .924 .709 .553 .763 .870."""
    found = statistics(marks_of("lsat6"))

    assert round(found.alpha, 4) == 0.2950
    assert [round(one.alpha_without, 4) for one in found.items] == [0.2754, 0.2376, 0.2168, 0.2459, 0.2663]
    assert [one.share_right for one in found.items] == pytest.approx([0.924, 0.709, 0.553, 0.763, 0.870], abs=1e-12)


def partial_marks(people=400, questions=12):
    """Marks in thirds that hang together, from a fixed generator."""
    rng = np.random.default_rng(11)
    ability = rng.normal(size=(people, 1))
    return np.clip(np.round((ability + rng.normal(size=(people, questions)) + 1.5) * 1.0), 0, 3) / 3


def alpha_by_analysis_of_variance(marks):
    """Hoyt (1941): alpha is 1 - MS residual / MS people of the two-way table; sums of squares by scikit-learn's fit."""
    people, questions = marks.shape
    row, column = np.divmod(np.arange(marks.size), questions)
    by_people = np.eye(people)[row][:, 1:]
    by_question = np.eye(questions)[column][:, 1:]
    flat = marks.ravel()

    def residual(design):
        return float(np.sum((flat - LinearRegression().fit(design, flat).predict(design)) ** 2))

    both = residual(np.hstack([by_people, by_question]))
    between = residual(by_question) - both
    return 1 - (both / ((people - 1) * (questions - 1))) / (between / (people - 1))


class TestLibraries:
    """Marks with parts, against scipy's correlation and an alpha by another road."""

    def test_item_rest_is_the_correlation_with_the_sum_of_the_others(self):
        """scipy.stats.pearsonr of each column and the sum of the other columns."""
        marks = partial_marks()
        found = statistics(marks)
        assert not found.right_or_wrong
        for column, ours in enumerate(found.items):
            expected = stats.pearsonr(marks[:, column], np.delete(marks, column, axis=1).sum(axis=1)).statistic
            assert ours.item_rest == pytest.approx(expected, abs=1e-12)
            assert not ours.good_miss_it

    def test_alpha_is_that_of_the_analysis_of_variance(self):
        """Hoyt's road; without a question, of the table without its column."""
        marks = partial_marks(people=90, questions=6)
        found = statistics(marks)
        assert found.alpha == pytest.approx(alpha_by_analysis_of_variance(marks), abs=1e-9)
        assert found.items[2].alpha_without == pytest.approx(
            alpha_by_analysis_of_variance(np.delete(marks, 2, axis=1)), abs=1e-9
        )

"""What the marks of one group say about the questions that were asked: classical item statistics.

Rows are people, columns are questions, a mark is a credit from 0 to 1; a mark that does not count (void, or never
handed in) is NaN. How hard a question was is told by everybody who has a mark for it. How questions hang together is
told by the people who have a mark for each one that anybody has a mark for.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["FEW_ITEMS", "FEW_PEOPLE", "ItemStatistics", "Statistics", "spread", "statistics"]

Array = NDArray[np.float64]

FEW_PEOPLE = 30
"""Below this a correlation wobbles by more than 0.18 (its standard error is 1/sqrt(people - 1))."""

FEW_ITEMS = 10
"""Below this alpha is low because of the length alone."""

# Marks such as a third do not sum to the same bits in every order; a spread this small is none.
_NONE = 1e-12


@dataclass(frozen=True)
class ItemStatistics:
    """One question.

    Parameters
    ----------
    people : int
        Who has a mark for it.
    share_right : float or None
        Of them, who got it fully right, 0 to 1; None without people.
    mean : float or None
        Mean credit, 0 to 1.
    item_rest : float or None
        Correlation of its marks with the sum of all others, -1 to 1; None where one of the two does not vary.
    alpha_without : float or None
        Alpha of the other questions.
    good_miss_it : bool
        Whether people who do well otherwise miss it: the correlation is below zero by more than its standard error.
        The first thing to look at then is the key.
    """

    people: int
    share_right: float | None
    mean: float | None
    item_rest: float | None
    alpha_without: float | None
    good_miss_it: bool


@dataclass(frozen=True)
class Statistics:
    """All questions together.

    Parameters
    ----------
    people : int
        Who has at least one mark.
    complete : int
        Who has a mark for each question that counts: correlations and alpha are theirs.
    alpha : float or None
        Cronbach's alpha; None below two questions or where the sums do not vary.
    right_or_wrong : bool
        Whether all marks are 0 or 1: alpha is KR-20 then.
    items : tuple of ItemStatistics
        In the order of the columns.
    few_people, few_items : bool
        Whether the data are too few to lean on.
    """

    people: int
    complete: int
    alpha: float | None
    right_or_wrong: bool
    items: tuple[ItemStatistics, ...]
    few_people: bool
    few_items: bool


def statistics(marks: ArrayLike) -> Statistics:
    """Item statistics of a table of marks.

    Parameters
    ----------
    marks : array_like
        People by questions, credits from 0 to 1, NaN where none counts.

    Returns
    -------
    Statistics
        For each question and for all together. Nothing here guards anybody's privacy: the caller shows none of it
        where there are too few people.

    Raises
    ------
    ValueError
        Not a table, or a mark outside 0 to 1.
    """
    table = np.asarray(marks, dtype=np.float64)
    if table.ndim != 2:
        raise ValueError("marks are a table: people by questions")
    known = ~np.isnan(table)
    if np.any((table[known] < 0) | (table[known] > 1)):
        raise ValueError("a mark lies between 0 and 1")
    counted = known.any(axis=0)
    complete = table[:, counted][known[:, counted].all(axis=1)]
    if not counted.any():
        complete = complete[:0]
    rest, without = _together(complete)
    places = dict(zip(np.flatnonzero(counted).tolist(), zip(rest, without, strict=True), strict=True))
    items = []
    for column in range(table.shape[1]):
        own = table[known[:, column], column]
        item_rest, alpha_without = places.get(column, (None, None))
        items.append(
            ItemStatistics(
                people=len(own),
                share_right=float(np.mean(own == 1)) if len(own) else None,
                mean=float(np.mean(own)) if len(own) else None,
                item_rest=item_rest,
                alpha_without=alpha_without,
                good_miss_it=item_rest is not None and item_rest < -1 / math.sqrt(len(complete) - 1),
            )
        )
    return Statistics(
        people=int(known.any(axis=1).sum()),
        complete=len(complete),
        alpha=_alpha(complete),
        right_or_wrong=bool(np.isin(table[known], (0.0, 1.0)).all()),
        items=tuple(items),
        few_people=len(complete) < FEW_PEOPLE,
        few_items=int(counted.sum()) < FEW_ITEMS,
    )


def _together(table: Array) -> tuple[list[float | None], list[float | None]]:
    """For each column its correlation with the sum of the others, and alpha of the others."""
    people, columns = table.shape
    if people < 2:
        return [None] * columns, [None] * columns
    away = table - table.mean(axis=0)
    total = away.sum(axis=1)
    variances = np.mean(away**2, axis=0)
    with_total = away.T @ total / people
    # The sum without column j: its variance and its covariance with j follow from those of the whole sum.
    rest_variances = np.mean(total**2) - 2 * with_total + variances
    correlations: list[float | None] = []
    alphas: list[float | None] = []
    for column in range(columns):
        own, rest = float(variances[column]), float(rest_variances[column])
        varies = own > _NONE and rest > _NONE
        correlation = (float(with_total[column]) - own) / math.sqrt(own * rest) if varies else None
        correlations.append(None if correlation is None else max(-1.0, min(1.0, correlation)))
        alphas.append(_alpha_of(columns - 1, float(variances.sum()) - own, rest))
    return correlations, alphas


def _alpha(table: Array) -> float | None:
    """Cronbach's alpha of complete marks."""
    if len(table) < 2:
        return None
    return _alpha_of(table.shape[1], float(table.var(axis=0).sum()), float(table.sum(axis=1).var()))


def _alpha_of(columns: int, of_columns: float, of_sum: float) -> float | None:
    """Alpha from the sum of the columns' variances and the variance of their sum (one divisor for both)."""
    return columns / (columns - 1) * (1 - of_columns / of_sum) if columns > 1 and of_sum > _NONE else None


def spread(chosen: Sequence[Collection[str]], listed: Sequence[str]) -> Mapping[str, int]:
    """How many people chose each of the listed ids, in their order; an id that nobody chose has 0.

    Parameters
    ----------
    chosen : sequence of collections of str
        For each person the ids chosen; what is not listed counts nowhere.
    listed : sequence of str
        The ids asked for.
    """
    counts = dict.fromkeys(listed, 0)
    for ids in chosen:
        for one in set(ids):
            if one in counts:
                counts[one] += 1
    return counts

"""The page of the plan says how one has practised, beside what one said."""

from __future__ import annotations

import random

import pytest

from tests.services.test_practised import practise
from tests.web.test_expectation import person_of
from tests.web.test_plan import FORBIDDEN, main_of


@pytest.fixture
def backend():
    """SQLite: what is said does not depend on the database under it."""
    return "sqlite"


def test_days_and_minutes_are_said_once_there_is_enough(app, member, bank_db, clock):
    """Fifteen days, a set of ten choices, 30 s each, on every third: 2.3 days a week, five minutes on each.

    The plan leans to ten minutes on five days of seven, for the sixty days ahead: (5 + 10) / (15 + 14) of them, and
    (5 * 5 + 10 * 10) / 15 minutes on each.
    """
    assert "As you have practised" not in member.get("/plan").text
    person = person_of(app, member)
    for _ in range(5):
        practise(bank_db, clock, person, answers=10, apart=30, rng=random.Random(1))
        clock.advance(days=3)
    page = member.get("/plan")
    said = main_of(page)

    assert "With 10 minutes on each study day" in said
    assert (
        "As you have practised in the last 15 days: about 2 days a week, about 5 minutes on such a day. "
        "Sets are planned by that, and while it tells little partly by your minutes on five days of seven:" in said
    )
    for caution in page.cautions.values():
        said = said.replace(caution, "")
    assert not FORBIDDEN.search(said)

"""Regulation items of the bank against the case tables in data/regulations, which were derived from the wording read.

A drawn case lies between rows of a table; where the rows around it all say the same, so must the item's keys.
"""

from __future__ import annotations

import random

import pytest

from quizsvc.bank.check import BankText, check_bank
from quizsvc.bank.question import compile_item, issue
from quizsvc.physics.units import from_si
from tests.bank.bank_texts import SHIPPED
from tests.reference.recomputed import read_shown
from tests.reference.tables import rows_of


@pytest.fixture(scope="module")
def bank():
    """The general part of the shipped bank."""
    paths = [*sorted((SHIPPED / "general").glob("*.yaml")), SHIPPED / "cautions.yaml"]
    return check_bank(
        [
            BankText(path.name, "general" if path.parent.name == "general" else "", path.read_text("utf-8"))
            for path in paths
        ],
        rng=random.Random(5),
    )


def drawn(bank, item_id, count=120):
    """Drawn values as read, and keys, of many questions of an item."""
    (checked,) = [item for item in bank.items if item.id == item_id]
    item, rng = compile_item(checked.body, None), random.Random(11)
    for _ in range(count):
        question = issue(item, rng)
        yield {name: read_shown(entry["shown"]) for name, entry in question.drawn.items()}, question.record


def around(rows, columns, case):
    """The rows next to a case on both sides in every column; a case beyond the table has none there, and fails."""
    for column in columns:
        values = sorted({float(row[column]) for row in rows})
        low = max(value for value in values if value <= case[column])
        high = min(value for value in values if value >= case[column])
        rows = [row for row in rows if float(row[column]) in (low, high)]
    return rows


def verdict(rows, column):
    """What all of these rows say."""
    (said,) = {row[column] for row in rows}
    return said == "yes"


@pytest.mark.parametrize("item", ["rule-cabin-at-thirteen", "rule-cabin-above-fourteen", "rule-cabin-above-fifteen"])
def test_cabin_altitudes_of_91_211_a(bank, item):
    """Who must use oxygen and who must be provided with it, over every draw."""
    table = rows_of("regulations/cases_91_211_a.csv")
    for values, record in drawn(bank, item):
        # Less than the table's 29 minutes is no more than its "up to 30".
        case = {"cabin_pressure_alt_ft": values["cabin"], "minutes_at_alt": max(29.0, values["time"])}
        rows = around(table, ["cabin_pressure_alt_ft", "minutes_at_alt"], case)

        assert ("crew" in record["keys"]) == verdict(rows, "required_crew_must_use"), values
        assert ("occupants" in record["keys"]) == verdict(rows, "each_occupant_must_be_provided"), values
        assert "passengers" not in record["keys"]


@pytest.mark.parametrize(
    ("item", "quick"),
    [
        ("rule-level-up-to-three-fifty", "yes"),
        ("rule-level-quick-donning", "yes"),
        ("rule-level-without-quick-donning", "no"),
    ],
)
def test_levels_of_91_211_b(bank, item, quick):
    """The ten minutes for each occupant, and whether one pilot wears a mask, with two pilots at the controls."""
    table = [
        row
        for row in rows_of("regulations/cases_91_211_b.csv")
        if row["two_pilots_at_controls"] == "yes" and row["each_has_quick_don"] == quick
    ]
    for values, record in drawn(bank, item):
        rows = around(table, ["flight_level"], {"flight_level": values["level"] / 100})

        assert ("supply" in record["keys"]) == verdict(rows, "ten_minute_supply_required"), values
        assert ("wear" in record["keys"]) == verdict(rows, "one_pilot_must_wear"), values
        assert "both" not in record["keys"]


def test_failure_limit_of_25_841_c(bank):
    """The limit after a probable failure at each airport of the table where the rule for high airports applies."""
    limits = {
        float(row["airport_elev_ft"]): float(row["probable_failure_cabin_limit_ft"])
        for row in rows_of("regulations/cases_high_elevation.csv")
        if row["high_elevation_rules_apply"] == "yes"
    }
    met = set()
    for values, record in drawn(bank, "high-field-failure-limit", 3000):
        if values["elev"] in limits:
            met.add(values["elev"])
            assert from_si(record["key"], "ft") == pytest.approx(limits[values["elev"]])
    assert met >= {elev for elev in limits if elev % 100 == 0 and elev != 13_000}  # there both branches give 15,000 ft


def test_two_minutes_of_25_841_a(bank):
    """Which of the item's cases are breaches: by the peak and the time above 25,000 ft."""
    table = rows_of("regulations/cases_25_841_a2.csv")
    peaks = {row["case"]: (float(row["peak_cabin_alt_ft"]), float(row["seconds_above_25000"])) for row in table}
    breaches = {row["case"] for row in table if row["verdict"] == "breach"}
    # The rule as the table states it, checked on the table's own rows first.
    rule = {case: peak > 40_000 or seconds > 120 for case, (peak, seconds) in peaks.items()}
    assert {case for case, broken in rule.items() if broken} == breaches

    (_, record), *_ = drawn(bank, "two-minutes-above-twenty-five", 1)

    cases = {"long": (26_000, 180), "peak": (41_000, 1), "two": (30_000, 120), "below": (24_500, 0)}
    assert set(record["keys"]) == {case for case, (peak, s) in cases.items() if peak > 40_000 or s > 120}

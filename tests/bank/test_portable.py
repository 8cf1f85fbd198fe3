"""What travels to a device to judge answers there: grades of the kinds' published rules, units, texts.

The rules are those of domain/items.md (credit of each kind); the tables are read here as a device reads them, and held
against the kind's own grade for any response.
"""

from __future__ import annotations

import itertools
import json
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quizsvc.bank.grade import grade
from quizsvc.bank.kinds import KINDS
from quizsvc.bank.portable import OFFLINE_KINDS, portable, units_for_typing, with_texts
from quizsvc.bank.question import issue
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, find_unit, to_si
from tests.bank import test_grade as grade_cases
from tests.bank.kinds import test_any_response as any_cases
from tests.bank.kinds import test_gauge as gauge_cases
from tests.bank.kinds import test_match as match_cases
from tests.bank.kinds import test_order as order_cases
from tests.bank.kinds import test_still_works as still_works_cases

SOME = issue(grade_cases.item_of(grade_cases.SOME), random.Random(1)).record
ONE = issue(grade_cases.item_of(grade_cases.ONE), random.Random(1)).record
STILL_WORKS = still_works_cases.record()
GAUGE = gauge_cases.record()
MATCH = match_cases.RECORD


def rows_of(record, **changed):
    """The record with changed rows, by their ids."""
    return record | {"rows": [row | changed.get(row["id"], {}) for row in record["rows"]]}


GRAVE = rows_of(STILL_WORKS, DUMP={"grave": True}, SPDBRK={"grave": True})


@pytest.mark.parametrize("kind", OFFLINE_KINDS)
def test_every_kind_that_travels_is_json_and_names_itself(kind):
    """Whole after a way as JSON; and nothing of the solution's words or pictures goes along."""
    found = portable(any_cases.RECORDS[kind])

    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["kind"] == kind
    assert not {"why", "lines", "pictures", "cautions"} & set(found)


@pytest.mark.parametrize("kind", sorted(set(KINDS) - set(OFFLINE_KINDS)))
def test_other_kinds_say_so(kind):
    """They hang on pictures, on speech or on each other; the error names the kind and those that travel."""
    with pytest.raises(InputError) as error:
        portable({"kind": kind})

    assert error.value.reference == "kind-not-portable"
    assert kind in error.value.what and "gauge" in error.value.mend


class TestPublishedRules:
    """The grades in the tables, worked out by hand from the rules."""

    def test_one(self):
        """All or nothing."""
        assert portable(ONE)["grades"] == {"ten": ["full", 1.0], "shifted": ["miss", 0.0], "never": ["miss", 0.0]}

    def test_some(self):
        """(hits - false picks)/keys, floor 0, full only if exact: three keys, two others."""
        grades = portable(SOME)["grades"]

        assert grades == {
            f"{hits}/{false}": [
                "full" if (hits, false) == (3, 0) else "part" if hits > false else "miss",
                pytest.approx(max(0, (hits - false) / 3)),
            ]
            for hits in range(4)
            for false in range(3)
        }

    def test_match(self):
        """max(0, (r/n - 1/k)/(1 - 1/k)) with n = 4 and k = 5: 0, 0.0625, 0.375, 0.6875, 1."""
        grades = portable(MATCH)["grades"]

        assert grades == [
            [outcome, pytest.approx(credit)]
            for outcome, credit in (("miss", 0), ("part", 0.0625), ("part", 0.375), ("part", 0.6875), ("full", 1))
        ]

    def test_still_works(self):
        """Rows weigh equally."""
        grades = portable(STILL_WORKS)["grades"]

        assert grades == {
            f"{right}/0": ["full" if right == 6 else "part" if right else "miss", pytest.approx(right / 6)]
            for right in range(7)
        }

    def test_still_works_with_a_grave_row(self):
        """Works taken for lost, or lost for works, caps the credit at 0.5; each grave row has its sentence."""
        found = portable(GRAVE)

        assert found["grades"]["5/1"] == ["part", 0.5] and found["grades"]["4/1"] == ["part", 0.5]
        assert found["grades"]["3/1"] == ["part", 0.5] and found["grades"]["2/1"] == ["part", pytest.approx(1 / 3)]
        assert found["grades"]["5/0"] == ["part", pytest.approx(5 / 6)]
        labels = {row["id"]: row["label"] for row in GRAVE["rows"]}
        assert found["remarks"] == {
            row: f"Half the credit at most: works and lost were exchanged for {labels[row]}."
            for row in ("DUMP", "SPDBRK")
        }

    def test_gauge(self):
        """Readings 0.4 in equal shares, judgement 0.6."""
        assert portable(GAUGE)["grades"] == {
            "0/0": ["miss", 0.0],
            "1/0": ["part", pytest.approx(0.2)],
            "2/0": ["part", pytest.approx(0.4)],
            "0/1": ["part", pytest.approx(0.6)],
            "1/1": ["part", pytest.approx(0.8)],
            "2/1": ["full", 1.0],
        }

    def test_number(self):
        """S10 of domain/items.md: key 1,252 psi within 25, up to the next 50, traps in their order."""
        found = portable(grade_cases.question(grade_cases.OXYGEN).record)["number"]

        assert found["key"] / to_si(1, "psi") == pytest.approx(1252, abs=0.5)
        assert found["rounded"] / to_si(1, "psi") == pytest.approx(1300)
        assert found["within"] / to_si(1, "psi") == pytest.approx(25)
        assert [trap["belief"] for trap in found["traps"]] == [
            "forgot the unusable",
            "ten minutes only",
            "one crew mask",
        ]
        assert (found["dimension"], found["factor"], found["offset"]) == ("pressure", to_si(1, "psi"), 0.0)

    def test_order(self):
        """S03 of domain/items.md: what must come first, and the belief behind masks before limiters."""
        found = portable(order_cases.RECORD)

        assert found["right"] == ["warn", "limiter", "masks", "fifteen"]
        assert found["must_first"] == "warn"
        assert [entry["before"] for entry in found["orders"]] == [["masks", "limiter"]]


class TestLookUp:
    """Any response looked up in the table has the kind's own grade."""

    @given(st.lists(st.sampled_from(SOME["order"]), unique=True))
    def test_some(self, options):
        """By hits and false picks."""
        hits = len(set(options) & set(SOME["keys"]))
        assert looked_up(SOME, f"{hits}/{len(options) - hits}") == graded(SOME, {"options": options})

    @given(st.lists(st.sampled_from(MATCH["order"]), min_size=4, max_size=4))
    def test_match(self, outcomes):
        """By right pairs; the belief by the first pair that has one."""
        pairs = dict(zip(MATCH["lefts"], outcomes, strict=True))
        found = portable(MATCH)
        right = sum(pairs[row["id"]] == row["key"] for row in found["rows"])
        held = [found["beliefs"][f"{one} {other}"] for one, other in found["held"] if pairs[one] == other]

        assert looked_up(MATCH, right) == graded(MATCH, {"pairs": pairs})
        assert (held or [None])[0] == grade(MATCH, {"pairs": pairs}).belief

    @pytest.mark.parametrize("grave", [(), ("DUMP",), ("SPDBRK", "DUMP"), ("AUTO", "SPDBRK")])
    def test_still_works(self, grave):
        """By right rows and whether works and lost were exchanged in a grave one: a thousand of the answers."""
        record = rows_of(STILL_WORKS, **dict.fromkeys(grave, {"grave": True}))
        self.hold_still_works(record, random.Random(4), 1000)

    def test_a_row_whose_key_is_not_offered(self):
        """It can never be right, and the table has no grade that nobody can reach."""
        record = rows_of(STILL_WORKS, AUTO={"keys": ["after SOMETHING_ELSE"]})
        self.hold_still_works(record, random.Random(5), 200)

        assert "6/0" not in portable(record)["grades"] and "5/0" in portable(record)["grades"]

    def hold_still_works(self, record, rng, number):
        choices = [choice["id"] for choice in record["choices"]]
        opposite = {"works": "lost", "lost": "works"}
        table = portable(record)
        for _ in range(number):
            share = rng.random()
            given_ = {
                row["id"]: row["keys"][0] if rng.random() < share and row["keys"][0] in choices else rng.choice(choices)
                for row in record["rows"]
            }
            right = sum(given_[row["id"]] in row["keys"] for row in table["rows"])
            swapped = [
                row["id"] for row in table["rows"] if row["grave"] and opposite.get(given_[row["id"]]) in row["keys"]
            ]
            found = grade(record, {"rows": given_})

            assert table["grades"][f"{right}/{int(bool(swapped))}"] == [found.outcome, found.credit]
            assert found.remark == (table["remarks"][swapped[0]] if swapped and right > 3 else None)

    def test_gauge(self):
        """By right readings and the judgement."""
        for right, option in itertools.product(itertools.product((True, False), repeat=2), GAUGE["order"]):
            readings = {
                one["id"]: {"typed": "", "si": one["key"] + one["within"] * (0.5 if good else 5)}
                for one, good in zip(GAUGE["readings"], right, strict=True)
            }
            wanted = graded(GAUGE, {"readings": readings, "option": option})
            assert looked_up(GAUGE, f"{sum(right)}/{int(option in GAUGE['keys'])}") == wanted


def looked_up(record, name):
    return portable(record)["grades"][name]


def graded(record, response):
    found = grade(record, response)
    return [found.outcome, found.credit]


class TestTexts:
    """Markdown turned into something else, everywhere it stands and nowhere else."""

    @pytest.mark.parametrize(
        "record",
        [ONE, SOME, MATCH, STILL_WORKS, GAUGE, order_cases.RECORD, grade_cases.question(grade_cases.OXYGEN).record],
        ids=lambda record: record["kind"],
    )
    def test_beliefs_and_texts(self, record):
        """All beliefs and texts; ids, keys and grades stay."""
        found = portable(record)
        turned = with_texts(found, lambda text: f"<{text}>")

        assert beliefs_of(turned) == [f"<{text}>" for text in beliefs_of(found)]
        assert turned.get("texts") == (
            {key: f"<{text}>" for key, text in found["texts"].items()} if "texts" in found else None
        )
        for name in set(found) - {"beliefs", "texts", "orders", "number"}:
            assert turned[name] == found[name]
        assert found == portable(record), "the table itself stays"


def beliefs_of(table):
    entries = [*table.get("orders", []), *table.get("number", {}).get("traps", [])]
    return [*table.get("beliefs", {}).values(), *(entry["belief"] for entry in entries)]


def test_a_belief_that_is_none_stays_none():
    """A trap may have no belief."""
    record = grade_cases.question(grade_cases.OXYGEN).record
    record = record | {"traps": [record["traps"][0] | {"belief": None}]}

    assert with_texts(portable(record), str.upper)["number"]["traps"][0]["belief"] is None


def test_units_for_typing_are_those_that_are_read():
    """Each spelling means what `find_unit` makes of it, within its dimension, with the table's factor and offset."""
    found = units_for_typing()

    for dimension, spellings in found.items():
        for spelling, (factor, offset, name) in spellings.items():
            assert find_unit(spelling).name == name
            assert UNITS[name].dimension == dimension
            assert (factor, offset) == (UNITS[name].factor, UNITS[name].offset)
    assert {word.lower() for unit in UNITS.values() for word in (unit.name, *unit.aliases)} == {
        word for spellings in found.values() for word in spellings
    }

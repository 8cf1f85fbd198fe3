"""What the device makes of an answer is what the service makes of it: 500 questions of every kind, in a real Chromium.

The service's own grading is the yardstick here: its rules are checked against their published forms in tests/bank, and
the cases of those tests are asked here once more.
"""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quizsvc.bank.portable import OFFLINE_KINDS, units_for_typing
from quizsvc.bank.question import issue
from quizsvc.physics.units import UNITS, format_quantity, to_si
from tests.bank import test_grade as grade_cases
from tests.bank.kinds import test_any_response as any_cases
from tests.bank.kinds import test_gauge as gauge_cases
from tests.bank.kinds import test_match as match_cases
from tests.bank.kinds import test_order as order_cases
from tests.bank.kinds import test_still_works as still_works_cases
from tests.browser import responses, typed_texts
from tests.browser.conftest import serving
from tests.browser.judging import agree
from tests.physics import test_units as unit_cases

pytestmark = pytest.mark.browser
QUESTIONS = 500

SHOW_ALL = """async ([cases, units]) => {
  const { shown } = await import("/static/grade.js");
  return cases.map(([value, unit, decimals]) => shown(value, { ...units[unit], unit }, decimals));
}"""


@pytest.fixture(scope="module")
def page(templates, tmp_path_factory, chromium):
    """One page of one server for all: judging keeps nothing."""
    with serving(templates, tmp_path_factory.mktemp("grading"), "empty") as site:
        context = chromium.new_context(base_url=site.url)
        site.contexts.append(context)
        page = context.new_page()
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto("/about")
        yield page
        assert faults == []


@pytest.fixture(scope="module")
def items():
    """Compiled items by kind."""
    return responses.compiled()


def data(test):
    """The cases of a test that is run over some."""
    (mark,) = (mark for mark in test.pytestmark if mark.name == "parametrize")
    return mark.args[1]


def json_of(value):
    """The value without numbers that JSON has not."""
    if isinstance(value, dict):
        return {name: json_of(part) for name, part in value.items()}
    if isinstance(value, list):
        return [json_of(part) for part in value]
    return value if not isinstance(value, float) or math.isfinite(value) else None


@pytest.mark.parametrize("kind", OFFLINE_KINDS)
def test_the_device_judges_as_the_service_does(kind, items, page):
    """Outcome, credit, belief, remark, read-back, marks and rows of every response; what is none is refused."""
    rng = random.Random(f"{kind} 20261126")
    records = responses.records(items[kind], QUESTIONS, rng)

    seen = agree(page, [(record, responses.responses(record, rng)) for record in records])

    assert seen == {"full", "miss", "pass", "open"} | ({"part"} if kind != "one" else set())


@pytest.mark.parametrize("kind", OFFLINE_KINDS)
@settings(max_examples=60, deadline=None)
@given(change=st.dictionaries(st.sampled_from(any_cases.WORDS), any_cases.VALUES, max_size=3), keep=st.booleans())
def test_any_response_is_read_or_refused_alike(kind, change, keep, page):
    """The responses of every shape of which the service's own test is made, as far as JSON has them."""
    agree(page, [(any_cases.RECORDS[kind], [{**(any_cases.RIGHT[kind] if keep else {}), **json_of(change)}])])


@pytest.mark.parametrize("kind", OFFLINE_KINDS)
def test_what_is_no_answer_is_refused_alike(kind, page):
    """Lists, texts and numbers where maps and ids belong; a pass that is none; names that every object knows."""
    right = any_cases.RIGHT[kind]
    values = (
        None,
        [],
        ["warn"],
        {},
        {"cabin": "1"},
        "works",
        3,
        True,
        "constructor",
        ["constructor"],
        {"constructor": "x"},
    )
    shapes = [right | {name: value} for name in right for value in values]
    passes = [right | {"pass": value} for value in (True, False, None, "yes", 1, [])]

    assert agree(page, [(any_cases.RECORDS[kind], shapes + passes)]) >= {"open", "pass", "full"}


def number(unit, key=0.0, within=0.0, **changed):
    """The record of a number that shows nothing else."""
    return {
        "kind": "number", "key": key, "unit": unit, "within": within, "exact": False, "rounded": None, "round": None,
        "decimals": 2, "rounded_decimals": 0, "traps": [], "answers_below_100": False, **changed,
    }  # fmt: skip


class TestTyped:
    """Texts read as quantities."""

    def test_what_the_service_s_own_test_reads(self, page):
        """Each is fully right where the key is the value that stands beside it there."""
        cases = [
            (number(asked, to_si(value, unit)), [{"text": typed}])
            for typed, asked, value, unit in data(unit_cases.TestWhatIsRead.test_reading)
        ]
        cases += [
            (number("psi", to_si(value, "psi"), answers_below_100=True), [{"text": typed}])
            for typed, value in data(unit_cases.TestWhatIsRead.test_comma_is_decimal_where_answers_stay_small)
        ]
        cases.append((number("ft", to_si(5, "ft")), [{"text": "0" * 56 + "5 ft"}]))

        assert agree(page, cases) == {"full"}

    def test_what_the_service_s_own_test_refuses(self, page):
        """No sense, another dimension, too long."""
        refused = data(unit_cases.TestWhatIsRefused.test_unreadable)
        cases = [(number("ft"), [{"text": text} for text in (*refused, "0" * 57 + "5 ft")])]
        cases += [
            (number(asked), [{"text": typed}])
            for typed, asked in data(unit_cases.TestWhatIsRefused.test_another_dimension)
        ]

        assert agree(page, cases) == {"open"}

    @pytest.mark.parametrize("below_100", [False, True])
    def test_texts_made_of_what_the_rules_are_about(self, below_100, page):
        """Signs, digits, spaces of every width, units of any dimension; far from the key, so the read-back decides."""
        rng = random.Random(f"typed {below_100}")
        cases = [
            (
                number(unit, 17.0, 0.5, answers_below_100=below_100),
                [{"text": text} for text in typed_texts.texts(120, rng)],
            )
            for unit in UNITS
        ]
        assert agree(page, cases) >= {"open", "miss"}

    def test_every_spelling_of_every_unit(self, page):
        """In small and capital letters, with a full stop; read back by the unit's name."""
        cases = [
            (
                number(unit.name, to_si(5, unit.name)),
                [{"text": form.format(word)} for form in ("5 {}", "5{}", "5 {}.", "5 {} .", "5\u00a0{}")]
                + [{"text": f"5 {word.upper()}"}, {"text": f"5 {word.lower()}"}],
            )
            for unit in UNITS.values()
            for word in (unit.name, *unit.aliases)
        ]
        assert agree(page, cases) == {"full"}


class TestPrinted:
    """Quantities as they are read back."""

    def shown(self, page, cases):
        """What the device prints."""
        units = {unit.name: {"factor": unit.factor, "offset": unit.offset} for unit in UNITS.values()}
        return page.evaluate(SHOW_ALL, [cases, units])

    def test_as_in_the_service_s_own_test(self, page):
        """Rounded half up, thousands by comma, no minus before zero."""
        cases = data(unit_cases.TestPrinting.test_printed)

        found = self.shown(page, [(to_si(value, unit), unit, decimals) for value, unit, decimals, _ in cases])

        assert found == [printed for *_, printed in cases]

    def test_any_value_of_any_unit(self, page):
        """From small to where digits would be noise; halves; a pressure setting on either side of its comma."""
        rng = random.Random(26)
        cases = [(to_si(value, "hPa"), "hPa", 0) for value in (999.5, 1013.25, 9999.4, 9999.5, 10000, -9999.5)]
        for unit in UNITS:
            for _ in range(150):
                decimals = rng.randint(-3, 6)
                digits = rng.randint(0, 9 if decimals < 3 else 5)
                value = rng.choice((1, -1)) * rng.choice((rng.uniform(0, 10**digits), rng.randint(0, 10**digits) + 0.5))
                half = round(value, max(0, decimals)) + 0.5 * 10.0**-decimals
                cases += [(to_si(some, unit), unit, decimals) for some in (value, half)]
            cases += [(to_si(value, unit), unit, 0) for value in (9.99e14, 1e15, -3e17)]

        assert self.shown(page, cases) == [format_quantity(*case) for case in cases]

    def test_units_that_travel_are_all_that_can_be_typed(self):
        """Every name and alias of the table, and nothing under two meanings."""
        units = units_for_typing()
        spelled = {
            (unit.dimension, word.lower(), unit.name) for unit in UNITS.values() for word in (unit.name, *unit.aliases)
        }

        assert {(dim, word, entry[2]) for dim, words in units.items() for word, entry in words.items()} == spelled


class TestNumber:
    """The items of the domain papers, as in the service's own test."""

    TYPED = (
        *("1,300", "1,252", "1,250", "1,102", "472", "1,100", "1277", "1278", "1302", "1303", "1203", "1202", "1280"),
        *("33,000", "1,600", "1,610", "1,650", "1,636", "1,678", "3,809", "34,000", "33 000", "FL330", "10,1 km"),
    )  # fmt: skip

    def test_their_cases(self, page):
        """Right, rounded either way, traps, half, refused."""
        refused = [{"text": text} for text in data(grade_cases.TestNumber.test_what_cannot_be_read_is_no_answer)]
        shapes = data(grade_cases.TestNumber.test_response_of_another_shape_is_no_answer)
        shapes = [raw for raw in shapes if isinstance(raw, dict)]
        cases = [
            (grade_cases.question(text).record, [*({"text": typed} for typed in self.TYPED), *refused, *shapes])
            for text in (grade_cases.OXYGEN, grade_cases.STEEPEST, grade_cases.N03)
        ]
        assert agree(page, cases) == {"full", "part", "miss", "open"}

    def test_edges(self, page):
        """Both edges of tolerance and half credit, to the last digit of a double; traps in order and before half."""
        key, within = to_si(33_236, "ft"), to_si(300, "ft")
        traps = [
            {"id": name, "value": key + 2.5 * within, "rounded": key - 10 * within, "belief": name}
            for name in ("first", "second")
        ]
        rule = {"direction": "down", "step": to_si(1000, "ft")}
        rounded = to_si(33_000, "ft")
        records = [
            number("m", key, within, decimals=0, **more)
            for more in ({}, {"traps": traps}, {"round": rule, "rounded": rounded, "rounded_decimals": -3})
        ]
        values = []
        for edge in (within, 2 * within, 1.5 * within, 3.5 * within, -within, -2 * within, -10 * within):
            for part in (1, 1 - 1e-9, 1 + 0.9e-9, 1 + 1.1e-9, 1 + 1e-6, 1 + 1e-4, 1 - 1e-4):
                values.append(key + edge * part)
            values += [math.nextafter(key + edge, key), math.nextafter(key + edge, key + 2 * edge)]
        values += [key, key + 0.5, key + 0.5 * (1 + 1e-9), key + 0.500001, key * (1 + 1e-6), key * (1 + 2e-6), rounded]

        assert agree(page, [(record, [{"text": repr(value)} for value in values]) for record in records])


class TestWholeTables:
    """Small items answered in every way there is."""

    @pytest.mark.parametrize("text", [order_cases.LADDER, order_cases.TIED], ids=["ladder", "tied"])
    def test_every_order(self, text, page):
        """All orders, with and without a step that must lead; and what the service's own test refuses."""
        record, _ = order_cases.record_of(text)
        orders = [{"order": list(order)} for order in itertools.permutations(record["right"])]
        beliefs = [
            {"before": list(pair), "belief": " before ".join(pair)}
            for pair in itertools.permutations(record["right"], 2)
        ]
        records = [
            record,
            record | {"must_first": None},
            record | {"must_first": "masks", "beliefs": beliefs},
            record | {"beliefs": beliefs[::-1]},
        ]
        refused = [raw for raw, _ in data(order_cases.test_what_is_no_order_is_refused_with_a_sentence)]

        assert agree(page, [(one, orders + refused) for one in records]) >= {"full", "part", "open"}

    def test_every_match(self, page):
        """Four failures with five outcomes each."""
        record = match_cases.RECORD
        ways = itertools.product(record["order"], repeat=4)
        given_ = [{"pairs": dict(zip(match_cases.KEY, way, strict=True))} for way in ways]
        refused = [raw for raw, _ in data(match_cases.test_what_is_no_answer_is_refused_and_names_the_open_row)]

        assert agree(page, [(record, given_ + refused)]) == {"full", "part", "miss", "open"}

    @pytest.mark.parametrize("grave", [(), ("DUMP",), ("SPDBRK", "DUMP")], ids=["none", "one", "two"])
    def test_every_answer_to_what_still_works(self, grave, page):
        """Four rows with every choice, with rows in which works and lost must not be exchanged."""
        record = still_works_cases.record()
        rows = [
            row | {"grave": row["id"] in grave} for row in record["rows"] if row["id"] not in ("CAB_DIGITS", "AUTO")
        ]
        rows[0] = rows[0] | {"beliefs": {choice["id"]: f"held: {choice['text']}" for choice in record["choices"]}}
        choices = [choice["id"] for choice in record["choices"]]
        rows[-1] = rows[-1] | {
            "keys": [choice for choice in choices if choice.startswith("after ")][:2],
            "grave": False,
        }
        names = [row["id"] for row in rows]
        given_ = [{"rows": dict(zip(names, way, strict=True))} for way in itertools.product(choices, repeat=len(names))]

        assert agree(page, [(record | {"rows": rows}, given_)]) == {"full", "part", "miss"}

    def test_a_belief_at_what_is_right_is_not_told(self, page):
        """Of an option, and of a gauge's option."""
        one = issue(grade_cases.item_of(grade_cases.ONE), random.Random(1)).record
        gauge = gauge_cases.record()
        readings = {"cabin": "4,700", "differential": "8.9"}
        told = [record | {"beliefs": dict.fromkeys(record["order"], "told")} for record in (one, gauge)]
        cases = [
            (told[0], [{"option": option} for option in one["order"]]),
            (told[1], [{"readings": readings, "option": option} for option in gauge["order"]]),
        ]
        assert agree(page, cases) == {"full", "part", "miss"}

    def test_every_choice(self, page):
        """Every set of options of `some`, every option of `one`; refused shapes."""
        some = issue(grade_cases.item_of(grade_cases.SOME), random.Random(1)).record
        one = issue(grade_cases.item_of(grade_cases.ONE), random.Random(1)).record
        sets = [{"options": list(x)} for n in range(6) for x in itertools.permutations(some["order"], n)]
        refused = [*data(grade_cases.TestChoices.test_one_without_a_known_option_is_no_answer)]
        options = [{"option": option} for option in one["order"]]

        assert agree(page, [(some, sets), (one, options + refused)]) == {"full", "part", "miss", "open"}

    def test_gauge(self, page):
        """Readings and judgement of the service's own test, and every reading that it refuses."""
        record = gauge_cases.record()
        readings = [(cabin, diff) for cabin, diff, *_ in data(gauge_cases.TestGrading.test_shares)]
        readings += [(cabin, "8.9") for cabin, _ in data(gauge_cases.TestGrading.test_edge_of_the_resolution_counts)]
        readings += [("4,700", diff) for diff, _ in data(gauge_cases.TestGrading.test_differential_edge)]
        readings += [(cabin, "8.9") for cabin in data(gauge_cases.TestGrading.test_the_scale_counts_in_thousands)]
        readings += [(cabin, "8.9") for cabin in ("14.9", "15", "15.1", "4.7 ft", "-1", "4.7'", "999999999999999")]
        readings += [
            ("4,700", text) for text in data(gauge_cases.TestResponse.test_a_reading_that_cannot_be_read_names_its_dial)
        ]
        given_ = [
            {"readings": {"cabin": cabin, "differential": diff}, "option": option}
            for cabin, diff in readings
            for option in record["order"]
        ]
        refused = [raw for raw, _ in data(gauge_cases.TestResponse.test_unreadable)]

        assert agree(page, [(record, given_ + refused)]) == {"full", "part", "miss", "open"}

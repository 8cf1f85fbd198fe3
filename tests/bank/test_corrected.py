"""A question judged again by a corrected text: on its own numbers, in its own order, or not at all."""

import random

import pytest

from quizsvc.bank.corrected import corrected, why_not
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import compile_item, issue
from quizsvc.services import banks
from tests.bank.bank_texts import check, compiled, number_text
from tests.bank.right_answers import right_answer
from tests.kinds_bank import BY_KIND, write_kinds_bank

NUMBER = """
stem: "The cabin climbs at {rate} for 4 min. How far?"
draw: {{rate: {{from: 300 fpm, to: 600 fpm, step: {step}}}}}
answer: {answer}
unit: {unit}
within: exact
traps:
  - {{id: half, value: rate * 2*min, belief: took half the time}}
"""


def number(answer="rate * 5*min", step="50 fpm", unit="ft"):
    """The wrong text by default: it multiplies by five."""
    return compiled(check(number_text(NUMBER.format(rate="{rate}", answer=answer, step=step, unit=unit))))


class TestNumber:
    """Worked again on the stored draw."""

    def test_the_key_is_worked_on_the_numbers_that_were_drawn(self):
        """By hand: at r fpm for four minutes it climbs 4r ft; the old key had said 5r."""
        for seed in range(10):
            asked = issue(number(), random.Random(seed))
            rate = int(asked.drawn["rate"]["shown"].split()[0])
            found = corrected(number("rate * 4*min"), asked.drawn, asked.order)
            for typed, old, new in ((4 * rate, "miss", "full"), (5 * rate, "full", "miss"), (2 * rate, "miss", "miss")):
                response = read_response(asked.record, {"text": f"{typed} ft"})
                assert grade(asked.record, response).outcome == old
                assert grade(found.record, response).outcome == new
            assert grade(found.record, response).belief == "took half the time"

    def test_another_draw_block_cannot_be_judged_again(self):
        """Only how finely it draws has changed: still another block."""
        assert why_not(number().body, number(step="25 fpm").body) == "its 'draw' block has changed"
        assert why_not(number().body, number("rate * 4*min").body) is None

    def test_another_unit_cannot_be_judged_again(self):
        """A bare number had meant feet."""
        assert why_not(number().body, number(unit="m").body) == "its unit has changed"

    def test_numbers_that_the_corrected_text_refuses(self):
        """It asks no longer for 600 fpm, which was drawn."""
        text = NUMBER.format(rate="{rate}", answer="rate * 4*min", step="50 fpm", unit="ft")
        refusing = compiled(check(number_text(text + 'refuse: ["rate > 500*fpm"]\n')))
        drawn = {"rate": {"shown": "600 fpm", "si": 3.048}}
        found = corrected(refusing, drawn, [])
        assert found.record is None
        assert found.why_not == "the corrected text would not ask these numbers"


def one(options):
    """An item of kind `one`."""
    text = """\
- item: sample
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which bus feeds the dump switch?
  options: [{options}]
  why: So it is wired.
  author: first author
  read-by: second reader
  status: live
"""
    listed = ", ".join(f"{{id: {name}, text: the {name} bus{', key: true' if key else ''}}}" for name, key in options)
    return compiled(check(text.replace("{options}", listed)))


class TestOptions:
    """The order as it was shown; other options than those shown cannot be judged."""

    def test_the_corrected_key_in_the_shown_order(self):
        """The essential bus had been keyed by mistake."""
        old = one([("left", False), ("ess", True), ("right", False)])
        new = one([("right", False), ("ess", False), ("left", True)])
        for seed in range(6):
            asked = issue(old, random.Random(seed))
            found = corrected(new, asked.drawn, asked.order)
            assert found.record["order"] == asked.order
            assert grade(found.record, {"option": "left"}).outcome == "full"
            assert grade(found.record, {"option": "ess"}).outcome == "miss"

    @pytest.mark.parametrize(
        "others", [[("left", True), ("ess", False)], [("left", True), ("ess", False), ("right", False), ("aft", False)]]
    )
    def test_an_option_less_or_more(self, others):
        """What somebody chose may be gone, or what is right now was never offered."""
        asked = issue(one([("left", False), ("ess", True), ("right", False)]), random.Random(1))
        assert corrected(one(others), asked.drawn, asked.order).why_not == "the corrected text does not offer the same"


def test_another_kind():
    """A choice that has become a number."""
    assert why_not(one([("a", True), ("b", False)]).body, number().body) == "it was a 'one' and is a 'number' now"


@pytest.mark.parametrize("kind", [kind for kind in BY_KIND if kind != "scenario"])
def test_every_kind_judged_again_by_its_own_text_is_the_same_record(kind, every_kind):
    """Nothing has changed: the frozen record comes out again, whatever was drawn and shuffled."""
    item = every_kind[kind]
    for seed in range(4):
        asked = issue(item, random.Random(seed))
        found = corrected(item, asked.drawn, asked.order)
        assert found.record == asked.record


def test_the_parts_of_a_scenario(every_kind):
    """Each part comes out again as it was issued."""
    item = every_kind["scenario"]
    asked = issue(item, random.Random(3))
    assert len(asked.record["parts"]) > 1
    for part in asked.record["parts"]:
        found = corrected(item, asked.drawn, part["order"], part["part"])
        assert found.record == part["record"]
        response = read_response(found.record, right_answer(found.record))
        assert grade(found.record, response).outcome == "full"


@pytest.fixture(scope="module")
def every_kind(tmp_path_factory):
    """One compiled item of every kind."""
    checked = banks.check(write_kinds_bank(tmp_path_factory.mktemp("kinds")), rng=random.Random(5))
    return {item.kind: compile_item(item.body, checked.aircraft.get(item.folder)) for item in checked.items}

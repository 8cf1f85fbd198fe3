"""What the device makes of an answer is what the service makes of it: 500 questions of every kind, in a real Chromium.

The service's own grading is the yardstick here: its rules are checked against their published forms in tests/bank.
"""

from __future__ import annotations

import random

import pytest

from quizsvc.bank.portable import OFFLINE_KINDS, units_for_typing
from tests.browser import responses

pytestmark = pytest.mark.browser
QUESTIONS = 500

JUDGE_ALL = """async ([cases, units]) => {
  const { Open, judge } = await import("/static/table.js");
  return cases.map(([table, responses]) => responses.map((response) => {
    try {
      const { marks, rows, ...rest } = judge(table, response, units);
      return {
        ...rest,
        marks: Object.fromEntries(Object.entries(marks || {}).map(([id, { picked, key }]) => [id, [picked, key]])),
        rows: (rows || []).map(({ id, right, given, key, belief }) => [id, right, given, key, right ? null : belief]),
      };
    } catch (error) {
      if (error instanceof Open) return { open: error.where, words: error.message };
      return { fault: String(error) };
    }
  }));
}"""


@pytest.fixture(scope="module")
def bank():
    """The shipped bank."""
    return responses.bank()


@pytest.mark.parametrize("kind", OFFLINE_KINDS)
def test_the_device_judges_as_the_service_does(kind, bank, phone):
    """Outcome, credit, belief, remark, read-back, marks and rows of every response; what is none is refused."""
    rng = random.Random(f"{kind} 20261126")
    asked = [(record, responses.responses(record, rng)) for record in responses.records(bank, kind, QUESTIONS, rng)]
    page = phone()
    page.goto("/about")

    cases = [[responses.table(record), given] for record, given in asked]
    judged = page.evaluate(JUDGE_ALL, [cases, units_for_typing()])

    seen = set()
    for (record, given), results in zip(asked, judged, strict=True):
        for response, result in zip(given, results, strict=True):
            wanted = responses.judged(record, response)
            if wanted.get("outcome") == "pass":
                wanted |= {"marks": {}, "rows": []}  # the device has the service's own page of a pass
            if "open" in wanted:
                assert result.pop("words", "").endswith((".", "?")), (response, result)
            else:
                assert result.pop("credit", None) == pytest.approx(wanted.pop("credit"), abs=1e-9), (response, result)
            assert result == wanted, (record, response)
            seen.add(wanted.get("outcome", "open"))
    expected = {"full", "miss", "pass", "open"} | ({"part"} if kind != "one" else set())
    assert seen == expected, seen
    assert page.faults == []

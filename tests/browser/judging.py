"""Answers judged by the device's modules in a real page, held against the service's own judgement of each."""

from __future__ import annotations

import json

import pytest

from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.portable import portable, units_for_typing
from quizsvc.errors import InputError

# As JSON on the way in and out, as in real life; a page's own values take a minute for so many.
JUDGE_ALL = """async (sent) => {
  const { Open, judge } = await import("/static/table.js");
  const [cases, units] = JSON.parse(sent);
  return JSON.stringify(cases.map(([table, responses]) => responses.map((response) => {
    try {
      const { marks, rows, ...rest } = judge(table, response, units);
      return {
        ...rest,
        marks: Object.fromEntries(Object.entries(marks || {}).map(([id, { picked, key }]) => [id, [picked, key]])),
        rows: (rows || []).map(({ id, right, given, key, belief }) => [id, right, given, key, belief]),
      };
    } catch (error) {
      if (error instanceof Open) return { open: error.where, words: error.message };
      return { fault: String(error) };
    }
  })));
}"""


def agree(page, cases):
    """Judge all responses on the device and hold each against the service; returns the outcomes that were seen.

    `cases` are records, each with its responses. Outcome, credit, belief, remark, read-back, marks and rows must be the
    same; what the service refuses the device refuses at the same place, with a sentence.
    """
    tables = [[portable(record), responses] for record, responses in cases]
    judged = json.loads(page.evaluate(JUDGE_ALL, json.dumps([tables, units_for_typing()], allow_nan=False)))
    seen = set()
    for (record, responses), results in zip(cases, judged, strict=True):
        for response, result in zip(responses, results, strict=True):
            wanted = by_the_service(record, response)
            outcome = wanted.get("outcome", "open")
            if outcome == "open":
                words = result.pop("words", "")
                assert words.endswith((".", "?")) and "undefined" not in words, (response, result, words)
            else:
                assert result.pop("credit", None) == pytest.approx(wanted.pop("credit"), abs=1e-9), (response, result)
            assert result == wanted, (record, response)
            seen.add(outcome)
    return seen


def by_the_service(record, response):
    """What the service makes of it: the grade's parts, or where it is open."""
    try:
        given = grade(record, read_response(record, response))
    except InputError as error:
        return {"open": error.where}
    passed = given.outcome == "pass"  # then the device shows the service's own page
    return {
        "outcome": given.outcome,
        "credit": given.credit,
        "belief": given.belief,
        "remark": given.remark,
        "readBack": given.read_back,
        "marks": {} if passed else {mark.id: [mark.picked, mark.key] for mark in given.marks},
        "rows": [] if passed else [[row.id, row.right, row.given, row.key, row.belief] for row in given.rows],
    }

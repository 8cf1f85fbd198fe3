"""Kind `scenario`: parts of their own kinds, graded on the person's own earlier numbers where they follow (S09)."""

from __future__ import annotations

import random

import pytest

from quizsvc.bank.grade import grade, read_response, worked
from quizsvc.bank.question import compile_item, followed, issue, present
from quizsvc.physics.units import from_si, to_si
from tests.bank.bank_texts import check

# Worked item S09: air data lost for good on the way to a high field. Its numbers stand beside the checks below.
BOTH_LOST = """\
- item: both-air-data-lost
  kind: scenario
  concept: P-DIFF
  demand: correlation
  handbook: 21-20
  stem: Dunquerry to Sant Orrin, FL350. ADC 2's output was dead unnoticed; now ADC 1's output goes too.
  let: {cruise: schedule(350*FL)}
  parts:
    - id: a
      concept: P-LDG
      kind: number
      how: mental
      stem: What does the CAB window show?
      answer: round_nearest(cruise, crew_target_initial_target_step)
      unit: ft
      within: exact
      why: The present cabin is held.
    - id: b
      concept: P-LDG
      kind: one
      reveal: true
      stem: Try AIR DATA 2?
      options:
        - {id: none, text: "no gain, stay in CREW TGT", key: true}
        - {id: back, text: AUTO returns, belief: the other source is always good}
      why: Both outputs are gone.
    - id: c
      concept: P-LDG
      kind: number
      how: mental
      stem: Cleared to FL390. CAB setting before the climb?
      answer: placard(390*FL)
      unit: ft
      within: exact
      traps:
        - {id: schedule, value: schedule(390*FL), belief: read the schedule}
      why: The placard is the schedule plus 200.
    - id: e
      concept: P-LDG
      kind: number
      how: mental
      stem: You divert to a field at 8,483 ft. CAB for landing?
      answer: round_nearest(8483*ft + crew_target_landing_target_offset, 50*ft)
      unit: ft
      within: exact
      traps:
        - {id: high, value: 8800*ft, belief: the habit of the high-field regime}
      why: Elevation minus 150, to the nearest 50.
    - id: f
      concept: P-DIFF
      kind: number
      how: mental
      follow: [c, e]
      stem: Minutes for the cabin to get there?
      let: {climb: e - c}
      answer: climb / cabin_up_limit
      unit: min
      within: 0.3 min
      traps:
        - {id: down, value: climb / cabin_down_limit, belief: used the down limit}
      why: "From {c} to {e} at 550 fpm is {answer}."
  why: CREW TGT knows the cabin and not the aircraft.
  author: first author
  status: draft
"""


@pytest.fixture(scope="module")
def item():
    """The scenario, compiled."""
    bank = check(BOTH_LOST)
    assert bank.faults == [], bank.faults
    return compile_item(bank.items[0].body, bank.aircraft["tolquenny-19"])


@pytest.fixture(scope="module")
def issued(item):
    """One question of it."""
    return issue(item, random.Random(1))


def part_of(issued, part):
    """The issued part."""
    return next(entry for entry in issued.record["parts"] if entry["part"] == part)


class TestParts:
    """What is issued and shown."""

    @pytest.mark.parametrize(
        ("part", "unit", "key"),
        [("a", "ft", 5600), ("c", "ft", 7100), ("e", "ft", 8350), ("f", "min", 2.27)],
    )
    def test_the_keys_are_those_of_the_worked_item(self, issued, part, unit, key):
        """S09: 5,600; 7,100; 8,350; 2.3 within 0.3 (1,250 ft at 550 fpm is 2.27 min by hand)."""
        assert from_si(part_of(issued, part)["record"]["key"], unit) == pytest.approx(key, abs=0.005)

    def test_each_part_has_its_own_kind_and_concept(self, issued):
        """In the author's order."""
        assert [(entry["part"], entry["kind"], entry["concept"]) for entry in issued.record["parts"]] == [
            ("a", "number", "P-LDG"),
            ("b", "one", "P-LDG"),
            ("c", "number", "P-LDG"),
            ("e", "number", "P-LDG"),
            ("f", "number", "P-DIFF"),
        ]
        assert [entry["reveal"] for entry in issued.record["parts"]] == [False, True, False, False, False]

    def test_a_part_shows_the_situation_and_its_own_stem(self, item, issued):
        """And nothing of another part's key."""
        shown = present(item, issued.drawn, part_of(issued, "f")["order"], part="f")

        assert shown.situation.startswith("Dunquerry to Sant Orrin")
        assert shown.stem == "Minutes for the cabin to get there?"
        assert (shown.part, shown.kind, shown.unit) == ("f", "number", "min")
        assert "7,100" not in repr(shown) and "8,350" not in repr(shown)


class TestFollow:
    """A slip made earlier is not punished twice."""

    def judge(self, item, issued, own, typed):
        """The grade of part f with the person's own answers to c and e, ft."""
        part = part_of(issued, "f")
        record = followed(
            item, "f", issued.drawn, part["record"], {name: to_si(value, "ft") for name, value in own.items()}
        )
        return grade(record, read_response(record, {"text": typed})), record

    def test_right_answers_are_judged_on_the_keys(self, item, issued):
        """S09: 2.3."""
        found, record = self.judge(item, issued, {"c": 7100, "e": 8350}, "2.3")

        assert found.outcome == "full" and found.remark is None
        assert record == part_of(issued, "f")["record"]

    def test_own_earlier_numbers_count(self, item, issued):
        """6,900 read off the schedule: (8,350 - 6,900)/550 = 2.64 min by hand; 2.6 is full, and said so."""
        found, record = self.judge(item, issued, {"c": 6900, "e": 8350}, "2.6")

        assert found.outcome == "full"
        assert found.remark == "Judged on your own earlier answers: c 6,900 ft, e 8,350 ft."
        assert "From 6,900 ft to 8,350 ft at 550 fpm is 2.64 min" in worked(record).why

    def test_the_key_of_the_keys_misses_where_the_own_numbers_say_otherwise(self, item, issued):
        """8,800 for e: (8,800 - 7,100)/550 = 3.09; 2.3 is more than 0.6 away."""
        found, _ = self.judge(item, issued, {"c": 7100, "e": 8800}, "2.3")

        assert found.outcome == "miss"

    def test_traps_follow_too(self, item, issued):
        """(8,350 - 6,900)/350 = 4.14 min by hand: the down limit."""
        found, _ = self.judge(item, issued, {"c": 6900, "e": 8350}, "4.1")

        assert (found.outcome, found.trap) == ("miss", "down")

    def test_an_earlier_part_that_was_passed_counts_with_its_key(self, item, issued):
        """Only e was answered."""
        found, _ = self.judge(item, issued, {"e": 8800}, "3.1")

        assert found.outcome == "full"

    def test_answers_to_parts_that_are_not_followed_do_not_count(self, item, issued):
        """Part a, wrong by far, changes nothing for f."""
        found, record = self.judge(item, issued, {"a": 100, "c": 7100, "e": 8350}, "2.3")

        assert found.outcome == "full"
        assert record == part_of(issued, "f")["record"]

    def test_numbers_without_a_value_are_judged_on_the_keys(self):
        """A division by what is zero with the own numbers."""
        text = BOTH_LOST.replace("answer: climb / cabin_up_limit", "answer: climb * climb / climb / cabin_up_limit")
        bank = check(text)
        item = compile_item(bank.items[0].body, bank.aircraft["tolquenny-19"])
        question = issue(item, random.Random(1))
        record = part_of(question, "f")["record"]

        assert followed(item, "f", question.drawn, record, {"c": to_si(7100, "ft"), "e": to_si(7100, "ft")}) == record

    def test_numbers_that_lead_nowhere_fall_back_to_the_keys(self, item, issued):
        """Far outside: still a number, so it is judged on it; what cannot be computed would be judged on the key."""
        found, record = self.judge(item, issued, {"c": 0, "e": 0}, "0")

        assert found.outcome == "full"
        assert "c 0 ft, e 0 ft" in record["note"]


FAULTS = [
    ("follow: [c, e]", "follow: [c, x]", "bank-follow", 53),
    ("follow: [c, e]", "follow: [b, e]", "bank-follow", 53),
    ("follow: [c, e]", "follow: [c]", "formula-name-unknown", 55),
    ("    - id: e", "    - id: c", "bank-part-twice", 38),
    ("      kind: one", "      kind: say", "bank-word-value", 20),
    ("      concept: P-DIFF\n      kind: number", "      concept: P-LDG\n      kind: number", "bank-part-concept", 9),
    ("stem: Minutes for the cabin to get there?", "stem: Minutes from {c}?", "formula-name-unknown", 54),
    ("      stem: Try AIR DATA 2?\n", "", "bank-word-missing", 18),
    ("      unit: min", "      unit: ft", "bank-answer-dimension", 56),
    ("follow: [c, e]", "follow: [c, e, e]", "bank-follow", 53),
    ("follow: [c, e]", "follow: [c, e, f]", "bank-follow", 53),
    ("      reveal: true", "      follow: a", "bank-follow", 21),
    ("let: {cruise:", "let: {c: 5*ft, cruise:", "bank-name-taken", 53),
]


@pytest.mark.parametrize(("old", "new", "reference", "line"), FAULTS)
def test_an_authors_slip_is_found_at_its_line(old, new, reference, line):
    """Lines counted by hand in the text above."""
    found = [(finding.reference, finding.line) for finding in check(BOTH_LOST.replace(old, new)).faults]

    assert (reference, line) in found, found


def test_a_text_that_shows_what_is_not_answered_yet_says_why_it_may_not():
    """A let made of followed answers is such a one."""
    text = BOTH_LOST.replace("Minutes for the cabin to get there?", '"Minutes for {climb:ft}?"')
    (found,) = check(text).faults

    assert "'climb'" in found.what
    assert found.mend == "it hangs on an answer that is not given yet; only 'why' may show it"


def test_a_regulation_in_a_part_must_have_been_read_too():
    """As in any item that is live; a draft may wait."""
    text = BOTH_LOST.replace("why: Both outputs", "cite: {source: 14 CFR 91.211}\n      why: Both outputs")
    live = text.replace("status: draft", "read-by: second reader\n  status: live")

    assert check(text).faults == []
    assert [(finding.reference, finding.line) for finding in check(live).faults] == [("bank-regulation-unread", 18)]


def test_an_answer_that_is_followed_and_not_used_is_remarked():
    """The page would say that it was judged on it."""
    bank = check(BOTH_LOST.replace("follow: [c, e]", "follow: [a, c, e]"))
    (found,) = [finding for finding in bank.remarks if finding.reference == "bank-follow-unused"]

    assert (found.line, "follows 'a'" in found.what) == (56, True)
    assert "bank-follow-unused" not in [finding.reference for finding in check(BOTH_LOST).remarks]


def test_what_a_part_owes_its_whole_owes_too():
    """A pressure card in one part: C10."""
    text = BOTH_LOST.replace("how: mental\n      stem: What does", "how: table\n      stem: What does")
    body = check(text).items[0].body

    assert "C10" in body["cautions"] and "C10" in body["parts"][0]["cautions"]
    assert "C10" not in body["parts"][2]["cautions"]


def test_how_a_comma_is_read_is_each_part_s_own(item):
    """Minutes stay below 100, feet do not: 2,3 min is a decimal comma there."""
    below = {part["part"]: part["answers-below-100"] for part in item.body["parts"] if part["kind"] == "number"}

    assert below == {"a": False, "c": False, "e": False, "f": True}


def test_a_part_s_answer_outside_the_atmosphere_is_found():
    """At the answer of part e, counted by hand."""
    text = BOTH_LOST.replace("round_nearest(8483*ft + crew_target_landing_target_offset, 50*ft)", "70000*ft")

    assert ("bank-answer-range", 43) in [(f.reference, f.line) for f in check(text).faults]


def test_a_part_s_trap_that_no_draw_has_is_remarked():
    """A `when` that never holds."""
    text = BOTH_LOST.replace("value: 8800*ft, belief", 'value: 8800*ft, when: "e_not > 1*ft", belief')
    text = text.replace(
        "      answer: round_nearest(8483", "      let: {e_not: 0*ft}\n      answer: round_nearest(8483"
    )

    assert "bank-trap-dead" in {finding.reference for finding in check(text).remarks}


def test_the_body_stands_alone(item):
    """A revision is compiled from its stored JSON."""
    import json

    again = compile_item(json.loads(json.dumps(item.body)), item.aircraft)

    assert [entry["record"] for entry in issue(again, random.Random(1)).record["parts"]] == [
        entry["record"] for entry in issue(item, random.Random(1)).record["parts"]
    ]

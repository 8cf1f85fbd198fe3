"""A bank with more than forty planted faults: every one is reported in one run, at its place, with its cure.

The mistakes stand in items of all kinds, concepts, the handbook, the cautions and the aircraft file.
"""

import random

import pytest

from quizsvc.bank.check import BankText, check_bank
from tests.bank.bank_texts import AIRCRAFT_TEXT, CAUTIONS, CONCEPTS, HANDBOOK, texts
from tests.bank.planted_items import GENERAL, ITEMS
from tests.bank.planted_kinds import KINDS, PLANTED_KINDS

FILES = {
    "items": "tolquenny-19/21-items.yaml",
    "kinds": "tolquenny-19/22-kinds.yaml",
    "handbook": "tolquenny-19/handbook/21.md",
    "aircraft": "tolquenny-19/aircraft.yaml",
    "cautions": "cautions.yaml",
    "concepts": "tolquenny-19/concepts.yaml",
    "general": "general/physics.yaml",
}

# file, line, column, item, reference, words of what, words of the cure
PLANTED = [
    ("items", 2, 9, "kind-misspelt", "bank-word-value", "'nummber' is no kind", "did you mean 'number'?"),
    ("items", 11, 3, "order-without-steps", "bank-word-missing", "item without 'steps'", "add 'steps: ...'"),
    ("items", 21, 3, "word-missing", "bank-word-missing", "item without 'stem'", "add 'stem: ...'"),
    ("items", 39, 3, "word-unknown", "bank-word-unknown", "unknown word 'optoins'", "did you mean 'options'?"),
    ("items", 59, 3, "key-twice", "bank-duplicate-key", "'why' stands twice here, first in line 58", "keep one"),
    ("items", 68, 9, "alias-written", "bank-alias", "alias '*which'", "quote text that starts with '*'"),
    ("items", 81, 9, "quote-not-closed", "bank-text-unreadable", "unexpected end of stream", "missing quote"),
    ("items", 91, 12, "concept-unknown", "bank-concept-unknown", "unknown concept 'P-DIF'", "did you mean 'P-DIFF'"),
    ("items", 106, 13, "section-and-caution-unknown", "bank-section-unknown", "'21-11'", "did you mean '21-10'"),
    ("items", 107, 17, "section-and-caution-unknown", "bank-caution-unknown", "caution 'C99'", "did you mean 'C9'?"),
    ("items", 123, 5, "keys-wrong", "bank-keys", "2 keys in a 'one' item", "exactly one option 'key: true'"),
    ("items", 124, 37, "keys-wrong", "bank-yes-word", "'yes' is no yes-word", "'key: true' or 'key: false'"),
    ("items", 141, 11, "live-and-unread", "bank-unread", "'live' without 'read-by'", "'status: draft'"),
    ("items", 148, 9, "read-by-its-author", "bank-regulation-unread", "without 'read-on'", "add 'read-on: date'"),
    ("items", 155, 12, "read-by-its-author", "bank-read-by-author", "'First Author' wrote the item", "another person"),
    ("items", 165, 31, "formula-names", "formula-name-unknown", "'levl' (column 14 of", "did you mean 'level'?"),
    ("items", 167, 16, "formula-names", "formula-character", "(column 6 of 'level.real')", "no attributes"),
    ("items", 170, 15, "formula-names", "formula-name-unknown", "unknown name 'ambeint'", "did you mean 'ambient'"),
    ("items", 182, 11, "answer-in-psi", "bank-answer-dimension", "a pressure, but its unit 'ft' is of length", "psi"),
    ("items", 184, 11, "answer-in-psi", "bank-within", "'0.1 psi' is a pressure", "write it in ft"),
    ("items", 186, 25, "answer-in-psi", "bank-trap-dimension", "trap 'bare' is a number", "make it the number"),
    ("items", 197, 35, "unit-unknown", "bank-draw-dimension", "'to' of 'level' is a pressure (psi)", "one dimension"),
    ("items", 200, 9, "unit-unknown", "bank-unit-unknown", "'pssi' is not a unit", "did you mean 'psi'"),
    ("items", 214, 11, "no-value-for-some-draws", "bank-no-value", "9 of 30 draws have no value", "under 'refuse'"),
    ("items", 233, 25, "trap-on-the-key", "bank-no-draw", "none of 20 draws can be asked (trap same 20)", "a 'when'"),
    ("items", 238, 3, "key-twice", "bank-item-twice", "stands in tolquenny-19/21-items.yaml, line 49", "a new id"),
    ("concepts", 7, 11, "P-DIFF", "bank-concept-cycle", "P-DIFF <- P-LDG <- P-DIFF", "take one 'first' out"),
    ("concepts", 15, 3, "P-LDG", "bank-concept-twice", "stands in tolquenny-19/concepts.yaml, line 8", "rename"),
    ("concepts", 18, 13, "P-LDG", "bank-section-unknown", "unknown handbook section '21-99'", "did you mean '21-20'"),
    ("concepts", 19, 9, "P-LDG", "bank-word-value", "'recal' is no 'what'", "did you mean 'recall'?"),
    ("concepts", 20, 16, "P-LDG", "bank-word-value", "'7' is no consequence", "accepted: 1, 2, 3"),
    ("handbook", 11, 1, "", "bank-section", "'## Landing' has no id", "write '## 21-30 High-field regime'"),
    ("handbook", 15, 1, "", "bank-section-twice", "section '21-20' stands twice", "keep one"),
    ("cautions", 37, 12, "C12", "bank-caution-twice", "caution 'C12' stands twice", "keep one"),
    ("general", 5, 45, "no-handbook-needed", "bank-date", "'2026-02-30' is no date", "year-month-day"),
    ("general", 9, 12, "no-handbook-needed", "bank-option-twice", "two options with id 'a'", "its own id"),
    *(("kinds", *planted) for planted in PLANTED_KINDS),
]  # fmt: skip

# What stands in the shipped aircraft file, what is written instead; reference, words of what, words of the cure.
AIRCRAFT = [
    (
        "relief_crack_diff_psi: 8.9", "relief_crack_diff_psi: 8.6", "aircraft-relief-order",
        "(8.70 psi) is not below the relief crack (8.60 psi)", "put the limits in order",
    ),
    (
        "    - [25000, 2600]", "    - [25000, 2700]", "aircraft-placard",
        "the placard says 2,700 ft, schedule and offset make 2,600 ft", "write 2,600",
    ),
    (
        "flow_each_lb_per_min: 9.0", "flow_each_lb_per_min: 1.5", "aircraft-bleed",
        "(1.6 lb/min) is not below the flow of one side (1.5 lb/min)", "make up for the leak",
    ),
    (
        "cabin_ft: 15000, flow_l_per_min: 9.5", "cabin_ft: 15000, flow_l_per_min: 9.9", "aircraft-oxygen-flow",
        "says 9.9 L/min, the breathed volume makes 9.5 L/min", "write 9.5",
    ),
    (
        "emergency_load_a: 33.0", "emergency_load_a: 31.0", "aircraft-emergency-load",
        "gives 31.0 A, the loads on ESS and HOT make 33.0 A", "write 33.0",
    ),
    ("controller: CPC", "controller: CPX", "aircraft-name-unknown", "'CPX' is no node", "name a node of the graph"),
    (
        "elevation_ft: 412,", "elevation_ft: 41200,", "aircraft-airfield-range",
        "lies at 41,200 ft, the highest field is 12,000 ft", "correct one",
    ),
]  # fmt: skip

MORE_CONCEPTS = """\
  first: [P-DIFF]
- concept: P-LDG
  title: Landing setting again
  system: 21 automatic
  handbook: 21-99
  what: recal
  consequence: 7
"""
MORE_HANDBOOK = """
## Landing

Text.

## 21-20 AUTO again

Text.
"""
MORE_CAUTIONS = "- caution: C12\n  text: Another text.\n  where: somewhere else\n"


def _line_of(text, part):
    assert text.count(part) == 1, part
    return text[: text.index(part)].count("\n") + 1


@pytest.fixture(scope="module")
def faulty_aircraft():
    """The shipped description with every planted change."""
    text = AIRCRAFT_TEXT
    for old, new, *_ in AIRCRAFT:
        _line_of(text, old)
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="module")
def bank(faulty_aircraft):
    """One run over the faulty bank."""
    files = texts(
        ITEMS,
        GENERAL,
        concepts=CONCEPTS.replace("first: [G-ISA]", "first: [P-LDG]") + MORE_CONCEPTS,
        handbook=HANDBOOK + MORE_HANDBOOK,
        cautions=CAUTIONS + MORE_CAUTIONS,
        aircraft=faulty_aircraft,
    )
    return check_bank([*files, BankText(FILES["kinds"], "tolquenny-19", KINDS)], rng=random.Random(20261125))


@pytest.mark.parametrize("planted", PLANTED, ids=[f"{fault[4]}-{fault[1]}" for fault in PLANTED])
def test_planted_fault_is_reported_with_file_line_item_and_cure(bank, planted):
    """Each fault once, at its place, with what was written and how to mend it."""
    file, line, column, item, reference, what, mend = planted

    found = [f for f in bank.faults if (f.file, f.line, f.reference) == (FILES[file], line, reference)]

    (finding,) = found
    assert (finding.column, finding.item) == (column, item)
    assert what in finding.what
    assert mend in finding.mend


@pytest.mark.parametrize("planted", AIRCRAFT, ids=[fault[2] for fault in AIRCRAFT])
def test_contradictory_aircraft_is_reported_in_the_same_run(bank, faulty_aircraft, planted):
    """At the line that was changed, with the two numbers that disagree."""
    _, new, reference, what, mend = planted

    (finding,) = [f for f in bank.faults if (f.file, f.reference) == (FILES["aircraft"], reference)]

    assert finding.line == _line_of(faulty_aircraft, new)
    assert what in finding.what
    assert mend in finding.mend


def test_nothing_else_is_called_a_fault(bank, faulty_aircraft):
    """One mistake gives one finding: no other fault follows from it, in any file."""
    planted = {(FILES[fault[0]], fault[1], fault[4]) for fault in PLANTED}
    planted |= {(FILES["aircraft"], _line_of(faulty_aircraft, new), reference) for _, new, reference, *_ in AIRCRAFT}

    assert {(f.file, f.line, f.reference) for f in bank.faults} == planted
    assert len(bank.faults) == len(PLANTED) + len(AIRCRAFT) >= 40


def test_every_finding_says_how_to_mend_it(bank):
    """No finding without a cure, no empty sentence."""
    assert all(f.what and f.mend and f.reference for f in bank.findings)


def test_findings_come_in_the_order_of_the_text(bank):
    """File by file, line by line."""
    assert list(bank.findings) == sorted(bank.findings)

"""A bank with planted faults: every one is reported in one run, with file, line, column, item and cure."""

import pytest

from tests.bank.bank_texts import AIRCRAFT_TEXT, CONCEPTS, HANDBOOK, check

# One fault or more in each block; the expected places below were counted in this text by hand, from line 1.
ITEMS = """\
- item: kind-misspelt
  kind: nummber
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  why: Because.
  author: first author
  status: draft

- item: kind-of-a-later-version
  kind: order
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: In which order?
  why: Because.
  author: first author
  status: draft

- item: word-missing
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: word-unknown
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  optoins:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: key-twice
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  why: And because.
  author: first author
  status: draft

- item: alias-written
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: *which
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: quote-not-closed
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: "Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: concept-unknown
  kind: one
  concept: P-DIF
  demand: rote
  handbook: 21-10
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: section-and-caution-unknown
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-11
  caution: [C1, C99]
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft

- item: keys-wrong
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, key: yes, belief: nothing moves}
    - {id: on, text: it goes on, key: true}
  why: Because.
  author: first author
  status: draft

- item: live-and-unread
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: live

- item: read-by-its-author
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  cite: {source: "14 CFR 91.211(b)"}
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  read-by: First Author
  status: live

- item: formula-names
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: table
  draw: {level: {from: FL180, to: FL390, step: 1000 ft}}
  let: {ambient: isa_pressure(levl)}
  stem: Level {level}?
  answer: level.real
  unit: ft
  within: 150 ft
  why: It is {ambeint:psi:2}.
  author: first author
  status: draft

- item: answer-in-psi
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: table
  draw: {level: {from: FL180, to: FL390, step: 1000 ft}}
  stem: Level {level}, cabin at 6,000 ft. Cabin altitude?
  answer: differential(level, 6000*ft)
  unit: ft
  within: 0.1 psi
  traps:
    - {id: bare, value: 6000, belief: forgets the unit}
  why: It is {answer}.
  author: first author
  status: draft

- item: unit-unknown
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: table
  draw: {level: {from: FL180, to: 8.7 psi, step: 1000 ft}}
  stem: Outside pressure?
  answer: isa_pressure(20000*ft)
  unit: pssi
  within: exact
  why: It is {answer}.
  author: first author
  status: draft

- item: no-value-for-some-draws
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: table
  draw: {level: {from: FL100, to: FL390, step: 1000 ft}, diff: {one-of: [8.7 psi]}}
  stem: Level {level}, differential {diff}. Cabin?
  answer: cabin_altitude(level, diff)
  unit: ft
  within: 150 ft
  why: It is {answer}.
  author: first author
  status: draft

- item: trap-on-the-key
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: mental
  draw: {level: {from: FL200, to: FL390, step: 1000 ft}}
  stem: Level {level}. Schedule?
  answer: schedule(level)
  unit: ft
  within: 50 ft
  traps:
    - {id: same, value: schedule(level) + 60*ft, belief: adds a little}
  why: It is {answer}.
  author: first author
  status: draft

- item: key-twice
  kind: one
  concept: P-DIFF
  demand: rote
  handbook: 21-10
  stem: Which?
  options:
    - {id: yes, text: it does, key: true}
    - {id: no, text: it stays, belief: nothing moves}
  why: Because.
  author: first author
  status: draft
"""

GENERAL = """\
- item: no-handbook-needed
  kind: one
  concept: Z-211B
  demand: rote
  cite: {source: 14 CFR 91.211(b), read-on: 2026-02-30}
  stem: Which?
  options:
    - {id: a, text: this one, key: true}
    - {id: a, text: that one, belief: it is the other}
  why: Because.
  author: first author
  status: draft
"""

FILES = {
    "items": "tolquenny-19/21-items.yaml",
    "concepts": "tolquenny-19/concepts.yaml",
    "general": "general/physics.yaml",
}

# file, line, column, item, reference, words of what, words of the cure
PLANTED = [
    ("items", 2, 9, "kind-misspelt", "bank-word-value", "'nummber' is no kind", "did you mean 'number'?"),
    ("items", 12, 9, "kind-of-a-later-version", "bank-kind-not-drilled", "kind 'order'", "one, some, number"),
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
    ("items", 233, 25, "trap-on-the-key", "bank-no-draw", "none of 20 draws can be asked (trap same 20)", "the traps"),
    ("items", 238, 3, "key-twice", "bank-item-twice", "stands in tolquenny-19/21-items.yaml, line 49", "a new id"),
    ("concepts", 7, 11, "P-DIFF", "bank-concept-cycle", "P-DIFF <- P-LDG <- P-DIFF", "take one 'first' out"),
    ("general", 5, 45, "no-handbook-needed", "bank-date", "'2026-02-30' is no date", "year-month-day"),
    ("general", 9, 12, "no-handbook-needed", "bank-option-twice", "two options with id 'a'", "its own id"),
]  # fmt: skip


@pytest.fixture(scope="module")
def bank():
    """One run over the faulty bank; the handbook and the aircraft hold one fault each."""
    concepts = CONCEPTS.replace("first: [G-ISA]", "first: [P-LDG]") + "  first: [P-DIFF]\n"
    aircraft = AIRCRAFT_TEXT.replace("relief_crack_diff_psi: 8.9", "relief_crack_diff_psi: 8.6")
    assert aircraft != AIRCRAFT_TEXT
    return check(ITEMS, GENERAL, concepts=concepts, handbook=HANDBOOK + "\n## Landing\n\nText.\n", aircraft=aircraft)


@pytest.mark.parametrize("planted", PLANTED, ids=[f"{fault[4]}-{fault[1]}" for fault in PLANTED])
def test_planted_fault_is_reported_with_file_line_item_and_cure(bank, planted):
    """Each fault once, at its place, with what was written and how to mend it."""
    file, line, column, item, reference, what, mend = planted

    found = [f for f in bank.faults if (f.file, f.line, f.reference) == (FILES[file], line, reference)]

    (finding,) = found
    assert (finding.column, finding.item) == (column, item)
    assert what in finding.what
    assert mend in finding.mend


def test_nothing_else_in_the_items_is_called_a_fault(bank):
    """One mistake gives one finding: no other fault follows from it."""
    planted = {(FILES[fault[0]], fault[1], fault[4]) for fault in PLANTED}

    found = {(f.file, f.line, f.reference) for f in bank.faults if f.file in FILES.values()}

    assert found == planted


def test_handbook_heading_without_an_id_is_reported(bank):
    """Line 11 of the handbook, by hand."""
    (finding,) = [f for f in bank.faults if f.file == "tolquenny-19/handbook/21.md"]

    assert (finding.line, finding.reference) == (11, "bank-section")
    assert finding.mend == "write '## 21-30 High-field regime'"


def test_contradictory_aircraft_is_reported_with_both_numbers_in_the_same_run(bank):
    """The relief cracks at 8.6 psi, below the 8.7 psi that the controller holds."""
    line = AIRCRAFT_TEXT[: AIRCRAFT_TEXT.index("relief_crack_diff_psi")].count("\n") + 1

    found = [f for f in bank.faults if f.file == "tolquenny-19/aircraft.yaml" and f.line == line]

    assert any("8.6" in f.what and "8.7" in f.what for f in found)


def test_every_finding_says_how_to_mend_it(bank):
    """No finding without a cure, no empty sentence."""
    assert all(f.what and f.mend and f.reference for f in bank.findings)


def test_findings_come_in_the_order_of_the_text(bank):
    """File by file, line by line."""
    assert list(bank.findings) == sorted(bank.findings)

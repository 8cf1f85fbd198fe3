"""Items of the kinds one, some and number with planted faults, and one more in `general`."""

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

- item: order-without-steps
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

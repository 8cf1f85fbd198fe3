"""Texts of items for the bank desk, about the concepts of the test bank."""

RUDDER = """\
- item: school-essential-bus
  kind: one
  concept: D-BUS
  demand: rote
  handbook: 24-10
  stem: Which bus keeps the dump switch alive?
  options:
    - {id: ess, text: the essential bus, key: true}
    - {id: left, text: the left bus, belief: dump hangs on the left side}
    - {id: right, text: the right bus, belief: dump hangs on the right side}
  why: >-
    Dump hangs on the essential bus.
  author: Wenna Astley
  status: draft
"""
CLIMB = """\
- item: school-climb
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: mental
  draw:
    rate: {from: 300 fpm, to: 600 fpm, step: 50 fpm}
    minutes: {from: 4 min, to: 12 min, step: 1 min}
  stem: The cabin climbs at {rate} for {minutes}. How far?
  answer: rate * minutes
  unit: ft
  within: 100 ft
  traps:
    - {id: more, value: "rate * minutes + 1000*ft", belief: counted a thousand twice}
  why: "{rate} times {minutes} is {answer}."
  author: Wenna Astley
  status: draft
"""
# Faults counted by hand: line 3 names an unknown concept, line 5 an unknown section.
FAULTY = RUDDER.replace("concept: D-BUS", "concept: D-BUZZ").replace("handbook: 24-10", "handbook: 24-99")
FAULTY_LINES = [3, 5]

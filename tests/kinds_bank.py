"""A bank with one item of every kind, each of a concept of its own, around the invented aircraft as it is shipped."""

from __future__ import annotations

from pathlib import Path

from tests import factories

HEAD = """\
  handbook: 21-10
  demand: application
"""
TAIL = """\
  author: first author
  read-by: second reader
  status: live
"""

BY_KIND = {
    "one": """\
  stem: Which bus feeds the dump switch?
  options:
    - {id: ess, text: the essential bus, key: true}
    - {id: left, text: the left bus, belief: dump hangs on the left side}
  why: Dump hangs on the essential bus.
""",
    "some": """\
  stem: The controller is dead. What still limits the cabin?
  options:
    - {id: heads, text: the relief heads, key: true}
    - {id: thumb, text: the thumbwheel, key: true}
    - {id: rate, text: the rate limit, belief: the rate limit needs no controller}
  why: Relief heads and thumbwheel need no controller.
""",
    "number": """\
  how: mental
  draw: {minutes: {from: 4 min, to: 12 min, step: 1 min}}
  stem: The cabin climbs at 550 fpm for {minutes}. How far?
  answer: 550*fpm * minutes
  unit: ft
  within: 50 ft
  traps:
    - {id: down, value: 350*fpm * minutes, belief: used the down limit}
  why: "550 times {minutes} is {answer}."
""",
    "order": """\
  stem: FL390, both bleeds lost, crew does nothing. Order the cabin events.
  steps:
    - {id: warn, text: CABIN ALT sounds}
    - {id: limiter, text: altitude limiters close}
    - {id: masks, text: passenger masks drop}
    - {id: fifteen, text: "cabin passes 15,000 ft"}
  must-first: warn
  beliefs:
    - {before: [masks, limiter], belief: the limiter stops any climb}
  why: The bands do not touch.
""",
    "match": """\
  stem: Descending through FL300, AUTO, cabin at 5,000 ft. What does the cabin do next?
  left:
    - {id: adc, text: ADC 1 fails (selector 1)}
    - {id: cpc, text: CPC fails}
  right:
    - {id: hold, text: holds its present altitude}
    - {id: sink, text: sinks until the relief heads hold}
    - {id: out, text: climbs to aircraft altitude}
  pairs: {adc: hold, cpc: sink}
  beliefs:
    - {left: cpc, right: out, belief: a dead controller opens the valves}
  why: They fail closed.
""",
    "still-works": """\
  stem: The left generator fails, the tie stays open, BATT ON, both engines run, AIR DATA 1. What is left?
  fail: [L_GEN, TIE]
  rows: [AUTO, DUMP, SPDBRK]
  why: L MAIN dies, R MAIN and ESS live.
""",
    "gauge": """\
  picture: {gauge: {cabin: 4700 ft, differential: 8.9 psi}}
  readings: {cabin: {within: 100 ft}, differential: {within: 0.1 psi}}
  stem: FL350, selector AUTO. Read both scales.
  ask:
    stem: What holds the cabin?
    options:
      - {id: heads, text: the relief heads, key: true}
      - {id: schedule, text: the schedule, belief: a lower cabin is better}
  why: 8.9 psi is where the relief heads crack.
""",
    "say": """\
  stem: Thirty seconds, aloud. Both generators are off at FL370, battery on. What have you got for the cabin?
  speak: 30 s
  points:
    - {id: cpc, text: "CPC dead, valves closing", must: true}
    - {id: man, text: "MAN now; the thumbwheel needs no power", must: true}
    - {id: dump, text: dump alive}
  full: 3
  why: Both mains are gone and ESS lives on the battery.
""",
    "profile": """\
  stem: Dunquerry to Sant Orrin, LDG 10,650, FL390. Pick the cabin plot.
  flight:
    from: 412 ft
    to: 10641 ft
    cruise: FL390
    climb: 1600 fpm
    cruise-until: 60 min
    descent: [{to: FL230, rate: 2000 fpm}, {rate: 1500 fpm}]
  plots:
    - {id: waits, key: true}
    - {id: at-once, belief: the cabin starts up when the descent is sensed, change: {gate: none}}
  why: The cabin waits for the gate.
""",
}

# Parts of their own kinds and concepts; the third follows the first, the second is put right before going on.
BY_KIND["scenario"] = """\
  stem: Dunquerry to Sant Orrin, FL350. Both air data sources are lost to the controller; CREW TGT shows.
  parts:
    - id: a
      kind: number
      concept: K-SCENARIO
      how: mental
      stem: Cleared to FL390. CAB setting before the climb?
      answer: placard(390*FL)
      unit: ft
      within: exact
      traps:
        - {id: schedule, value: schedule(390*FL), belief: read the schedule}
      why: The placard is the schedule plus 200.
    - id: b
      kind: one
      concept: K-PART-B
      reveal: true
      stem: Try AIR DATA 2?
      options:
        - {id: none, text: "no gain, stay in CREW TGT", key: true}
        - {id: back, text: AUTO returns, belief: the other source is good}
      why: Both outputs are gone.
    - id: c
      kind: number
      concept: K-PART-C
      how: mental
      follow: [a]
      stem: Minutes for the cabin to get there from 5,600 ft?
      answer: (a - 5600*ft) / cabin_up_limit
      unit: min
      within: 0.2 min
      why: "From 5,600 ft to {a} at 550 fpm is {answer}."
  why: CREW TGT knows the cabin and not the aircraft.
"""
PART_CONCEPTS = ("part-b", "part-c")


def concepts(kinds: tuple[str, ...]) -> str:
    """One concept for each kind, and those of a scenario's other parts."""
    return "".join(
        f"- {{concept: K-{kind.upper()}, title: Asked as {kind}, system: {kind} system, handbook: 21-10, "
        "what: predict, consequence: 1}\n"
        for kind in (*kinds, *PART_CONCEPTS)
    )


def items(kinds: tuple[str, ...]) -> str:
    """One item for each kind, called `asked-as-KIND`."""
    return "\n".join(
        f"- item: asked-as-{kind}\n  kind: {kind}\n  concept: K-{kind.upper()}\n{HEAD}{BY_KIND[kind]}{TAIL}"
        for kind in kinds
    )


def write_kinds_bank(folder: Path) -> Path:
    """Write the bank into a folder and return it."""
    kinds = tuple(BY_KIND)
    return factories.write_bank(
        folder,
        extra={"tolquenny-19/concepts.yaml": concepts(kinds), "tolquenny-19/items.yaml": items(kinds)},
        without=("general/concepts.yaml", "general/items.yaml"),
    )

"""Items of the later kinds with planted faults, in a file of their own; places were counted by hand, from line 1."""

KINDS = """\
- item: order-step-twice
  kind: order
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: In which order?
  steps:
    - {id: first, text: the air enters}
    - {id: second, text: the cabin fills}
    - {id: second, text: the valves let it out}
  beliefs: [{before: [second, first], belief: turns it round}]
  why: Because.
  author: first author
  status: draft

- item: order-starts-elsewhere
  kind: order
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: In which order?
  steps:
    - {id: first, text: the air enters}
    - {id: second, text: the cabin fills}
    - {id: third, text: the valves let it out}
  must-first: third
  beliefs: [{before: [second, first], belief: turns it round}]
  why: Because.
  author: first author
  status: draft

- item: order-free-apart
  kind: order
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: In which order?
  steps:
    - {id: first, text: the air enters}
    - {id: second, text: the cabin fills}
    - {id: third, text: the valves let it out}
  tie: [[first, third]]
  beliefs: [{before: [first, second], belief: takes the right order for a wrong one}]
  why: Because.
  author: first author
  status: draft

- item: match-nowhere
  kind: match
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: What goes with what?
  left:
    - {id: up, text: the aircraft climbs}
    - {id: down, text: the aircraft descends}
  right:
    - {id: more, text: the differential grows}
    - {id: less, text: the differential falls}
    - {id: same, text: the differential stays}
  pairs: {up: more, down: lees}
  beliefs: [{left: up, right: less, belief: turns it round}]
  why: Because.
  author: first author
  status: draft

- item: match-left-alone
  kind: match
  concept: P-DIFF
  demand: understanding
  handbook: 21-10
  stem: What goes with what?
  left:
    - {id: up, text: the aircraft climbs}
    - {id: down, text: the aircraft descends}
  right:
    - {id: more, text: the differential grows}
    - {id: less, text: the differential falls}
    - {id: same, text: the differential stays}
  pairs: {up: more}
  beliefs: [{left: up, right: less, belief: turns it round}]
  why: Because.
  author: first author
  status: draft

- item: say-for-a-mile
  kind: say
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: Say what holds the cabin.
  speak: 30 ft
  points:
    - {id: in, text: the air that enters, must: true}
    - {id: out, text: the valves that let it out}
    - {id: out, text: the relief heads}
  full: 2
  why: Because.
  author: first author
  status: draft

- item: say-more-than-there-is
  kind: say
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: Say what holds the cabin.
  speak: 30 s
  points:
    - {id: in, text: the air that enters, must: true}
    - {id: out, text: the valves that let it out}
  full: 3
  why: Because.
  author: first author
  status: draft

- item: graph-names-misspelt
  kind: still-works
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: The left generator fails, AIR DATA at 1. What works?
  fail: [L_GEN]
  switches: {AIR_DATE: "1"}
  rows: [AUTO, DUMP, SPDBRKS]
  why: Because.
  author: first author
  status: draft

- item: graph-says-otherwise
  kind: still-works
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: The left generator fails and the tie stays open, AIR DATA at 1. What works?
  fail: [L_GEN, TIE]
  rows: [AUTO, DUMP, SPDBRK]
  key: {AUTO: "after AIR_DATA 2", DUMP: lost}
  why: Because.
  author: first author
  status: draft

- item: graph-asks-what-fails
  kind: still-works
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: The controller fails. What works?
  fail: [CPC]
  rows: [AUTO, CPC, DUMP]
  actions: ["AIR_DATA 3"]
  why: Because.
  author: first author
  status: draft

- item: gauge-the-wrong-way
  kind: gauge
  concept: P-DIFF
  demand: application
  handbook: 21-10
  stem: Read the instrument.
  picture: {gauge: {cabin: 4.7 psi, differential: 8.9 psi}}
  readings: {cabin: {within: 1 psi}, differential: {within: 0.1 psi}}
  ask:
    stem: What holds the cabin?
    options:
      - {id: heads, text: the relief heads}
      - {id: valves, text: the outflow valves, belief: takes them for closed}
  why: Because.
  author: first author
  status: draft

- item: plot-of-no-belief
  kind: profile
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: LDG 10,650, FL390. Pick the cabin plot.
  flight:
    from: 412 ft
    to: 10641 ft
    cruise: 390 psi
    climb: 1600 fpm
    cruise-until: 60 min
    descent: [{rate: 2000 fpm}]
  plots:
    - {id: right, key: true}
    - {id: wrong, belief: thinks of no gate, change: {gaet: none}}
    - {id: alike, belief: thinks of nothing}
  why: Because.
  author: first author
  status: draft

- item: chain-that-follows-nothing
  kind: scenario
  concept: P-DIFF
  demand: correlation
  handbook: 21-10
  stem: FL350, AUTO.
  parts:
    - id: a
      concept: P-DIFF
      kind: number
      stem: Cabin by the schedule?
      how: mental
      answer: schedule(35000*ft)
      unit: ft
      within: 50 ft
      why: It is {answer}.
    - id: b
      concept: P-LDG
      kind: one
      stem: And the landing?
      follow: [c]
      options:
        - {id: up, text: it climbs, key: true}
        - {id: down, text: it sinks, belief: turns it round}
      why: Because.
    - id: b
      concept: P-LDG
      kind: one
      stem: And then?
      options:
        - {id: up, text: it climbs, key: true}
        - {id: down, text: it sinks, belief: turns it round}
      why: Because.
  why: Because.
  author: first author
  status: draft
"""

# line, column, item, reference, words of what, words of the cure
PLANTED_KINDS = [
    (10, 12, "order-step-twice", "bank-step-twice", "two steps with id 'second'", "its own id"),
    (26, 15, "order-starts-elsewhere", "bank-must-first", "'third' must come first, but 'first'", "name the first"),
    (42, 9, "order-free-apart", "bank-tie", "the steps first, third do not stand", "only neighbours"),
    (43, 22, "order-free-apart", "bank-belief-before", "'first' before 'second' is the right order", "turn it round"),
    (61, 27, "match-nowhere", "bank-entry-unknown", "'lees'", "did you mean 'less'"),
    (80, 10, "match-left-alone", "bank-pair", "'down' has no pair", "add 'down: right-id'"),
    (92, 10, "say-for-a-mile", "bank-speak", "'30 ft' is no time to speak", "such as '30 s'"),
    (96, 12, "say-for-a-mile", "bank-point-twice", "two points with id 'out'", "its own id"),
    (112, 9, "say-more-than-there-is", "bank-full", "'full: 3' with 2 points", "write from 1 to 2"),
    (124, 14, "graph-names-misspelt", "bank-switch-unknown", "'AIR_DATE' is no switch", "'AIR_DATA'"),
    (125, 22, "graph-names-misspelt", "bank-node-unknown", "'SPDBRKS' is no node", "'SPDBRK'"),
    (138, 41, "graph-says-otherwise", "bank-key-disagrees", "the key says 'lost', the graph says 'works'", "the graph"),
    (150, 16, "graph-asks-what-fails", "bank-row-failed", "'CPC' is asked, and it is what fails", "hangs on it"),
    (151, 13, "graph-asks-what-fails", "bank-action-unknown", "'AIR_DATA 3' is no action", "AIR_DATA"),
    (162, 28, "gauge-the-wrong-way", "bank-value-dimension", "is a pressure, here stands a length", "ft"),
    (163, 30, "gauge-the-wrong-way", "bank-within", "'1 psi' is a pressure", "write it in ft"),
    (167, 7, "gauge-the-wrong-way", "bank-keys", "0 keys", "key: true"),
    (182, 13, "plot-of-no-belief", "bank-value-dimension", "is a pressure, here stands a length", "ft"),
    (188, 55, "plot-of-no-belief", "bank-plot", "'gaet' is no rule that a change can name", "did you mean 'gate'"),
    (189, 7, "plot-of-no-belief", "bank-plot", "plot 'alike' is neither the key nor changed", "add 'change: {...}'"),
    (214, 16, "chain-that-follows-nothing", "bank-follow", "no earlier part has the id 'c'", "accepted: a"),
    (219, 11, "chain-that-follows-nothing", "bank-part-twice", "two parts with id 'b'", "its own id"),
]  # fmt: skip

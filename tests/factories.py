"""Valid things for tests, each with everything it needs and nothing that stands out.

The test bank: the invented aircraft as it is shipped, four concepts of it and twelve general ones, in six systems, with
items of the three kinds that are drilled. `write_bank` writes it into a folder; `extra` and `without` change it.
"""

from __future__ import annotations

import shutil
import uuid
from pathlib import Path

from quizsvc.settings import question_bank_folder

CAUTIONS = tuple(f"C{number}" for number in range(1, 13))

HANDBOOK = """\
## 21-10 Differential pressure

The cabin holds **pressure**, not altitude. See [the regime](/handbook/tolquenny-19/21-30).

## 21-30 High-field regime

A landing setting above the switch moves the warning.

## 24-10 Buses

What hangs on which bus.
"""

AIRCRAFT_CONCEPTS = """\
- concept: P-DIFF
  title: Cabin altitude from differential
  system: 21 automatic
  handbook: 21-10
  what: compute
  consequence: 2

- concept: H-GATE
  title: One gate for cabin and warning
  system: 21 high field
  handbook: 21-30
  what: predict
  consequence: 2
  first: [P-DIFF]

- concept: C-FAIL
  title: A dead controller
  system: 21 degraded
  handbook: 21-10
  what: [predict, choose]
  consequence: 3

- concept: D-BUS
  title: What the essential bus feeds
  system: 24 DC power
  handbook: 24-10
  what: recall
  consequence: 3
"""

AIRCRAFT_ITEMS = """\
- item: cabin-from-differential
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: table
  draw:
    level: {from: FL180, to: FL390, step: 1000 ft}
    diff: {from: 3.0 psi, to: 8.7 psi, step: 0.1 psi}
  let: {ambient: isa_pressure(level)}
  refuse: ["cabin_altitude(level, diff) < 0*ft", "cabin_altitude(level, diff) > 12000*ft"]
  stem: Level {level}, differential {diff}. Cabin altitude?
  answer: cabin_altitude(level, diff)
  unit: ft
  within: 150 ft
  round: nearest 100 ft
  traps:
    - {id: from-sea-level, value: isa_altitude(isa_pressure(0*ft) - diff), belief: took it off sea-level pressure}
    - {id: schedule, value: schedule(level), belief: read the schedule and not the gauge}
  why: "Outside {ambient:psi:2} + {diff} = {ambient + diff:psi:2}, which is {answer:ft:-2}."
  author: first author
  read-by: second reader
  status: live

- item: highest-level-mental
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: mental
  draw:
    rate: {from: 300 fpm, to: 600 fpm, step: 50 fpm}
    minutes: {from: 4 min, to: 12 min, step: 1 min}
  stem: The cabin climbs at {rate} for {minutes}. How far does it climb?
  answer: rate * minutes
  unit: ft
  within: 100 ft
  traps:
    - {id: hundred-more, value: "rate * minutes + 1000*ft", belief: counted a thousand twice}
  why: "{rate} times {minutes} is {answer}."
  author: first author
  read-by: second reader
  status: live

- item: gate-slow-leak
  kind: one
  concept: H-GATE
  also: [P-DIFF]
  demand: application
  handbook: 21-30
  stem: Cruise FL310, AUTO, LDG 10,650. A slow leak lets the cabin climb. When does CABIN ALT sound?
  options:
    - {id: ten, text: "10,000 ft cabin", key: true}
    - {id: shifted, text: "13,400 ft cabin", belief: the high setting alone moves the warning}
    - {id: never, text: not before the masks, belief: a high-field regime has no warning}
  why: The warning moves only below the **gate**.
  author: first author
  read-by: second reader
  status: live

- item: controller-dead-what-holds
  kind: some
  concept: C-FAIL
  demand: understanding
  handbook: 21-10
  stem: The controller is dead. What still limits the cabin?
  options:
    - {id: heads, text: the relief heads, key: true}
    - {id: thumb, text: the thumbwheel, key: true}
    - {id: rate, text: the rate limit, belief: the rate limit needs no controller}
    - {id: legs, text: the flight legs}
  why: Relief heads and the thumbwheel need no controller.
  author: first author
  read-by: second reader
  status: live

- item: essential-bus-feeds
  kind: one
  concept: D-BUS
  demand: rote
  handbook: 24-10
  stem: Which bus feeds the dump switch?
  options:
    - {id: ess, text: the essential bus, key: true}
    - {id: left, text: the left bus, belief: dump hangs on the left side}
    - {id: right, text: the right bus}
  why: Dump hangs on the essential bus.
  author: first author
  read-by: second reader
  status: live
"""

GENERAL_SYSTEMS = ("physics", "physiology", "practice")
GENERAL_COUNT = 12


def general_concepts() -> str:
    """Twelve concepts in three systems."""
    return "".join(
        f"- {{concept: G-T{number}, title: General matter {number}, "
        f"system: {GENERAL_SYSTEMS[number % len(GENERAL_SYSTEMS)]}, what: recall, consequence: 1}}\n"
        for number in range(1, GENERAL_COUNT + 1)
    )


def general_items() -> str:
    """One item of kind `one` for each general concept."""
    return "\n".join(
        one_item(f"matter-{number}", f"G-T{number}", stem=f"Which is right of matter {number}?")
        for number in range(1, GENERAL_COUNT + 1)
    )


def one_item(
    item: str,
    concept: str,
    *,
    stem: str = "Which is right?",
    why: str = "The first is right.",
    status: str = "live",
    handbook: str | None = None,
    author: str = "first author",
) -> str:
    """The text of an item of kind `one` whose right option has the id `right`."""
    section = f"  handbook: {handbook}\n" if handbook else ""
    return f"""\
- item: {item}
  kind: one
  concept: {concept}
  demand: rote
{section}  stem: "{stem}"
  options:
    - {{id: right, text: this one, key: true}}
    - {{id: wrong, text: that one, belief: takes that one for this one}}
    - {{id: other, text: another one}}
  why: "{why}"
  author: {author}
  read-by: second reader
  status: {status}
"""


def write_bank(
    folder: Path,
    *,
    extra: dict[str, str] | None = None,
    without: tuple[str, ...] = (),
) -> Path:
    """Write the test bank into a folder and return it.

    `extra` maps file names to texts, which replace or add; `without` names files to leave out.
    """
    aircraft = folder / "tolquenny-19"
    files = {
        "tolquenny-19/concepts.yaml": AIRCRAFT_CONCEPTS,
        "tolquenny-19/handbook/21-24.md": HANDBOOK,
        "tolquenny-19/items.yaml": AIRCRAFT_ITEMS,
        "general/concepts.yaml": general_concepts(),
        "general/items.yaml": general_items(),
        **(extra or {}),
    }
    aircraft.mkdir(parents=True, exist_ok=True)
    shipped = question_bank_folder()
    shutil.copyfile(shipped / "cautions.yaml", folder / "cautions.yaml")
    shutil.copyfile(shipped / "tolquenny-19" / "aircraft.yaml", aircraft / "aircraft.yaml")
    for name, text in files.items():
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if name in without:
            target.unlink(missing_ok=True)
        else:
            target.write_text(text, encoding="utf-8")
    return folder


def new_uuid() -> str:
    """A UUID as a client makes it."""
    return str(uuid.uuid4())

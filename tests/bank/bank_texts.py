"""Small banks for the tests of `quizsvc.bank`, around the shipped aircraft file."""

from __future__ import annotations

import random
import re
import textwrap
from pathlib import Path

from quizsvc.bank.check import BankText, check_bank
from quizsvc.bank.question import compile_item

SHIPPED = Path(__file__).resolve().parents[2] / "question_bank"
SHIPPED_AIRCRAFT = (SHIPPED / "tolquenny-19" / "aircraft.yaml").read_text(encoding="utf-8")
# Without its failures, whose claims take most of the time of reading it and concern no item here.
AIRCRAFT_TEXT = re.sub(r"^failures:\n(?:[ #].*\n|\n)*", "", SHIPPED_AIRCRAFT, flags=re.MULTILINE)
assert len(AIRCRAFT_TEXT) < len(SHIPPED_AIRCRAFT)

CONCEPTS = """\
- concept: P-DIFF
  title: Differential, cabin altitude and level
  system: 21 automatic
  handbook: 21-10
  what: compute
  consequence: 1
  first: [G-ISA]
- concept: P-LDG
  title: Landing setting and target
  system: 21 automatic
  handbook: 21-10
  what: [recall, compute]
  consequence: 2
"""
GENERAL_CONCEPTS = """\
- concept: G-ISA
  title: Pressure falls by about half by FL180
  system: physics
  what: predict
  consequence: 1
- concept: Z-211B
  title: When a mask must be on
  system: regulation
  what: recall
  consequence: 2
"""
HANDBOOK = """\
# Pressurisation

## 21-10 Layout

Conditioned air enters; two valves let it out.

## 21-20 AUTO

The schedule.
"""
CAUTIONS = "".join(
    f"- caution: C{number}\n  text: Text of caution {number}.\n  where: where it is owed\n" for number in range(1, 13)
)


def texts(items="", general="", *, aircraft=AIRCRAFT_TEXT, **changed):
    """The files of a small bank; keyword arguments replace concepts, general_concepts, handbook or cautions."""
    return [
        BankText("tolquenny-19/aircraft.yaml", "tolquenny-19", aircraft),
        BankText("tolquenny-19/concepts.yaml", "tolquenny-19", changed.get("concepts", CONCEPTS)),
        BankText("tolquenny-19/handbook/21.md", "tolquenny-19", changed.get("handbook", HANDBOOK)),
        BankText("tolquenny-19/21-items.yaml", "tolquenny-19", items),
        BankText("general/concepts.yaml", "general", changed.get("general_concepts", GENERAL_CONCEPTS)),
        BankText("general/physics.yaml", "general", general),
        BankText("cautions.yaml", "", changed.get("cautions", CAUTIONS)),
    ]


def check(items="", general="", **changed):
    """Check a small bank with a fixed generator."""
    return check_bank(texts(items, general, **changed), rng=random.Random(20261125))


def number_text(body, item="sample", concept="P-DIFF", how="calc", handbook="21-10"):
    """A number item: `body` holds draw, answer and so on."""
    head = f"""\
- item: {item}
  kind: number
  concept: {concept}
  demand: application
  how: {how}
"""
    head += f"  handbook: {handbook}\n" if handbook else ""
    tail = "  why: It is {answer}.\n  author: first author\n  status: draft\n"
    return head + textwrap.indent(textwrap.dedent(body).strip("\n") + "\n", "  ") + tail


def only_item(bank):
    """The one item of a bank without faults."""
    faults = [f"{finding.where}: {finding.what}" for finding in bank.faults]
    assert not faults, "\n".join(faults)
    (item,) = bank.items
    return item


def compiled(bank):
    """The one item of a bank, compiled from its body alone."""
    item = only_item(bank)
    return compile_item(item.body, bank.aircraft.get(item.folder))

"""A handbook's line that names a figure: what of it `bank check` finds, with file and line."""

import re

import pytest

from quizsvc.aircraft.handbook_figures import FIGURES
from tests.aircraft.files import VESSANDRY
from tests.bank.bank_texts import SHIPPED, check

BOOK = "## 21-10 Layout\n\nAir comes in.\n\n{}\n\nAnd goes out.\n"
ITEM = """\
- item: which-way
  kind: one
  concept: P-LDG
  demand: rote
  handbook: 21-10
  stem: Which way does the cabin go?
  options:
    - {id: a, text: it climbs, key: true}
    - {id: b, text: it sinks, belief: thinks so}
    - {id: c, text: it stays, belief: thinks otherwise}
  why: Because.
  author: first author
  status: draft
"""


def found(handbook, **changed):
    return [
        (finding.file, finding.line, finding.reference, finding.severity)
        for finding in check(handbook=handbook, **changed).findings
        if finding.reference.startswith("bank-figure")
    ]


@pytest.mark.parametrize("name", ["schedule", "high-field", "power"])
def test_a_known_figure_is_no_finding(name):
    assert found(BOOK.format(f"figure: {name}")) == []


@pytest.mark.parametrize(
    ("line", "reference"),
    [
        ("figure: shedule", "bank-figure-unknown"),
        ("figure: 7", "bank-figure-line"),
        ("Figure: schedule", "bank-figure-line"),
        ("figure: schedule of it", "bank-figure-line"),
        ("figure: schedule\nAir goes on.", "bank-figure-line"),
        ("See:\nfigure: schedule", "bank-figure-line"),
    ],
)
def test_a_line_that_shows_nothing_is_a_fault_at_its_place(line, reference):
    # Counted by hand: the heading is line 1, so the marker stands in line 5, or in 6 after "See:".
    place = 6 if line.startswith("See") else 5
    assert found(BOOK.format(line)) == [("tolquenny-19/handbook/21.md", place, reference, "fault")]


def test_a_misspelt_figure_is_told_the_nearest_name():
    (finding,) = [f for f in check(handbook=BOOK.format("figure: shedule")).findings if "figure" in f.reference]
    assert "'shedule'" in finding.what
    assert "'schedule'" in finding.mend


def test_what_the_aircraft_cannot_show_is_a_fault():
    place = ("tolquenny-19/handbook/21.md", 5, "bank-figure-missing", "fault")
    assert found(BOOK.format("figure: oxygen"), aircraft=VESSANDRY) == [place]


def test_a_figure_stands_once_in_a_section_and_may_come_again_in_another():
    twice = BOOK.format("figure: gauge\n\nAgain:\n\nfigure: gauge")
    assert found(twice) == [("tolquenny-19/handbook/21.md", 9, "bank-figure-twice", "fault")]
    assert found(BOOK.format("figure: gauge") + "\n## 21-20 More\n\nfigure: gauge\n") == []


def test_in_code_it_is_text():
    assert found(BOOK.format("```\nfigure: nothing\n```")) == []


def test_every_figure_of_the_shipped_aircraft_stands_in_its_handbook():
    text = "\n".join(path.read_text(encoding="utf-8") for path in (SHIPPED / "tolquenny-19" / "handbook").glob("*.md"))
    lines = text.splitlines()
    assert {name for name in FIGURES if f"figure: {name}" in lines} == set(FIGURES)


def test_the_guide_names_every_figure():
    guide = (SHIPPED / "README.md").read_text(encoding="utf-8").split("## Figures of a handbook")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `([a-z-]+)` \|", guide, re.MULTILINE)) == set(FIGURES)


def test_a_figure_changes_no_item():
    """An item's hash covers its own text and the aircraft, so that a figure more withdraws nothing that was read."""
    one, other = (check(ITEM, handbook=BOOK.format(line)).items for line in ("Nothing.", "figure: schedule"))
    assert [item.id for item in one] == ["which-way"]
    assert [item.hash for item in one] == [item.hash for item in other]

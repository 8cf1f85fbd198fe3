"""A section's page: its figures, drawn of the aircraft that is loaded, and what it teaches, counted of the items."""

import random
import re
from pathlib import Path

import pytest
import sqlalchemy as sa

from quizsvc.services import banks
from quizsvc.store.tables import Item
from tests import factories
from tests.web.pages import on_both

SECOND = (Path(__file__).resolve().parents[1] / "aircraft" / "second.yaml").read_text(encoding="utf-8")
SECTION = "/handbook/tolquenny-19/21-10"
BOOK = factories.HANDBOOK + "\nfigure: schedule\n\nAnd on.\n\nfigure: loads\n"
FILES = {
    "tolquenny-19/handbook/21-24.md": BOOK,
    "vessandry-44/aircraft.yaml": SECOND,
    "vessandry-44/handbook/10.md": "## 10-10 All of it\n\nInvented.\n\nfigure: schedule\n\nfigure: bleed\n",
}


@pytest.fixture
def illustrated(bank_db, clock, tmp_path):
    """The test bank with figures in two handbooks."""
    folder = factories.write_bank(tmp_path / "bank", extra=FILES)
    banks.load(bank_db, folder, now=clock(), rng=random.Random(1))


def taught(page):
    """Each concept's line of a page, by concept."""
    found = re.findall(r'<li data-concept="([^"]+)">(.*?)</li>', page.html)
    return {concept: re.sub(r"<[^>]+>", "", line) for concept, line in found}


def test_a_figure_stands_where_the_text_names_it(illustrated, visitor):
    page = visitor.get("/handbook/tolquenny-19/24-10")
    before, _, after = page.html.partition("<p>And on.</p>")
    assert "figure: " not in page.text
    assert 'class="pic pic-curve"' in before and 'class="pic pic-graph"' in after
    # Of the file: FL350 is a cabin of 5,600 ft.
    assert "<tr><td>350</td><td>5,600</td>" in before


def test_a_figure_has_words_and_ids_of_its_own(illustrated, visitor):
    page = visitor.get("/handbook/tolquenny-19/24-10")
    named = [at["aria-labelledby"].split() for tag, at in page.tags if tag == "svg" and at.get("role") == "img"]
    ids = [at["id"] for _, at in page.tags if at.get("id")]
    assert len(named) == 2
    assert all(ids.count(one) == 1 for pair in named for one in pair)
    assert not [at for _, at in page.tags if "style" in at], "the pages' policy allows no inline style"


def test_each_aircraft_shows_its_own(illustrated, visitor):
    page = visitor.get("/handbook/vessandry-44/10-10")
    # Of tests/aircraft/second.yaml: FL180 is a cabin of 3,600 ft.
    assert "<tr><td>180</td><td>3,600</td>" in page.html


def test_no_heading_of_a_table_is_empty(illustrated, visitor):
    page = visitor.get("/handbook/vessandry-44/10-10")
    assert 'class="pic pic-bars"' in page.html
    assert not re.search(r"<th[^>]*>\s*</th>", page.html)


def test_a_changed_aircraft_is_drawn_anew(illustrated, bank_db, clock, tmp_path, visitor):
    visitor.get("/handbook/vessandry-44/10-10")
    assert SECOND.count("[18000, 3600]") == SECOND.count("[18000, 3900]") == 1
    changed = SECOND.replace("[18000, 3600]", "[18000, 3500]").replace("[18000, 3900]", "[18000, 3800]")
    folder = factories.write_bank(tmp_path / "again", extra={**FILES, "vessandry-44/aircraft.yaml": changed})
    banks.load(bank_db, folder, now=clock(), rng=random.Random(1))
    assert "<tr><td>180</td><td>3,500</td>" in visitor.get("/handbook/vessandry-44/10-10").html


def test_figures_take_nothing_out_of_use(bank_db, clock, tmp_path):
    """A bank that is loaded again with figures in its handbook changes no item."""
    folder = factories.write_bank(tmp_path / "bank", extra={"tolquenny-19/handbook/21-24.md": BOOK})
    report = banks.load(bank_db, folder, now=clock(), rng=random.Random(1))
    assert (report.new, report.changed, report.withdrawn) == ((), (), ())
    assert report.unchanged > 0


def test_a_section_lists_what_it_teaches(visitor):
    # Counted in tests/factories.py: P-DIFF has two items and C-FAIL one, both of section 21-10.
    found = taught(visitor.get(SECTION))
    assert found == {"P-DIFF": "Cabin altitude from differential: 2 items", "C-FAIL": "A dead controller: 1 item"}


def test_an_item_that_is_out_of_use_is_not_counted(visitor, bank_db, clock):
    with bank_db.writing() as session:
        gone = (
            sa.update(Item).where(Item.id == "highest-level-mental").values(withdrawn_at=clock(), withdrawn_by="bank")
        )
        session.execute(gone)
    assert taught(visitor.get(SECTION))["P-DIFF"].endswith(": 1 item")


@on_both
def test_a_concept_counts_where_an_item_cites_the_section(bank_db, clock, tmp_path, visitor):
    """C-FAIL belongs to 21-10; one item of it that 24-10 settles puts it there too, with the way back."""
    extra = {"tolquenny-19/more.yaml": factories.one_item("dead-on-its-bus", "C-FAIL", handbook="24-10")}
    folder = factories.write_bank(tmp_path / "bank", extra=extra)
    banks.load(bank_db, folder, now=clock(), rng=random.Random(1))
    page = visitor.get("/handbook/tolquenny-19/24-10")
    assert taught(page)["C-FAIL"] == "A dead controller: 2 items, explained in 21-10"
    assert list(taught(page)) == ["D-BUS", "C-FAIL"], "its own come first"
    assert SECTION in page.links


def test_a_person_gets_to_the_concept_among_their_thin_spots(visitor, member):
    assert "/thin-spots#spot-P-DIFF" not in visitor.get(SECTION).links
    assert "/thin-spots#spot-P-DIFF" in member.get(SECTION).links
    assert 'id="spot-P-DIFF"' in member.get("/thin-spots").html

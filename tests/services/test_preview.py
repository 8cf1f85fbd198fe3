"""An author's look at the files: what was saved last is what is shown, with findings, keys and refusals."""

from __future__ import annotations

import pytest

from quizsvc.errors import InputError, NotFoundError
from quizsvc.services import preview
from tests.factories import write_bank

NUMBER = """\
- item: twice-the-level
  kind: number
  concept: P-DIFF
  demand: application
  handbook: 21-10
  how: mental
  draw: {count: {from: 1, to: 10, step: 1}}
  refuse: ["count > 5"]
  stem: Twice {count}?
  answer: 2 * count
  within: exact
  traps:
    - {id: squared, value: count * count, belief: takes twice for squared}
  why: Twice {count} is {answer}.
  author: first author
  status: draft
"""


@pytest.fixture
def folder(tmp_path):
    """A bank with one more item, in a file of its own."""
    write_bank(tmp_path / "bank")
    (tmp_path / "bank" / "tolquenny-19" / "new.yaml").write_text(NUMBER)
    return tmp_path / "bank"


class TestLook:
    """One item, drawn ten times."""

    def test_ten_draws_with_their_keys_and_traps(self, folder, rng):
        """Arithmetic of the item itself: twice the drawn number; the trap its square."""
        look = preview.look(folder, "twice-the-level", rng=rng)

        assert len(look.draws) == preview.DRAWS
        for draw in look.draws:
            count = int(draw["stem"].split()[1].rstrip("?"))
            assert count <= 5 and draw["key"] == str(2 * count)
            assert [trap["shown"] for trap in draw["traps"]] == [str(count * count)]

    def test_refused_draws_are_counted_by_reason_with_an_example(self, folder, rng):
        """Six to ten are refused by the item, two because its square is its double."""
        look = preview.look(folder, "twice-the-level", rng=rng)
        refusals = {refusal.reason: refusal for refusal in look.refusals}

        assert set(refusals) == {"refused", "trap squared"}
        assert refusals["trap squared"].example == "count 2"
        assert sum(refusal.count for refusal in look.refusals) < look.tried == preview.TRIES

    def test_a_saved_change_shows_at_the_next_look(self, folder, rng):
        """Nothing is kept between two looks."""
        before = preview.look(folder, "twice-the-level", rng=rng)
        file = folder / "tolquenny-19" / "new.yaml"
        file.write_text(file.read_text().replace("Twice {count}?", "Double {count}?"))
        after = preview.look(folder, "twice-the-level", rng=rng)

        assert after.draws[0]["stem"].startswith("Double")
        assert before.version != after.version == preview.version(folder)

    def test_a_fault_names_its_line_in_the_whole_file_and_a_broken_neighbour_does_not_matter(self, folder, rng):
        """Lines counted by hand: the second block begins at 18, its stem is its eighth line."""
        file = folder / "tolquenny-19" / "new.yaml"
        second = NUMBER.replace("twice-the-level", "second-one").replace("Twice {count}?", "Twice {cuont}?")
        file.write_text(NUMBER.replace("kind: number", "kind: [number") + "\n" + second)
        look = preview.look(folder, "second-one", rng=rng)

        assert look.about is None and look.draws == ()
        assert [(finding.line, finding.severity) for finding in look.findings] == [(26, "fault")]
        assert "cuont" in look.findings[0].what

    def test_neighbours_lead_through_the_bank(self, folder, rng):
        """The list's order, and none beyond its ends."""
        entries = preview.catalogue(folder)
        places = [entry.item for entry in entries]
        first, last = (preview.look(folder, places[end], rng=rng) for end in (0, -1))

        assert (first.previous, first.next) == (None, places[1])
        assert (last.previous, last.next) == (places[-2], None)

    def test_an_item_that_no_file_has(self, folder, rng):
        """A sentence, not a traceback."""
        with pytest.raises(NotFoundError, match="no-such-item"):
            preview.look(folder, "no-such-item", rng=rng)

    def test_a_folder_that_is_gone(self, tmp_path, rng):
        """The folder is named."""
        with pytest.raises(InputError, match="no such folder"):
            preview.catalogue(tmp_path / "gone")


def test_the_list_names_every_item_with_its_status(folder):
    """Also of a block whose text is broken further down."""
    entries = {entry.item: entry for entry in preview.catalogue(folder)}

    assert entries["twice-the-level"].status == "draft"
    assert entries["twice-the-level"].line == 1
    assert len(entries) > 10

"""What the bank desk takes from the author's guide: an example of each kind, to be made one's own."""

import re

from quizsvc.bank.kinds import KINDS
from quizsvc.services.desk_guide import guide
from quizsvc.services.desk_text import item_id, kind_of
from quizsvc.settings import question_bank_folder


def test_each_kind_has_its_example():
    """The guide's own, which tests/bank/test_author_guide.py checks, but for the two lines that each author changes."""
    text = (question_bank_folder() / "README.md").read_text(encoding="utf-8")
    shown = {kind_of(one): one for one in re.findall(r"^```yaml\n(.*?)^```", text, re.MULTILINE | re.DOTALL)}
    assert set(guide().kinds) == set(KINDS) == set(shown)
    for kind, about in guide().kinds.items():
        assert (item_id(about.example), kind_of(about.example)) == ("a-name-of-your-own", kind)
        pairs = zip(about.example.split("\n"), shown[kind].split("\n"), strict=True)
        assert [mine for mine, theirs in pairs if mine != theirs] == ["- item: a-name-of-your-own", "  author:"]
        assert about.notes and "```" not in about.notes


def test_the_words_of_every_item():
    """Counted by hand in question_bank/README.md: 13 rows, the first is the id and the last seconds and ramp."""
    words = guide().words
    assert (len(words), words[0][:2], words[-1][0]) == (13, ("`item`", "yes"), "`seconds`, `ramp`")
    assert "double quotes" in guide().writing

"""The author's guide for the bank desk: how a text is written, and an example of each kind to begin with."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from quizsvc.settings import question_bank_folder

__all__ = ["Guide", "KindGuide", "guide"]

_SECTION = re.compile(r"^## ", re.MULTILINE)
_KIND = re.compile(r"^Kind `(?P<kind>[a-z-]+)`: (?P<title>.+)$")
_EXAMPLE = re.compile(r"^```yaml\n(?P<example>.*?)^```\n", re.MULTILINE | re.DOTALL)
_ID = re.compile(r"(?<=^- item: )\S+")
_AUTHOR = re.compile(r"^(  author:).*$", re.MULTILINE)
_ROW = re.compile(r"^\| *(.+?) *\| *(.+?) *\| *(.+?) *\|$", re.MULTILINE)


@dataclass(frozen=True)
class KindGuide:
    """A kind of item: what it is in a few words, a text to begin with, and notes as Markdown."""

    kind: str
    title: str
    example: str
    notes: str


@dataclass(frozen=True)
class Guide:
    """How to write a text, as Markdown; the words of every item (word, whether needed, what it says); the kinds."""

    writing: str
    words: tuple[tuple[str, str, str], ...]
    kinds: Mapping[str, KindGuide]


@lru_cache(maxsize=1)
def guide() -> Guide:
    """The guide that ships with the service, as far as it is about a text: `question_bank/README.md`."""
    text = (question_bank_folder() / "README.md").read_text(encoding="utf-8")
    sections = {}
    for section in _SECTION.split(text)[1:]:
        head, _, body = section.partition("\n")
        sections[head] = body.strip() + "\n"
    return Guide(
        sections["How to write the text"],
        tuple(row for row in _ROW.findall(sections["Words of every item"]) if not row[0].startswith(("Word", "-"))),
        {match["kind"]: _kind(match, body) for head, body in sections.items() if (match := _KIND.match(head))},
    )


def _kind(head: re.Match[str], body: str) -> KindGuide:
    example = _EXAMPLE.search(body)
    assert example is not None  # tests/bank/test_author_guide.py
    begun = _AUTHOR.sub(r"\1", _ID.sub("a-name-of-your-own", example["example"]))
    return KindGuide(head["kind"], head["title"], begun, _EXAMPLE.sub("", body).strip())

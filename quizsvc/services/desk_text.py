"""The text of a school's own item: its id, and the two words that the desk writes itself."""

from __future__ import annotations

import difflib
import re

from quizsvc.errors import InputError
from quizsvc.services import edge

__all__ = ["LONGEST", "START", "clean", "compared", "item_id", "kind_of", "stamped"]

LONGEST = 100_000
LONGEST_ID = 80
MOST_COMPARED = 500  # lines

START = """\
- item: a-name-of-your-own
  kind: one
  concept:
  demand: understanding
  stem:
  options:
    - {id: first, text: , key: true}
    - {id: second, text: , belief: }
  why: >-
    Say why the key is right.
  author:
  status: draft
"""

_ITEM = re.compile(r"^(- +)item: *[\"']?([a-z0-9]+(?:-[a-z0-9]+)*)[\"']? *(?:#.*)?$", re.MULTILINE)
_KIND = re.compile(r"^ +kind: *[\"']?([a-z-]+)", re.MULTILINE)
_BLOCK = re.compile(r"^- ", re.MULTILINE)


def clean(text: str) -> str:
    """The text with line feeds only and one at its end.

    Raises
    ------
    InputError
        It is empty, too long, or holds a character that cannot be stored.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n").strip("\n")
    if not edge.text(text, "text", longest=LONGEST, label="the item's text", lines=True):
        raise InputError("desk-text-empty", "there is no text", where="text", mend="write the item, or paste it")
    return text + "\n"


def item_id(text: str) -> str:
    """The id of the one item that a text holds.

    Raises
    ------
    InputError
        It holds none, or more than one.
    """
    blocks = len(_BLOCK.findall(text))
    if blocks > 1:
        raise InputError(
            "desk-text-items",
            f"the text holds {blocks} blocks",
            where="text",
            mend="keep one item here, and write the others on pages of their own",
        )
    found = _ITEM.search(text)
    if found is None or len(found[2]) > LONGEST_ID:
        raise InputError(
            "desk-text-id",
            "the text names no item",
            where="text",
            mend="begin with '- item: name', of a-z, 0-9 and single hyphens, at most 80 characters",
        )
    return found[2]


def compared(old: str, new: str) -> tuple[tuple[str, str], ...]:
    """Every line of two texts, `-` before what only the old one has, `+` before what only the new one has, or nothing.

    What the desk writes itself is left out of it. Texts of very many lines stand one after the other, since finding
    out what is the same costs the square of their number.
    """
    before, after = (stamped(text, "draft").split("\n")[:-1] for text in (old, new))
    if max(len(before), len(after)) > MOST_COMPARED:
        return (*(("-", line) for line in before), *(("+", line) for line in after))
    found: list[tuple[str, str]] = []
    for what, first, last, new_first, new_last in difflib.SequenceMatcher(
        None, before, after, autojunk=False
    ).get_opcodes():
        if what == "equal":
            found += [("", line) for line in before[first:last]]
        else:
            found += [("-", line) for line in before[first:last]] + [("+", line) for line in after[new_first:new_last]]
    return tuple(found)


def kind_of(text: str) -> str:
    """The kind that a text names, or an empty word."""
    found = _KIND.search(text)
    return found[1] if found else ""


def stamped(text: str, status: str, read_by: str | None = None) -> str:
    """The text with this status and this reader, whatever it said before.

    Only words at the item's own indent are touched, so a line of an explanation that begins alike stays.
    """
    found = _ITEM.search(text)
    indent = " " * len(found[1]) if found else "  "
    words = [f"{indent}read-by: {read_by}"] if read_by is not None else []
    words.append(f"{indent}status: {status}")
    lines: list[str] = []
    place = None
    for line in text.rstrip("\n").split("\n"):
        if line.startswith(f"{indent}read-by:"):
            continue
        if line.startswith(f"{indent}status:"):
            place = len(lines) if place is None else place
            continue
        lines.append(line)
    place = len(lines) if place is None else place
    return "\n".join([*lines[:place], *words, *lines[place:]]) + "\n"

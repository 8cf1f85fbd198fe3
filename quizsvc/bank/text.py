"""Bank text: strict YAML whose every value knows its line and column.

The ordinary loader guesses: `no` becomes false, `010` becomes 8, `1:30` becomes 90, a date becomes an object, the
second of two equal keys wins without a word, and nested aliases grow without bound. Here a scalar stays the text that
was written; what it means is decided by the word it stands under (`quizsvc.bank.block`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

import yaml

from quizsvc.errors import Finding

__all__ = ["Document", "List", "Node", "Scalar", "Table", "plain", "read_text"]

MAX_CHARACTERS = 2_000_000
MAX_NESTING = 40

_INTEGER = re.compile(r"-?(0|[1-9][0-9]{0,17})\Z")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]*)\.[0-9]+([eE][+-]?[0-9]{1,3})?\Z")
_NAMED_BLOCK = re.compile(r"^- +(?:item|concept|caution): *[\"']?([A-Za-z0-9-]+)", re.MULTILINE)
_TOP_BLOCK = re.compile(r"^- ", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value as written. `bare` is true for a value without quotes that is no block text."""

    text: str
    bare: bool
    line: int
    column: int
    offset: int = 0
    """How many columns after `column` the text itself starts (1 for a quote)."""


@dataclass(frozen=True, slots=True)
class List:
    """A list and where it starts."""

    entries: tuple[Node, ...]
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Table:
    """A map from words to values; `keys` says where each word stands."""

    entries: dict[str, Node]
    keys: dict[str, tuple[int, int]]
    line: int
    column: int


Node: TypeAlias = Scalar | List | Table


@dataclass(frozen=True)
class Document:
    """One read text. `root` is None where nothing could be read; `findings` are faults of the writing itself."""

    file: str
    root: Node | None
    findings: tuple[Finding, ...]

    def place(self, path: tuple[str | int, ...]) -> tuple[int, int]:
        """Line and column of the value at a path of words and indices; of its nearest parent where it is missing."""
        node = self.root
        if node is None:
            return 0, 0
        place = (node.line, node.column)
        for step in path:
            found: Node | None = None
            if isinstance(node, Table):
                found = node.entries.get(str(step))
            elif isinstance(node, List) and isinstance(step, int) and 0 <= step < len(node.entries):
                found = node.entries[step]
            if found is None:
                return place
            node = found
            place = (node.line, node.column)
        return place


@dataclass
class _Reading:
    file: str
    findings: list[Finding] = field(default_factory=list)

    def fault(self, line: int, column: int, reference: str, what: str, mend: str) -> None:
        self.findings.append(Finding(self.file, line, column, reference, what, mend))


def read_text(file: str, text: str) -> Document:
    """Read one bank text.

    A fault of the writing in one block of a list hides only that block: the others are read and checked as well.

    Parameters
    ----------
    file : str
        The name that findings show.
    text : str
        The whole text; at most 2,000,000 characters.

    Returns
    -------
    Document
        The values with their places, and the faults of the writing.
    """
    reading = _Reading(file)
    if len(text) > MAX_CHARACTERS:
        reading.fault(0, 0, "bank-text-too-long", f"{len(text):,} characters", "split it: at most 2,000,000 a file")
        return Document(file, None, tuple(reading.findings))
    root = _read_part(text, 0, reading)
    if root is None and reading.findings:
        root = _read_blocks(text, reading)
    return Document(file, root, tuple(sorted(_with_owners(text, reading.findings))))


def _with_owners(text: str, findings: list[Finding]) -> list[Finding]:
    """The findings with the id of the block in which each stands, as far as the lines show it."""
    if not findings:
        return findings
    owners: list[tuple[int, str]] = []
    for match in _NAMED_BLOCK.finditer(text):
        owners.append((text.count("\n", 0, match.start()) + 1, match.group(1)))
    return [
        replace(finding, item=next((name for line, name in reversed(owners) if line <= finding.line), ""))
        for finding in findings
    ]


def _read_blocks(text: str, reading: _Reading) -> Node | None:
    """Read a faulty list block by block, so that every other block is still checked."""
    starts = [match.start() for match in _TOP_BLOCK.finditer(text)]
    if len(starts) < 2:
        return None
    reading.findings.clear()
    entries: list[Node] = []
    for start, end in zip(starts, [*starts[1:], len(text)], strict=True):
        part = _read_part(text[start:end], text.count("\n", 0, start), reading)
        if isinstance(part, List):
            entries.extend(part.entries)
    return List(tuple(entries), 1, 1)


def _read_part(text: str, lines_before: int, reading: _Reading) -> Node | None:
    """Read a text or one block of it; None after a fault that stops the reader."""
    try:
        if not _scan(text, lines_before, reading):
            return None
        root = yaml.compose(text, Loader=yaml.CSafeLoader)
    except yaml.reader.ReaderError as error:
        position = error.position if isinstance(error.position, int) else 0
        line = lines_before + text.count("\n", 0, position) + 1
        reading.fault(
            line, 0, "bank-text-unreadable", f"a character that is no text: {error.reason}", "take the character out"
        )
        return None
    except yaml.MarkedYAMLError as error:
        # An unclosed quote or bracket is noticed at the end of the text; its beginning is what the author must see.
        noticed_at = error.problem_mark.line if error.problem_mark else 0
        unclosed = error.context_mark is not None and noticed_at >= text.count("\n")
        mark = error.context_mark if unclosed else error.problem_mark or error.context_mark
        reading.fault(
            lines_before + (mark.line + 1 if mark else 0),
            mark.column + 1 if mark else 0,
            "bank-text-unreadable",
            f"not readable: {error.problem or error.context}",
            "look for a missing quote, an unquoted ': ' or '#', or a wrong indent here or one line above",
        )
        return None
    if root is None:
        return None
    return _convert(root, lines_before, reading)


def _scan(text: str, lines_before: int, reading: _Reading) -> bool:
    """Find what the format refuses before anything is built; true where the text may be built."""
    good = True
    depth = documents = 0
    for event in yaml.parse(text, Loader=yaml.CSafeLoader):
        mark = event.start_mark
        assert mark is not None  # the C reader marks every event
        line, column = lines_before + mark.line + 1, mark.column + 1
        if isinstance(event, yaml.AliasEvent):
            good = False
            reading.fault(
                line,
                column,
                "bank-alias",
                f"alias '*{event.anchor}'",
                "write the value out, or quote text that starts with '*'",
            )
            continue
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents == 2:
                good = False
                reading.fault(
                    line, column, "bank-second-document", "'---' starts a second text", "make it a file of its own"
                )
        if isinstance(event, yaml.NodeEvent):
            if event.anchor is not None:
                good = False
                reading.fault(
                    line,
                    column,
                    "bank-anchor",
                    f"anchor '&{event.anchor}'",
                    "take it out, or quote text that starts with '&'",
                )
            tag = getattr(event, "tag", None)
            if tag is not None:
                good = False
                reading.fault(
                    line, column, "bank-tag", f"type word '{tag}'", "take it out, or quote text that starts with '!'"
                )
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            if depth == MAX_NESTING + 1:
                good = False
                reading.fault(
                    line, column, "bank-nesting", "nested more than 40 deep", "a bank text needs no such depth"
                )
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
    return good


def _convert(node: yaml.Node, lines_before: int, reading: _Reading) -> Node:
    line, column = lines_before + node.start_mark.line + 1, node.start_mark.column + 1
    if isinstance(node, yaml.ScalarNode):
        quoted = node.style in ("'", '"')
        return Scalar(node.value, not node.style, line, column, 1 if quoted else 0)
    if isinstance(node, yaml.SequenceNode):
        return List(tuple(_convert(entry, lines_before, reading) for entry in node.value), line, column)
    entries: dict[str, Node] = {}
    keys: dict[str, tuple[int, int]] = {}
    for key_node, value_node in node.value:
        at = lines_before + key_node.start_mark.line + 1, key_node.start_mark.column + 1
        value = _convert(value_node, lines_before, reading)
        if not isinstance(key_node, yaml.ScalarNode):
            reading.fault(*at, "bank-key", "a list or a map stands where a word is needed", "write 'word: value'")
            continue
        key = key_node.value
        if key in entries:
            reading.fault(
                *at,
                "bank-duplicate-key",
                f"'{key}' stands twice here, first in line {keys[key][0]}",
                "keep one of them",
            )
            continue
        entries[key] = value
        keys[key] = at
    return Table(entries, keys, line, column)


def plain(node: Node | None) -> Any:
    """The value as plain Python: text, int, float, bool, None, lists and dicts with text keys.

    Only `true` and `false` are yes-words, only decimal numbers are numbers; everything else, and all that is quoted,
    stays text.
    """
    if node is None:
        return None
    if isinstance(node, List):
        return [plain(entry) for entry in node.entries]
    if isinstance(node, Table):
        return {key: plain(value) for key, value in node.entries.items()}
    if not node.bare:
        return node.text
    if node.text in ("true", "false"):
        return node.text == "true"
    if node.text in ("", "~", "null"):
        return None
    if _INTEGER.match(node.text):
        return int(node.text)
    if _DECIMAL.match(node.text):
        return float(node.text)
    return node.text

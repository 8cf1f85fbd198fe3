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
_LINE_END = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
# `{from: 2,000 ft}` is read as two entries, `from: 2` and an empty `000 ft`.
_BEFORE_COMMA = re.compile(r"-?[0-9]{1,3}(?:[0-9]{3})*\Z")
_AFTER_COMMA = re.compile(r"[0-9]{3}(?![0-9])")


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value as written. `bare` is true for a value without quotes that is no block text."""

    text: str
    bare: bool
    line: int
    column: int
    offset: int = 0
    """How many columns after `column` the text itself starts (1 for a quote)."""
    written: tuple[tuple[int, int, str], ...] = ()
    """Line, column and text of each source line, where the value goes over several lines."""

    def spot(self, column: int) -> tuple[int, int]:
        """Where a column of the text stands in the source.

        Folding joins lines by blanks and changes nothing else, so the n-th character that is no blank is the same one
        in both. Where it is not (a quoted text with escapes), the start of the value is the answer.
        """
        if not self.written:
            return self.line, self.column + self.offset + column - 1
        wanted = len("".join(self.text[: column - 1].split()))
        source = "".join("".join(text.split()) for _, _, text in self.written)
        if not source.startswith("".join(self.text.split())):
            return self.line, self.column
        last = self.line, self.column
        for line, first, text in self.written:
            for place, character in enumerate(text):
                if character.isspace():
                    continue
                last = line, first + place
                if wanted == 0:
                    return last
                wanted -= 1
        return last


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
    return _Converter(_LINE_END.split(text), lines_before, reading).node(root)


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


class _Converter:
    """Turns the reader's nodes into ours, each with its place."""

    def __init__(self, lines: list[str], lines_before: int, reading: _Reading) -> None:
        self.lines = lines
        self.lines_before = lines_before
        self.reading = reading

    def node(self, node: yaml.Node) -> Node:
        line, column = self.place(node)
        if isinstance(node, yaml.ScalarNode):
            quoted = node.style in ("'", '"')
            return Scalar(node.value, not node.style, line, column, 1 if quoted else 0, self.written(node))
        if isinstance(node, yaml.SequenceNode):
            return List(tuple(self.node(entry) for entry in node.value), line, column)
        return self.table(node)

    def place(self, node: yaml.Node) -> tuple[int, int]:
        return self.lines_before + node.start_mark.line + 1, node.start_mark.column + 1

    def written(self, node: yaml.ScalarNode) -> tuple[tuple[int, int, str], ...]:
        """The source lines of a value that goes over several; without the `>-` of a block text, without quotes."""
        first, last = node.start_mark.line, node.end_mark.line
        start = node.start_mark.column + (node.style in ("'", '"'))
        if node.style in (">", "|"):
            first, start = first + 1, 0
        elif first == last:
            return ()
        found = []
        for place in range(first, min(last + 1, len(self.lines))):
            found.append((self.lines_before + place + 1, start + 1, self.lines[place][start:]))
            start = 0
        return tuple(found)

    def table(self, node: yaml.Node) -> Table:
        entries: dict[str, Node] = {}
        keys: dict[str, tuple[int, int]] = {}
        before = ""
        for key_node, value_node in node.value:
            at = self.place(key_node)
            value = self.node(value_node)
            if not isinstance(key_node, yaml.ScalarNode):
                what = "a list or a map stands where a word is needed"
                self.reading.fault(*at, "bank-key", what, "write 'word: value'")
                continue
            key = key_node.value
            empty = isinstance(value, Scalar) and value.bare and not value.text
            if empty and before and self.joined(entries, before, key):
                continue
            if key in entries:
                what = f"'{key}' stands twice here, first in line {keys[key][0]}"
                self.reading.fault(*at, "bank-duplicate-key", what, "keep one of them")
                continue
            entries[key] = value
            keys[key] = at
            before = key
        return Table(entries, keys, *self.place(node))

    def joined(self, entries: dict[str, Node], before: str, key: str) -> bool:
        """Whether a word is the rest of a number cut at its comma; the two are put together, with one fault."""
        value = entries[before]
        if not (isinstance(value, Scalar) and value.bare and _BEFORE_COMMA.match(value.text)):
            return False
        if not _AFTER_COMMA.match(key):
            return False
        whole = value.text + key
        what = f"a comma in the number '{value.text},{key}' cuts it in two"
        mend = f"leave the comma out: {whole}; a text goes into quotes"
        self.reading.fault(value.line, value.column, "bank-number-comma", what, mend)
        entries[before] = replace(value, text=whole)
        return True


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

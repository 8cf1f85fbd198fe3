"""Typed reading of one block: a word, its type, and a finding with place and cure for everything that does not fit."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Literal

from quizsvc.bank.quantity import BankQuantity, read_bank_quantity
from quizsvc.bank.text import List, Node, Scalar, Table
from quizsvc.errors import Finding, InputError

__all__ = ["Block", "Report", "nearest"]

ITEM_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*\Z")
NAME = re.compile(r"[a-z][a-z0-9_]*\Z")


def nearest(word: str, known: Collection[str]) -> str:
    """A cure that names the nearest known words, or all of them where none is near."""
    near = difflib.get_close_matches(word[:60], known, 3)
    if near:
        return "did you mean " + " or ".join(f"'{name}'" for name in near) + "?"
    return f"accepted: {', '.join(sorted(known))}" if len(known) <= 20 else ""


@dataclass
class Report:
    """Collects findings of one file; `item` is the block being read."""

    file: str
    item: str = ""
    findings: list[Finding] = field(default_factory=list)

    def add(
        self,
        at: Node | tuple[int, int] | None,
        reference: str,
        what: str,
        mend: str,
        severity: Literal["fault", "remark"],
    ) -> None:
        """Add one finding at a value or a line and column."""
        line, column = at if isinstance(at, tuple) else (at.line, at.column) if at is not None else (0, 0)
        self.findings.append(Finding(self.file, line, column, reference, what, mend, self.item, severity))

    def fault(self, at: Node | tuple[int, int] | None, reference: str, what: str, mend: str) -> None:
        """The bank is refused for it."""
        self.add(at, reference, what, mend, "fault")

    def remark(self, at: Node | tuple[int, int] | None, reference: str, what: str, mend: str) -> None:
        """Printed, and the bank is accepted."""
        self.add(at, reference, what, mend, "remark")

    def error(self, at: Node | tuple[int, int] | None, error: InputError) -> None:
        """An error of a core as a finding; a formula's column is counted from where its text starts."""
        column = getattr(error, "column", None)
        if isinstance(at, Scalar) and column is not None:
            # A column of a folded text is nowhere in the file; the source line shows the place by itself.
            counted = "" if at.written else f" (column {column} of '{_short(at.text)}')"
            self.fault(at.spot(column), error.reference, f"{error.what}{counted}", error.mend)
        else:
            self.fault(at, error.reference, str(error.what), error.mend)

    @property
    def faults(self) -> int:
        """How many faults were found so far."""
        return sum(finding.severity == "fault" for finding in self.findings)


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


class Block:
    """One map of a bank text, read word by word; what is left over at `done` is unknown.

    Parameters
    ----------
    table : Table
        The map.
    report : Report
        Where findings go.
    name : str
        What the block is called in findings, such as `item` or `trap`.
    """

    def __init__(self, table: Table, report: Report, name: str) -> None:
        self.table = table
        self.report = report
        self.name = name
        self._known: set[str] = set()

    @property
    def place(self) -> tuple[int, int]:
        """Line and column where the block starts."""
        return self.table.line, self.table.column

    def at(self, word: str) -> Node | tuple[int, int]:
        """Where a word's value stands, or the block's start."""
        return self.table.entries.get(word, self.place)

    def has(self, word: str) -> bool:
        """Whether the word is written."""
        self._known.add(word)
        return word in self.table.entries

    def node(self, word: str, *, required: bool = False) -> Node | None:
        """The value of a word, whatever it is."""
        self._known.add(word)
        node = self.table.entries.get(word)
        empty = isinstance(node, Scalar) and node.bare and node.text == ""
        if node is None or empty:
            if required:
                what = f"'{word}' is empty" if empty else f"{self.name} without '{word}'"
                self.report.fault(node or self.place, "bank-word-missing", what, f"add '{word}: ...'")
            return None
        return node

    def scalar(self, word: str, *, required: bool = False) -> Scalar | None:
        """The value of a word that takes one text."""
        node = self.node(word, required=required)
        if node is None or isinstance(node, Scalar):
            return node
        self._wrong(word, node, "one text")
        return None

    def text(self, word: str, *, required: bool = False) -> str | None:
        """The text of a word, without blanks at its ends."""
        scalar = self.scalar(word, required=required)
        if scalar is None:
            return None
        text = scalar.text.strip()
        if not text:
            self.report.fault(scalar, "bank-word-missing", f"'{word}' is empty", f"add '{word}: ...'")
            return None
        return text

    def choice(self, word: str, accepted: Collection[str], *, required: bool = False) -> str | None:
        """A text out of a list."""
        text = self.text(word, required=required)
        if text is None or text in accepted:
            return text
        self.report.fault(
            self.at(word),
            "bank-word-value",
            f"'{text}' is no {word}",
            f"{nearest(text, accepted)}".strip() or "see the format",
        )
        return None

    def flag(self, word: str) -> bool | None:
        """`true` or `false`."""
        scalar = self.scalar(word)
        if scalar is None:
            return None
        if scalar.bare and scalar.text in ("true", "false"):
            return scalar.text == "true"
        self.report.fault(
            scalar, "bank-yes-word", f"'{scalar.text}' is no yes-word", f"write '{word}: true' or '{word}: false'"
        )
        return None

    def number(self, word: str, *, required: bool = False, whole: bool = False) -> float | None:
        """A bare positive number."""
        scalar = self.scalar(word, required=required)
        if scalar is None:
            return None
        if re.fullmatch(r"[0-9]{1,9}" if whole else r"[0-9]{1,9}(\.[0-9]{1,9})?", scalar.text):
            return float(scalar.text)
        kind = "a whole number" if whole else "a number"
        self.report.fault(scalar, "bank-number", f"'{scalar.text}' is not {kind}", f"write '{word}: 30'")
        return None

    def quantity(self, word: str, *, required: bool = False) -> BankQuantity | None:
        """A quantity such as `39000 ft`."""
        scalar = self.scalar(word, required=required)
        if scalar is None:
            return None
        return self.read_quantity(scalar)

    def read_quantity(self, scalar: Scalar) -> BankQuantity | None:
        """The quantity of one value."""
        try:
            return read_bank_quantity(scalar.text)
        except InputError as error:
            self.report.error(scalar, error)
            return None

    def list(self, word: str, *, required: bool = False, one: bool = False) -> tuple[Node, ...]:
        """The entries of a list; with `one`, a single value stands for a list of one."""
        node = self.node(word, required=required)
        if node is None:
            return ()
        if isinstance(node, List):
            return node.entries
        if one:
            return (node,)
        self._wrong(word, node, "a list")
        return ()

    def scalars(self, word: str, *, required: bool = False, one: bool = False) -> tuple[Scalar, ...]:
        """The entries of a list of texts."""
        found: list[Scalar] = []
        for entry in self.list(word, required=required, one=one):
            if isinstance(entry, Scalar):
                found.append(entry)
            else:
                self._wrong(word, entry, "texts; a text with ': ' or a comma needs quotes,")
        return tuple(found)

    def map(self, word: str) -> Iterator[tuple[str, tuple[int, int], Node]]:
        """Word, place and value of each entry of a map."""
        node = self.node(word)
        if node is None:
            return
        if not isinstance(node, Table):
            self._wrong(word, node, "a map 'name: value'")
            return
        for key, value in node.entries.items():
            yield key, node.keys[key], value

    def block(self, word: str, *, required: bool = False) -> Block | None:
        """A map that is read word by word."""
        node = self.node(word, required=required)
        if node is None:
            return None
        if isinstance(node, Table):
            return Block(node, self.report, word)
        self._wrong(word, node, "a map")
        return None

    def blocks(self, word: str, name: str, *, required: bool = False, one: bool = False) -> tuple[Block, ...]:
        """A list of maps that are read word by word."""
        found: list[Block] = []
        for entry in self.list(word, required=required, one=one):
            if isinstance(entry, Table):
                found.append(Block(entry, self.report, name))
            else:
                self._wrong(word, entry, f"a map for each {name}")
        return tuple(found)

    def ignore(self, words: Collection[str]) -> None:
        """Words that belong to the block and are read elsewhere."""
        self._known.update(words)

    def done(self) -> None:
        """Find every word that nobody asked for."""
        for word, place in self.table.keys.items():
            if word in self._known:
                continue
            value = self.table.entries[word]
            if isinstance(value, Scalar) and value.bare and not value.text:
                mend = "a text or formula with a comma inside { } or [ ] must stand in quotes"
            else:
                mend = nearest(word, self._known) or "see the format"
            self.report.fault(place, "bank-word-unknown", f"unknown word '{_short(word)}' of {self.name}", mend)

    def _wrong(self, word: str, node: Node, wanted: str) -> None:
        given = {Scalar: "a text", List: "a list", Table: "a map"}[type(node)]
        self.report.fault(
            node, "bank-word-type", f"'{word}' takes {wanted} and got {given}", "see the format of this word"
        )

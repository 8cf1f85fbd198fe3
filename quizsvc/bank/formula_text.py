"""The writing of formulas: what is refused before Python's own reader sees the text, and caps on what it returns."""

from __future__ import annotations

import ast
import keyword
import re

from quizsvc.errors import InputError

__all__ = ["FormulaError", "parse_formula"]

MAX_LENGTH = 500
MAX_NODES = 120
MAX_DEPTH = 25


class FormulaError(InputError):
    """A formula that the language refuses, or that has no value here. `column` counts from 1 in the formula's text."""

    def __init__(self, reference: str, what: str, column: int, *, mend: str = "") -> None:
        super().__init__(reference, what, where=f"column {column}", mend=mend)
        self.column = column


_TOKEN = re.compile(
    r"(?P<space>[ \t\r\n]+)"
    r"|(?P<number>(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
    r"|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<operator>\*\*|<=|>=|==|!=|[-+*/%<>(),])"
)
_REFUSED = {
    ".": ("'.' reaches into a value", "formulas have no attributes; write names and numbers only"),
    "[": ("'[' takes a part of a value", "formulas have no lists or parts"),
    "]": ("']' takes a part of a value", "formulas have no lists or parts"),
    "{": ("'{' starts a set of values", "formulas have no lists or sets"),
    "'": ("text in quotes", "formulas hold numbers and names only"),
    '"': ("text in quotes", "formulas hold numbers and names only"),
    "=": ("'=' gives a value to a name", "compare with '==', or put the value under 'let'"),
    ":": ("':' does not belong into a formula", "put the value under 'let'"),
    "^": ("'^' is no power", "write '**'"),
    "\u2212": ("a minus sign that is not '-'", "write '-'"),
    "\u00d7": ("a times sign", "write '*'"),
}
_WORDS = {
    "and": "write two formulas, or 'a if c else b'",
    "or": "write two formulas, or 'a if c else b'",
    "not": "turn the comparison round",
    "in": "the unit inch is written 'inch'; there are no lists to look into",
}


def parse_formula(text: str) -> ast.expr:
    """The tree of a formula, with columns of the text; FormulaError for anything outside the language's writing."""
    if len(text) > MAX_LENGTH:
        raise FormulaError(
            "formula-too-long", f"{len(text):,} characters, at most 500", MAX_LENGTH + 1, mend="split it with 'let'"
        )
    _scan(text)
    source = text.strip().replace("\n", " ").replace("\r", " ").replace("\t", " ")
    before = len(text) - len(text.lstrip())
    try:
        tree = ast.parse(source, mode="eval").body
    except SyntaxError as error:
        column = before + max(error.offset or 1, 1)
        raise FormulaError(
            "formula-unreadable",
            f"not readable at '{text[column - 1 : column + 9].strip() or 'the end'}'",
            column,
            mend="look for a missing operator, bracket or comma",
        ) from None
    except (RecursionError, MemoryError, ValueError):
        raise FormulaError("formula-too-deep", "nested too deep", before + 1, mend="split it with 'let'") from None
    for node in ast.walk(tree):
        if isinstance(node, ast.expr | ast.keyword):
            node.col_offset += before
            node.end_col_offset = (node.end_col_offset or 0) + before
    _measure(tree)
    return tree


def _scan(text: str) -> None:
    """Refuse every character and word that is not of the language, before Python's own reader sees the text."""
    position, previous, brackets = 0, "", 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        column = position + 1
        if match is None:
            what, mend = _REFUSED.get(text[position], (f"character {text[position]!r}", "it is not used in formulas"))
            raise FormulaError("formula-character", what, column, mend=mend)
        group, token = str(match.lastgroup), match.group()
        if group == "number":
            if previous in ("number", "name"):
                raise FormulaError(
                    "formula-unreadable", f"'{token}' follows without an operator", column, mend="add one"
                )
            if len(token) > 1 and token[0] == "0" and token[1].isdigit():
                raise FormulaError("formula-number", f"number '{token}' starts with 0", column, mend="leave the 0 out")
        if group == "name":
            if previous == "number" and text[position - 1] not in " \t\r\n":
                raise FormulaError(
                    "formula-number", f"'{token}' touches the number", column, mend=f"write '*{token}' for a unit"
                )
            if keyword.iskeyword(token) and token not in ("if", "else"):
                raise FormulaError(
                    "formula-word", f"the word '{token}'", column, mend=_WORDS.get(token, "it is not used in formulas")
                )
        if token == "," and brackets == 0:
            raise FormulaError("formula-comma", "a comma outside of brackets", column, mend="write 39000, not 39,000")
        if token == "(":
            brackets += 1
            if brackets > MAX_DEPTH:
                raise FormulaError("formula-too-deep", "more than 25 brackets deep", column, mend="split it with 'let'")
        elif token == ")":
            brackets -= 1
        if group != "space":
            previous = group
            if group == "name" and token in ("if", "else"):
                previous = "operator"
        position = match.end()
    if not previous:
        raise FormulaError("formula-empty", "no formula", 1, mend="write one")


def _measure(tree: ast.expr) -> None:
    """Hold the caps on parts and depth without recursion."""
    starts: list[int] = []
    stack: list[tuple[ast.expr, int]] = [(tree, 1)]
    while stack:
        node, depth = stack.pop()
        starts.append(node.col_offset)
        if depth > MAX_DEPTH:
            raise FormulaError(
                "formula-too-deep", "more than 25 levels deep", node.col_offset + 1, mend="split it with 'let'"
            )
        stack.extend((child, depth + 1) for child in ast.iter_child_nodes(node) if isinstance(child, ast.expr))
    if len(starts) > MAX_NODES:
        column = sorted(starts)[MAX_NODES] + 1
        raise FormulaError("formula-too-big", "more than 120 parts", column, mend="split it with 'let'")

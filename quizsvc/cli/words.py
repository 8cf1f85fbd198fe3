"""Reading the words of a command line: argparse, with its faults as `UsageError` and a suggestion beside them."""

from __future__ import annotations

import argparse
import difflib
import re
from collections.abc import Sequence
from typing import Any, NoReturn

from quizsvc.errors import UsageError


class Parser(argparse.ArgumentParser):
    """An argument parser that raises instead of printing, takes no abbreviations and suggests the nearest word."""

    def __init__(self, **keywords: Any) -> None:
        keywords.setdefault("allow_abbrev", False)
        keywords.setdefault("formatter_class", argparse.RawDescriptionHelpFormatter)
        super().__init__(**keywords)
        self.set_defaults(parser=self)
        # A formula may begin with a minus; none of our options does so before a digit, a point or a bracket.
        self._negative_number_matcher = re.compile(r"-[0-9.(]")

    def parse(self, words: Sequence[str]) -> argparse.Namespace:
        """Read the words; the fault of a wrong word names the command that it was given to."""
        arguments, unread = self.parse_known_args(list(words))
        if unread:
            arguments.parser.refuse(unread)
        return arguments

    def refuse(self, unread: Sequence[str]) -> NoReturn:
        """Raise the usage error for words that the command does not take."""
        word = unread[0]
        options = [option for action in self._actions for option in action.option_strings if option.startswith("--")]
        if word.startswith("-"):
            what = f"'{word}' is not an option"
            mend = _suggestion(word.split("=")[0], "options", sorted(options))
        else:
            what = f"'{word}' is one word too many"
            mend = f"type '{self.prog} --help'; put a text with spaces in quotes"
        raise UsageError("usage-word", what, where=self.prog, mend=mend)

    def error(self, message: str) -> NoReturn:
        """Raise what argparse would print."""
        raise UsageError("usage", message, where=self.prog, mend=f"type '{self.prog} --help'")

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        # argparse would say "invalid choice" and dump the list; a mistyped command deserves its nearest name.
        if action.choices is None or value in action.choices:
            return
        known = [str(choice) for choice in action.choices]
        noun = (
            "a command" if isinstance(action, argparse._SubParsersAction) else f"one of {action.metavar or action.dest}"
        )
        raise UsageError(
            "usage-choice",
            f"'{value}' is not {noun}",
            where=self.prog,
            mend=_suggestion(str(value), "known", known),
        )


def _suggestion(word: str, label: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    everything = f"{label}: {', '.join(known)}"
    return f"did you mean '{near[0]}'? {everything[0].upper()}{everything[1:]}" if near else everything


def whole_number(lowest: int, highest: int) -> Any:
    """A converter for an option that takes a whole number within bounds."""

    def read(text: str) -> int:
        if text.isascii() and text.isdigit() and lowest <= int(text[:12]) <= highest:
            return int(text)
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from {lowest} to {highest}")

    return read

"""What contributors and keepers read is true: each setting and each command stands in DEVELOPERS.md."""

from __future__ import annotations

import argparse
import dataclasses
import re
from pathlib import Path

import pytest

from quizsvc.cli import main
from quizsvc.settings import Settings

ROOT = Path(__file__).resolve().parent.parent
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def section(title):
    """The text under a heading of DEVELOPERS.md."""
    return re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", DEVELOPERS, re.M | re.S)[1]


@pytest.mark.parametrize("setting", dataclasses.fields(Settings), ids=lambda setting: setting.name)
def test_each_setting_has_a_unit_a_help_text_and_a_line_for_keepers(setting):
    """A setting nobody can find is none."""
    assert setting.metadata["unit"]
    assert len(setting.metadata["help"]) > 20
    row = re.search(
        rf"^\| `{setting.metadata['variable']}` \| {re.escape(setting.metadata['unit'])}.*$", DEVELOPERS, re.M
    )
    assert row, f"{setting.metadata['variable']} with its unit is missing from the table in DEVELOPERS.md"
    assert all(cell.strip() for cell in row[0].strip("|").split("|"))


def test_no_setting_is_described_that_is_not_there():
    """A removed setting leaves the table too."""
    described = set(re.findall(r"`(QUIZSVC_[A-Z_]+)`", section("Settings")))

    assert described == {field.metadata["variable"] for field in dataclasses.fields(Settings)}


def commands(parser, words=()):
    """Each command that can be typed, with its own parser."""
    groups = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    if not groups:
        yield " ".join(words), parser
    for group in groups:
        for name, child in group.choices.items():
            yield from commands(child, (*words, name))


COMMANDS = dict(commands(main.parser()))


def described(command):
    """The rows of the table that begin with this command, as typed."""
    return re.findall(rf"^\| `(quizsvc {command}(?: [^`]*)?)` \| \S.*\|$", section("Commands"), re.M)


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_and_option_has_a_line_for_contributors(command):
    """The table shows every option of every command."""
    rows = " ".join(described(command))

    assert rows, f"`quizsvc {command}` is missing from the table in DEVELOPERS.md"
    for action in COMMANDS[command]._actions:
        for option in action.option_strings:
            if option.startswith("--") and option != "--help":
                assert option in rows, f"{option} of `quizsvc {command}` is missing from the table in DEVELOPERS.md"


def test_no_command_or_option_is_described_that_is_not_there():
    """A removed command leaves the table too."""
    for row in re.findall(r"^\| `quizsvc ([^`]*)`", section("Commands"), re.M):
        command = next((name for name in COMMANDS if row == name or row.startswith(name + " ")), None)
        assert command, f"`quizsvc {row}` is no command"
        known = {option for action in COMMANDS[command]._actions for option in action.option_strings}
        assert set(re.findall(r"--[a-z]+", row)) <= known, row


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_and_option_has_a_help_text(command):
    """`--help` says what each word is for."""
    for action in COMMANDS[command]._actions:
        assert action.help or action.metavar in ("FILE", "NAME", "ITEM"), f"{command}: {action.dest} has no help"

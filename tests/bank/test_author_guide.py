"""The author's guide: its examples pass the real check beside the shipped bank, and what it names exists."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from pathlib import Path

from quizsvc.aircraft.flight import BELIEFS, EVENTS
from quizsvc.bank.check import BankText, check_bank
from quizsvc.services import bank_files
from quizsvc.settings import question_bank_folder

GUIDE = (question_bank_folder() / "README.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```yaml\n(.*?)^```", GUIDE, re.MULTILINE | re.DOTALL)
SOURCES = "".join(
    path.read_text(encoding="utf-8") for path in (Path(__file__).parents[2] / "quizsvc" / "bank").rglob("*.py")
)


def checked(texts):
    """The findings of an examples file, checked beside the concepts, aircraft and handbook of the shipped bank."""
    bank = [
        replace(text, text="[]\n") if "/21-" in text.name and text.name.endswith(".yaml") else text
        for text in bank_files.read_folder(question_bank_folder())
    ]
    own = BankText("guide.yaml", "tolquenny-19", "\n".join(texts))
    return check_bank([*bank, own], rng=random.Random(19))


class TestExamples:
    """What the guide shows is what the check takes."""

    def test_one_complete_example_of_each_drilled_kind(self):
        """Kinds are shown once each, in the order of the guide."""
        bank = checked(EXAMPLES)
        assert [finding for finding in bank.findings if finding.file == "guide.yaml"] == []
        assert [item.kind for item in bank.items if item.file == "guide.yaml"] == [
            "one", "some", "number", "order", "match", "gauge", "profile", "still-works", "say", "scenario",
        ]  # fmt: skip

    def test_an_example_with_a_fault_would_be_seen(self):
        """The check above reads the examples and not something beside them."""
        bank = checked([text.replace("way/cabin_down_limit", "way") for text in EXAMPLES])
        assert {finding.reference for finding in bank.faults} == {"bank-answer-dimension"}


class TestNames:
    """Findings that the guide explains are findings of the check."""

    def test_findings_of_the_table_exist(self):
        """Each reference in the first column of the last table stands in the package's source."""
        rows = re.findall(r"^\| (`(?:bank|formula)-[^|]*)\|", GUIDE, re.MULTILINE)
        named = [name for row in rows for name in re.findall(r"`([a-z-]+)`", row)]
        # 'formula-name-unknown' is put together from its parts where it is raised.
        missing = [name for name in named if f'"{name}"' not in SOURCES and name != "formula-name-unknown"]
        assert len(named) >= 15
        assert missing == []

    def test_events_and_changes_of_a_flight_are_all_named(self):
        """What a flight may meet, and each wrong belief that a plot may fly by."""
        section = GUIDE[GUIDE.index("## Kind `profile`") : GUIDE.index("## Kind `still-works`")].split("```")[-1]
        quoted = " ".join(re.findall(r"`([^`]+)`", section))

        assert [event for event in EVENTS if event not in quoted] == []
        for word, values in BELIEFS.items():
            assert f"{word}: " in quoted
            assert [value for value in values if value not in quoted] == []

    def test_guide_is_not_read_as_bank_text(self):
        """The guide lies in the bank's folder and is no file of the bank."""
        names = [text.name for text in bank_files.read_folder(question_bank_folder())]
        assert not [name for name in names if name.endswith("README.md")]

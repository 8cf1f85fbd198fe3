"""The invented learner of the demo answers every question of the shipped bank: its key, or what misses it."""

from __future__ import annotations

import random

import pytest

from quizsvc.bank.check import check_bank
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import compile_item, issue
from quizsvc.services.bank_files import read_folder
from quizsvc.services.demo_responses import response
from tests.bank.bank_texts import SHIPPED


@pytest.fixture(scope="module")
def records():
    """A grading record of every shipped item, of every part of a scenario."""
    bank = check_bank(read_folder(SHIPPED), rng=random.Random(5))
    found = []
    for item in bank.items:
        compiled = compile_item(item.body, bank.aircraft.get(item.folder) if item.uses_aircraft else None)
        record = issue(compiled, random.Random(5)).record
        found += [(item.id, part["record"]) for part in record["parts"]] if "parts" in record else [(item.id, record)]
    return found


def test_who_knows_gives_the_key(records):
    """Full, in every kind and every part of a scenario."""
    rng = random.Random(7)
    for name, record in records:
        sent = response(record, knows=True, rng=rng)
        assert grade(record, read_response(record, sent)).outcome == "full", (name, sent)


def test_who_does_not_know_misses_or_passes(records):
    """Never full, and a pass comes now and then; every kind is among them."""
    rng, passes = random.Random(7), 0
    for name, record in records:
        sent = response(record, knows=False, rng=rng)
        passes += "pass" in sent
        assert grade(record, read_response(record, sent)).outcome != "full", (name, sent)

    assert 0 < passes < len(records) / 3
    assert {record["kind"] for _, record in records} == {
        "one", "some", "number", "order", "match", "still-works", "gauge", "profile", "say",
    }  # fmt: skip

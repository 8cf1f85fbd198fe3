"""What authors see of a drawn question beside its key: what stands behind wrong orders and wrong pairs."""

from __future__ import annotations

import random

from quizsvc.bank.question import compile_item
from quizsvc.services.showing import shown
from tests import kinds_bank
from tests.bank.bank_texts import check


def slips(kind):
    """The named slips of the one item of the kind."""
    bank = check(kinds_bank.items((kind,)), concepts=kinds_bank.concepts((kind,)))
    return shown(compile_item(bank.items[0].body, None), random.Random(1))["slips"]


def test_a_wrong_order_with_its_belief():
    """By the steps' texts."""
    given = "'passenger masks drop' before 'altitude limiters close'"

    assert slips("order") == [{"given": given, "belief": "the limiter stops any climb"}]


def test_a_wrong_pair_with_its_belief():
    """By the texts of both sides."""
    given = "'CPC fails' with 'climbs to aircraft altitude'"

    assert slips("match") == [{"given": given, "belief": "a dead controller opens the valves"}]


def test_options_have_their_beliefs_beside_them():
    """So there is no list of its own."""
    assert slips("one") == []

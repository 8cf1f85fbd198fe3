"""What trials of several services start from."""

from __future__ import annotations

import random

import pytest

from quizsvc.services import banks
from tests import factories


@pytest.fixture
def correct(bank_db, clock, tmp_path):
    """Load the test bank with some of its texts changed."""

    def load(*changes):
        text = factories.AIRCRAFT_ITEMS
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        folder = factories.write_bank(tmp_path / "corrected", extra={"tolquenny-19/items.yaml": text})
        banks.load(bank_db, folder, now=clock(), rng=random.Random(4))

    return load

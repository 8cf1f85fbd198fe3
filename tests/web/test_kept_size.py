"""What a device keeps of the bank that ships: half an hour, in few enough bytes for a slow line."""

from __future__ import annotations

import random
from collections import Counter
from datetime import UTC, datetime

import pytest

from quizsvc.services import banks
from quizsvc.settings import migrations_folder, question_bank_folder
from quizsvc.store import migration
from quizsvc.store.session import Database
from quizsvc.web import api_device
from quizsvc.web.app import create_app
from tests.web.test_api_device import REPLY_BYTES, Device, given

# "Questions that fill 30 minutes": never more, and with items of half a minute to two minutes hardly less.
MINUTES = (28, 30)
PERSONS = 12


@pytest.fixture(scope="module")
def shipped(tmp_path_factory):
    """A database with the bank that ships."""
    db = Database.open(f"sqlite:///{tmp_path_factory.mktemp('shipped') / 'quizsvc.db'}")
    migration.upgrade(db, migrations_folder())
    banks.load(db, question_bank_folder(), now=datetime(2026, 3, 1, tzinfo=UTC), rng=random.Random(19))
    yield db
    db.close()


@pytest.fixture
def app(settings, shipped, clock, chance):
    """The application on it."""
    return create_app(settings, clock=clock, db=shipped, rng=chance)


def post(device, have=()):
    """The reply as bytes and as read."""
    reply = device.client.post(
        "/api/v1/kept-questions", json={"format": 1, "have": list(have)}, headers={"Origin": device.origin}
    )
    return len(reply.get_data()), reply.get_json()


def seconds(kept):
    """Expected working time of what is asked first; whole seconds, so that a sum is the same in any order."""
    return sum(one["seconds"] for one in kept["questions"] if one["spare_of"] is None)


def minutes(kept):
    """The same in minutes."""
    return seconds(kept) / 60


def test_half_an_hour_in_300_000_bytes(app):
    """Twelve persons: the minutes, the bytes, a mix of kinds, no concept twice."""
    kinds = Counter()
    for _ in range(PERSONS):
        size, kept = post(Device(app).begin())
        asked = [one for one in kept["questions"] if one["spare_of"] is None]
        kinds.update(one["kind"] for one in asked)
        assert any(not one["ramp"] for one in asked)
        # What fills most of the bytes is bounded before the bytes are; nothing had to be left out for them.
        assert sum(one["kind"] in ("gauge", "still-works") for one in asked) <= 3

        assert size <= REPLY_BYTES
        assert MINUTES[0] <= minutes(kept) <= MINUTES[1]
        assert len({one["concept"] for one in asked}) == len(asked)
        assert {one["id"] for one in asked if one["kind"] == "number"} == {
            one["spare_of"] for one in kept["questions"] if one["spare_of"]
        }

    assert set(kinds) <= {"one", "some", "match", "order", "still-works", "gauge", "number"}
    assert len(kinds) >= 5


def test_what_does_not_fit_is_left_out_for_every_device(app, monkeypatch):
    """With a fifth of the bytes: the same part of the stock however much a device has of it, and no spare alone."""
    monkeypatch.setattr(api_device, "LARGEST_REPLY", REPLY_BYTES // 5)
    phone = Device(app).begin()
    size, kept = post(phone)
    ids = [one["id"] for one in kept["questions"]]
    assert 0.8 * REPLY_BYTES / 5 < size <= REPLY_BYTES / 5
    assert {one["spare_of"] for one in kept["questions"]} - {None} <= set(ids)

    for have in (ids, ids[:3], ids[3:]):
        _, again = post(phone, have)
        assert again["keep"] == have
        assert [one["id"] for one in again["questions"]] == [one for one in ids if one not in have]


def test_it_is_filled_up_when_it_runs_low(app, clock):
    """Not before twenty minutes are left; then to half an hour again, and what was there stays."""
    phone = Device(app).begin()
    _, kept = post(phone)
    person = kept["person"]
    left = seconds(kept)
    asked = [one for one in kept["questions"] if one["spare_of"] is None]
    while left >= 20 * 60:
        one = asked.pop(0)
        clock.advance(seconds=40)
        phone.send(person, [given(one["id"], {"pass": True})])
        _, again = post(phone)
        left -= one["seconds"]
        if left >= 20 * 60:
            assert {row["id"] for row in again["questions"] if row["spare_of"] is None} == {row["id"] for row in asked}

    assert {row["id"] for row in asked} < {row["id"] for row in again["questions"]}
    assert MINUTES[0] <= minutes(again) <= MINUTES[1]

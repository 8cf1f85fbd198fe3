"""The receipt's text and hash against a text written by hand and the hash that coreutils' sha256sum gives for it."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, datetime, timedelta, timezone

from quizsvc.services.homework_content import Handed, canonical, content_hash

AT = datetime(2026, 3, 2, 9, 0, 5, 250000, tzinfo=UTC)
BY_HAND = (
    '{"answers":[{"item":"dump-bus","position":1,"question":"q1","received_at":"2026-03-02T09:00:05.250000Z",'
    '"response":{"option":"ess"},"sureness":"sure"},{"item":"cabin-climb","position":2,"question":"q2",'
    '"received_at":"2026-03-02T09:00:05.250000Z","response":{"text":"6,500 ft – Höhe"},"sureness":null}],'
    '"format":1,"handed_in_at":"2026-03-02T09:00:05.250000Z","try":2,"work":"w"}'
)
ANSWERS = [
    Handed("q2", 2, "cabin-climb", {"text": "6,500 ft – Höhe"}, None, AT),
    Handed("q1", 1, "dump-bus", {"option": "ess"}, "sure", AT),
]


def test_the_text_is_the_one_written_by_hand():
    """Names sorted, no blanks, answers in the order of their places, text as it is."""
    assert canonical("w", 2, AT, ANSWERS) == BY_HAND


def test_the_zone_in_which_a_time_is_given_does_not_matter():
    """The same instant, the same text."""
    elsewhere = AT.astimezone(timezone(timedelta(hours=-7)))

    assert canonical("w", 2, elsewhere, ANSWERS) == BY_HAND


def test_the_hash_is_what_another_program_makes_of_the_text():
    """`sha256sum`, over UTF-8 without a line end."""
    program = shutil.which("sha256sum")
    assert program, "coreutils is on every Debian"
    told = subprocess.run([program], input=BY_HAND.encode(), capture_output=True, check=True).stdout.decode()

    assert content_hash(BY_HAND) == told.split()[0]

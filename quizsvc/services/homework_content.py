"""What was handed in as one text, and its hash: a receipt that the person can check with any SHA-256 tool."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

__all__ = ["FORMAT", "Handed", "canonical", "content_hash", "instant"]

FORMAT = 1


@dataclass(frozen=True)
class Handed:
    """One question's answer as handed in; `raw` is what the client sent, empty where nothing was given."""

    question: str
    position: int
    item: str
    raw: Mapping[str, Any]
    sureness: str | None
    received_at: datetime


def canonical(work_id: str, number: int, handed_in_at: datetime, answers: Iterable[Handed]) -> str:
    """The text of what was handed in: JSON with sorted names, without blanks, in the order of the questions."""
    content = {
        "format": FORMAT,
        "work": work_id,
        "try": number,
        "handed_in_at": instant(handed_in_at),
        "answers": [
            {
                "question": one.question,
                "position": one.position,
                "item": one.item,
                "response": one.raw,
                "sureness": one.sureness,
                "received_at": instant(one.received_at),
            }
            for one in sorted(answers, key=lambda one: one.position)
        ],
    }
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def content_hash(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes, 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def instant(at: datetime) -> str:
    """A time in UTC to the microsecond, as both databases keep it: `2026-03-02T09:00:00.000000Z`."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

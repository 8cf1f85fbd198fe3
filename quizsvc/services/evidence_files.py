"""An evidence sheet as CSV and as JSON; HTML is made where the templates are."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from quizsvc.services.csv_files import written
from quizsvc.services.evidence import HomeworkLine, Sheet, SystemLine

__all__ = ["as_csv", "as_json"]

_COLUMNS = (
    "of", "name", "state", "last", "concepts touched", "concepts in use", "items touched", "expected", "low", "high",
    "out of", "mark", "tries", "revisions", "sha256", "caution",
)  # fmt: skip


def as_csv(found: Sheet, cautions: Mapping[str, str]) -> bytes:
    """Comma-separated, UTF-8 with its mark: the cautions, the head, then a line for each system and assignment.

    Each line carries the last caution again, so that a line copied out of the file is still no proof of anything.
    """
    short = cautions.get("C4", "")
    lines: list[Sequence[Any]] = [
        [f"{found.title} ({found.zone})"],
        *([text] for text in cautions.values()),
        *([f"Missing: {text}"] for text in found.missing),
        _COLUMNS,
    ]
    if found.expected is not None and found.expected_day is not None:
        one = found.expected
        lines.append(
            ["expectation", f"all systems on {found.expected_day}", found.expectation, "", "", "", "",
             one.expected, one.low, one.high, one.of, "", "", "", "", short]
        )  # fmt: skip
    lines += [[*_system(system, found.expectation), short] for system in found.systems]
    lines += [[*_homework(work), short] for work in found.homework]
    return written(lines)


def _system(one: SystemLine, expectation: str) -> list[Any]:
    share = one.expectation
    return [
        "system",
        one.system,
        "never practised" if one.last is None else "practised",
        one.last or "",
        one.concepts,
        one.of_concepts,
        one.items,
        *((share.expected, share.low, share.high, share.of) if share is not None else (expectation, "", "", "")),
        "",
        "",
        "; ".join(map(str, one.revisions)),
        "",
    ]


def _homework(one: HomeworkLine) -> list[Any]:
    at = one.handed_in_at
    return [
        "homework",
        f"{one.title}, {one.group}",
        one.state,
        "" if at is None else at.astimezone(ZoneInfo(one.zone)).isoformat(sep=" ", timespec="seconds"),
        "", "", one.questions, "", "", "", "",
        one.mark or "",
        one.tries,
        "; ".join(map(str, one.revisions)),
        one.sha256 or "",
    ]  # fmt: skip


def as_json(found: Sheet, cautions: Mapping[str, str]) -> bytes:
    """The sheet as JSON, UTF-8; times are UTC, days are those of the person's zone."""
    body = asdict(found)
    for left_out in ("kept", "caution_ids", "person_id", "what"):
        del body[left_out]
    whole = {"format": 1, "title": found.title, "cautions": dict(cautions), **body}
    return json.dumps(whole, ensure_ascii=False, indent=1, default=_plain).encode()


def _plain(value: Any) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()
    raise TypeError(f"no plain value: {value!r}")

"""The head of training's list: everybody with an account, when they practised last, how much they handed in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from quizsvc.services import csv_files, school_access
from quizsvc.store import evidence, people
from quizsvc.store.session import Database, Session

__all__ = ["A_PAGE", "TrainingLine", "TrainingPage", "as_csv", "listed"]

A_PAGE = 100


@dataclass(frozen=True)
class TrainingLine:
    """A person in the list. `last` is None where they never practised; `handed_in` counts assignments."""

    person_id: int
    name: str
    groups: tuple[str, ...]
    last: datetime | None
    handed_in: int


@dataclass(frozen=True)
class TrainingPage:
    """Some of the list, by name: page `page` of `pages`, of `total` people whose name or group has the words in it."""

    words: str
    lines: tuple[TrainingLine, ...]
    total: int
    page: int
    pages: int


def listed(db: Database, by: int, *, words: str = "", page: int | None = 1) -> TrainingPage:
    """One page of the list; a page after the last is the last. With None for `page` all of it.

    Raises
    ------
    NotFoundError
        The person is no head of training.
    """
    with db.reading() as session:
        school_access.require_head(session, by)
        return _page(session, words, page)


def as_csv(db: Database, by: int, cautions: Mapping[str, str], *, words: str = "", now: datetime) -> bytes:
    """The whole list as a file, after the cautions; each line carries C4 again, since lines are copied one by one.

    Times are those of the reader's zone.

    Raises
    ------
    NotFoundError
        The person is no head of training.
    """
    with db.reading() as session:
        school_access.require_head(session, by)
        reader = people.by_id(session, by)
        assert reader is not None  # has a role
        zone = ZoneInfo(reader.time_zone)
        found = _page(session, words, None)
    short = cautions.get("C4", "")
    of = f", name or group with: {words}" if words else ""
    lines: list[list[Any]] = [
        [f"Training on {_time(now, zone)} ({zone}){of}"],
        *([text] for text in cautions.values()),
        ["name", "groups", "last practised", "homework handed in", "caution"],
    ]
    lines += [
        [one.name, "; ".join(one.groups), _time(one.last, zone) if one.last else "", one.handed_in, short]
        for one in found.lines
    ]
    return csv_files.written(lines)


def _page(session: Session, words: str, page: int | None) -> TrainingPage:
    groups, wanted = evidence.groups_of(session), words.casefold()
    found = [
        (person_id, name)
        for person_id, name in evidence.accounts(session)
        if wanted in name.casefold() or any(wanted in group.casefold() for group in groups.get(person_id, ()))
    ]
    pages = max(1, math.ceil(len(found) / A_PAGE)) if page is not None else 1
    page = min(max(1, page), pages) if page is not None else None
    some = found if page is None else found[(page - 1) * A_PAGE : page * A_PAGE]
    # Of a page only its people are asked for; of the whole list everybody, in one go.
    ids = None if page is None else [person_id for person_id, _ in some]
    last, handed_in = evidence.last_practised(session, ids), evidence.handed_in(session, ids)
    return TrainingPage(
        words=words,
        lines=tuple(
            TrainingLine(
                person_id, name, tuple(groups.get(person_id, ())), last.get(person_id), handed_in.get(person_id, 0)
            )
            for person_id, name in some
        ),
        total=len(found),
        page=page or 1,
        pages=pages,
    )


def _time(at: datetime, zone: ZoneInfo) -> str:
    return at.astimezone(zone).isoformat(sep=" ", timespec="seconds")

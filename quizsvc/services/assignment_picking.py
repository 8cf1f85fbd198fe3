"""Picking what an assignment asks: by concept, kind, demand and count, or item by item."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from quizsvc.errors import InputError
from quizsvc.services import assignments as verbs
from quizsvc.services import school_access
from quizsvc.services.assignment_items import Criteria, Picking, PickItem, offered, picking_in
from quizsvc.store import assignments
from quizsvc.store.session import Database, Session
from quizsvc.store.tables import Assignment, Group

__all__ = ["MOST_PLACES", "catalogue", "make_and_pick", "move_item", "pick", "picking_of", "place_items", "remove_item"]

MOST_PLACES = 60


def catalogue(db: Database, person_id: int, group_id: int) -> Picking:
    """What a new assignment of a group could ask.

    Raises
    ------
    NotFoundError
        No such group, or not theirs to instruct.
    """
    with db.reading() as session:
        group = school_access.group_for_instructor(session, person_id, group_id)
        return picking_in(session, group, None)


def picking_of(db: Database, person_id: int, assignment_id: int) -> Picking:
    """What an assignment asks, and what it could.

    Raises
    ------
    NotFoundError
        No such assignment, or not theirs.
    """
    with db.reading() as session:
        assignment, group = school_access.assignment_for_instructor(session, person_id, assignment_id)
        return picking_in(session, group, assignment)


def make_and_pick(
    db: Database, person_id: int, group_id: int, title: str, criteria: Criteria, *, now: datetime, rng: Any
) -> int:
    """Make a draft and pick for it in one go; returns its id. Where nothing fits, nothing is made.

    Raises
    ------
    NotFoundError
        No such group, or not theirs to instruct.
    InputError
        A title that cannot be taken, or nothing that fits.
    """
    with db.writing() as session:
        group = school_access.group_for_instructor(session, person_id, group_id)
        made = verbs.make_in(session, group, person_id, title, now)
        _pick(session, made, group, criteria, now, rng)
        return made.id


def pick(
    db: Database,
    person_id: int,
    assignment_id: int,
    version: int,
    criteria: Criteria,
    *,
    now: datetime,
    rng: Any,
) -> int:
    """Add items that fit, spread over their concepts; returns how many were found.

    Within a concept those with own numbers come first, then what practice never asks, then what nobody here has met.
    Beside the errors of `assignments.for_change` an InputError says that nothing fits that is not picked already, or
    that it is released.
    """
    with db.writing() as session:
        assignment, group = _draft(session, person_id, assignment_id, version)
        return _pick(session, assignment, group, criteria, now, rng)


def _pick(session: Session, assignment: Assignment, group: Group, criteria: Criteria, now: datetime, rng: Any) -> int:
    if not isinstance(criteria.count, int) or not 1 <= criteria.count <= MOST_PLACES:
        raise InputError("count-range", f"{criteria.count} items", where="count", mend=f"from 1 to {MOST_PLACES} items")
    placed = _placed(session, assignment)
    taken = {item for item, _ in placed}
    fitting = [one for one in criteria.of(offered(session, group)) if one.id not in taken]
    if not fitting:
        raise InputError(
            "pick-empty",
            "no item fits that is not picked already",
            where="count",
            mend="name more concepts or other words, or leave kind and demand open",
        )
    found = _spread(fitting, criteria.count, rng)
    _place(session, assignment, [*placed, *((one.id, one.revision_id) for one in found)], now)
    return len(found)


def place_items(
    db: Database, person_id: int, assignment_id: int, version: int, items: Sequence[str], *, now: datetime
) -> int:
    """Add items by their ids, in this order; returns how many were new.

    Beside the errors of `pick` an InputError says that none is named, or one that cannot be asked.
    """
    with db.writing() as session:
        assignment, group = _draft(session, person_id, assignment_id, version)
        placed = _placed(session, assignment)
        known = {one.id: one for one in offered(session, group)}
        wanted = list(dict.fromkeys(items))
        if not wanted:
            raise InputError("items-missing", "no item is named", where="items", mend="tick at least one")
        unknown = [item for item in wanted if item not in known]
        if unknown:
            raise InputError(
                "item-unknown",
                f"'{str(unknown[0])[:80]}' cannot be asked here",
                where="items",
                mend="choose one of the list: live, undisputed, of this group's aircraft",
            )
        taken = {item for item, _ in placed}
        new = [known[item] for item in wanted if item not in taken]
        if new:
            _place(session, assignment, [*placed, *((one.id, one.revision_id) for one in new)], now)
        return len(new)


def remove_item(db: Database, person_id: int, assignment_id: int, version: int, item_id: str, *, now: datetime) -> None:
    """Take an item out again; one that is not in it changes nothing. The errors are those of `pick`."""
    with db.writing() as session:
        assignment, _ = _draft(session, person_id, assignment_id, version)
        placed = _placed(session, assignment)
        left = [(item, revision) for item, revision in placed if item != item_id]
        if len(left) < len(placed):
            _place(session, assignment, left, now)


def move_item(
    db: Database, person_id: int, assignment_id: int, version: int, item_id: str, *, by: int, now: datetime
) -> int | None:
    """Move an item so many places down, or up where `by` is negative; returns its place then, counted from 1.

    At either end it stays; one that is not in the assignment gives None. The errors are those of `pick`.
    """
    with db.writing() as session:
        assignment, _ = _draft(session, person_id, assignment_id, version)
        placed = _placed(session, assignment)
        was = next((place for place, (item, _) in enumerate(placed) if item == item_id), None)
        if was is None:
            return None
        to = min(max(was + by, 0), len(placed) - 1)
        if to != was:
            placed.insert(to, placed.pop(was))
            _place(session, assignment, placed, now)
        return to + 1


def _draft(session: Session, person_id: int, assignment_id: int, version: int) -> tuple[Assignment, Group]:
    found = verbs.for_change(session, person_id, assignment_id, version)
    if found[0].state != "draft":
        raise InputError(
            "items-fixed",
            "its items are fixed since its release",
            where="items",
            mend="take it back first, if nobody has begun; else make a new assignment",
        )
    return found


def _placed(session: Session, assignment: Assignment) -> list[tuple[str, int]]:
    return [(place.item_id, place.revision_id) for place in assignments.places(session, assignment.id)]


def _place(session: Session, assignment: Assignment, placed: Sequence[tuple[str, int]], now: datetime) -> None:
    """Write the places; what was drawn for a preview is of other items, and goes."""
    if len(placed) > MOST_PLACES:
        raise InputError(
            "places-full", f"{len(placed)} items in one assignment", where="count", mend=f"at most {MOST_PLACES}"
        )
    assignments.forget_draws(session, assignment.id)
    assignments.set_places(session, assignment.id, placed)
    verbs.touch(assignment, now)


def _spread(fitting: Sequence[PickItem], count: int, rng: Any) -> list[PickItem]:
    """So many items, from each concept in turn, the better ones of it first; equals in a drawn order."""
    by_concept: OrderedDict[str, list[PickItem]] = OrderedDict()
    for one in sorted(fitting, key=lambda one: (one.rank, rng.random())):
        by_concept.setdefault(one.concept, []).append(one)
    found: list[PickItem] = []
    while len(found) < count and by_concept:
        # A round takes the best of each concept; where it is the last round, those with the better items.
        for concept in sorted(by_concept, key=lambda concept: by_concept[concept][0].rank):
            found.append(by_concept[concept].pop(0))
            if not by_concept[concept]:
                del by_concept[concept]
    order = {one.id: place for place, one in enumerate(fitting)}
    return sorted(found[:count], key=lambda one: order[one.id])

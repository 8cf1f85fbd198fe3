"""What the bank desk shows a reviewer who also writes: another's draft, an own one with faults, a revision."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quizsvc.services import desk_items, handbook_revisions
from tests.services import school
from tests.services.desk_texts import RUDDER


def desk_addresses(db: Any, reviewer: int, now: datetime) -> dict[str, str]:
    """On the bank that has every kind; the revision takes one item of it out of use."""
    author = school.person(db, "Wenna Astley", "item author", now=now)
    text = RUDDER.replace("D-BUS", "K-ONE").replace("24-10", "21-10")
    desk_items.start(db, author, folder="tolquenny-19", text=text, now=now)
    own = text.replace("school-essential-bus", "school-own").replace("K-ONE", "K-ONES")
    desk_items.start(db, reviewer, folder="tolquenny-19", text=own, now=now)
    # No item of that bank cites this section, so the drill of the other screens stays as it is.
    number = handbook_revisions.record(
        db, reviewer, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=now
    )
    return {
        "desk item": "/bank-desk/items/school-essential-bus",
        "own desk item": "/bank-desk/items/school-own",
        "handbook": f"/bank-desk/handbook/{number}",
    }

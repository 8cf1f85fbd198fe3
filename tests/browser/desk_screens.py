"""What the bank desk shows a reviewer who also writes: drafts of others, an own one sent back, a revision."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quizsvc.services import accounts, desk_items, desk_steps, handbook_revisions
from tests.services import school
from tests.services.desk_doing import put_into_use
from tests.services.desk_texts import RUDDER


def desk_addresses(db: Any, reviewer: int, now: datetime) -> dict[str, str]:
    """On the bank that has every kind; the revision takes one item of the desk out of use."""
    author = school.person(db, "Wenna Astley", "item author", now=now)
    text = RUDDER.replace("D-BUS", "K-ONE").replace("24-10", "21-10")
    desk_items.start(db, author, folder="tolquenny-19", text=text, now=now)
    own = text.replace("school-essential-bus", "school-own").replace("K-ONE", "K-ONES")
    desk_items.start(db, reviewer, folder="tolquenny-19", text=own, now=now)
    second = school.person(db, "Tamsin Orme", "reviewer", now=now)
    desk_steps.send_back(db, second, "school-own", version=1, words="Which switch is meant?", now=now)
    left = school.person(db, "Corin Peverell", "item author", now=now)
    for item, by in (("school-withdrawn", author), ("school-again", author), ("school-left", left)):
        mine = text.replace("school-essential-bus", item)
        mine = mine.replace("21-10", "24-10") if item == "school-again" else mine
        desk_items.start(db, by, folder="tolquenny-19", text=mine, now=now)
    for item in ("school-withdrawn", "school-again"):
        put_into_use(db, lambda: now, second, item, homework_only=True)
    desk_steps.withdraw(db, second, "school-withdrawn", version=3, reason="Gone from the handbook.", now=now)
    accounts.delete_account(db, left, now=now)
    # No item of that bank cites this section, so the drill of the other screens stays as it is.
    number = handbook_revisions.record(
        db, reviewer, folder="tolquenny-19", name="Revision 7", sections=["24-10"], now=now
    )
    return {
        "desk item": "/bank-desk/items/school-essential-bus",
        "own desk item": "/bank-desk/items/school-own",
        "withdrawn desk item": "/bank-desk/items/school-withdrawn",
        "desk item out of use": "/bank-desk/items/school-again",
        "desk item left behind": "/bank-desk/items/school-left",
        "handbook": f"/bank-desk/handbook/{number}",
    }

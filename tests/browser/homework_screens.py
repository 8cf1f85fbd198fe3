"""A student's homework in every state that a screen shows, and its addresses."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from quizsvc.services import handing_in, homework
from quizsvc.services.homework_views import WorkView
from quizsvc.store.tables import Question
from tests.services.assigned import add_assignment, add_group
from tests.web.keys import wrong


def homework_addresses(db: Any, person_id: int, now: datetime) -> dict[str, str]:
    """One that is begun, one not, one over, one handed in and not told, one told."""
    early = now - timedelta(days=3)
    group = add_group(db, lambda: early, students=[person_id])
    rng = random.Random(19)

    def assign(title: str, items: list[str], **rules: Any) -> int:
        times = {"opens_at": early, "closes_at": now + timedelta(days=4)}
        return add_assignment(db, lambda: early, group, items, title=title, **(times | rules))

    def begun(assignment: int) -> WorkView:
        return homework.begin(db, person_id, assignment, now=early, rng=rng)

    def draft(work: WorkView, question: str, raw: dict[str, Any]) -> None:
        homework.save_draft(db, person_id, work.id, question, raw=raw, sureness="think", version=1, now=early)

    kinds = ["asked-as-number", "asked-as-match", "asked-as-scenario"]
    begun_id = assign("Bleed air", kinds, tries=2)
    work = begun(begun_id)
    number, match, first_part, *_ = (one.id for one in work.questions)
    draft(work, number, {"text": "many"})
    draft(work, first_part, {"text": "6,900"})
    found = {
        "begun": f"/homework/{begun_id}",
        "not begun": f"/homework/{assign('A Sitting', kinds, sitting_minutes=40)}",
        "over": f"/homework/{assign('Never begun', kinds, closes_at=now - timedelta(days=1))}",
        "work": f"/works/{work.id}",
        "number": f"/works/{work.id}/questions/{number}",
        "match": f"/works/{work.id}/questions/{match}",
        "part": f"/works/{work.id}/questions/{work.questions[3].id}",
        "all": f"/works/{work.id}/all",
        "hand in": f"/works/{work.id}/hand-in",
    }
    for name, feedback in (("handed in", "after closing"), ("told", "with the mark")):
        done = begun(assign(f"All about it, {name}", kinds, feedback=feedback))
        with db.reading() as session:
            kept = session.scalars(sa.select(Question.id).where(Question.work_id == done.id)).all()
        for question in kept:
            draft(done, question, wrong(db, question))
        handing_in.hand_in(db, person_id, done.id, anyway=True, device_at=early, now=early)
        found[f"work {name}"] = f"/works/{done.id}"
        found["feedback"] = f"/works/{done.id}/questions/{done.questions[1].id}"
        found["receipt"] = f"/works/{done.id}/receipt"
    return found

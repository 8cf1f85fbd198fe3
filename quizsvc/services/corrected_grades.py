"""The grade that an answer gets when its item was judged faulty: by the corrected text on the stored draw, or void."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.bank.corrected import corrected, why_not
from quizsvc.bank.grade import grade, read_response
from quizsvc.bank.question import followed
from quizsvc.errors import InputError
from quizsvc.services.compiled import Compiled, compiled_in
from quizsvc.services.question_views import marks_stored
from quizsvc.store import bank
from quizsvc.store.session import Session

__all__ = ["CORRECTED", "HOWS", "VOID", "VOID_REASON", "Judge", "same"]

CORRECTED, VOID = HOWS = ("corrected", "void")
VOID_REASON = "the item was judged faulty"


@dataclass(frozen=True)
class Judge:
    """By what an answer to a faulty revision is judged: the corrected one; `only_void` says why there is none."""

    number: int | None
    revision: Compiled | None
    only_void: str | None

    @classmethod
    def of(cls, session: Session, item_id: str, revision_id: int) -> Judge:
        """For answers to a revision of an item, as the bank stands now."""
        item = bank.item(session, item_id)
        assert item is not None  # a foreign key
        old, new = bank.revision(session, revision_id), bank.revision(session, item.revision_id)
        if old.id == new.id:
            return cls(None, None, "no corrected text of it has been loaded")
        if item.withdrawn_at is not None or item.status != "live":
            return cls(None, None, "its newest text is not in use")
        revision = compiled_in(session, new.hash, new.id)
        reason = why_not(compiled_in(session, old.hash, old.id).body, revision.body)
        return cls(None, None, reason) if reason else cls(new.number, revision, None)

    def grade_of(self, row: Any, how: str) -> dict[str, Any]:
        """The columns of the grade that an answer gets; `row` has its response and the stored draw."""
        if how == VOID or self.revision is None:
            return _void(VOID_REASON)
        found = corrected(self.revision.item, row.drawn, row.option_order, row.part)
        if found.record is None:
            return _void(f"{VOID_REASON}: {found.why_not}")
        record = found.record
        response: Mapping[str, Any] = row.response
        if record.get("earlier") and response.get("earlier"):
            record = followed(self.revision.item, row.part, row.drawn, record, response["earlier"])
        if not response.get("pass"):
            try:
                read_response(record, row.raw)
            except InputError:
                return _void(f"{VOID_REASON}: the corrected text does not take this answer")
        judged = grade(record, response)
        return {
            "outcome": judged.outcome,
            "credit": judged.credit,
            "void_reason": None,
            "trap": judged.trap,
            "belief": judged.belief,
            "remark": judged.remark,
            "read_back": judged.read_back,
            "marks": [*marks_stored(judged), {"judged_by": record}],
        }


def _void(reason: str) -> dict[str, Any]:
    return {
        "outcome": "void",
        "credit": 0.0,
        "void_reason": reason,
        "trap": None,
        "belief": None,
        "remark": None,
        "read_back": None,
        "marks": [],
    }


def same(row: Any, new: Mapping[str, Any]) -> bool:
    """Whether an answer has this grade already."""
    return all(getattr(row, name) == new[name] for name in ("outcome", "credit", "void_reason", "marks"))

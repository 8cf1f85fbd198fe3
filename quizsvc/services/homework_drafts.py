"""A draft: checked for its bounds, and kept where none of a higher number stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import ConflictError, InputError
from quizsvc.services import edge
from quizsvc.services.clocks import effective_time
from quizsvc.services.homework_reading import draft_view, said_in, unreadable
from quizsvc.services.homework_views import SavedDraft
from quizsvc.store.session import Session
from quizsvc.store.tables import DraftResponse
from quizsvc.store.tables_practice import SURENESS

__all__ = ["GREATEST_VERSION", "CheckedDraft", "checked", "keep_in", "sureness_word"]

GREATEST_VERSION = 10**6


@dataclass(frozen=True)
class CheckedDraft:
    """What stands in a question's fields, within bounds."""

    raw: dict[str, Any]
    sureness: str | None
    version: int


def checked(raw: Mapping[str, Any], sureness: str | None, version: int) -> CheckedDraft:
    """A draft whose values are within bounds.

    Raises
    ------
    InputError
        A value is out of bounds.
    """
    sureness_word(sureness)
    if not isinstance(raw, Mapping):
        raise InputError("response-unreadable", "the response is not an object", where="response", mend="send one")
    if not (isinstance(version, int) and 1 <= version <= GREATEST_VERSION):
        raise InputError(
            "draft-version", f"a draft of number {version}", where="version", mend=f"from 1 to {GREATEST_VERSION}"
        )
    return CheckedDraft(edge.storable(dict(raw), "response"), sureness, version)


def keep_in(
    session: Session,
    row: Any,
    draft: CheckedDraft,
    *,
    given_at: datetime | None = None,
    sent_at: datetime | None = None,
    now: datetime,
) -> SavedDraft:
    """Keep a draft of a question that is shown to its person, whose learner row is locked and whose work takes it.

    Raises
    ------
    ConflictError
        The question is answered for good.
    """
    if row.answer_id is not None:
        raise ConflictError(
            "answer-fixed", "this question is answered for good", where="question", mend="go on to the next one"
        )
    stored = session.get(DraftResponse, row.id)
    if stored is not None and stored.version >= draft.version:
        same = (stored.version, stored.raw, stored.sureness) == (draft.version, draft.raw, draft.sureness)
        return SavedDraft(same, draft_view(stored), said=said_in(session, row, stored.raw))
    if stored is None:
        stored = DraftResponse(question_id=row.id)
        session.add(stored)
    stored.version, stored.raw, stored.sureness, stored.saved_at = draft.version, draft.raw, draft.sureness, now
    # A phone's clock may be wrong by days: what counts is how long before its sending the answer was given.
    stored.given_at = effective_time(issued_at=row.issued_at, received_at=now, given_at=given_at, sent_at=sent_at)
    return SavedDraft(True, draft_view(stored), problem=unreadable(row, draft.raw))


def sureness_word(given: str | None) -> None:
    """Refuse what is no word for sureness.

    Raises
    ------
    InputError
        It is none.
    """
    if given not in (None, *SURENESS):
        raise InputError(
            "sureness-unknown",
            f"'{str(given)[:40]}' is no word for sureness",
            where="sureness",
            mend=f"one of: {', '.join(SURENESS)}, or leave it out",
        )

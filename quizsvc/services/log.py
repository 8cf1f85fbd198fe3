"""The Log of answers: everything a person answered, newest first."""

from __future__ import annotations

import math
from typing import Any

from quizsvc.bank.question import present
from quizsvc.errors import InputError
from quizsvc.services import edge, older_handbooks
from quizsvc.services.compiled import compiled_in
from quizsvc.services.question_views import said
from quizsvc.services.system_names import system_names
from quizsvc.services.views import LogPage, LogRow
from quizsvc.store import answers as log_store
from quizsvc.store import bank
from quizsvc.store.session import Database, Session
from quizsvc.store.tables_practice import OUTCOMES

ROWS_A_PAGE = 25


def answers(
    db: Database, person_id: int, *, page: int = 1, system: str | None = None, outcome: str | None = None
) -> LogPage:
    """One page of a person's log; `system` and `outcome` narrow it down. A page after the last is the last.

    A system goes by what it is called here; by its plain name, of two aircraft that both have it.

    Raises
    ------
    InputError
        An outcome that is none.
    """
    if outcome is not None and outcome not in OUTCOMES:
        raise InputError(
            "outcome-unknown",
            f"'{str(outcome)[:40]}' is not an outcome",
            where="outcome",
            mend=f"one of: {', '.join(OUTCOMES)}",
        )
    if system is not None:
        system = edge.text(system, "system", longest=100)
    with db.reading() as session:
        names = system_names(session, log_store.systems_answered(session, edge.row_id(person_id, "person")))
        systems = None if system is None else [one for one, name in names.items() if system in (name, one[1])]
        total = log_store.count_rows(session, person_id, systems=systems, outcome=outcome)
        pages = max(1, math.ceil(total / ROWS_A_PAGE))
        page = min(max(1, page), pages)
        rows = log_store.log_rows(
            session, person_id, systems=systems, outcome=outcome, offset=(page - 1) * ROWS_A_PAGE, limit=ROWS_A_PAGE
        )
        return LogPage(
            # An answer that arrived since the names were read may be the first of its system.
            rows=tuple(_row(session, row, names.get((row.folder, row.system), row.system)) for row in rows),
            page=page,
            pages=pages,
            total=total,
            systems=tuple(names.values()),
        )


def _row(session: Session, row: Any, system: str) -> LogRow:
    shown = _shown(session, row)
    return LogRow(
        answer_id=row.id,
        question_id=row.question_id,
        given_at=row.effective_at,
        concept=row.concept_id,
        concept_title=row.concept_title,
        system=system,
        kind=row.kind,
        stem=shown.stem,
        typed=said(row.raw, shown) or "pass",
        outcome=row.outcome,
        void_reason=row.void_reason,
        sureness=row.sureness,
        revision_number=row.revision_number,
        repeat=row.repeat_of is not None,
        offline=row.offline,
        device_outcome=row.device_outcome,
        older=older_handbooks.of_row(session, row),
    )


def exported(session: Session, row: Any) -> dict[str, Any]:
    """One answer as a flat row of the own export."""
    shown = _shown(session, row)
    older = older_handbooks.of_row(session, row)
    return {
        "answer": row.id,
        "given_at": row.effective_at.isoformat(),
        "received_at": row.received_at.isoformat(),
        "concept": row.concept_id,
        "concept_title": row.concept_title,
        "system": row.system,
        "item": row.item_id,
        "revision": row.revision_number,
        "kind": row.kind,
        "question": shown.stem,
        "answered": said(row.raw, shown) or "pass",
        "outcome": row.outcome,
        "credit": row.credit,
        "void_reason": row.void_reason,
        "sureness": row.sureness,
        "repeat": row.repeat_of is not None,
        "offline": row.offline,
        "device_outcome": row.device_outcome,
        "older_handbook": older.put_into(bank.all_cautions(session)[older.id].text) if older is not None else None,
    }


def _shown(session: Session, row: Any) -> Any:
    revision = compiled_in(session, bank.revision(session, row.revision_id).hash, row.revision_id)
    return present(revision.item, row.drawn, row.option_order, part=row.part)

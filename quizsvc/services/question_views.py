"""From stored rows to what a question's page shows. No key leaves before there is an answer."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from quizsvc.bank.grade import worked
from quizsvc.bank.question import Presented, present
from quizsvc.physics.atmosphere import pressure
from quizsvc.physics.units import from_si, to_si
from quizsvc.services.compiled import Compiled
from quizsvc.services.views import FeedbackView, MarkView, OptionView, QuestionView

LOWEST_FT, HIGHEST_FT, STEP_FT = -2000, 41000, 1000


@lru_cache(maxsize=1)
def pressure_card() -> tuple[tuple[int, float], ...]:
    """The card of items that allow a table: ISA pressure, psi to two decimals, at each 1,000 ft."""
    return tuple(
        (altitude_ft, round(from_si(pressure(to_si(altitude_ft, "ft")), "psi"), 2))
        for altitude_ft in range(LOWEST_FT, HIGHEST_FT + 1, STEP_FT)
    )


def question_view(
    row: Any, revision: Compiled, *, feedback: FeedbackView | None, shown: Presented | None = None
) -> QuestionView:
    """A question as shown; `row` has the columns of `store.questions.SHOWN_COLUMNS`.

    `shown` is the question as `present` gave it, where the caller has it already.
    """
    shown = shown or present(revision.item, row.drawn, row.option_order)
    section = row.handbook if row.handbook_title else None
    return QuestionView(
        id=row.id,
        set_id=row.set_id,
        position=row.position,
        count=row.count,
        item=row.item_id,
        item_disputed=bool(row.disputed),
        kind=row.kind,
        concept=row.concept_id,
        concept_title=row.concept_title,
        system=row.system,
        stem=shown.stem,
        options=tuple(OptionView(option.id, option.text) for option in shown.options),
        unit=shown.unit,
        how=shown.how,
        pressure_card=pressure_card() if shown.pressure_card else (),
        caution_ids=tuple(shown.cautions),
        handbook_aircraft=row.folder if section else None,
        handbook_section=section,
        handbook_title=row.handbook_title,
        repeat=row.repeat_of is not None,
        reason=row.reason,
        withdrawn=row.withdrawn_at is not None,
        feedback=feedback,
        cite_source=revision.cite_source,
        cite_read_on=revision.cite_read_on,
    )


def feedback_view(row: Any, shown: Presented, record: dict[str, Any]) -> FeedbackView:
    """What an answered question shows; `row` has the columns of the answer and its grade."""
    texts = {option.id: option.text for option in shown.options}
    working = worked(record)
    return FeedbackView(
        outcome=row.outcome,
        credit=row.credit,
        void_reason=row.void_reason,
        sureness=row.sureness,
        read_back=row.read_back,
        typed=typed(row.raw, texts),
        key_shown=working.key_shown,
        accepted_shown=working.accepted_shown or None,
        belief=row.belief,
        remark=row.remark,
        why=working.why,
        lines=tuple(working.lines),
        marks=tuple(
            MarkView(
                id=mark["id"],
                text=texts.get(mark["id"], mark["id"]),
                picked=mark["picked"],
                key=mark["key"],
                belief=mark["belief"],
            )
            for mark in row.marks
        ),
        given_at=row.effective_at,
    )


def typed(raw: Any, texts: dict[str, str]) -> str | None:
    """What the person sent, in words: the number as typed, the options by their texts."""
    if not isinstance(raw, dict) or raw.get("pass"):
        return None
    if "text" in raw:
        return raw["text"]
    if "option" in raw:
        return texts.get(raw["option"], raw["option"])
    if "options" in raw:
        return "; ".join(texts.get(option, option) for option in raw["options"]) or "none of them"
    return None

"""From stored rows to what a question's page shows. No key leaves before there is an answer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

from quizsvc.bank.grade import Graded, worked
from quizsvc.bank.question import Option, Presented, followed, present
from quizsvc.physics.atmosphere import pressure
from quizsvc.physics.units import from_si, to_si
from quizsvc.services.compiled import Compiled
from quizsvc.services.views import CitesOlder, FeedbackView, MarkView, OptionView, QuestionView, ReadingView, RowView

LOWEST_FT, HIGHEST_FT, STEP_FT = -2000, 41000, 1000


@lru_cache(maxsize=1)
def pressure_card() -> tuple[tuple[int, float], ...]:
    """The card of items that allow a table: ISA pressure, psi to two decimals, at each 1,000 ft."""
    return tuple(
        (altitude_ft, round(from_si(pressure(to_si(altitude_ft, "ft")), "psi"), 2))
        for altitude_ft in range(LOWEST_FT, HIGHEST_FT + 1, STEP_FT)
    )


def shown_to(row: Any, revision: Compiled, *, spoken: bool = False) -> Presented:
    """The question as its person sees it; `row` has the columns of `store.questions.SHOWN_COLUMNS`."""
    return present(revision.item, row.drawn, row.option_order, part=row.part, spoken=spoken)


def judged_by(row: Any, revision: Compiled, own: Mapping[str, float]) -> dict[str, Any]:
    """The record that an answer is judged by: the frozen one, or worked with the person's own earlier answers."""
    record: dict[str, Any] = row.record
    return followed(revision.item, row.part, row.drawn, record, own) if record.get("earlier") and own else record


def withheld(row: Any) -> bool:
    """Whether the feedback of an answered question waits for the last part of its scenario."""
    return bool(row.chain_open) and not row.record.get("reveal")


def question_view(
    row: Any,
    revision: Compiled,
    *,
    feedback: FeedbackView | None,
    shown: Presented | None = None,
    older: CitesOlder | None = None,
) -> QuestionView:
    """A question as shown; `row` has the columns of `store.questions.SHOWN_COLUMNS`.

    `shown` is the question as `present` gave it, where the caller has it already; `older` is what
    `older_handbooks.of_row` says of a row whose revision was withdrawn.
    """
    shown = shown or shown_to(row, revision)
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
        options=_options(shown.options),
        unit=shown.unit,
        how=shown.how,
        pressure_card=pressure_card() if shown.pressure_card else (),
        caution_ids=(*shown.cautions, *((older,) if older is not None else ())),
        handbook_aircraft=row.folder if section else None,
        handbook_section=section,
        handbook_title=row.handbook_title,
        repeat=row.repeat_of is not None,
        reason=row.reason,
        withdrawn=row.withdrawn_at is not None,
        feedback=feedback,
        cite_source=revision.cite_source,
        cite_read_on=revision.cite_read_on,
        lefts=_options(shown.lefts),
        rows=_options(shown.rows),
        choices=_options(shown.choices),
        readings=tuple(ReadingView(reading.id, reading.label, reading.unit) for reading in shown.readings),
        ask=shown.ask,
        picture=shown.picture,
        hint=shown.hint,
        speak_s=shown.speak_s,
        points=_options(shown.points),
        model=shown.model,
        situation=shown.situation,
        on_device=row.on_device,
        part=row.part,
        parts=tuple(revision.item.parts) if row.part else (),
    )


def _options(options: Iterable[Option]) -> tuple[OptionView, ...]:
    return tuple(OptionView(option.id, option.text, option.picture) for option in options)


def feedback_view(row: Any, shown: Presented, question: Any, revision: Compiled) -> FeedbackView:
    """What an answered question shows; `row` has the columns of the answer and its grade, `question` its own."""
    texts = {option.id: option.text for option in shown.options}
    # After a re-mark the grade brings the corrected record that it was judged by.
    again = next((mark["judged_by"] for mark in row.marks if "judged_by" in mark), None)
    working = worked(again or judged_by(question, revision, row.response.get("earlier", {})))
    return FeedbackView(
        outcome=row.outcome,
        credit=row.credit,
        void_reason=row.void_reason,
        sureness=row.sureness,
        read_back=row.read_back,
        typed=said(row.raw, shown),
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
            if "picked" in mark
        ),
        given_at=row.effective_at,
        rows=tuple(
            RowView(mark["label"], mark["given"], mark["key"], mark["right"], mark["belief"], mark["note"], mark["row"])
            for mark in row.marks
            if "row" in mark
        ),
        pictures=tuple(working.pictures),
        offline=row.offline,
        device_outcome=row.device_outcome,
    )


def marks_stored(judged: Graded) -> list[dict[str, Any]]:
    """How options and rows were judged, as the grade keeps it."""
    return [{"id": mark.id, "picked": mark.picked, "key": mark.key, "belief": mark.belief} for mark in judged.marks] + [
        {
            "row": row.id,
            "label": row.label,
            "given": row.given,
            "key": row.key,
            "right": row.right,
            "belief": row.belief,
            "note": row.note,
        }
        for row in judged.rows
    ]


def said(raw: Any, shown: Presented) -> str | None:
    """What the person sent, in words: numbers as typed, options, rows and steps by their texts; None for a pass."""
    if not isinstance(raw, dict) or raw.get("pass"):
        return None
    options, choices = ({one.id: one.text for one in ones} for ones in (shown.options, shown.choices))
    parts: list[str] = []
    if "text" in raw:
        parts.append(str(raw["text"]))
    for reading in shown.readings:
        parts.append(f"{reading.label} {raw.get('readings', {}).get(reading.id, '')}")
    if "option" in raw:
        parts.append(options.get(raw["option"]) or str(raw["option"]))
    if "options" in raw:
        parts += [options.get(option, option) for option in raw["options"]] or ["none of them"]
    if "order" in raw:
        parts += [f"{place}. {options.get(step, step)}" for place, step in enumerate(raw["order"], 1)]
    for left in shown.lefts:
        chosen = raw.get("pairs", {}).get(left.id)
        parts.append(f"{left.text}: {options.get(chosen, chosen)}")
    for row in shown.rows:
        chosen = raw.get("rows", {}).get(row.id)
        parts.append(f"{row.text}: {choices.get(chosen, chosen)}")
    if "points" in raw:
        parts.append(f"{len(raw['points'])} points ticked")
    return "; ".join(parts) or None

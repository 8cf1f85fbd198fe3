"""Kind `still-works`: what a failure leaves, row by row; the key of each row is computed from the aircraft's graph.

The record keeps, for each row, the right answers, what is to blame, and the beliefs behind wrong answers, so that
grading needs no graph.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.diagram import short_name
from quizsvc.bank.draw import Generator
from quizsvc.bank.kinds.base import Build, Graded, Item, Kind, Option, RowMark, Tried, Worked, unreadable
from quizsvc.bank.kinds.still_works_state import (
    LOST,
    WORKS,
    choices_of,
    keys_of,
    pictures_of,
    setting_of,
    why_row,
)
from quizsvc.bank.kinds.still_works_text import read_still_works

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = ["StillWorks"]

MOST_ON_THE_RAMP = 4
SWAPPED = 0.5
"""Most credit where works was taken for lost, or lost for works, in a grave row."""


class StillWorks(Kind):
    """Each row works, is lost, or works after one action."""

    name = "still-works"

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """What fails, where switches stand, rows, and what hand-written keys claim."""
        read_still_works(block, item, context)

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Up to four rows."""
        return len(body["rows"]) <= MOST_ON_THE_RAMP

    def uses_aircraft(self, body: Mapping[str, Any]) -> bool:
        """Every key comes from its graph."""
        return True

    def behind_key(self, item: Item) -> Iterable[str]:
        """The drawn failure."""
        return (item.body["fail"]["draw"],) if "draw" in item.body["fail"] else ()

    def build(self, body: Mapping[str, Any], build: Build) -> Aircraft:
        """The aircraft, whose graph is made ready once."""
        assert build.aircraft is not None
        return build.aircraft

    def refusal(self, item: Item, tried: Tried) -> str | None:
        """A drawn failure that is itself asked after, or whose right answer is not offered."""
        aircraft: Aircraft = item.content
        setting = setting_of(aircraft, item.body, tried.drawn)
        failed = [row for row in item.body["rows"] if row in setting.fail]
        return f"row {failed[0]} fails itself" if failed else None

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Rows shuffled; their keys from the graph."""
        aircraft, body = item.content, item.body
        setting = setting_of(aircraft, body, tried.drawn)
        order = list(body["rows"])
        rng.shuffle(order)
        beliefs: dict[str, dict[str, str]] = {}
        for entry in body["row_beliefs"]:
            beliefs.setdefault(entry["row"], {})[entry["taken"]] = entry["belief"]
        keys = keys_of(setting, order)
        return order, {
            "rows": [
                {
                    "id": row,
                    "label": short_name(aircraft.graph, row),
                    "keys": keys[row],
                    "note": why_row(aircraft, setting, row),
                    "beliefs": beliefs.get(row, {}),
                    "grave": row in body["grave"],
                }
                for row in order
            ],
            "choices": choices_of(aircraft, setting, body["actions"]),
            "pictures": pictures_of(aircraft, setting, order),
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """Rows, and what may be answered to each."""
        aircraft: Aircraft = item.content
        choices = choices_of(aircraft, setting_of(aircraft, item.body, drawn), item.body["actions"])
        return {
            "rows": tuple(Option(row, short_name(aircraft.graph, row)) for row in order),
            "choices": tuple(Option(choice["id"], choice["text"]) for choice in choices),
        }

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """One answer to each row."""
        given = raw.get("rows")
        if not isinstance(given, Mapping):
            raise unreadable("No row was answered.", "Answer each row, or press pass.")
        known = {choice["id"] for choice in record["choices"]}
        answers: dict[str, str] = {}
        for row in record["rows"]:
            answer = given.get(row["id"])
            if answer is None or answer == "":
                raise unreadable(
                    f"The row '{row['label']}' is open.", "Answer each row, or press pass.", where=f"rows/{row['id']}"
                )
            if not isinstance(answer, str) or answer not in known:
                raise unreadable(
                    f"The answer to '{row['label']}' is none of this question's.", "Choose one of those shown."
                )
            answers[row["id"]] = answer
        return {"rows": answers}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Rows weigh equally; works and lost exchanged in a grave row cap the credit."""
        marks = _marks(record, response["rows"])
        right = sum(mark.right for mark in marks)
        credit = right / len(marks)
        remark = None
        given = response["rows"]
        swapped = [row["label"] for row in record["rows"] if row["grave"] and _swapped(row["keys"], given[row["id"]])]
        if swapped and credit > SWAPPED:
            credit = SWAPPED
            remark = f"Half the credit at most: works and lost were exchanged for {swapped[0]}."
        wrong = next((mark for mark in marks if mark.belief), None)
        trap = f"{wrong.id} {given[wrong.id]}" if wrong else None
        outcome = "full" if right == len(marks) else "part" if credit > 0 else "miss"
        return Graded(outcome, credit, trap, wrong.belief if wrong else None, remark, rows=marks)

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """Every row with its key."""
        return Graded("pass", 0.0, rows=_marks(record, {}))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """Each row's key, and the ways that break."""
        keys = "; ".join(f"{row['label']}: {_words(record, row['keys'])}" for row in record["rows"])
        accepted = "rows weigh equally; works after an action only with that action"
        return Worked(record["why"], keys, accepted, tuple(record["lines"]), tuple(record["pictures"]))


def _swapped(keys: Sequence[str], given: str) -> bool:
    return (WORKS in keys and given == LOST) or (LOST in keys and given == WORKS)


def _words(record: Mapping[str, Any], answers: Sequence[str]) -> str:
    """Answers in words; where several actions do, those that are offered."""
    texts = {choice["id"]: str(choice["text"]) for choice in record["choices"]}
    offered = [texts[answer] for answer in answers if answer in texts]
    return " or ".join(offered)


def _marks(record: Mapping[str, Any], given: Mapping[str, str]) -> tuple[RowMark, ...]:
    return tuple(
        RowMark(
            row["id"],
            row["label"],
            _words(record, [given[row["id"]]]) if row["id"] in given else "",
            _words(record, row["keys"]),
            given.get(row["id"]) in row["keys"],
            row["beliefs"].get(given.get(row["id"], "")) if given.get(row["id"]) not in row["keys"] else None,
            row["note"],
        )
        for row in record["rows"]
    )

"""Kind `scenario`: a chain of questions about one situation, each part judged by its own kind.

A part that says `follow` is judged on the person's own earlier numbers, so that one slip does not make all that comes
later wrong; a part that says `reveal` is put right before going on. The scenario itself is never answered: its parts
are.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from quizsvc.bank.block import ITEM_ID, Block, nearest
from quizsvc.bank.draw import Generator, name_is_free
from quizsvc.bank.kinds.base import Graded, Item, Kind, Tried, Worked, unreadable
from quizsvc.bank.solution import names_behind
from quizsvc.physics.units import UNITS

if TYPE_CHECKING:
    from quizsvc.bank.item import Context, ItemText

__all__ = ["PART_KINDS", "Scenario"]

PART_KINDS = ("one", "some", "number", "order", "match", "still-works", "gauge", "profile")
MOST_PARTS = 7


class Scenario(Kind):
    """Several parts about one situation."""

    name = "scenario"
    seconds = 300.0

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """The parts, each an item with the scenario's draws and lets."""
        # The parts are read as items are; items know the kinds, so this is imported when it is needed.
        from quizsvc.bank.item import read_part

        report, body = item.report, item.body
        found: list[ItemText] = []
        blocks = block.blocks("parts", "part", required=True)
        for part in blocks:
            part_id, kind = part.text("id", required=True), part.choice("kind", PART_KINDS, required=True)
            reveal = bool(part.flag("reveal"))
            earlier = {str(other.body["part"]): other.body for other in found}
            follow = _follow(part, earlier, item, context)
            if follow and kind not in (None, "number"):
                what = f"a '{kind}' part is judged on what is true, not on earlier answers"
                report.fault(part.at("follow"), "bank-follow", what, "take 'follow' out; only number parts follow")
            if part_id is None or kind is None:
                continue
            if not ITEM_ID.match(part_id):
                report.fault(part.at("id"), "bank-id", f"'{part_id}' is no part id", "use a, b, c ...")
            if part_id in earlier:
                report.fault(part.at("id"), "bank-part-twice", f"two parts with id '{part_id}'", "give each its own id")
                continue
            read = read_part(part, item, context, part_id, kind, follow)
            read.body["reveal"] = reveal
            found.append(read)
        item.parts = found
        body["parts"] = [part.body for part in found]
        if not block.has("parts"):
            return
        if len(blocks) < 2:
            report.fault(block.at("parts"), "bank-parts", f"{len(blocks)} part(s)", "give at least two")
        if len(found) > MOST_PARTS:
            what = f"{len(found)} parts"
            report.remark(block.at("parts"), "style-parts-many", what, "six are enough; make two items of it")
        concepts = [part.body["concept"] for part in found]
        if body["concept"] is not None and concepts and body["concept"] not in concepts:
            what = f"no part asks '{body['concept']}', the concept of the scenario"
            report.fault(block.at("parts"), "bank-part-concept", what, "give one part this concept")

    def uses_aircraft(self, body: Mapping[str, Any]) -> bool:
        """Whether one of its parts does."""
        from quizsvc.bank.kinds import KINDS

        return any(KINDS[part["kind"]].uses_aircraft(part) for part in body["parts"])

    def check(self, item: ItemText, compiled: Item, rng: Generator) -> None:
        """Remark what a part follows and does not use: its answer would be judged on it in word only."""
        for part in item.parts:
            asked = compiled.parts[str(part.body["part"])]
            used = set(asked.answer.names) if asked.answer else set()
            used |= {name for trap in asked.traps for name in (trap.value.names if trap.value else ())}
            used = names_behind(used, dict(asked.lets))
            idle = [entry["part"] for entry in part.body["follow"] if entry["part"] not in used]
            if idle:
                what = f"part '{part.body['part']}' follows '{idle[0]}', and neither its key nor a trap uses it"
                item.report.remark(
                    part.places["answer"], "bank-follow-unused", what, "use it, or take it out of 'follow'"
                )

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """The order and record of each part, in their order."""
        from quizsvc.bank.question import issue_tried

        parts = []
        for part, own in tried.parts.items():
            issued = issue_tried(item.parts[part], own, rng)
            body = item.parts[part].body
            parts.append(
                {
                    "part": part,
                    "concept": body["concept"],
                    "kind": body["kind"],
                    "reveal": body["reveal"],
                    "order": issued.order,
                    "record": issued.record,
                }
            )
        return [], {"parts": parts}

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """None: its parts are answered."""
        raise unreadable("A scenario is answered part by part.", "Answer the part that is shown.")

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Never asked: its parts are graded."""
        return Graded("miss", 0.0)

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The reason behind the whole."""
        return Worked(record["why"], "", "", tuple(record["lines"]))


def _follow(
    block: Block, earlier: Mapping[str, Mapping[str, Any]], item: ItemText, context: Context
) -> list[dict[str, str]]:
    """The earlier number parts whose answers this part is judged on."""
    found: list[dict[str, str]] = []
    taken = {name for entry in item.body["draw"] for name in (*entry["dimensions"], entry["name"])}
    taken |= {entry["name"] for entry in item.body["let"]} | set(item.broken)
    for scalar in block.scalars("follow", one=True):
        body = earlier.get(scalar.text)
        if body is None:
            mend = nearest(scalar.text, earlier) or "name a part that stands before this one"
            item.report.fault(scalar, "bank-follow", f"no earlier part has the id '{scalar.text}'", mend)
        elif body["kind"] != "number" or not body.get("unit"):
            what = f"part '{scalar.text}' is no number"
            item.report.fault(scalar, "bank-follow", what, "only the answers to number parts can be followed")
        elif any(scalar.text == other["part"] for other in found):
            item.report.fault(scalar, "bank-follow", f"'{scalar.text}' is followed twice", "name it once")
        elif name_is_free(scalar.text, scalar, item.report, context.library, taken, "part that is followed"):
            found.append({"part": scalar.text, "unit": body["unit"], "dimension": UNITS[body["unit"]].dimension})
    return found

"""Kind `match`: each thing on the left goes with one outcome on the right.

Credit is corrected for guessing as in the testing literature for k outcomes: max(0, (r/n - 1/k)/(1 - 1/k)) for r right
of n pairs, so that ticking at random earns nothing on average.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.bank.block import ITEM_ID, Block, nearest
from quizsvc.bank.draw import Generator
from quizsvc.bank.item_kinds import hold_count, hold_length, is_short
from quizsvc.bank.kinds.base import (
    Build,
    Graded,
    Item,
    Kind,
    KindText,
    Option,
    RowMark,
    Tried,
    Worked,
    shown_of,
    unreadable,
)
from quizsvc.bank.template import Template
from quizsvc.bank.text import Scalar

if TYPE_CHECKING:
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Match", "corrected"]

RAMP_PAIRS = 4
RAMP_OUTCOMES = 5
_SIDES = ("left", "right")


def corrected(right: int, pairs: int, outcomes: int) -> float:
    """Credit for so many right pairs, corrected for chance; from 0 to 1."""
    chance = 1 / outcomes
    return max(0.0, (right / pairs - chance) / (1 - chance))


class Match(Kind):
    """Left and right."""

    name = "match"
    seconds = 60.0

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Both sides, the pairs, beliefs behind wrong pairs."""
        for side in _SIDES:
            item.body[side] = self._side(block, side, item)
        lefts, rights = ([entry["id"] for entry in item.body[side]] for side in _SIDES)
        pairs: dict[str, str] = {}
        tried: set[str] = set()
        block.node("pairs", required=True)
        for left, place, node in block.map("pairs"):
            if not _known(left, lefts, place, item, "left"):
                continue
            tried.add(left)
            if not isinstance(node, Scalar):
                item.report.fault(place, "bank-pair", f"'{left}' goes with one outcome", "write 'left-id: right-id'")
            elif _known(node.text, rights, node, item, "right"):
                pairs[left] = node.text
        for left in (left for left in lefts if left not in tried):
            if block.has("pairs"):
                item.report.fault(block.at("pairs"), "bank-pair", f"'{left}' has no pair", f"add '{left}: right-id'")
        item.body["pairs"] = pairs
        item.body["beliefs"] = self._beliefs(block, item, lefts, rights, pairs)
        if block.has("left") and len(lefts) < 2:
            mend = "give at least two, or ask it as kind 'one'"
            item.report.fault(block.at("left"), "bank-lefts", f"{len(lefts)} thing(s) on the left", mend)
        if block.has("right") and len(rights) < 2:
            item.report.fault(block.at("right"), "bank-outcomes", f"{len(rights)} outcome(s)", "give at least two")
        elif rights and len(rights) <= len(lefts) and len(set(pairs.values())) == len(pairs):
            what = f"{len(lefts)} on the left and {len(rights)} outcomes: the last pair follows by elimination"
            item.report.remark(block.at("right"), "style-match-elimination", what, "add an outcome that is left over")

    @staticmethod
    def _side(block: Block, side: str, item: ItemText) -> list[dict[str, str]]:
        found: list[dict[str, str]] = []
        report = item.report
        for entry in block.blocks(side, side, required=True):
            entry_id, text = entry.text("id", required=True), entry.scalar("text", required=True)
            entry.done()
            if entry_id is None or text is None:
                continue
            if not ITEM_ID.match(entry_id):
                report.fault(entry.at("id"), "bank-id", f"'{entry_id}' is no id", "use a-z, 0-9 and single hyphens")
            if any(entry_id == other["id"] for other in found):
                what = f"two entries of '{side}' with id '{entry_id}'"
                report.fault(entry.at("id"), "bank-entry-twice", what, "give each its own id")
                continue
            if any(text.text.strip() == other["text"] for other in found):
                what = f"two entries of '{side}' read '{text.text.strip()}'"
                report.fault(entry.at("text"), "bank-entry-twice", what, "change one")
            hold_length(text, report)
            item.places[f"{side}/{entry_id}"] = text
            found.append({"id": entry_id, "text": text.text.strip()})
        hold_count(block, side, len(found), report)
        return found

    @staticmethod
    def _beliefs(
        block: Block, item: ItemText, lefts: Sequence[str], rights: Sequence[str], pairs: Mapping[str, str]
    ) -> list[dict[str, str]]:
        found: list[dict[str, str]] = []
        for entry in block.blocks("beliefs", "belief"):
            left, right = entry.scalar("left", required=True), entry.scalar("right", required=True)
            belief = entry.text("belief", required=True)
            entry.done()
            if left is None or right is None or belief is None:
                continue
            known = _known(left.text, lefts, left, item, "left"), _known(right.text, rights, right, item, "right")
            if all(known) and pairs.get(left.text) == right.text:
                what = f"'{left.text}' with '{right.text}' is the right pair"
                item.report.fault(right, "bank-belief-pair", what, "name a wrong one")
            if any((left.text, right.text) == (other["left"], other["right"]) for other in found):
                what = f"two beliefs about '{left.text}' with '{right.text}'"
                item.report.fault(right, "bank-belief-twice", what, "keep one")
            found.append({"left": left.text, "right": right.text, "belief": belief})
        if not found and lefts:
            what = "no belief behind a wrong pair is named"
            item.report.remark(
                block.at("pairs"), "bank-belief", what, "add 'beliefs: [{left: a, right: b, belief: ...}]'"
            )
        return found

    def texts(self, body: Mapping[str, Any]) -> Iterable[KindText]:
        """Both sides."""
        return [KindText(f"{side}/{entry['id']}", entry["text"]) for side in _SIDES for entry in body[side]]

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Up to four pairs and five outcomes, all short."""
        short = all(is_short(entry["text"]) for side in _SIDES for entry in body[side])
        return short and len(body["left"]) <= RAMP_PAIRS and len(body["right"]) <= RAMP_OUTCOMES

    def build(self, body: Mapping[str, Any], build: Build) -> Any:
        """Texts by side and id."""
        return {side: {entry["id"]: build.template(entry["text"]) for entry in body[side]} for side in _SIDES}

    def templates(self, item: Item) -> Mapping[str, Template]:
        """Texts of both sides."""
        return {f"{side}/{key}": text for side in _SIDES for key, text in item.content[side].items()}

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Outcomes shuffled; the left side stays as written."""
        order = list(item.content["right"])
        rng.shuffle(order)
        shown = shown_of(tried.drawn)
        return order, {
            "order": order,
            "lefts": list(item.content["left"]),
            "pairs": dict(item.body["pairs"]),
            "beliefs": [dict(entry) for entry in item.body["beliefs"]],
            "left_texts": {key: text.fill(shown, tried.values) for key, text in item.content["left"].items()},
            "texts": {key: text.fill(shown, tried.values) for key, text in item.content["right"].items()},
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """Both sides, and whether an outcome may serve twice."""
        shown = shown_of(drawn)
        left, right = item.content["left"], item.content["right"]
        used = list(item.body["pairs"].values())
        twice = len(set(used)) < len(used)
        return {
            "lefts": tuple(Option(key, text.fill(shown, values)) for key, text in left.items()),
            "options": tuple(Option(key, right[key].fill(shown, values)) for key in order),
            "hint": "An outcome may serve twice." if twice else "Each outcome serves once at most.",
        }

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """An outcome for each on the left."""
        pairs = raw.get("pairs")
        if not isinstance(pairs, Mapping) or not pairs:
            raise unreadable("No pair was made.", "Choose an outcome for each row, or press pass.")
        if any(left not in record["lefts"] for left in pairs):
            raise unreadable("A row is none of this question's.", "Answer the rows that are shown.")
        for left in record["lefts"]:
            right = pairs.get(left)
            if right is None or right == "":
                raise unreadable(
                    f"'{record['left_texts'][left]}' has no outcome yet.",
                    "Choose one for each row.",
                    where=f"pairs/{left}",
                )
            if not isinstance(right, str) or right not in record["order"]:
                raise unreadable("A chosen outcome is none of this question's.", "Choose among those shown.")
        return {"pairs": {left: pairs[left] for left in record["lefts"]}}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """As the module says; wrong pairs carry their belief."""
        given = response["pairs"]
        right = sum(given[left] == record["pairs"][left] for left in record["lefts"])
        credit = corrected(right, len(record["lefts"]), len(record["order"]))
        rows = self._rows(record, given)
        if right == len(record["lefts"]):
            return Graded("full", 1.0, rows=rows)
        held = next((entry for entry in record["beliefs"] if given[entry["left"]] == entry["right"]), None)
        trap = f"{held['left']}-with-{held['right']}" if held else None
        belief = held["belief"] if held else None
        return Graded("part" if credit > 0 else "miss", credit, trap, belief, rows=rows)

    @staticmethod
    def _rows(record: Mapping[str, Any], given: Mapping[str, str]) -> tuple[RowMark, ...]:
        beliefs = {(entry["left"], entry["right"]): entry["belief"] for entry in record["beliefs"]}
        texts = record["texts"]
        return tuple(
            RowMark(
                left,
                record["left_texts"][left],
                texts.get(given.get(left, ""), ""),
                texts[key],
                given.get(left) == key,
                beliefs.get((left, given.get(left, ""))),
            )
            for left, key in record["pairs"].items()
        )

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """The right pairs."""
        return Graded("pass", 0.0, rows=self._rows(record, {}))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The pairs in words."""
        texts, lefts = record["texts"], record["left_texts"]
        key = "; ".join(f"{lefts[left]}: {texts[right]}" for left, right in record["pairs"].items())
        return Worked(record["why"], key, "exactly these pairs", tuple(record["lines"]))


def _known(name: str, ids: Sequence[str], at: Any, item: ItemText, side: str) -> bool:
    if name in ids:
        return True
    mend = nearest(name, ids) or f"name one of '{side}'"
    item.report.fault(at, "bank-entry-unknown", f"'{side}' has no '{name}'", mend)
    return False

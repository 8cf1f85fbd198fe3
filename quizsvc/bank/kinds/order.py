"""Kind `order`: steps in their order.

Credit is the length of the longest common subsequence of the given and the right order over the number of steps, so
that one step out of place costs one place and not all that follow. Steps of a tie group are free among themselves. A
step that an item names `must-first` caps the credit where anything stands before it that has to come after.
"""

from __future__ import annotations

from bisect import bisect_right
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
from quizsvc.bank.text import List, Scalar

if TYPE_CHECKING:
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Order", "longest_in_order"]

MUST_FIRST_CAP = 0.3
MOST_STEPS = 7
RAMP_STEPS = 5
DRILLS = "drills"
"""The system of concepts whose `order` items are emergency drills."""


class Order(Kind):
    """Steps in their order."""

    name = "order"
    seconds = 50.0

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Steps, tie groups, the step that must come first, beliefs behind wrong orders."""
        report = item.report
        steps: list[dict[str, str]] = []
        for step in block.blocks("steps", "step", required=True):
            step_id, text = step.text("id", required=True), step.scalar("text", required=True)
            step.done()
            if step_id is None or text is None:
                continue
            if not ITEM_ID.match(step_id):
                report.fault(step.at("id"), "bank-id", f"'{step_id}' is no step id", "use a-z, 0-9 and single hyphens")
            if any(step_id == other["id"] for other in steps):
                report.fault(step.at("id"), "bank-step-twice", f"two steps with id '{step_id}'", "give each its own id")
                continue
            if any(text.text.strip() == other["text"] for other in steps):
                report.fault(step.at("text"), "bank-step-twice", f"two steps read '{text.text.strip()}'", "change one")
            hold_length(text, report)
            item.places[f"steps/{step_id}"] = text
            steps.append({"id": step_id, "text": text.text.strip()})
        item.body["steps"] = steps
        ids = [step["id"] for step in steps]
        if block.has("steps"):
            hold_count(block, "steps", len(steps), report)
            if len(steps) < 2:
                report.fault(block.at("steps"), "bank-steps", f"{len(steps)} step(s)", "give at least two")
            if len(steps) > MOST_STEPS:
                what = f"{len(steps)} steps; more than {MOST_STEPS} are a test of patience"
                report.remark(block.at("steps"), "style-steps-many", what, "make two items of it")
        item.body["tie"] = self._ties(block, ids, item)
        first = block.text("must-first")
        if first is not None and _known(first, ids, block.at("must-first"), item):
            free = next((group for group in item.body["tie"] if first in group), [first])
            if ids and ids[0] not in free:
                what = f"'{first}' must come first, but '{ids[0]}' stands first in the right order"
                report.fault(block.at("must-first"), "bank-must-first", what, "name the first step")
        item.body["must-first"] = first
        item.body["beliefs"] = self._beliefs(block, ids, item.body["tie"], item)
        item.body["drill"] = context.systems.get(str(item.body["concept"])) == DRILLS

    @staticmethod
    def _ties(block: Block, ids: Sequence[str], item: ItemText) -> list[list[str]]:
        groups: list[list[str]] = []
        for node in block.list("tie"):
            names = [entry for entry in node.entries if isinstance(entry, Scalar)] if isinstance(node, List) else []
            if len(names) < 2:
                what = "a tie group names fewer than two steps"
                item.report.fault(node, "bank-tie", what, "write 'tie: [[first-id, second-id]]'")
                continue
            group = [name.text for name in names if _known(name.text, ids, name, item)]
            places = sorted(ids.index(name) for name in group)
            if places and places != list(range(places[0], places[0] + len(places))):
                what = f"the steps {', '.join(group)} do not stand beside one another"
                item.report.fault(node, "bank-tie", what, "only neighbours in the right order can be free")
            if any(name in other for name in group for other in groups):
                item.report.fault(node, "bank-tie", "a step stands in two tie groups", "make one group of them")
            if len(ids) > 1 and set(group) == set(ids):
                item.report.fault(node, "bank-tie", "every step is free: nothing is asked", "ask it as kind 'some'")
            groups.append(group)
        return groups

    @staticmethod
    def _beliefs(
        block: Block, ids: Sequence[str], ties: Sequence[Sequence[str]], item: ItemText
    ) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = []
        for entry in block.blocks("beliefs", "belief"):
            pair, belief = entry.scalars("before", required=True), entry.text("belief", required=True)
            entry.done()
            names = [name.text for name in pair if _known(name.text, ids, name, item)]
            if len(names) != 2 or belief is None:
                if len(pair) != 2 and entry.has("before"):
                    what = f"'before' names {len(pair)} steps"
                    mend = "write 'before: [the one put first, the one put after it]'"
                    item.report.fault(entry.at("before"), "bank-belief-before", what, mend)
                continue
            if names[0] == names[1]:
                what = f"'before' names '{names[0]}' twice"
                mend = "write 'before: [the one put first, the one put after it]'"
                item.report.fault(entry.at("before"), "bank-belief-before", what, mend)
            elif any(set(names) <= set(group) for group in ties):
                what = f"'{names[0]}' and '{names[1]}' are free: neither order is wrong"
                item.report.fault(entry.at("before"), "bank-belief-before", what, "take one of them out of 'tie'")
            elif ids.index(names[0]) < ids.index(names[1]):
                what = f"'{names[0]}' before '{names[1]}' is the right order"
                item.report.fault(entry.at("before"), "bank-belief-before", what, "turn it round")
            elif any(names == other["before"] for other in found):
                what = f"two beliefs about '{names[0]}' before '{names[1]}'"
                item.report.fault(entry.at("before"), "bank-belief-twice", what, "keep one")
            found.append({"before": names, "belief": belief})
        if not found and len(ids) > 1:
            what = "no belief behind a wrong order is named"
            item.report.remark(block.at("steps"), "bank-belief", what, "add 'beliefs: [{before: [b, a], belief: ...}]'")
        return found

    def texts(self, body: Mapping[str, Any]) -> Iterable[KindText]:
        """The steps."""
        return [KindText(f"steps/{step['id']}", step["text"]) for step in body["steps"]]

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Up to five short steps."""
        return len(body["steps"]) <= RAMP_STEPS and all(is_short(step["text"]) for step in body["steps"])

    def cautions(self, body: Mapping[str, Any]) -> Iterable[str]:
        """C5 on an emergency drill."""
        return ("C5",) if body["drill"] else ()

    def build(self, body: Mapping[str, Any], build: Build) -> Any:
        """The steps' texts by id."""
        return {step["id"]: build.template(step["text"]) for step in body["steps"]}

    def templates(self, item: Item) -> Mapping[str, Template]:
        """The steps' texts."""
        return {f"steps/{step_id}": text for step_id, text in item.content.items()}

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Steps shuffled, and not left in the right order by chance."""
        right = list(item.content)
        order = list(right)
        groups = _groups(right, item.body["tie"])
        for _ in range(20):
            rng.shuffle(order)
            if longest_in_order(order, groups) < len(order):
                break
        shown = shown_of(tried.drawn)
        return order, {
            "order": order,
            "right": right,
            "groups": groups,
            "must_first": item.body["must-first"],
            "beliefs": [dict(entry) for entry in item.body["beliefs"]],
            "texts": {step_id: text.fill(shown, tried.values) for step_id, text in item.content.items()},
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """The steps as shuffled."""
        shown = shown_of(drawn)
        return {"options": tuple(Option(step, item.content[step].fill(shown, values)) for step in order)}

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """Every step once."""
        order = raw.get("order")
        if not isinstance(order, list | tuple) or not order:
            raise unreadable("No order was given.", "Give each step its place, or press pass.")
        if any(not isinstance(step, str) or step not in record["order"] for step in order):
            raise unreadable("A step is none of this question's.", "Order the steps that are shown.")
        twice = next((step for place, step in enumerate(order) if step in order[:place]), None)
        if twice is not None:
            raise unreadable(
                f"'{record['texts'][twice]}' has two places.", "Give each step one place.", where=f"order/{twice}"
            )
        open_step = next((step for step in record["order"] if step not in order), None)
        if open_step is not None:
            raise unreadable(
                f"'{record['texts'][open_step]}' has no place yet.",
                "Give each step its place.",
                where=f"order/{open_step}",
            )
        return {"order": list(order)}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """As the module says; full only where nothing is out of place."""
        given: list[str] = response["order"]
        groups = record["groups"]
        count = len(given)
        in_order = longest_in_order(given, groups)
        credit = in_order / count
        remark = None
        first = record["must_first"]
        led = first is None or all(groups[step] <= groups[first] for step in given[: given.index(first)])
        if not led and credit > MUST_FIRST_CAP:
            credit = MUST_FIRST_CAP
            remark = f"What must come first came later, which caps the credit at {MUST_FIRST_CAP:g}."
        if in_order == count:
            return Graded("full", 1.0, rows=self._rows(record, given, None))
        right = self._right(record, given)
        held = self._held(record, given, right)
        trap = f"{held['before'][0]}-before-{held['before'][1]}" if held else None
        belief = held["belief"] if held else None
        # A single step is in order by itself: the share stands, but nothing of the order was known.
        outcome = "part" if in_order > 1 else "miss"
        return Graded(outcome, credit, trap, belief, remark, rows=self._rows(record, given, held))

    @staticmethod
    def _right(record: Mapping[str, Any], given: Sequence[str]) -> list[str]:
        """The right order; inside a tie group it is the person's own."""
        return sorted(record["right"], key=lambda step: (record["groups"][step], given.index(step)))

    @staticmethod
    def _held(record: Mapping[str, Any], given: Sequence[str], right: Sequence[str]) -> Mapping[str, Any] | None:
        """The belief that explains where the orders first part; else the first one that the given order shows."""
        shown = [
            entry for entry in record["beliefs"] if given.index(entry["before"][0]) < given.index(entry["before"][1])
        ]
        own, key = next((pair for pair in zip(given, right, strict=True) if pair[0] != pair[1]), ("", ""))
        for wanted in ([own, key], [own], []):
            for entry in shown:
                if entry["before"][: len(wanted)] == wanted:
                    return dict(entry)
        return None

    def _rows(
        self, record: Mapping[str, Any], given: Sequence[str], held: Mapping[str, Any] | None
    ) -> tuple[RowMark, ...]:
        """Given and right order side by side; a belief stands beside the first of its steps that is out of place."""
        texts = record["texts"]
        pairs = list(zip(given, self._right(record, given), strict=True))
        about = held["before"] if held else ()
        told = next((step for step in about if (step, step) not in pairs), None)
        return tuple(
            RowMark(
                str(place),
                str(place),
                texts[own],
                texts[key],
                own == key,
                held["belief"] if held and own == told else None,
            )
            for place, (own, key) in enumerate(pairs, 1)
        )

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """The right order."""
        rows = tuple(
            RowMark(str(place), str(place), "", record["texts"][step], False)
            for place, step in enumerate(record["right"], 1)
        )
        return Graded("pass", 0.0, rows=rows)

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The steps in the right order."""
        groups = record["groups"]
        sizes = {group: sum(other == group for other in groups.values()) for group in groups.values()}
        free = [record["texts"][step] for step in record["right"] if sizes[groups[step]] > 1]
        accepted = "this order"
        if free:
            accepted += f"; free among themselves: {', '.join(free)}"
        key = "; ".join(f"{place}. {record['texts'][step]}" for place, step in enumerate(record["right"], 1))
        return Worked(record["why"], key, accepted, tuple(record["lines"]))


def _known(name: str, ids: Sequence[str], at: Any, item: ItemText) -> bool:
    if name in ids:
        return True
    mend = nearest(name, ids) or "name one of the steps"
    item.report.fault(at, "bank-step-unknown", f"there is no step '{name}'", mend)
    return False


def _groups(right: Sequence[str], ties: Sequence[Sequence[str]]) -> dict[str, int]:
    """The place of each step, the same for all of a tie group."""
    groups: dict[str, int] = {}
    for place, step in enumerate(right):
        tied = next((group for group in ties if step in group), None)
        groups[step] = min((groups[other] for other in tied if other in groups), default=place) if tied else place
    return groups


def longest_in_order(given: Sequence[str], groups: Mapping[str, int]) -> int:
    """Length of the longest part of a sequence, not necessarily together, that is in the right order.

    Parameters
    ----------
    given : sequence of str
        Steps, each once.
    groups : mapping of str to int
        Place of each step in the right order; steps that are free among themselves share one.

    Returns
    -------
    int
        From 1 to the number of steps; all of them where nothing is out of place.
    """
    # The longest common subsequence of two orders of the same things is the longest rising run of their places.
    ends: list[int] = []
    for step in given:
        place = bisect_right(ends, groups[step])
        ends[place : place + 1] = [groups[step]]
    return len(ends)

"""Kinds `one` and `some`: a single choice, and several whose number is not told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.bank.draw import Generator
from quizsvc.bank.item_kinds import read_options
from quizsvc.bank.kinds.base import Graded, Item, Kind, Option, Tried, Worked, marks_of, shown_of, unreadable

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = ["One", "Some", "one_option", "options_record", "present_options"]


def options_record(item: Item, tried: Tried, order: Sequence[str]) -> dict[str, Any]:
    """The part of a grading record that is about options."""
    shown = shown_of(tried.drawn)
    return {
        "order": list(order),
        "keys": [option.id for option in item.options if option.key],
        "beliefs": {option.id: option.belief for option in item.options if option.belief},
        "texts": {option.id: option.text.fill(shown, tried.values) for option in item.options},
    }


def present_options(
    item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
) -> tuple[Option, ...]:
    """The options in their order, with this draw's numbers."""
    shown = shown_of(drawn)
    texts = {option.id: option.text for option in item.options}
    return tuple(Option(option_id, texts[option_id].fill(shown, values)) for option_id in order)


def one_option(record: Mapping[str, Any], option: object) -> str:
    """The id of the option that was chosen.

    Raises
    ------
    InputError
        `response-unreadable`: none was, or it is none of this question's.
    """
    if option is None or option == "":
        raise unreadable("No option was chosen.", "Choose one, or press pass.")
    if not isinstance(option, str) or option not in record["order"]:
        raise unreadable("The chosen option is none of this question's.", "Choose one of those shown.")
    return option


class _Choice(Kind):
    """What `one` and `some` share."""

    accepted = ""

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Options with keys and beliefs."""
        read_options(block, item, self.name)

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Always, as far as stem and options are short."""
        return True

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Options shuffled."""
        order = [option.id for option in item.options]
        rng.shuffle(order)
        return order, options_record(item, tried, order)

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """Options."""
        return {"options": present_options(item, drawn, order, values)}

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """Every option with its key and belief."""
        return Graded("pass", 0.0, marks=marks_of(record, ()))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The keys in words."""
        keys = [record["texts"][option] for option in record["order"] if option in record["keys"]]
        return Worked(record["why"], "; ".join(keys), self.accepted, tuple(record["lines"]))


class One(_Choice):
    """Single choice: the key or not."""

    name = "one"
    seconds = 30.0
    accepted = "exactly this option"

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """One id."""
        return {"option": one_option(record, raw.get("option"))}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Full or a miss with the belief behind the option."""
        option = response["option"]
        marks = marks_of(record, (option,))
        if option in record["keys"]:
            return Graded("full", 1.0, marks=marks)
        return Graded("miss", 0.0, option, record["beliefs"].get(option), marks=marks)


class Some(_Choice):
    """Several choices, judged one by one; the number of keys is not told."""

    name = "some"
    seconds = 40.0
    accepted = "exactly these options"

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """Ids in the shown order; none only where the list was sent and is empty."""
        options = raw.get("options")
        if not isinstance(options, list | tuple):
            raise unreadable("No option was chosen.", "Choose those that are right, or press pass.")
        if any(not isinstance(option, str) or option not in record["order"] for option in options):
            raise unreadable("A chosen option is none of this question's.", "Choose among those shown.")
        return {"options": [option for option in record["order"] if option in options]}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """(hits - false picks)/keys, floor 0; full only if exact."""
        options, keys = response["options"], record["keys"]
        false_picks = [option for option in options if option not in keys]
        hits = len(options) - len(false_picks)
        credit = max(0.0, (hits - len(false_picks)) / len(keys))
        trap = false_picks[0] if false_picks else None
        belief = record["beliefs"].get(trap) if trap else None
        outcome = "full" if set(options) == set(keys) else "part" if credit > 0 else "miss"
        return Graded(outcome, credit, trap, belief, marks=marks_of(record, tuple(options)))

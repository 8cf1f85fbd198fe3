"""The words of a `profile` item: the flight that is flown, and the plots that are drawn of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.flight import BELIEFS, EVENTS, belief_of
from quizsvc.bank.block import ITEM_ID, Block, nearest
from quizsvc.bank.item_kinds import hold_count
from quizsvc.bank.kinds.gauge_text import formula_of
from quizsvc.bank.text import Scalar
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.bank.item import ItemText

__all__ = ["DIMENSIONS", "read_flight", "read_plots"]

DIMENSIONS: Mapping[str, str] = {
    "from": "length", "to": "length", "cruise": "length", "setting": "length", "climb": "speed", "cruise-until": "time",
    "rate": "speed", "at": "time", "value": "length",
}  # fmt: skip
"""What each word of a flight is: every one is a quantity or a formula."""

_REQUIRED = ("from", "to", "cruise", "climb", "cruise-until")
_FEWEST, _MOST = 2, 4  # plots; more do not fit on a screen


def read_flight(block: Block, item: ItemText) -> dict[str, Any]:
    """The word `flight` as formulas, with their places; faults go to the item's report."""
    flight: dict[str, Any] = {"numbers": {}, "descent": [], "events": []}
    found = block.block("flight", required=True)
    if found is None:
        return flight
    for word in (*_REQUIRED, "setting"):
        _formula(found, word, f"flight/{word}", flight["numbers"], item, required=word in _REQUIRED)
    for place, leg in enumerate(found.blocks("descent", "part of the descent", required=True)):
        entry: dict[str, str] = {}
        _formula(leg, "to", f"flight/descent/{place}/to", entry, item)
        _formula(leg, "rate", f"flight/descent/{place}/rate", entry, item, required=True)
        leg.done()
        flight["descent"].append(entry)
    for place, event in enumerate(found.blocks("events", "event")):
        entry = {"what": event.choice("what", tuple(EVENTS), required=True) or ""}
        _formula(event, "at", f"flight/events/{place}/at", entry, item, required=True)
        _formula(event, "value", f"flight/events/{place}/value", entry, item, required=EVENTS.get(entry["what"], False))
        if "value" in entry and EVENTS.get(entry["what"]) is False:
            item.report.fault(event.at("value"), "bank-flight", f"'{entry['what']}' takes no value", "take it out")
        event.done()
        flight["events"].append(entry)
    found.done()
    hold_count(block, "flight", len(flight["descent"]) + len(flight["events"]), item.report)
    return flight


def _formula(
    block: Block, word: str, place: str, into: dict[str, str], item: ItemText, *, required: bool = False
) -> None:
    scalar: Scalar | None = block.scalar(word, required=required)
    if scalar is not None:
        into[word] = formula_of(scalar.text.strip())
        item.places[place] = scalar


def read_plots(block: Block, item: ItemText) -> list[dict[str, Any]]:
    """The word `plots`: ids, which one is the key, and what is believed and changed in the others."""
    report = item.report
    plots: list[dict[str, Any]] = []
    blocks = block.blocks("plots", "plot", required=True)
    for plot in blocks:
        plot_id, key, belief = plot.text("id", required=True), bool(plot.flag("key")), plot.text("belief")
        change = _change(plot)
        if plot_id is not None and not ITEM_ID.match(plot_id):
            report.fault(plot.at("id"), "bank-id", f"'{plot_id}' is no plot id", "use a-z, 0-9 and single hyphens")
        if any(plot_id == other["id"] for other in plots):
            report.fault(plot.at("id"), "bank-option-twice", f"two plots with id '{plot_id}'", "give each its own id")
        if key and change:
            report.fault(plot.at("change"), "bank-plot", "the key is flown as it is", "take 'change' out")
        if not key and not any(True for _ in plot.map("change")):  # a misspelt change has its own finding
            report.fault(
                plot.place, "bank-plot", f"plot '{plot_id}' is neither the key nor changed", "add 'change: {...}'"
            )
        plot.done()
        if belief is None and len(change) == 1:
            ((word, value),) = change.items()
            belief = BELIEFS.get(word, {}).get(value)
        if not key and belief is None:
            report.remark(plot.place, "bank-belief", f"plot '{plot_id}' names no belief", "add 'belief:'")
        plots.append({"id": plot_id or "", "key": key, "belief": None if key else belief, "change": change})
    if block.has("plots"):
        at = block.at("plots")
        keys = sum(plot["key"] for plot in plots)
        if keys != 1:
            report.fault(at, "bank-keys", f"{keys} keys in a 'profile' item", "mark exactly one plot 'key: true'")
        if not _FEWEST <= len(plots) <= _MOST:
            report.fault(at, "bank-options", f"{len(plots)} plot(s)", f"give {_FEWEST} to {_MOST}")
    return plots


def _change(plot: Block) -> dict[str, str]:
    change: dict[str, str] = {}
    for word, place, node in plot.map("change"):
        text = node.text.strip() if isinstance(node, Scalar) else ""
        try:
            belief_of({word: text})
        except InputError as error:
            known = BELIEFS.get(word, BELIEFS)
            plot.report.fault(
                place, "bank-plot", error.what, nearest(text if word in BELIEFS else word, known) or error.mend
            )
            continue
        change[word] = text
    return change

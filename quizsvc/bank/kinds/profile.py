"""Kind `profile`: pick the plot of cabin altitude that the aircraft would fly; the others are flown by wrong beliefs.

The numbers of a flight are formulas, so that they may be quantities, drawn names or lets.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.flight import Descent, Event, History, Plan, belief_of, fly
from quizsvc.bank.draw import Generator
from quizsvc.bank.formula import Formula
from quizsvc.bank.kinds.base import (
    Build,
    FormulaText,
    Graded,
    Item,
    Kind,
    Option,
    Tried,
    Worked,
    lacks_aircraft,
    marks_of,
)
from quizsvc.bank.kinds.choice import one_option
from quizsvc.bank.kinds.profile_text import DIMENSIONS, read_flight, read_plots
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Profile"]

_FOOT, _MINUTE = 0.3048, 60.0
APART_M = 400 * _FOOT
"""Two plots must be so far apart somewhere, or nobody could tell one from the other."""
_KEPT = 8  # draws whose plots are kept: one question is tried, issued and presented
_CABIN_FT = 20_000.0  # no cabin goes higher but by going to the aircraft
_SHOWN_M = 25 * _FOOT  # from here on two lines are seen to part


@dataclass(frozen=True)
class Content:
    """What a profile compiles: the aircraft and the numbers of its flight by their places."""

    aircraft: Aircraft
    flight: Mapping[str, Any]
    plots: tuple[Mapping[str, Any], ...]
    numbers: Mapping[str, Formula]
    kept: dict[tuple[float, ...], dict[str, History]] = field(default_factory=dict, compare=False, repr=False)

    def histories(self, values: Mapping[str, float]) -> dict[str, History]:
        """The flights of one draw by plot."""
        given = {place: formula(values) for place, formula in self.numbers.items()}
        key = tuple(given.values())
        found = self.kept.get(key)
        if found is None:
            plan, events = self._plan(given), self._events(given)
            found = {
                plot["id"]: fly(self.aircraft, plan, events=events, belief=belief_of(plot["change"]))
                for plot in self.plots
            }
            if len(self.kept) >= _KEPT:
                self.kept.clear()
            self.kept[key] = found
        return found

    def _plan(self, given: Mapping[str, float]) -> Plan:
        legs = tuple(
            Descent(given.get(f"flight/descent/{place}/to"), given[f"flight/descent/{place}/rate"])
            for place in range(len(self.flight["descent"]))
        )
        return Plan(
            given["flight/from"], given["flight/to"], given["flight/cruise"], given["flight/climb"],
            given["flight/cruise-until"], legs, given.get("flight/setting"),
        )  # fmt: skip

    def _events(self, given: Mapping[str, float]) -> list[Event]:
        return [
            Event(given[f"flight/events/{place}/at"], event["what"], given.get(f"flight/events/{place}/value"))
            for place, event in enumerate(self.flight["events"])
        ]


class Profile(Kind):
    """One plot among two to four."""

    name = "profile"
    seconds = 75.0

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """The flight and its plots."""
        item.body.update({"flight": {"numbers": {}, "descent": [], "events": []}, "plots": []})
        if lacks_aircraft(block, item, context, ("flight", "plots"), "flies"):
            return
        item.body["flight"] = read_flight(block, item)
        item.body["plots"] = read_plots(block, item)

    def formulas(self, body: Mapping[str, Any]) -> Iterable[FormulaText]:
        """The numbers of the flight."""
        return tuple(
            FormulaText(place, text, DIMENSIONS[place.rpartition("/")[2]]) for place, text in _places(body["flight"])
        )

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Always: it is a pick."""
        return True

    def uses_aircraft(self, body: Mapping[str, Any]) -> bool:
        """It flies it."""
        return True

    def seen(self, item: Item) -> Iterable[str]:
        """What the plots show."""
        content: Content = item.content
        return {name for formula in content.numbers.values() for name in formula.names}

    def behind_key(self, item: Item) -> Iterable[str]:
        """The same: other numbers are another plot."""
        return self.seen(item)

    def build(self, body: Mapping[str, Any], build: Build) -> Content:
        """The numbers compiled."""
        assert build.aircraft is not None
        numbers = {place: build.formula(text) for place, text in _places(body["flight"])}
        return Content(build.aircraft, body["flight"], tuple(body["plots"]), numbers)

    def refusal(self, item: Item, tried: Tried) -> str | None:
        """A flight that cannot be flown, or two plots that nobody could tell apart."""
        content: Content = item.content
        try:
            histories = content.histories(tried.values)
        except InputError as error:
            return f"the flight cannot be flown: {error.what}"
        ids = list(histories)
        for place, one in enumerate(ids):
            for other in ids[:place]:
                if _largest_gap(histories[one], histories[other]) < APART_M:
                    return f"plots '{other}' and '{one}' are nowhere 400 ft apart"
        return None

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Plots shuffled; the overlay of all with the moments at which the wrong ones part from the key."""
        content: Content = item.content
        order = [plot["id"] for plot in content.plots]
        rng.shuffle(order)
        key = next(plot["id"] for plot in content.plots if plot["key"])
        return order, {
            "order": order,
            "keys": [key],
            "beliefs": {plot["id"]: plot["belief"] for plot in content.plots if plot["belief"]},
            "texts": {plot: _title(place) for place, plot in enumerate(order)},
            "pictures": [_overlay(content.histories(tried.values), order, key)],
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """The plots by letters."""
        content: Content = item.content
        histories = content.histories(values)
        scale = _scale(histories)
        return {
            "options": tuple(
                Option(plot, _title(place), _picture(histories[plot], _letter(place), scale))
                for place, plot in enumerate(order)
            )
        }

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """One plot."""
        return {"option": one_option(record, raw.get("option"))}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """The key, or the belief by which the chosen plot was flown."""
        option = response["option"]
        marks = marks_of(record, (option,))
        if option in record["keys"]:
            return Graded("full", 1.0, marks=marks)
        return Graded("miss", 0.0, option, record["beliefs"].get(option), marks=marks)

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """Every plot with its belief."""
        return Graded("pass", 0.0, marks=marks_of(record, ()))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The key's letter, and all plots in one picture."""
        return Worked(
            record["why"],
            record["texts"][record["keys"][0]],
            "exactly this plot",
            tuple(record["lines"]),
            tuple(record["pictures"]),
        )


def _places(flight: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    """Place and formula of each number of a flight."""
    yield from ((f"flight/{word}", text) for word, text in flight["numbers"].items())
    for group in ("descent", "events"):
        for place, entry in enumerate(flight[group]):
            for word, text in entry.items():
                if word in DIMENSIONS:
                    yield f"flight/{group}/{place}/{word}", text


def _letter(place: int) -> str:
    return "ABCD"[place]


def _title(place: int) -> str:
    return f"Plot {_letter(place)}"


def _points(history: History, line: Sequence[float]) -> list[list[float]]:
    return [
        [round(at / _MINUTE, 3), round(altitude / _FOOT, 1)] for at, altitude in zip(history.time_s, line, strict=True)
    ]


def _picture(history: History, letter: str, scale: list[float]) -> dict[str, Any]:
    """One plot: the cabin under the aircraft."""
    return {
        "type": "profile",
        "title": letter,
        "lines": [
            {"id": "cabin", "label": "cabin", "style": "cabin", "points": _points(history, history.cabin_m)},
            {
                "id": "aircraft",
                "label": "aircraft",
                "style": "aircraft",
                "points": _points(history, history.aircraft_m),
            },
        ],
        "marks": [],
        "scale": scale,
    }


def _scale(histories: Mapping[str, History]) -> list[float]:
    """Ends of the cabin's scale, ft: one for all plots, or a scale would tell them apart.

    A cabin that climbs to the aircraft leaves it at the top, as the aircraft does.
    """
    cabins = [altitude / _FOOT for history in histories.values() for altitude in history.cabin_m]
    return [round(min(cabins), 1), round(max(altitude for altitude in cabins if altitude < _CABIN_FT), 1)]


def _overlay(histories: Mapping[str, History], order: Sequence[str], key: str) -> dict[str, Any]:
    """All plots in one picture, the key bold, each wrong one with the moment at which it parts."""
    first = [key, *(plot for plot in order if plot != key)]
    lines = [
        {
            "id": plot,
            "label": _letter(order.index(plot)),
            "style": "cabin" if plot == key else "other",
            "points": _points(histories[plot], histories[plot].cabin_m),
        }
        for plot in first
    ]
    aircraft = histories[key]
    lines.append(
        {"id": "aircraft", "label": "aircraft", "style": "aircraft", "points": _points(aircraft, aircraft.aircraft_m)}
    )
    parting: dict[float, list[str]] = {}
    for plot in first[1:]:
        at = _parts_at(histories[key], histories[plot])
        parting.setdefault(round(at / _MINUTE, 1), []).append(_letter(order.index(plot)))
    marks = [
        {"at": at, "label": f"{' and '.join(sorted(letters))} {'part' if len(letters) > 1 else 'parts'}"}
        for at, letters in sorted(parting.items())
    ]
    return {"type": "profile", "title": "all plots", "lines": lines, "marks": marks, "scale": _scale(histories)}


def _largest_gap(one: History, other: History) -> float:
    times = {*one.time_s, *other.time_s}
    return max(abs(one.at(at)[1] - other.at(at)[1]) for at in times)


def _parts_at(key: History, other: History) -> float:
    """The first time at which two lines are seen apart, s."""
    before = 0.0
    for at in sorted({*key.time_s, *other.time_s}):
        if abs(key.at(at)[1] - other.at(at)[1]) > _SHOWN_M:
            return before
        before = at
    return before

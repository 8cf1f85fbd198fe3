"""Kind `gauge`: read the cabin instrument, then judge what it means.

The picture's values are formulas, so that they may be quantities (`4700 ft`), drawn names or lets; the scales and bands
around them come from the aircraft.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.instrument import DIALS, Dial, cabin_gauge, dials, off_the_dial
from quizsvc.bank.draw import Generator
from quizsvc.bank.formula import Formula
from quizsvc.bank.item_kinds import hold_length, read_options
from quizsvc.bank.kinds.base import (
    Build,
    FormulaText,
    Graded,
    Item,
    Kind,
    KindText,
    ReadingField,
    RowMark,
    Tried,
    Worked,
    lacks_aircraft,
    marks_of,
    shown_of,
    unreadable,
)
from quizsvc.bank.kinds.choice import one_option, options_record, present_options
from quizsvc.bank.kinds.gauge_text import read_picture, read_readings
from quizsvc.bank.template import Template
from quizsvc.errors import InputError
from quizsvc.physics.units import UNITS, format_quantity, from_si, read_quantity, to_si

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Gauge"]

READING_SHARE = 0.4
"""Share of the credit for the readings together; the rest is for the judgement."""
_LARGEST = 1e12
_LONGEST_TYPED = 60
_LETTER = re.compile(r"[^\W\d_]")


@dataclass(frozen=True)
class Content:
    """What a gauge compiles: the aircraft, the values of the picture by dial, and the second question."""

    aircraft: Aircraft
    values: Mapping[str, Formula]
    ask: Template

    def shown(self, values: Mapping[str, float]) -> dict[str, float]:
        """The values of the picture in one draw, SI."""
        return {dial: formula(values) for dial, formula in self.values.items()}


class Gauge(Kind):
    """Two pointers to read, then a judgement."""

    name = "gauge"

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Picture, readings, and the second question with its options."""
        body, report = item.body, item.report
        body.update({"picture": {}, "readings": [], "ask": "", "options": []})
        if lacks_aircraft(block, item, context, ("picture", "readings", "ask"), "shows the instrument of"):
            return
        assert context.aircraft is not None
        body["picture"], places = read_picture(block)
        item.places.update(places)
        body["readings"] = read_readings(block, context.aircraft)
        ask = block.block("ask", required=True)
        if ask is None:
            return
        stem = ask.scalar("stem", required=True)
        if stem is not None:
            hold_length(stem, report)
            body["ask"] = stem.text.strip()
            item.places["ask"] = stem
        read_options(ask, item, "one")
        ask.done()

    def texts(self, body: Mapping[str, Any]) -> Iterable[KindText]:
        """The second question."""
        return (KindText("ask", body["ask"]),)

    def formulas(self, body: Mapping[str, Any]) -> Iterable[FormulaText]:
        """What the pointers show."""
        return tuple(
            FormulaText(f"picture/{dial}", text, UNITS[DIALS[dial]].dimension) for dial, text in body["picture"].items()
        )

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Always, as far as stem and options are short."""
        return True

    def uses_aircraft(self, body: Mapping[str, Any]) -> bool:
        """Scales and bands are its own."""
        return True

    def seen(self, item: Item) -> Iterable[str]:
        """What the pointers show."""
        content: Content = item.content
        return {name for formula in content.values.values() for name in formula.names}

    def build(self, body: Mapping[str, Any], build: Build) -> Content:
        """Values and the second question."""
        assert build.aircraft is not None
        values = {dial: build.formula(text) for dial, text in body["picture"].items()}
        return Content(build.aircraft, values, build.template(body["ask"]))

    def templates(self, item: Item) -> Mapping[str, Template]:
        """The second question."""
        return {"ask": item.content.ask}

    def refusal(self, item: Item, tried: Tried) -> str | None:
        """A pointer off its dial."""
        content: Content = item.content
        values = content.shown(tried.values)
        for key, dial in dials(content.aircraft).items():
            if off_the_dial(dial, values[key]):
                shown = format_quantity(values[key], DIALS[key], 0 if DIALS[key] == "ft" else 2)
                ends = f"from {dial.low:g} to {dial.high:g} {dial.unit}"
                return f"{shown} is off the {dial.label} dial, which runs {ends}"
        return None

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Options shuffled; keys of the readings, and the picture with the readings pointed out."""
        content: Content = item.content
        order = [option.id for option in item.options]
        rng.shuffle(order)
        values, found = content.shown(tried.values), dials(content.aircraft)
        return order, {
            **options_record(item, tried, order),
            "ask": content.ask.fill(shown_of(tried.drawn), tried.values),
            "readings": [
                _reading(found[entry["id"]], values[entry["id"]], entry["within"]) for entry in item.body["readings"]
            ],
            "pictures": [_picture(content, tried.values, readings=True)],
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """The instrument without its readings, what is to be read, and the second question."""
        content: Content = item.content
        found = dials(content.aircraft)
        return {
            "picture": _picture(content, values, readings=False),
            "readings": tuple(
                ReadingField(entry["id"], found[entry["id"]].label, DIALS[entry["id"]])
                for entry in item.body["readings"]
            ),
            "ask": content.ask.fill(shown_of(drawn), values),
            "options": present_options(item, drawn, order, values),
        }

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """Every reading as typed and in SI, and the option; one that cannot be read refuses the whole answer."""
        given = raw.get("readings")
        typed = given if isinstance(given, Mapping) else {}
        readings = {entry["id"]: _typed(entry, typed.get(entry["id"])) for entry in record["readings"]}
        return {"readings": readings, "option": one_option(record, raw.get("option"))}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Readings 0.4 in equal shares, the judgement 0.6."""
        rows, option = _marks(record, response["readings"]), response["option"]
        judged = option in record["keys"]
        right = sum(row.right for row in rows)
        credit = READING_SHARE * right / len(rows) + (1 - READING_SHARE) * judged
        full = judged and right == len(rows)
        return Graded(
            "full" if full else "part" if credit > 0 else "miss",
            1.0 if full else round(credit, 9),
            None if judged else option,
            None if judged else record["beliefs"].get(option),
            read_back="; ".join(f"{row.label} {row.given}" for row in rows),
            marks=marks_of(record, (option,)),
            rows=rows,
        )

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """Every option with its key, every reading with its value."""
        return Graded("pass", 0.0, marks=marks_of(record, ()), rows=_marks(record, {}))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The readings, the key, and the instrument with the readings pointed out."""
        readings = [f"{entry['label']} {_text(entry, entry['key'])}" for entry in record["readings"]]
        keys = [record["texts"][option] for option in record["order"] if option in record["keys"]]
        widths = [f"{entry['label']} within {_text(entry, entry['within'])}" for entry in record["readings"]]
        return Worked(
            record["why"],
            "; ".join((*readings, *keys)),
            ", ".join(widths),
            tuple(record["lines"]),
            tuple(record["pictures"]),
        )


def _picture(content: Content, values: Mapping[str, float], *, readings: bool) -> dict[str, Any]:
    shown = content.shown(values)
    return cabin_gauge(content.aircraft, shown["cabin"], shown["differential"], readings=readings)


def _reading(dial: Dial, key: float, within: float) -> dict[str, Any]:
    """What grading needs of one dial: SI; `scale` is what one on the scale counts in the unit that people type."""
    unit = DIALS[dial.id]
    scale = float(f"{from_si(1 / dial.per_si, unit):.9g}")
    end = max(abs(dial.low), abs(dial.high))
    return {
        "id": dial.id,
        "label": dial.label,
        "unit": unit,
        "key": key,
        "within": within,
        "scale": scale,
        "scale_end": end,
        "below_100": end * scale < 100,
        "decimals": 0 if unit == "ft" else 2,
    }


def _text(reading: Mapping[str, Any], value: float) -> str:
    return format_quantity(value, reading["unit"], reading["decimals"])


def _typed(reading: Mapping[str, Any], text: object) -> dict[str, Any]:
    """One typed reading; a bare number that stands on the scale counts as the scale does (4.7 for 4,700 ft)."""
    label, unit, where = str(reading["label"]), str(reading["unit"]), f"readings/{reading['id']}"
    if not isinstance(text, str) or not text.strip():
        raise unreadable(f"The {label} reading is open.", "Type what its pointer shows, or press pass.", where=where)
    if len(text) > _LONGEST_TYPED:
        raise unreadable(f"The {label} reading is too long for a number.", f"Type a number of {unit}.", where=where)
    try:
        quantity = read_quantity(text, unit=unit, answers_below_100=bool(reading["below_100"]))
    except InputError as error:
        raise unreadable(
            f"The {label} reading cannot be read: {error.what}.", _sentence(error.mend), where=where
        ) from None
    value = quantity.value_si
    bare = from_si(value, unit)
    if reading["scale"] != 1 and not _LETTER.search(text) and abs(bare) <= reading["scale_end"]:
        value = to_si(bare * reading["scale"], unit)
    if not abs(value) < _LARGEST:
        raise unreadable(f"The {label} reading is too large to be one.", "Check what was typed.", where=where)
    return {"typed": text.strip(), "si": value}


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if not text or text[-1] in ".?!" else ".")


def _marks(record: Mapping[str, Any], given: Mapping[str, Mapping[str, Any]]) -> tuple[RowMark, ...]:
    rows = []
    for reading in record["readings"]:
        typed = given.get(reading["id"])
        value = None if typed is None else float(typed["si"])
        # An answer exactly on the edge is inside.
        right = value is not None and abs(value - reading["key"]) <= reading["within"] * (1 + 1e-6)
        rows.append(
            RowMark(
                reading["id"],
                reading["label"],
                "" if value is None else _text(reading, value),
                _text(reading, reading["key"]),
                right,
            )
        )
    return tuple(rows)

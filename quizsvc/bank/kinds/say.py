"""Kind `say`: speak aloud, then hold what was said against a list of points and tick those that came.

The person ticks; so it feeds the traces of memory and moves no state.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.bank.block import ITEM_ID, Block
from quizsvc.bank.draw import Generator
from quizsvc.bank.item_kinds import hold_count, hold_length
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
from quizsvc.physics.units import UNITS

if TYPE_CHECKING:
    from quizsvc.bank.item import Context, ItemText

__all__ = ["Say"]

LONGEST_SPEAK_S = 300.0


class Say(Kind):
    """Spoken answer against a points list."""

    name = "say"
    seconds = 120.0

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Time to speak, the points, how many are full."""
        report = item.report
        speak = block.quantity("speak", required=True)
        seconds = None
        if speak is not None:
            seconds = speak.number * UNITS[speak.unit].factor
            if speak.dimension != "time" or not 5 <= seconds <= LONGEST_SPEAK_S:
                what = f"'{speak.number:g} {speak.unit}' is no time to speak"
                report.fault(block.at("speak"), "bank-speak", what, "write from 5 s to 5 min, such as '30 s'")
        item.body["speak_s"] = seconds
        points: list[dict[str, Any]] = []
        for point in block.blocks("points", "point", required=True):
            point_id, text = point.text("id", required=True), point.scalar("text", required=True)
            must = bool(point.flag("must"))
            point.done()
            if point_id is None or text is None:
                continue
            if not ITEM_ID.match(point_id):
                report.fault(point.at("id"), "bank-id", f"'{point_id}' is no point id", "use a-z, 0-9 and hyphens")
            if any(point_id == other["id"] for other in points):
                what = f"two points with id '{point_id}'"
                report.fault(point.at("id"), "bank-point-twice", what, "give each its own id")
                continue
            if any(text.text.strip() == other["text"] for other in points):
                what = f"two points read '{text.text.strip()}'"
                report.fault(point.at("text"), "bank-point-twice", what, "change one")
            hold_length(text, report)
            item.places[f"points/{point_id}"] = text
            points.append({"id": point_id, "text": text.text.strip(), "must": must})
        item.body["points"] = points
        if block.has("points"):
            hold_count(block, "points", len(points), report)
            if len(points) < 2:
                report.fault(block.at("points"), "bank-points", f"{len(points)} point(s)", "give at least two")
        full = block.number("full", required=True, whole=True)
        musts = sum(point["must"] for point in points)
        if full is not None and points:
            if not 1 <= full <= len(points):
                what = f"'full: {full:g}' with {len(points)} points"
                report.fault(block.at("full"), "bank-full", what, f"write from 1 to {len(points)}")
            elif full < musts:
                what = f"'full: {full:g}' with {musts} points that must come"
                report.fault(block.at("full"), "bank-full", what, f"write at least {musts}")
        item.body["full"] = int(full) if full is not None else 1

    def texts(self, body: Mapping[str, Any]) -> Iterable[KindText]:
        """The points."""
        return [KindText(f"points/{point['id']}", point["text"]) for point in body["points"]]

    def cautions(self, body: Mapping[str, Any]) -> Iterable[str]:
        """C5: what is spoken here is for study."""
        return ("C5",)

    def build(self, body: Mapping[str, Any], build: Build) -> Any:
        """The points' texts by id."""
        return {point["id"]: build.template(point["text"]) for point in body["points"]}

    def templates(self, item: Item) -> Mapping[str, Template]:
        """The points' texts."""
        return {f"points/{key}": text for key, text in item.content.items()}

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """The points in the author's order: that of a good answer."""
        shown = shown_of(tried.drawn)
        return [], {
            "points": [
                {"id": point["id"], "must": point["must"], "text": text}
                for point in item.body["points"]
                for text in (item.content[point["id"]].fill(shown, tried.values),)
            ],
            "full": item.body["full"],
        }

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """The time to speak; the points only on the second screen, see `spoken`."""
        return {"speak_s": item.body["speak_s"]}

    def spoken(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """Model answer and points, once the person has spoken."""
        shown = shown_of(drawn)
        return {
            "points": tuple(Option(key, text.fill(shown, values)) for key, text in item.content.items()),
            "model": item.why.fill(shown, values),
        }

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """The points that came, none where the list was sent and is empty."""
        points = raw.get("points")
        known = [point["id"] for point in record["points"]]
        if not isinstance(points, list | tuple):
            raise unreadable("Nothing was ticked.", "Speak, look at the model answer, tick what came, or press pass.")
        if any(point not in known for point in points):
            raise unreadable("A ticked point is none of this question's.", "Tick among those shown.")
        return {"points": [point for point in known if point in points]}

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Ticked points over those of a full answer; full needs every point that must come."""
        ticked = response["points"]
        missed = [point for point in record["points"] if point["must"] and point["id"] not in ticked]
        share = min(1.0, len(ticked) / record["full"])
        rows = self._rows(record, ticked)
        if share >= 1.0 and not missed:
            return Graded("full", 1.0, rows=rows)
        if missed and share >= 1.0:
            share = (record["full"] - 1) / record["full"] if record["full"] > 1 else 0.0
        remark = f"Missing from what must come: {'; '.join(point['text'] for point in missed)}." if missed else None
        return Graded("part" if share > 0 else "miss", share, remark=remark, rows=rows)

    @staticmethod
    def _rows(record: Mapping[str, Any], ticked: Sequence[str]) -> tuple[RowMark, ...]:
        return tuple(
            RowMark(
                point["id"],
                point["text"],
                "said" if point["id"] in ticked else "not said",
                "must come" if point["must"] else "good to have",
                point["id"] in ticked,
            )
            for point in record["points"]
        )

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """Every point."""
        return Graded("pass", 0.0, rows=self._rows(record, ()))

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The points in words."""
        key = "; ".join(point["text"] for point in record["points"])
        musts = sum(point["must"] for point in record["points"])
        accepted = f"{record['full']} of {len(record['points'])} points"
        if musts:
            accepted += f", among them the {musts} that must come"
        return Worked(record["why"], key, accepted, tuple(record["lines"]))

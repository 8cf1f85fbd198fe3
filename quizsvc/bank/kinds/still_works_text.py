"""The words of a `still-works` item: failures, switches, rows, hand-written keys, and what the graph says to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.block import Block, nearest
from quizsvc.bank.kinds.base import lacks_aircraft
from quizsvc.bank.kinds.still_works_state import AFTER, LOST, WORKS, Setting, choices_of, keys_of, settings_of
from quizsvc.bank.text import Scalar
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.bank.item import Context, ItemText

__all__ = ["read_still_works"]

MOST_ROWS = 12
GRAVE_CONSEQUENCE = 3


_WORDS = ("fail", "switches", "rows", "key", "grave", "actions", "beliefs")


def read_still_works(block: Block, item: ItemText, context: Context) -> None:
    """Read the item's own words into its body; faults go to its report.

    Parameters
    ----------
    block : Block
        The item.
    item : ItemText
        `draw` is read already.
    context : Context
        Where its concept's consequence is 3, every row is grave unless `grave` says which are.
    """
    body, report = item.body, item.report
    body.update({"fail": {"nodes": []}, "switches": {}, "rows": [], "grave": [], "actions": None, "row_beliefs": []})
    if lacks_aircraft(block, item, context, _WORDS, "asks the graph of"):
        return
    aircraft = context.aircraft
    assert aircraft is not None
    block.ignore(_WORDS)
    consequence = context.consequence.get(str(body["concept"]))
    reader = _Reader(block, item, aircraft)
    reader.fail()
    reader.switches()
    rows = reader.rows()
    body["actions"] = reader.actions()
    body["row_beliefs"] = reader.beliefs(rows)
    body["grave"] = reader.row_list("grave", rows) if block.has("grave") else []
    if not block.has("grave") and consequence == GRAVE_CONSEQUENCE:
        body["grave"] = list(rows)
    if not report.faults:
        reader.judge(rows)


class _Reader:
    def __init__(self, block: Block, item: ItemText, aircraft: Aircraft) -> None:
        self.block = block
        self.item = item
        self.body = item.body
        self.report = item.report
        self.aircraft = aircraft

    def fail(self) -> None:
        """A list of nodes, or the name of a draw of failures."""
        node = self.block.node("fail", required=True)
        if isinstance(node, Scalar) and node.text.strip() not in self.aircraft.nodes:
            name = node.text.strip()
            entry = next((entry for entry in self.body["draw"] if entry["name"] == name), None)
            if entry is not None and entry.get("list") == "failures":
                self.body["fail"] = {"draw": name}
            elif name not in self.item.broken:
                what = f"'{name}' is neither a node nor a draw of failures"
                self.report.fault(
                    node, "bank-still-fail", what, "write [NODE, NODE], or draw: {failure: {one-of: failures}}"
                )
            return
        self.body["fail"] = {"nodes": [name for name, _ in self._nodes("fail", "node")]}

    def _nodes(self, word: str, sort: str) -> list[tuple[str, Scalar]]:
        """Known nodes of a list, each once."""
        found: dict[str, Scalar] = {}
        for scalar in self.block.scalars(word, required=True, one=True):
            name = scalar.text.strip()
            if name not in self.aircraft.nodes:
                mend = nearest(name, self.aircraft.nodes)
                self.report.fault(scalar, "bank-node-unknown", f"'{name}' is no node of the aircraft", mend)
            elif name in found:
                self.report.fault(scalar, "bank-row-twice", f"{sort} '{name}' stands twice", "list it once")
            else:
                found[name] = scalar
        return list(found.items())

    def switches(self) -> None:
        for name, place, node in self.block.map("switches"):
            switch = self.aircraft.switches.get(name)
            position = node.text.strip() if isinstance(node, Scalar) else ""
            if switch is None:
                mend = nearest(name, self.aircraft.switches)
                self.report.fault(place, "bank-switch-unknown", f"'{name}' is no switch of the aircraft", mend)
            elif position not in switch.positions:
                what = f"'{position}' is no position of {name}"
                self.report.fault(node, "bank-switch-unknown", what, f"positions: {', '.join(switch.positions)}")
            else:
                self.body["switches"][name] = position

    def rows(self) -> dict[str, Scalar]:
        rows = dict(self._nodes("rows", "row"))
        self.body["rows"] = list(rows)
        if self.block.has("rows") and not 2 <= len(rows) <= MOST_ROWS and not self.report.faults:
            what = f"{len(rows)} row(s)"
            self.report.fault(self.block.at("rows"), "bank-rows", what, f"give from 2 to {MOST_ROWS}")
        for name, scalar in rows.items():
            if name in self.body["fail"].get("nodes", ()):
                what = f"'{name}' is asked, and it is what fails"
                self.report.fault(scalar, "bank-row-failed", what, "ask what hangs on it")
        return rows

    def row_list(self, word: str, rows: Mapping[str, Scalar]) -> list[str]:
        """Rows named by another word."""
        found = []
        for scalar in self.block.scalars(word, one=True):
            if scalar.text.strip() in rows:
                found.append(scalar.text.strip())
            else:
                what = f"'{scalar.text.strip()}' under '{word}' is no row of the item"
                self.report.fault(scalar, "bank-row-unknown", what, nearest(scalar.text.strip(), rows))
        return found

    def actions(self) -> list[str] | None:
        """Ids of the actions offered; None for all that would move a switch."""
        if not self.block.has("actions"):
            return None
        known = {action.id for action in self.aircraft.actions}
        found = []
        for scalar in self.block.scalars("actions", one=True):
            name = scalar.text.strip()
            if name not in known:
                self.report.fault(scalar, "bank-action-unknown", f"'{name}' is no action", nearest(name, known))
            else:
                found.append(name)
        return found

    def beliefs(self, rows: Mapping[str, Scalar]) -> list[dict[str, str]]:
        """What stands behind a wrong answer to a row."""
        found: list[dict[str, str]] = []
        for entry in self.block.blocks("beliefs", "belief"):
            row, taken, belief = (entry.text(word, required=True) for word in ("row", "taken", "belief"))
            entry.done()
            if row is None or taken is None or belief is None:
                continue
            if row not in rows:
                self.report.fault(entry.at("row"), "bank-row-unknown", f"'{row}' is no row", nearest(row, rows))
            elif not self._is_answer(taken):
                self._no_answer(entry.at("taken"), taken)
            else:
                found.append({"row": row, "taken": taken, "belief": belief})
        return found

    def _is_answer(self, text: str) -> bool:
        return text in (WORKS, LOST) or (
            text.startswith(AFTER) and text.removeprefix(AFTER) in {action.id for action in self.aircraft.actions}
        )

    def _no_answer(self, at: Any, text: str) -> None:
        actions = ", ".join(AFTER + action.id for action in self.aircraft.actions[:3])
        what = f"'{text}' is no answer to a row"
        self.report.fault(at, "bank-row-answer", what, f"write {WORKS}, {LOST}, or such as {actions}")

    def judge(self, rows: Mapping[str, Scalar]) -> None:
        """Hold rows, hand-written keys and actions against the graph, in every failure that may be drawn."""
        try:
            settings = list(settings_of(self.aircraft, self.body))
        except InputError as error:
            self.report.error(self.block.at("fail"), error)
            return
        self._keys(settings, rows)
        self._idle(settings)
        names = list(rows)
        alike = 0
        for setting in settings:
            keys = keys_of(setting, names)
            offered = {choice["id"] for choice in choices_of(self.aircraft, setting, self.body["actions"])}
            for row, answers in keys.items():
                if not offered & set(answers):
                    what = f"row '{row}' is right with '{answers[0]}'{_in(setting)}, and 'actions' does not offer that"
                    self.report.fault(self.block.at("actions"), "bank-action-missing", what, "add it to 'actions'")
                    return
            alike += len({tuple(answers) for answers in keys.values()}) == 1
        if alike * 2 > len(settings):
            self.report.remark(
                self.block.at("rows"),
                "bank-rows-alike",
                "every row has the same answer" + (f" in {alike} of {len(settings)} failures" if alike > 1 else ""),
                "mix what works with what is lost",
            )

    def _idle(self, settings: Sequence[Setting]) -> None:
        """Remark an offered action whose switch stands there already, in every failure that may be drawn."""
        normal = self.aircraft.graph.program.normal
        moves = {action.id: action for action in self.aircraft.actions}
        for scalar in self.block.scalars("actions", one=True):
            action = moves.get(scalar.text.strip())
            if action and all((normal | dict(one.switches))[action.switch] == action.to for one in settings):
                what = f"'{action.id}' changes nothing: {action.switch} stands at {action.to}"
                cure = "take it out, or say under 'switches' and in the stem where the switch stands"
                self.report.remark(scalar, "bank-action-idle", what, cure)

    def _keys(self, settings: Sequence[Setting], rows: Mapping[str, Scalar]) -> None:
        for row, place, node in self.block.map("key"):
            hand = node.text.strip() if isinstance(node, Scalar) else ""
            if row not in rows:
                self.report.fault(place, "bank-row-unknown", f"'{row}' under 'key' is no row", nearest(row, rows))
                continue
            if not self._is_answer(hand):
                self._no_answer(node, hand)
                continue
            for setting in settings:
                answers = keys_of(setting, [row])[row]
                if hand not in answers:
                    what = f"row '{row}': the key says '{hand}', the graph says '{' or '.join(answers)}'{_in(setting)}"
                    self.report.fault(
                        node, "bank-key-disagrees", what, "correct the key, or the graph in aircraft.yaml"
                    )
                    break


def _in(setting: Setting) -> str:
    return f" in {setting.failure}" if setting.failure else ""

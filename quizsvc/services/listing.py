"""What an author looks up: ids of a bank's concepts, sections, nodes, switches, actions, failures and airfields."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.check import CheckedBank, check_bank
from quizsvc.errors import InputError
from quizsvc.physics.units import format_quantity
from quizsvc.services.bank_files import read_folder
from quizsvc.services.preview import catalogue

__all__ = ["SORTS", "Row", "listing"]


@dataclass(frozen=True)
class Row:
    """One thing: the folder it belongs to, the id to write, its name, and what else helps to choose it."""

    folder: str
    id: str
    name: str
    more: str


def _nodes(aircraft: Aircraft) -> list[tuple[str, str, str]]:
    return [
        (key, node.name, f"on {node.bus}" + (f", {node.amps:g} A" if node.amps else "") if node.bus else "")
        for key, node in aircraft.nodes.items()
    ]


def _switches(aircraft: Aircraft) -> list[tuple[str, str, str]]:
    return [
        (key, switch.name, f"{', '.join(switch.positions)}; normal {switch.normal}")
        for key, switch in aircraft.switches.items()
    ]


def _actions(aircraft: Aircraft) -> list[tuple[str, str, str]]:
    return [(action.id, action.words, "") for action in aircraft.actions]


def _failures(aircraft: Aircraft) -> list[tuple[str, str, str]]:
    found = []
    for key, failure in aircraft.failures.items():
        stand = [f"{switch} {position}" for switch, position in failure.switches.items()]
        found.append((key, failure.title, f"fails {', '.join((*failure.fail, *stand))}"))
    return found


def _airfields(aircraft: Aircraft) -> list[tuple[str, str, str]]:
    return [(field.id, field.name, format_quantity(field.elevation_m, "ft", 0)) for field in aircraft.airfields]


_OF_AIRCRAFT: Mapping[str, Callable[[Aircraft], list[tuple[str, str, str]]]] = {
    "nodes": _nodes,
    "switches": _switches,
    "actions": _actions,
    "failures": _failures,
    "airfields": _airfields,
}
SORTS = ("concepts", "sections", *_OF_AIRCRAFT)


def listing(path: Path | str, sort: str) -> tuple[Row, ...]:
    """Everything of one sort in a bank's files, in their order; items are not read, so their faults do not matter.

    Parameters
    ----------
    path : path
        Folder of the bank.
    sort : str
        One of `SORTS`.

    Returns
    -------
    tuple of Row
        A concept says its system and how much it matters, a node its bus, a switch its positions.

    Raises
    ------
    InputError
        The folder cannot be read, or faults leave nothing to list.
    """
    with_items = Counter(entry.file for entry in catalogue(path))
    texts = [text for text in read_folder(path) if text.name not in with_items]
    # Without items nothing is drawn: the generator is asked for nothing.
    checked = check_bank(texts, rng=random.Random(0))
    rows = tuple(_rows(checked, sort))
    if not rows and checked.faults:
        first = checked.faults[0]
        raise InputError("bank-list", first.what, where=first.where, mend="mend it: 'quizsvc bank check' says more")
    return rows


def _rows(checked: CheckedBank, sort: str) -> list[Row]:
    if sort == "concepts":
        return [
            Row(concept.folder, concept.id, concept.title, f"{concept.system}, consequence {concept.consequence}")
            for concept in checked.concepts
        ]
    if sort == "sections":
        return [Row(section.folder, section.id, section.title, "") for section in checked.sections]
    return [
        Row(folder, *found) for folder, aircraft in checked.aircraft.items() for found in _OF_AIRCRAFT[sort](aircraft)
    ]

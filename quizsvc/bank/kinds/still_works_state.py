"""What a failure leaves of the rows of a `still-works` item: answers, reasons, pictures, all from the graph."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.diagram import chain_diagram, short_name
from quizsvc.aircraft.failures import Cause, State, causes, evaluate, path
from quizsvc.aircraft.graph import Graph

__all__ = [
    "AFTER",
    "LOST",
    "WORKS",
    "Setting",
    "choices_of",
    "keys_of",
    "pictures_of",
    "setting_of",
    "settings_of",
    "why_row",
]

WORKS, LOST, AFTER = "works", "lost", "after "
"""Answers to a row; the third is followed by an action, such as `after AIR_DATA 2`."""


@dataclass(frozen=True)
class Setting:
    """One question's state: what failed, the switches that do not stand at normal, and what the graph makes of it."""

    fail: tuple[str, ...]
    switches: Mapping[str, str]
    state: State
    failure: str = ""


def setting_of(aircraft: Aircraft, body: Mapping[str, Any], drawn: Mapping[str, Mapping[str, Any]]) -> Setting:
    """The state of one draw.

    Parameters
    ----------
    aircraft : Aircraft
        The described aircraft.
    body : mapping
        The item's checked body.
    drawn : mapping
        The draw; a drawn failure brings its nodes, and its switches over those of the item.

    Returns
    -------
    Setting
        With the state worked out.
    """
    source = body["fail"]
    if "draw" not in source:
        return _setting(aircraft.graph, tuple(source["nodes"]), dict(body["switches"]))
    return _of_failure(aircraft, body, str(drawn[f"{source['draw']}_id"]["shown"]))


def _of_failure(aircraft: Aircraft, body: Mapping[str, Any], failure_id: str) -> Setting:
    failure = aircraft.failures[failure_id]
    return _setting(aircraft.graph, failure.fail, dict(body["switches"]) | dict(failure.switches), failure_id)


def _setting(graph: Graph, fail: tuple[str, ...], switches: Mapping[str, str], failure: str = "") -> Setting:
    return Setting(fail, switches, evaluate(graph, fail, switches), failure)


def settings_of(aircraft: Aircraft, body: Mapping[str, Any]) -> Iterator[Setting]:
    """The states of every failure that an item may draw; one where it draws none."""
    source = body["fail"]
    if "draw" not in source:
        yield setting_of(aircraft, body, {})
        return
    entry = next(entry for entry in body["draw"] if entry["name"] == source["draw"])
    for option in entry["options"]:
        yield _of_failure(aircraft, body, str(option["shown"][f"{source['draw']}_id"]))


def keys_of(setting: Setting, rows: Sequence[str]) -> dict[str, list[str]]:
    """The right answers to each row: `works`, `lost`, or one `after ACTION` for each action that does it alone."""
    state = setting.state
    return {
        row: [WORKS]
        if row in state.works
        else [AFTER + action for action in state.after[row]]
        if row in state.after
        else [LOST]
        for row in rows
    }


def choices_of(aircraft: Aircraft, setting: Setting, actions: Sequence[str] | None) -> list[dict[str, str]]:
    """What may be answered to a row: ids and words; the actions offered, or all that would move a switch."""
    positions = aircraft.graph.program.normal | dict(setting.switches)
    offered = [
        action
        for action in aircraft.actions
        if (positions[action.switch] != action.to if actions is None else action.id in actions)
    ]
    return [
        {"id": WORKS, "text": "works"},
        {"id": LOST, "text": "lost"},
        *({"id": AFTER + action.id, "text": f"works after {action.words}"} for action in offered),
    ]


def why_row(aircraft: Aircraft, setting: Setting, row: str) -> str:
    """Why the graph says of a row what it says, in the words of the aircraft file."""
    graph = aircraft.graph
    steps = path(graph, row, setting.fail, setting.switches)
    names = [short_name(graph, step.node) for step in steps]
    if row in setting.state.works:
        gone = [name for name, step in zip(names, steps, strict=True) if step.state != "works"]
        if gone:
            return f"{gone[-1]} is lost, so it goes on: {' → '.join(names)}"
        return f"fed by {' → '.join(names[:-1])}" if len(names) > 1 else "needs nothing that failed"
    blamed = causes(graph, row, setting.fail, setting.switches, for_good=True)
    text = " → ".join((_blame(aircraft, blamed), *names[1:]))
    back = [action.words for action in aircraft.actions if action.id in setting.state.after.get(row, ())]
    return f"{text}; back after {' or '.join(back)}" if back else text


def _blame(aircraft: Aircraft, blamed: Sequence[Cause]) -> str:
    failed = [short_name(aircraft.graph, cause.name) for cause in blamed if not cause.at]
    stand = [f"{aircraft.switches[cause.name].name} at {cause.at}" for cause in blamed if cause.at]
    return " and ".join([f"{' and '.join(failed)} failed", *stand] if failed else stand)


def pictures_of(aircraft: Aircraft, setting: Setting, rows: Sequence[str]) -> list[dict[str, Any]]:
    """The way to each row that does not work, with the break."""
    return [
        chain_diagram(aircraft.graph, row, setting.fail, setting.switches)
        for row in rows
        if row not in setting.state.works
    ]

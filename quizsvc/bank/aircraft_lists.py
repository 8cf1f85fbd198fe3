"""The lists of an aircraft that a draw may take from."""

from __future__ import annotations

from quizsvc.aircraft.description import Aircraft
from quizsvc.aircraft.failures import consequence
from quizsvc.aircraft.graph import Failure
from quizsvc.bank.draw_lists import Record, Records
from quizsvc.errors import InputError

__all__ = ["records_of"]


def records_of(aircraft: Aircraft | None) -> Records:
    """Airfields, failures and loads, each entry with an id; a list without entries is left out.

    Parameters
    ----------
    aircraft : Aircraft or None
        The described aircraft; None has no lists.

    Returns
    -------
    mapping of str to sequence of Record
        `airfields` (elevation, role), `failures` (consequence), `loads` (the nodes that draw current: amps, bus).
    """
    if aircraft is None:
        return {}
    airfields = [
        Record(field.name, {"id": field.id, "role": field.role}, {"elevation": (field.elevation_m, "ft")})
        for field in aircraft.airfields
    ]
    failures = [
        Record(failure.title, {"id": key, "consequence": consequence(aircraft, failure)}, {})
        for key, failure in aircraft.failures.items()
        if _has_consequence(aircraft, failure)
    ]
    loads = [
        Record(node.name, {"id": key, "bus": node.bus}, {"amps": (node.amps, "A")})
        for key, node in aircraft.nodes.items()
        if node.bus and node.amps
    ]
    lists = {"airfields": airfields, "failures": failures, "loads": loads}
    return {name: entries for name, entries in lists.items() if entries}


def _has_consequence(aircraft: Aircraft, failure: Failure) -> bool:
    """Whether its text can be filled in; where not, the aircraft file has a finding of its own."""
    try:
        consequence(aircraft, failure)
    except InputError:
        return False
    return True

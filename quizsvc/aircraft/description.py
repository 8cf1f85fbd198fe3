"""From the raw values of an aircraft file to the aircraft, with everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quizsvc.aircraft import sections
from quizsvc.aircraft.consistency import altitude_contradictions, pressure_contradictions
from quizsvc.aircraft.consistency_graph import graph_contradictions
from quizsvc.aircraft.consistency_systems import system_contradictions
from quizsvc.aircraft.fields import Constant, Path, Reader, read_section
from quizsvc.aircraft.graph import read_graph
from quizsvc.aircraft.model import OPTIONAL_SECTIONS, REQUIRED_SECTIONS, Aircraft
from quizsvc.aircraft.sections import Airfield
from quizsvc.errors import Finding

__all__ = ["FORMAT", "Aircraft", "Airfield", "Constant", "read_aircraft"]

FORMAT = 1
"""The format of aircraft files that this code reads."""

_GRAPH_WORDS = {"switches", "actions", "nodes", "failures"}


def read_aircraft(
    raw: Mapping[str, Any], place: Callable[[Path], tuple[int, int]], file: str
) -> tuple[Aircraft | None, list[Finding]]:
    """Read and check an aircraft file.

    Parameters
    ----------
    raw : mapping
        The file's plain values: texts, numbers in the units of their words, lists and mappings.
    place : callable
        Line and column, counted from 1, of a path of words and indices.
    file : str
        Name of the file, for the findings.

    Returns
    -------
    aircraft : Aircraft or None
        The aircraft in SI; None where its shape cannot be read. One that contradicts itself is returned too, so that
        what uses it can be checked in the same run; its findings are faults all the same.
    findings : list of Finding
        All that is wrong, in the order of the text.
    """
    reader = Reader(place, file)
    aircraft = _read(reader, raw)
    if aircraft is not None:
        for rule in (pressure_contradictions, altitude_contradictions, system_contradictions, graph_contradictions):
            for found in rule(aircraft):
                line, column = place(found.path)
                reader.findings.append(
                    Finding(file, line, column, found.reference, found.what, found.mend, severity=found.severity)
                )
    return aircraft, sorted(reader.findings)


def _read(reader: Reader, raw: Mapping[str, Any]) -> Aircraft | None:
    required = {"format", "notice", "aircraft", "airfields", *REQUIRED_SECTIONS}
    if reader.mapping(raw, (), required, {*OPTIONAL_SECTIONS, *_GRAPH_WORDS}) is None and not isinstance(raw, Mapping):
        return None
    if "format" in raw and (raw["format"] != FORMAT or isinstance(raw["format"], bool)):
        reader.fault(
            ("format",), "aircraft-format", f"format {raw['format']!r} is not known", f"write `format: {FORMAT}`"
        )
    notice = reader.text(raw["notice"], ("notice",)) if "notice" in raw else ""
    general = read_section(reader, sections.General, raw["aircraft"], ("aircraft",)) if "aircraft" in raw else None
    parts: dict[str, Any] = {
        word: read_section(reader, section, raw[word], (word,)) if word in raw else None
        for word, section in {**REQUIRED_SECTIONS, **OPTIONAL_SECTIONS}.items()
    }
    graph = read_graph(reader, raw)
    rows = (reader.sequence(raw["airfields"], ("airfields",)) or []) if "airfields" in raw else []
    airfields = [read_section(reader, Airfield, row, ("airfields", i)) for i, row in enumerate(rows)]
    if reader.findings or general is None or graph is None:
        return None
    return Aircraft(
        format=FORMAT,
        notice=notice,
        general=general,
        graph=graph,
        airfields=tuple(airfield for airfield in airfields if airfield is not None),
        **parts,
    )

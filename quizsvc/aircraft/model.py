"""The described aircraft as a value: sections, graph, airfields; its canonical form and its constants."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quizsvc.aircraft import sections
from quizsvc.aircraft.fields import Constant, canonical_of, constants_of, from_canonical
from quizsvc.aircraft.graph import Action, Failure, Graph, Node, Switch, graph_from_canonical

__all__ = ["OPTIONAL_SECTIONS", "REQUIRED_SECTIONS", "Aircraft"]

REQUIRED_SECTIONS: Mapping[str, type[Any]] = {
    "pressurisation": sections.Pressurisation,
    "safety_altitudes": sections.SafetyAltitudes,
}
"""Word and class of the sections that every aircraft file has, beside `aircraft` and `airfields`."""

OPTIONAL_SECTIONS: Mapping[str, type[Any]] = {
    "high_field": sections.HighField,
    "crew_target": sections.CrewTarget,
    "manual": sections.Manual,
    "dump": sections.Dump,
    "bleed": sections.Bleed,
    "oxygen": sections.Oxygen,
    "electrical": sections.Electrical,
    "performance": sections.Performance,
    "roles": sections.Roles,
}
"""Word and class of the sections that an aircraft may lack."""


@dataclass(frozen=True)
class Aircraft:
    """An aircraft as its file describes it, SI inside.

    A section that the aircraft lacks is None; a group of the graph that it lacks is empty.
    """

    format: int
    notice: str
    general: sections.General
    pressurisation: sections.Pressurisation
    safety_altitudes: sections.SafetyAltitudes
    high_field: sections.HighField | None
    crew_target: sections.CrewTarget | None
    manual: sections.Manual | None
    dump: sections.Dump | None
    bleed: sections.Bleed | None
    oxygen: sections.Oxygen | None
    electrical: sections.Electrical | None
    performance: sections.Performance | None
    roles: sections.Roles | None
    graph: Graph
    airfields: tuple[sections.Airfield, ...]

    def __hash__(self) -> int:
        return hash((self.general, self.pressurisation))

    @property
    def key(self) -> str:
        """The name as a folder is called: `tolquenny-19`."""
        return re.sub(r"[^a-z0-9]+", "-", self.general.name.lower()).strip("-")

    @property
    def name(self) -> str:
        """The name in full."""
        return self.general.name

    @property
    def switches(self) -> Mapping[str, Switch]:
        """The switches by id."""
        return self.graph.switches

    @property
    def actions(self) -> tuple[Action, ...]:
        """The single switch changes that a crew can make."""
        return self.graph.actions

    @property
    def nodes(self) -> Mapping[str, Node]:
        """The components by id."""
        return self.graph.nodes

    @property
    def failures(self) -> Mapping[str, Failure]:
        """The failures by id."""
        return self.graph.failures

    def constants(self) -> dict[str, Constant]:
        """Every number of the sections by its name in formulas.

        Returns
        -------
        dict of str to Constant
            The numbers of `pressurisation` by their own names, others with their section in front, in SI.
        """
        found = dict(constants_of(self.general, "aircraft_"))
        found.update(constants_of(self.pressurisation, ""))
        for word in (*REQUIRED_SECTIONS, *OPTIONAL_SECTIONS):
            section = getattr(self, word)
            if word != "pressurisation" and section is not None:
                found.update(constants_of(section, word + "_"))
        return found

    def canonical(self) -> dict[str, Any]:
        """The whole description as JSON-able values, SI.

        Returns
        -------
        dict
            The same content always gives the same values, whatever the order and layout of the file.
        """
        values: dict[str, Any] = {
            "format": self.format,
            "notice": self.notice,
            "aircraft": canonical_of(self.general),
            "airfields": [canonical_of(airfield) for airfield in self.airfields],
        }
        for word in (*REQUIRED_SECTIONS, *OPTIONAL_SECTIONS):
            section = getattr(self, word)
            values[word] = None if section is None else canonical_of(section)
        return values | self.graph.canonical()

    @classmethod
    def from_canonical(cls, values: Mapping[str, Any]) -> Aircraft:
        """The aircraft from its canonical form.

        Parameters
        ----------
        values : mapping
            What `canonical` gave, possibly through JSON; SI.

        Returns
        -------
        Aircraft
            Equal to the one it came from.
        """
        parts: dict[str, Any] = {
            word: None if values.get(word) is None else from_canonical(section, values[word])
            for word, section in {**REQUIRED_SECTIONS, **OPTIONAL_SECTIONS}.items()
        }
        return cls(
            format=values["format"],
            notice=values["notice"],
            general=from_canonical(sections.General, values["aircraft"]),
            graph=graph_from_canonical(values),
            airfields=tuple(from_canonical(sections.Airfield, airfield) for airfield in values["airfields"]),
            **parts,
        )

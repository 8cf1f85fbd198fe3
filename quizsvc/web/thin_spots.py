"""Thin spots: what the person holds least in each system, the rest of it folded away."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, render_template

from quizsvc.services import holds
from quizsvc.services.views import HoldRow, ThinSpots
from quizsvc.web import people
from quizsvc.web.wiring import wired
from quizsvc.web.words import STATES

__all__ = ["SHOWN", "SystemSpots", "blueprint", "by_system"]

blueprint = Blueprint("thin_spots", __name__)

# Of the eleven systems that ship these are nine screens of a phone, and all their concepts would be thirty-five.
SHOWN = 2


@dataclass(frozen=True)
class SystemSpots:
    """One system on the screen: the concepts shown and those in the fold, each weakest first."""

    system: str
    shown: tuple[HoldRow, ...]
    folded: tuple[HoldRow, ...]

    @property
    def count(self) -> str:
        """How many the fold holds: `12 more of 36 bleed`."""
        return f"{len(self.folded)} {'more ' if self.shown else ''}of {self.system}"

    @property
    def states(self) -> str:
        """The hold on them: `: 5 holding, 7 untried`, or `, all untried`."""
        words = [row.state for row in self.folded]
        held = [word for word in STATES if word in words]
        if len(held) == 1:
            return f", {'all ' if len(words) > 1 else ''}{held[0]}"
        return f": {', '.join(f'{words.count(word)} {word}' for word in held)}"


def by_system(spots: ThinSpots) -> list[SystemSpots]:
    """The systems in the order of their weakest concept, those without an answer last; no concept is left out.

    What was never asked is never among those shown: of it there is nothing to say but that.
    """
    systems = list(dict.fromkeys(row.system for row in (*spots.rows, *spots.untried)))
    found = []
    for system in systems:
        tried = tuple(row for row in spots.rows if row.system == system)
        untried = tuple(row for row in spots.untried if row.system == system)
        found.append(SystemSpots(system, tried[:SHOWN], tried[SHOWN:] + untried))
    return found


@blueprint.get("/thin-spots")
def page() -> str:
    """Concepts with low or uncertain expectation, weakest first in each system."""
    person = people.required()
    spots = holds.thin_spots(wired().db, person.id, now=wired().clock())
    return render_template("thin_spots.html", person=person, spots=spots, systems=by_system(spots))

"""What someone wrongly believes of the cabin, as changes of the rules that a flight is computed by.

Each word names a rule, and its value what is believed instead; `change: {gate: none}` in a bank's item reads these.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from quizsvc.errors import InputError

__all__ = ["BELIEFS", "Belief", "belief_of"]

BELIEFS: Mapping[str, Mapping[str, str]] = {
    "gate": {"none": "with a high landing field the cabin starts for its target as soon as the descent begins"},
    "regime": {
        "target-in-cruise": "with a high landing field the cabin climbs to its target while still in cruise",
        "normal": "a high landing field is treated like any other: target below the field, no waiting",
    },
    "descent": {
        "down": "the descent leg always takes the cabin down until the gate",
        "stays": "the cabin stays at its cruise value in the descent until the aircraft meets it",
        "schedule": "in the descent the cabin goes back down the schedule",
    },
    "hold": {"none": "after lift-off the cabin goes to the schedule at once instead of waiting at the field"},
    "rate": {"none": "the cabin follows at any rate"},
    "limit": {"none": "the rate limit outranks the differential limit, until the relief heads open"},
    "target": {"field": "the cabin aims at the field itself, without an offset"},
    "catch": {"none": "the cabin keeps its own rate although the aircraft has come down to it"},
    "air-data": {
        "automatic": "without air data the automatic control goes on as before",
        "sinks": "without air data the valves close and the cabin sinks until the relief heads hold",
        "opens": "without air data the valves open and the cabin climbs to aircraft altitude",
    },
    "controller": {
        "opens": "a dead controller lets the valves open",
        "holds": "a dead controller leaves the cabin where it is",
    },
    "inflow": {
        "none": "without inflow the cabin stays where it is as long as the valves are closed",
        "at-once": "without inflow the cabin is at aircraft altitude within a minute",
    },
}
"""Word, value, and what a person believes who would draw the cabin so."""


@dataclass(frozen=True)
class Belief:
    """Wrong beliefs; None where the rule is held as it is. The words are those of `BELIEFS`."""

    gate: str | None = None
    regime: str | None = None
    descent: str | None = None
    hold: str | None = None
    rate: str | None = None
    limit: str | None = None
    target: str | None = None
    catch: str | None = None
    air_data: str | None = None
    controller: str | None = None
    inflow: str | None = None

    def __post_init__(self) -> None:
        for one in fields(self):
            word, value = one.name.replace("_", "-"), getattr(self, one.name)
            if value is not None and value not in BELIEFS[word]:
                raise InputError(
                    "flight-belief-unknown",
                    f"'{value}' is no belief about '{word}'",
                    where="change",
                    mend=f"one of {', '.join(BELIEFS[word])}",
                )


def belief_of(change: Mapping[str, Any]) -> Belief:
    """The beliefs that a bank's `change` names.

    Parameters
    ----------
    change : mapping of str to str
        Word and value, such as `gate: none`.

    Returns
    -------
    Belief
        With these beliefs and no others.

    Raises
    ------
    InputError
        `flight-belief-unknown`: no such word, or no such value of it.
    """
    for word in change:
        if word not in BELIEFS:
            raise InputError(
                "flight-belief-unknown",
                f"'{word}' is no rule that a change can name",
                where="change",
                mend=f"one of {', '.join(BELIEFS)}",
            )
    return Belief(**{word.replace("-", "_"): value for word, value in change.items()})

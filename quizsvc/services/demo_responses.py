"""What an invented learner sends for a question of any kind: the key where it knows it, else a belief or a slip."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Mapping
from typing import Any

from quizsvc.physics.unit_table import from_si

__all__ = ["response"]

_PASSES = 0.12
Record = Mapping[str, Any]


def response(record: Record, *, knows: bool, rng: random.Random) -> dict[str, Any]:
    """The raw response to a stored question.

    Parameters
    ----------
    record : Mapping
        The question's grading record.
    knows : bool
        Whether the learner knows the key; else it sends a belief where the item lists one, now and then a pass.
    rng : random.Random
        Where chance comes from.
    """
    if not knows and rng.random() < _PASSES:
        return {"pass": True}
    return _BY_KIND[record["kind"]](record, knows, rng)


def _option(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    return {"option": rng.choice([one for one in record["order"] if (one in record["keys"]) == knows])}


def _some(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    slip = None if knows else rng.choice(record["order"])
    return {"options": [one for one in record["order"] if (one in record["keys"]) != (one == slip)]}


def _number(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    value = record["key"]
    if not knows:
        traps = [trap["value"] for trap in record["traps"] if trap.get("value") is not None]
        value = rng.choice(traps) if traps else value * 1.4
    # Five digits tell a trap of 10,754 ft from a key of 10,750 ft.
    return {"text": _typed(value, record["unit"], digits=4 if knows else 5)}


def _order(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    steps = list(record["right"])
    if not knows:
        beliefs = [entry["before"] for entry in record["beliefs"]]
        neighbours = [
            (after, before)
            for before, after in itertools.pairwise(steps)
            if record["groups"][before] != record["groups"][after]
        ]
        early, late = rng.choice(beliefs or neighbours)
        steps.remove(early)
        steps.insert(steps.index(late), early)
    return {"order": steps}


def _match(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    pairs = dict(record["pairs"])
    if not knows:
        left = rng.choice(record["lefts"])
        wrong = [(entry["left"], entry["right"]) for entry in record["beliefs"]]
        others = [(left, right) for right in record["order"] if right != pairs[left]]
        left, right = rng.choice(wrong or others)
        pairs[left] = right
    return {"pairs": pairs}


def _rows(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    rows = {row["id"]: row["keys"][0] for row in record["rows"]}
    if not knows:
        slip = rng.choice([row for row in record["rows"] if row["beliefs"]] or record["rows"])
        believed = [taken for taken in slip["beliefs"] if taken not in slip["keys"]]
        other = "lost" if "works" in slip["keys"] else "works"
        rows[slip["id"]] = rng.choice(believed or [other])
    return {"rows": rows}


def _gauge(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    slip = None if knows else rng.choice(["judgement", *(entry["id"] for entry in record["readings"])])
    # A fifth too much; near zero that would still be within what is allowed.
    beside = {entry["id"]: max(0.2 * abs(entry["key"]), 2 * entry["within"]) for entry in record["readings"]}
    readings = {
        entry["id"]: _typed(entry["key"] + (beside[entry["id"]] if entry["id"] == slip else 0.0), entry["unit"])
        for entry in record["readings"]
    }
    return {"readings": readings, **_option(record, slip != "judgement", rng)}


def _say(record: Record, knows: bool, rng: random.Random) -> dict[str, Any]:
    points = [point["id"] for point in record["points"]]
    came = points if knows else rng.sample(points, rng.randrange(record["full"]))
    return {"points": [one for one in points if one in came]}


_BY_KIND: dict[str, Callable[[Record, bool, random.Random], dict[str, Any]]] = {
    "one": _option,
    "profile": _option,
    "some": _some,
    "number": _number,
    "order": _order,
    "match": _match,
    "still-works": _rows,
    "gauge": _gauge,
    "say": _say,
}


def _typed(value: float, unit: str | None, *, digits: int = 4) -> str:
    # As many digits as somebody reads off or works out; never in powers of ten, which nobody types.
    number = f"{float(f'{from_si(value, unit) if unit else value:.{digits}g}'):.10g}"
    return f"{number} {unit}" if unit else number

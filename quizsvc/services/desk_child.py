"""The process that checks one text of the bank desk and ends: `python -m quizsvc.services.desk_child`.

It reads one JSON object from standard input and writes one to standard output. Its time begins when everything is
imported, and is time on the processor, so a slow or busy machine takes nothing from the text; the system ends it,
wherever it is, when the time is over.
"""

from __future__ import annotations

import json
import random
import resource
import signal
import sys
from dataclasses import asdict
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.check import BankText
from quizsvc.bank.check_beside import Loaded, check_beside
from quizsvc.bank.concept import Caution, Concept
from quizsvc.bank.question import compile_item
from quizsvc.errors import InputError
from quizsvc.services.showing import shown

__all__ = ["examine"]

MOST_MEMORY = 1 << 30  # bytes of addresses


def examine(order: dict[str, Any]) -> dict[str, Any]:
    """Check a text and draw one question of it; JSON in, JSON out."""
    aircraft = Aircraft.from_canonical(order["aircraft"]) if order["aircraft"] is not None else None
    loaded = Loaded(
        aircraft,
        order["aircraft_hash"],
        [
            Concept(**(concept | {key: tuple(concept[key]) for key in ("what", "first")}))
            for concept in order["concepts"]
        ],
        frozenset(order["sections"]),
        [Caution(**caution) for caution in order["cautions"]],
    )
    rng = random.Random(order["seed"])
    text = BankText("item.yaml", order["folder"], order["text"])
    findings, item = check_beside(text, loaded, rng=rng)
    draw = None
    if item is not None:
        try:
            draw = shown(compile_item(item.body, aircraft if item.uses_aircraft else None), rng)
        except InputError:
            draw = None  # the findings say why nothing can be drawn
    return {
        "findings": [asdict(finding) for finding in findings],
        "item": asdict(item) if item is not None else None,
        "draw": draw,
    }


def main() -> None:
    """Read, check within the seconds that the order names, write."""
    order = json.load(sys.stdin)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    signal.setitimer(signal.ITIMER_PROF, order["seconds"])
    result = json.dumps(examine(order))
    signal.setitimer(signal.ITIMER_PROF, 0)
    sys.stdout.write(result)


if __name__ == "__main__":
    main()

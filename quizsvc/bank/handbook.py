"""The figures that a handbook's Markdown names: a line `figure: schedule` with empty lines around it."""

from __future__ import annotations

import re
from collections.abc import Iterator

from quizsvc.aircraft.handbook_figures import FIGURES, figure
from quizsvc.aircraft.model import Aircraft
from quizsvc.bank.block import Report, nearest

__all__ = ["MARKER", "check_figures", "figures_named"]

MARKER = re.compile(r"figure: ([a-z][a-z0-9]*(?:-[a-z0-9]+)*)")
"""A whole paragraph that stands for a figure."""

_BEGINS = re.compile(r"figure *:", re.IGNORECASE)


def figures_named(body: str) -> list[str]:
    """The names of the figures in a text, in its order.

    Parameters
    ----------
    body : str
        Markdown.

    Returns
    -------
    list of str
        Also names that no figure has.
    """
    return [match.group(1) for _, line, alone in _markers(body) if alone and (match := MARKER.fullmatch(line))]


def check_figures(text: str, report: Report, aircraft: Aircraft | None) -> None:
    """Find figures that nobody will see.

    Parameters
    ----------
    text : str
        A handbook file's Markdown.
    report : Report
        Gets a fault for each marker that cannot be read, names no figure, stands twice in its section, or asks for what
        the aircraft's file does not hold.
    aircraft : Aircraft or None
        The described aircraft; with None only the names are checked.
    """
    seen: set[str] = set()
    headings = {number for number, line in enumerate(text.splitlines(), start=1) if line.startswith("## ")}
    last = 0
    for number, line, alone in _markers(text):
        if headings & set(range(last, number)):
            seen.clear()
        last = number
        match = MARKER.fullmatch(line)
        if match is None or not alone:
            report.fault(
                (number, 1),
                "bank-figure-line",
                f"'{line[:60]}' is not a figure's line",
                "write 'figure: schedule' on a line of its own, an empty line before and after it",
            )
            continue
        name = match.group(1)
        if name not in FIGURES:
            mend = nearest(name, FIGURES)
            report.fault((number, 1), "bank-figure-unknown", f"there is no figure '{name}'", mend)
        elif name in seen:
            report.fault(
                (number, 1), "bank-figure-twice", f"figure '{name}' stands twice in its section", "keep one of them"
            )
        elif aircraft is not None and figure(aircraft, name) is None:
            report.fault(
                (number, 1),
                "bank-figure-missing",
                f"figure '{name}' cannot be drawn of this aircraft",
                f"aircraft.yaml has to hold {FIGURES[name][1]}; or take the line out",
            )
        seen.add(name)


def _markers(text: str) -> Iterator[tuple[int, str, bool]]:
    """Number, text and whether it stands alone, of each line that begins as a marker does, outside code."""
    lines = text.splitlines()
    fenced = False
    for place, line in enumerate(lines):
        if line.startswith("```"):
            fenced = not fenced
        if not fenced and _BEGINS.match(line):
            around = lines[max(place - 1, 0) : place] + lines[place + 1 : place + 2]
            # A heading ends a paragraph as an empty line does.
            yield place + 1, line.rstrip(), all(not near.strip() or near.startswith("#") for near in around)

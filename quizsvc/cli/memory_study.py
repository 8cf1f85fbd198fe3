"""`quizsvc memory study`: the planner against plain schedules, on simulated learners of other published models."""

from __future__ import annotations

import argparse
import csv
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console
from quizsvc.cli.words import whole_number
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings
    from quizsvc.services.memory_study import Study

_DESCRIPTION = """\
Lets invented people of three worlds of memory practise under the planner and under plain schedules, with the same
answers on the same days and the same luck, and prints recall, paired differences and the goals:

    quizsvc memory study                                   twelve cells, and three beside, thirty people in each
    quizsvc memory study --cells A-sparse-90,C --learners 8
    quizsvc memory study --cells bank                      our bank's shape: concepts, guesses, slips, habits
    quizsvc memory study --csv study.csv --svg study.svg

Worlds: A activation, B half-life, C stores at many rates. Starts: sparse, rich. Days to the check: 90, 180. With fewer
than four people in a cell the weights come from shorter logs too. The same cells, learners and seed give the same
numbers, however many processes work on them. Nothing here is about real people.
"""

_NOTE = """\
Recall is the true one of the simulated people, from 0 to 1; standard errors in brackets; differences are paired. The
planner uses weights that were fitted to the other worlds only. * The weights that ship were fitted to all three
worlds: they are shown beside and no goal but the gap speaks of them. The last fortnight gives as many answers as the
others, with many times the daily minutes at the end; the oracle index knows the true memory of each person. Nothing
here is about real people."""


def register(actions: Any) -> None:
    """Add the command to the group."""
    parser = actions.add_parser(
        "study", help="the planner against plain schedules, on simulated learners", description=_DESCRIPTION
    )
    parser.add_argument("--learners", metavar="N", type=whole_number(2, 1000), default=30, help="people in each cell")
    parser.add_argument("--cells", metavar="LIST", help="such as A-sparse-90,C-rich; default: all")
    parser.add_argument("--seed", metavar="N", type=whole_number(0, 2**31), default=1, help="where chance begins")
    parser.add_argument(
        "--processes", metavar="N", type=whole_number(1, 64), default=os.cpu_count() or 1, help="default: one a core"
    )
    parser.add_argument("--csv", metavar="FILE", type=Path, help="write each cell and schedule as a row")
    parser.add_argument("--svg", metavar="FILE", type=Path, help="write a picture of the planner less rotation")
    parser.set_defaults(run=study)


def study(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Run the study and print it; whether goals are met is a result and no fault."""
    from quizsvc.services import memory_study

    cells = (
        memory_study.CELLS + memory_study.BANK_CELLS
        if arguments.cells is None
        else memory_study.cells_named(arguments.cells)
    )
    for path in (arguments.csv, arguments.svg):
        if path is not None:
            _write(path, lambda file: None)  # a run takes minutes: a file that cannot be written is found now
    began = time.monotonic()
    with _Remaining("simulating") as progress:
        found = memory_study.study(
            cells=cells,
            learners=arguments.learners,
            seed=arguments.seed,
            processes=arguments.processes,
            progress=progress,
        )
    took = time.monotonic() - began
    if arguments.csv is not None:
        _write(arguments.csv, lambda file: csv.writer(file).writerows(memory_study.csv_of(found)))
    if arguments.svg is not None:
        _write(arguments.svg, lambda file: file.write(found.drawing()))
    _print(found)
    print(
        f"\n{console.counted(len(cells), 'cell')}, {arguments.learners} people in each, seed {arguments.seed}: "
        f"{took:.0f} s with {console.counted(arguments.processes, 'process', 'processes')}"
    )
    return 0


def _print(found: Study) -> None:
    from quizsvc.services import memory_study

    for rows in memory_study.tables_of(found):
        console.print_table(rows)
        print()
    print(_NOTE)


def _write(path: Path, write: Callable[[Any], object]) -> None:
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            write(file)
    except OSError as error:
        raise InputError(
            "study-file-unwritable",
            f"the file cannot be written: {error.strerror}",
            where=str(path),
            mend="name a file in a folder that is there and that you may write to",
        ) from error


class _Remaining(console.Progress):
    """Adds how long the rest should take, once some of the work is done."""

    def __init__(self, label: str) -> None:
        super().__init__(label, sys.stderr)
        self.began = time.monotonic()

    def __call__(self, done: int, total: int) -> None:
        """Say how far the work is."""
        if not self.shown:
            return
        left = ""
        if done:
            seconds = (time.monotonic() - self.began) * (total - done) / done
            left = f", about {seconds / 60:.0f} min left" if seconds >= 90 else f", about {seconds:.0f} s left"
        self.drawn = True
        self.stream.write(f"\r{self.label}: {100 * done // total} %{left}\x1b[K")
        self.stream.flush()

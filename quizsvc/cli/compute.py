"""`quizsvc compute`: one formula, as item authors write them, worked out."""

from __future__ import annotations

import argparse
import dataclasses
import sys
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console
from quizsvc.errors import InputError, UsageError

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings

_DESCRIPTION = """\
Works out a formula of the bank's language and prints the result with its unit:

    quizsvc compute 'cabin_altitude(39000*ft, 8.7*psi)' --unit ft
    quizsvc compute 'schedule(33000*ft)'
    quizsvc compute 'climb_time(2000*ft, 8000*ft)' --unit min

Unit names are values, so a quantity is written 39000*ft. `compute -` reads one formula a line from standard input.
Without --unit the result has the unit the trade uses: ft, psi, fpm, min, C, A, L, lb.
"""


def register(commands: Any) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "compute", help="work out a formula: cabin altitude, schedule, times", description=_DESCRIPTION
    )
    parser.add_argument(
        "expression", metavar="EXPRESSION", nargs="?", help="the formula; - reads one a line from stdin"
    )
    parser.add_argument("--unit", metavar="U", help="unit of the result")
    parser.add_argument("--aircraft", metavar="A", help="folder name of the aircraft; default: the bank's first")
    parser.add_argument(
        "--list", action="store_true", help="print every function, unit, constant, and what flights take"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (for stdin: one a line)")
    parser.set_defaults(run=compute)


def compute(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Work out one formula, or one a line, or list the names that formulas may use."""
    if arguments.list == (arguments.expression is not None):
        raise UsageError(
            "usage",
            "one of EXPRESSION, - and --list is needed",
            where="quizsvc compute",
            mend="quizsvc compute 'cabin_altitude(39000*ft, 8.7*psi)' --unit ft",
        )
    from quizsvc.services.compute import Calculator

    calculator = Calculator(surroundings.settings.bank, arguments.aircraft)
    if arguments.list:
        return _list(calculator, arguments.json)
    if arguments.expression == "-":
        return _lines(calculator, arguments)
    _print(calculator.work_out(arguments.expression, arguments.unit), arguments.json)
    return 0


def _print(result: Any, as_json: bool) -> None:
    if as_json:
        console.print_json(dataclasses.asdict(result))
    else:
        print(result.text)


def _lines(calculator: Any, arguments: argparse.Namespace) -> int:
    """One formula a line; a line with a fault is reported with its number, and the others are still worked out.

    Each result is sent on at once, so that a program may ask, read the result, and ask again.
    """
    code = 0
    for number, line in enumerate(sys.stdin, start=1):
        text = line.strip()
        if not text:
            continue
        try:
            _print(calculator.work_out(text, arguments.unit), arguments.json)
            sys.stdout.flush()
        except InputError as error:
            code = 1
            where = f"line {number}" + (f", {error.where}" if error.where else "")
            console.print_error(InputError(error.reference, error.what, where=where, mend=error.mend))
    return code


def _list(calculator: Any, as_json: bool) -> int:
    vocabulary = calculator.vocabulary()
    if as_json:
        console.print_json(dataclasses.asdict(vocabulary))
        return 0
    print("functions")
    console.print_table(("  " + entry.call, entry.gives, entry.says) for entry in vocabulary.functions)
    print("\nunits (values: write 39000*ft)")
    console.print_table(("  " + entry.kind, " ".join(entry.names)) for entry in vocabulary.units)
    print(f"\nconstants of {vocabulary.aircraft}")
    console.print_table(("  " + entry.name, entry.text) for entry in vocabulary.constants)
    print("\nwrong beliefs of a profile's plots (change: {gate: none})")
    console.print_table(("  " + entry.change, entry.says) for entry in vocabulary.changes)
    print("\nevents of a profile's flight")
    console.print_table(("  " + entry.what, "with a value" if entry.takes_value else "") for entry in vocabulary.events)
    return 0

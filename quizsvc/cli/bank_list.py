"""`quizsvc bank list`: the ids that items name, with what they stand for."""

from __future__ import annotations

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings

# As `services.listing.SORTS`, which is not loaded before it is needed; a test holds the two together.
SORTS = ("concepts", "sections", "nodes", "switches", "actions", "failures", "airfields")


def register(actions: Any) -> None:
    """Add the action to the group `bank`."""
    parser = actions.add_parser("list", help="ids to write into items: concepts, handbook sections, nodes, switches")
    parser.add_argument("sort", metavar="WHAT", choices=SORTS, help=", ".join(SORTS))
    parser.add_argument("folder", metavar="DIR", type=Path, nargs="?", help="default: setting QUIZSVC_BANK")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=list_bank)


def list_bank(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Print everything of one sort, a line each, under the folder it belongs to."""
    from quizsvc.services.listing import listing

    folder = arguments.folder or surroundings.settings.bank
    rows = listing(folder, arguments.sort)
    if arguments.json:
        console.print_json({"folder": str(folder), arguments.sort: [dataclasses.asdict(row) for row in rows]})
        return 0
    for place, group in enumerate(dict.fromkeys(row.folder for row in rows)):
        print(("\n" if place else "") + group)
        console.print_table((f"  {row.id}", row.name, row.more) for row in rows if row.folder == group)
    return 0

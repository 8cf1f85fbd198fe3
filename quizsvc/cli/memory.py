"""`quizsvc memory`: rebuild what the service believes of its learners from the log of answers."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console, memory_fit, memory_study

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings


def register(commands: Any) -> None:
    """Add the group to the command line."""
    group = commands.add_parser("memory", help="the memory model")
    actions = group.add_subparsers(metavar="ACTION", parser_class=type(group), dest="action", required=True)
    replay_parser = actions.add_parser("replay", help="rebuild every learner's state from the log of answers")
    replay_parser.add_argument("--json", action="store_true", help="print one JSON object")
    replay_parser.set_defaults(run=replay)
    memory_fit.register(actions)
    memory_study.register(actions)


def replay(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Rebuild all learners."""
    from quizsvc.services import memory_replay, schema

    database = schema.open_database(surroundings.settings)
    with contextlib.closing(database), console.Progress("replaying") as progress:
        report = memory_replay.replay_all(database, now=datetime.now(UTC), progress=progress)
    if arguments.json:
        console.print_json(dataclasses.asdict(report))
    else:
        print(report)
    return 0

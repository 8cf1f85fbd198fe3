"""`quizsvc db`: the schema of the database, backups."""

from __future__ import annotations

import argparse
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings


def register(commands: Any) -> None:
    """Add the group to the command line."""
    group = commands.add_parser("db", help="the database: bring it up to date, check, back up, restore")
    actions = group.add_subparsers(metavar="ACTION", parser_class=type(group), dest="action", required=True)

    upgrade_parser = actions.add_parser("upgrade", help="bring the database's schema up to date (makes it if absent)")
    upgrade_parser.set_defaults(run=upgrade)

    check_parser = actions.add_parser("check", help="say whether the schema is up to date and the data are whole")
    check_parser.set_defaults(run=check)

    backup_parser = actions.add_parser("backup", help="write a copy of the database to a file, while it is in use")
    backup_parser.add_argument("file", metavar="FILE", type=Path)
    backup_parser.set_defaults(run=backup)

    restore_parser = actions.add_parser("restore", help="put a backup back; refuses one of a newer schema")
    restore_parser.add_argument("file", metavar="FILE", type=Path)
    restore_parser.set_defaults(run=restore)


def upgrade(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Bring the schema up to date."""
    from quizsvc.services import memory_replay, schema

    print(schema.upgrade(surroundings.settings))
    with contextlib.closing(schema.open_database(surroundings.settings)) as database:
        if memory_replay.differs(database):
            print(memory_replay.TO_REPLAY)
    return 0


def check(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Say whether the database can be served."""
    from quizsvc.services import schema

    print(schema.check(surroundings.settings))
    return 0


def backup(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Write a backup."""
    from quizsvc.services import schema

    print(schema.backup(surroundings.settings, arguments.file))
    return 0


def restore(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Put a backup back."""
    from quizsvc.services import schema

    print(schema.restore(surroundings.settings, arguments.file))
    return 0

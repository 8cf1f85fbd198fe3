"""`quizsvc account`: people's accounts, from the machine that runs the service."""

from __future__ import annotations

import argparse
import contextlib
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings

ROLES = ("pilot", "instructor", "head of training", "item author", "reviewer", "keeper")
_HOURS = 24


def register(commands: Any) -> None:
    """Add the group to the command line."""
    group = commands.add_parser("account", help="add an account, make a one-time link for it, remove it")
    actions = group.add_subparsers(metavar="ACTION", parser_class=type(group), dest="action", required=True)

    add_parser = actions.add_parser("add", help="add an account and print a one-time link for its first sign-in")
    add_parser.add_argument("name", metavar="NAME")
    add_parser.add_argument(
        "--role", action="append", metavar="ROLE", choices=ROLES, help=f"{', '.join(ROLES)}; several: --role again"
    )
    add_parser.add_argument("--json", action="store_true", help="print one JSON object")
    add_parser.set_defaults(run=add)

    link_parser = actions.add_parser("link", help="print a one-time link: first sign-in, or a forgotten password")
    link_parser.add_argument("name", metavar="NAME")
    link_parser.add_argument("--json", action="store_true", help="print one JSON object")
    link_parser.set_defaults(run=link)

    remove_parser = actions.add_parser("remove", help="remove an account and every answer given by it")
    remove_parser.add_argument("name", metavar="NAME")
    remove_parser.set_defaults(run=remove)


def add(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Add an account; its password is chosen through the link."""
    from quizsvc.services import accounts, schema

    now = datetime.now(UTC)
    with contextlib.closing(schema.open_database(surroundings.settings)) as database:
        accounts.add_account(database, arguments.name, tuple(arguments.role or ["pilot"]), now=now)
        return _print_link(database, arguments, surroundings, now)


def link(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Make a one-time link."""
    from quizsvc.services import schema

    with contextlib.closing(schema.open_database(surroundings.settings)) as database:
        return _print_link(database, arguments, surroundings, datetime.now(UTC))


def _print_link(database: Any, arguments: argparse.Namespace, surroundings: Surroundings, now: datetime) -> int:
    from quizsvc.services import links

    secret = links.make_link(database, arguments.name, hours=_HOURS, by=None, now=now)
    address = f"{surroundings.settings.public_url}/link/{secret}"
    if arguments.json:
        console.print_json({"name": arguments.name, "link": address, "hours": _HOURS})
    else:
        print(f"One-time link for {arguments.name}, good for {_HOURS} hours:")
        print(address)
    return 0


def remove(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Remove an account."""
    from quizsvc.services import accounts, schema

    with contextlib.closing(schema.open_database(surroundings.settings)) as database:
        accounts.remove_account(database, arguments.name, now=datetime.now(UTC))
    print(f"Removed {arguments.name} and every answer given by it.")
    return 0

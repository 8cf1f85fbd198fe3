"""`quizsvc memory fit` and `quizsvc memory accept`: new weights from the log, and a person's word for them."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import json
import math
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quizsvc.cli import console
from quizsvc.cli.words import whole_number
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings
    from quizsvc.services.memory_fit import Refit

_MOST_BYTES = 1_000_000
_SHOWN = 3


def register(actions: Any) -> None:
    """Add the two commands to the group."""
    fit_parser = actions.add_parser("fit", help="fit new weights to the log; prints the gates and stores nothing")
    fit_parser.add_argument("file", metavar="FILE", type=Path, nargs="?", help="write them here, for 'memory accept'")
    fit_parser.add_argument("--quick", action="store_true", help="leave out the replay in the reference worlds")
    fit_parser.add_argument("--json", action="store_true", help="print one JSON object")
    fit_parser.set_defaults(run=fit)

    accept_parser = actions.add_parser("accept", help="use fitted weights from now on, and rebuild every learner")
    which = accept_parser.add_mutually_exclusive_group(required=True)
    which.add_argument("file", metavar="FILE", type=Path, nargs="?", help="what 'memory fit FILE' wrote")
    which.add_argument(
        "--older", metavar="N", type=whole_number(1, 2**31 - 1), help="the weights of an older version, as a new one"
    )
    accept_parser.add_argument("--anyway", action="store_true", help="although a gate has not passed or was not tried")
    accept_parser.add_argument("--json", action="store_true", help="print one JSON object")
    accept_parser.set_defaults(run=accept)

    weights_parser = actions.add_parser("weights", help="list the versions of the weights; the last is in use")
    weights_parser.add_argument("--json", action="store_true", help="print one JSON object")
    weights_parser.set_defaults(run=list_weights)


def fit(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Fit, print, and write the file if one is named."""
    from quizsvc.services import memory_fit, memory_study, schema

    if arguments.file is not None and arguments.file.exists():
        raise _taken(arguments.file)
    database = schema.open_database(surroundings.settings)
    with contextlib.closing(database):
        with (
            console.Progress("reading learners") as reading,
            console.Progress("fitting, turns at most") as fitting,
        ):
            found = memory_fit.fit(
                database,
                now=datetime.now(UTC),
                worlds=None if arguments.quick else memory_study.reference_worlds,
                reading=reading,
                fitting=fitting,
            )
        titles = memory_fit.titles(database)
    raw = memory_fit.to_file(found)
    if arguments.file is not None:
        _write(arguments.file, json.dumps(raw, indent=1, allow_nan=False) + "\n")
    if arguments.json:
        console.print_json(raw)
    else:
        _print(found, titles, arguments.file)
    return 0


def accept(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Store the weights of a file, or of an older version, and replay the log into them."""
    from quizsvc.services import memory_fit, schema

    raw = None if arguments.file is None else _read(arguments.file)
    now = datetime.now(UTC)
    database = schema.open_database(surroundings.settings)
    with contextlib.closing(database), console.Progress("replaying") as progress:
        if raw is None:
            report = memory_fit.go_back(database, arguments.older, now=now, progress=progress)
        else:
            report = memory_fit.accept(database, raw, now=now, anyway=arguments.anyway, progress=progress)
    if arguments.json:
        console.print_json(dataclasses.asdict(report))
    else:
        print(report)
    return 0


def list_weights(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Print every version of the weights."""
    from quizsvc.services import memory_fit, schema

    with contextlib.closing(schema.open_database(surroundings.settings)) as database:
        found = memory_fit.versions(database)
    if arguments.json:
        rows = [{**dataclasses.asdict(one), "accepted_at": one.accepted_at.isoformat()} for one in found]
        console.print_json({"weights": rows})
    else:
        lines = [(str(one.version), f"{one.accepted_at:%Y-%m-%d %H:%M} UTC", one.origin) for one in found]
        console.print_table([("version", "accepted", "origin"), *lines])
    return 0


def _print(found: Refit, titles: Mapping[str, str], file: Path | None) -> None:
    answers, learners = console.counted(found.answers, "answer"), console.counted(found.learners, "learner")
    print(f"fitted to {answers} (repeats apart) of {learners}; held out: {console.counted(found.held_out, 'learner')}")
    if not found.settled:
        print(f"not settled after {found.turns} turns of filter and fit: the weights are those of the last turn")
    print()
    rows = [("weight", "now", "fitted", "standard error")]
    for one in found.parameters:
        error = "held at its bound" if one.se is None else f"{one.se:.3f}"
        rows.append((one.name, f"{one.before:.3f}", f"{one.after:.3f}", error))
    console.print_table(rows)
    print()
    _print_concepts(found, titles)
    print()
    heads = ("held-out learners", "answers", "log loss", "Brier", "ECE", "AUC", "answers by tenth of the recall shown")
    console.print_table([heads, _scores("weights now", found.before), _scores("fitted weights", found.after)])
    print()
    words = {True: "passed", False: "NOT passed", None: "not tried"}
    console.print_table([("gate", "", ""), *((gate.name, words[gate.passed], gate.said) for gate in found.gates)])
    print()
    if file is None:
        print("nothing is stored; name a FILE to keep these weights for 'quizsvc memory accept FILE'")
    else:
        print(f"written to {file}; nothing is stored until a person accepts: quizsvc memory accept {file}")


def _print_concepts(found: Refit, titles: Mapping[str, str]) -> None:
    """How many concepts have a difficulty, and those that are furthest from the middle."""
    from quizsvc.services.memory_fit import LEAST_OF_CONCEPT

    answers, learners = LEAST_OF_CONCEPT
    count = f"{len(found.concepts)} of {found.concepts_answered} answered"
    print(f"concepts with a difficulty: {count} (it takes {answers} answers of {learners} learners)")
    order = sorted(found.concepts, key=lambda one: (one.after, one.concept))
    shown = [*order[:_SHOWN], *order[max(_SHOWN, len(order) - _SHOWN) :]]
    if not shown:
        return
    rows = [("concept, hardest first", "title", "log odds now", "fitted", "standard error", "answers", "learners")]
    for one in shown:
        error = "held at its bound" if one.se is None else f"{one.se:.3f}"
        figures = (f"{one.before:+.3f}", f"{one.after:+.3f}", error, str(one.answers), str(one.learners))
        rows.append((one.concept, titles[one.concept], *figures))
    console.print_table(rows)


def _scores(name: str, one: Any) -> tuple[str, ...]:
    bins = " ".join(map(str, one.bins))
    figures = (f"{figure:.4f}" for figure in (one.log_loss, one.brier, one.ece))
    return name, str(one.answers), *figures, "-" if math.isnan(one.auc) else f"{one.auc:.4f}", bins


def _write(file: Path, text: str) -> None:
    try:
        with file.open("x", encoding="utf-8") as stream:
            stream.write(text)
    except FileExistsError as error:
        raise _taken(file) from error
    except OSError as error:
        raise InputError(
            "file-unwritable", f"cannot write the fitted weights: {error.strerror}", where=str(file),
            mend="name a file in a folder that is there and may be written to",
        ) from error  # fmt: skip


def _taken(file: Path) -> InputError:
    return InputError("file-exists", "there is such a file already", where=str(file), mend="name another file")


def _read(file: Path) -> Any:
    try:
        with file.open("rb") as stream:
            content = stream.read(_MOST_BYTES + 1)
        if len(content) > _MOST_BYTES:
            raise ValueError("it is too long")
        return json.loads(content)
    except OSError as error:
        raise InputError(
            "file-unreadable", f"cannot read the file: {error.strerror}", where=str(file),
            mend="name the file that 'quizsvc memory fit FILE' wrote",
        ) from error  # fmt: skip
    except (ValueError, RecursionError) as error:
        raise InputError(
            "weights-file", f"this is no file of fitted weights: {error}", where=str(file),
            mend="name the file that 'quizsvc memory fit FILE' wrote",
        ) from error  # fmt: skip

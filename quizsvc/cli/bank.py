"""`quizsvc bank`: check, load and look at the text of a question bank."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import random
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quizsvc.cli import bank_list, console
from quizsvc.cli.words import whole_number
from quizsvc.settings import question_bank_folder

if TYPE_CHECKING:
    from quizsvc.cli.main import Surroundings

# Draws of the check are the same on every run, so that a finding can be met again.
_CHECK_SEED = 19


def register(commands: Any) -> None:
    """Add the group to the command line."""
    group = commands.add_parser("bank", help="the question bank: check its text, load it, look at an item")
    actions = group.add_subparsers(metavar="ACTION", parser_class=type(group), dest="action", required=True)

    check_parser = actions.add_parser(
        "check", help="report every finding in one run; exit code 1 where there is a fault"
    )
    check_parser.add_argument("folder", metavar="DIR", type=Path, nargs="?", help="default: setting QUIZSVC_BANK")
    check_parser.add_argument(
        "--summary", action="store_true", help="print counts of items by system, concept, kind and demand"
    )
    check_parser.add_argument("--json", action="store_true", help="print one JSON object")
    check_parser.set_defaults(run=check)

    load_parser = actions.add_parser("load", help="check a bank and store it; refused whole where there is a fault")
    load_parser.add_argument("folder", metavar="DIR", type=Path, nargs="?", help="default: setting QUIZSVC_BANK")
    load_parser.add_argument("--json", action="store_true", help="print one JSON object")
    load_parser.set_defaults(run=load)

    show_parser = actions.add_parser("show", help="print an item as a learner gets it, with key, traps and working")
    show_parser.add_argument("item", metavar="ITEM")
    show_parser.add_argument(
        "--draws", metavar="N", type=whole_number(1, 1000), default=1, help="how many sets of numbers"
    )
    show_parser.add_argument("--json", action="store_true", help="print one JSON object")
    show_parser.set_defaults(run=show)

    bank_list.register(actions)


def check(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Check a bank and print what was found."""
    from quizsvc.services import banks

    folder = arguments.folder or surroundings.settings.bank
    with console.Progress("checking items") as progress:
        checked = banks.check(folder, rng=random.Random(_CHECK_SEED), progress=progress)
    if arguments.json:
        report: dict[str, Any] = {
            "folder": str(folder),
            "faults": len(checked.faults),
            "remarks": len(checked.remarks),
            "left_out": checked.left_out,
            "findings": [dataclasses.asdict(finding) for finding in checked.findings],
        }
        if arguments.summary:
            report["summary"] = dataclasses.asdict(checked.summary)
        console.print_json(report)
    else:
        for finding in checked.findings:
            # They are the result of this command, not its failure: a pager or a file gets them with the sum.
            print(console.rendered_finding(finding) + "\n")
        if arguments.summary:
            print("\n".join(checked.summary.lines()))
        print(f"{folder}: {_sum(checked)}")
    return 1 if checked.faults else 0


def _sum(checked: Any) -> str:
    faults = console.counted(len(checked.faults), "fault") if checked.faults else "no fault"
    counts = [(checked.items, "item"), (checked.concepts, "concept"), (checked.remarks, "remark")]
    items, concepts, remarks = (console.counted(len(things), noun) for things, noun in counts)
    left_out = f" ({checked.left_out:,} more left out for faults)" if checked.left_out else ""
    return f"{items}{left_out}, {concepts}, {faults}, {remarks}"


def load(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Check a bank and store it."""
    from quizsvc.services import banks, schema

    folder = arguments.folder or surroundings.settings.bank
    # A school's own bank stands beside the shipped one: loading either never withdraws an item of the other.
    source = "shipped" if folder.resolve() == question_bank_folder().resolve() else "school"
    database = schema.open_database(surroundings.settings)
    with contextlib.closing(database), console.Progress("checking items") as progress:
        report = banks.load(
            database, folder, source=source, now=datetime.now(UTC), rng=random.Random(_CHECK_SEED), progress=progress
        )
    if arguments.json:
        console.print_json(dataclasses.asdict(report))
        return 0
    for word, items in (("new", report.new), ("changed", report.changed), ("withdrawn", report.withdrawn)):
        for item in items:
            print(f"{word:<9}  {item}")
    print(
        f"loaded {folder} ({source}): {len(report.new)} new, {len(report.changed)} changed, {report.unchanged} "
        f"unchanged, {len(report.withdrawn)} withdrawn; {console.counted(report.concepts, 'concept')}"
    )
    return 0


def show(arguments: argparse.Namespace, surroundings: Surroundings) -> int:
    """Print an item as a learner gets it."""
    from quizsvc.services import banks

    shown = banks.show(surroundings.settings.bank, arguments.item, arguments.draws, random.Random())
    if arguments.json:
        console.print_json(shown)
    else:
        print("\n".join(_item_lines(shown)))
    return 0


def _item_lines(shown: dict[str, Any]) -> list[str]:
    """An item for the author's eye: head, findings, and each draw with key, beliefs and working."""
    lines = [f"{shown['item']}: {shown['kind']}, concept {shown['concept']}, {shown['status']}, {shown['seconds']:g} s"]
    lines[0] += ", fit for a Short set" if shown["ramp"] else ""
    lines += shown["findings"]
    for number, draw in enumerate(shown["draws"], start=1):
        lines.append("")
        if len(shown["draws"]) > 1:
            lines.append(f"draw {number}")
        lines += _question_lines(draw)
        for part in draw.get("parts", ()):
            marks = [f"{part['kind']}, concept {part['concept']}"]
            marks += ["put right before going on"] if part["reveal"] else []
            marks += [f"follows {', '.join(part['follow'])}"] if part["follow"] else []
            lines += ["", f"part {part['part']}: {', '.join(marks)}", *_question_lines(part)]
        if draw["cautions"]:
            lines.append(f"cautions: {', '.join(draw['cautions'])}")
    return lines


def _question_lines(draw: dict[str, Any]) -> list[str]:
    """One question, or one part of a scenario, with its key and what stands behind wrong answers."""
    lines = [draw["stem"]]
    lines += [f"picture: {draw['picture_text']}"] if draw["picture_text"] else []
    lines += [draw["ask"]] if draw["ask"] else []
    lines += [f"  {name}: {text}{_belief(draw['beliefs'].get(name))}" for name, text in draw["options"].items()]
    for row in draw["rows"]:
        lines.append(f"  {row['label']}: {row['key']}{' (' + row['note'] + ')' if row['note'] else ''}")
        lines += [f"    <- {belief}" for belief in (row["belief"] or "").split("; ") if belief]
    lines += [f"choices: {'; '.join(draw['choices'])}"] if draw["choices"] else []
    lines += [f"key: {draw['key']}", f"accepted: {draw['accepted']}"] if draw["key"] else []
    lines += [f"{slip['given']}{_belief(slip['belief'])}" for slip in draw.get("slips", ())]
    lines += [f"trap {trap['id']}: {trap['shown']}{_belief(trap['belief'])}" for trap in draw["traps"]]
    lines += [f"  {line}" for line in draw["working"]]
    return [*lines, f"why: {draw['why']}"]


def _belief(text: str | None) -> str:
    return f"   <- {text}" if text else ""

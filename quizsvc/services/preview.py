"""An author's look at one item of a bank's files: findings, ten draws with keys, what the item refuses.

Every look reads the files again, so what an author saves is what the next look shows. Only the item's own block is
checked, with the aircraft, concepts, handbook and cautions of the bank around it: a slip elsewhere hides nothing here.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from quizsvc.bank.check import BankText, CheckedBank, CheckedItem, check_bank
from quizsvc.bank.question import compile_item, try_draw
from quizsvc.errors import Finding, InputError, NotFoundError
from quizsvc.services.bank_files import read_folder
from quizsvc.services.showing import shown

__all__ = ["DRAWS", "Entry", "Preview", "Refusal", "catalogue", "look", "version"]

DRAWS = 10
TRIES = 200

_ITEM = re.compile(r"^- +item: *[\"']?([a-z0-9-]+)[\"']? *(?:#.*)?$")
_BLOCK = re.compile(r"^-(?: |$)")
_STATUS = re.compile(r"^ +status: *([a-z]+)")


@dataclass(frozen=True)
class Entry:
    """One item as the list of a bank's files shows it; `status` is empty where its block names none."""

    item: str
    file: str
    line: int
    status: str


@dataclass(frozen=True)
class Refusal:
    """Why some draws may not be asked: how many of those tried, and the numbers of one of them."""

    reason: str
    count: int
    example: str


@dataclass(frozen=True)
class Preview:
    """What an author sees. `about` is None where faults leave nothing to show; `draws` are as `showing.shown`."""

    entry: Entry
    findings: tuple[Finding, ...]
    about: CheckedItem | None
    draws: tuple[Mapping[str, Any], ...]
    tried: int
    refusals: tuple[Refusal, ...]
    version: str
    previous: str | None
    next: str | None


def catalogue(path: Path | str) -> tuple[Entry, ...]:
    """Every item of a bank's files in their order, found by its first line: a broken block is listed too.

    Raises
    ------
    InputError
        The folder cannot be read.
    """
    return tuple(entry for text in read_folder(path) for entry in _entries(text))


def version(path: Path | str) -> str:
    """A word that changes when a file of the bank does.

    Raises
    ------
    InputError
        The folder cannot be read.
    """
    return _version(read_folder(path))


def look(path: Path | str, item_id: str, *, rng: Any, draws: int = DRAWS) -> Preview:
    """Read the files again and look at one item.

    Parameters
    ----------
    path : path
        Folder of the bank.
    item_id : str
        Which item.
    rng : random.Random
        Draws the numbers.
    draws : int
        How many questions to show; one is enough for an item without drawn numbers or options.

    Raises
    ------
    NotFoundError
        No file has such an item.
    InputError
        The folder cannot be read.
    """
    texts = read_folder(path)
    entries = [entry for text in texts for entry in _entries(text)]
    place = next((place for place, entry in enumerate(entries) if entry.item == item_id), None)
    if place is None:
        raise NotFoundError(
            "item-not-found", f"no file of the bank has an item '{item_id}'", mend="choose one from the list"
        )
    entry = entries[place]
    checked = check_bank(
        [text if not _entries(text) else _only(text, entry) for text in texts if _stays(text, entry)], rng=rng
    )
    found = next((item for item in checked.items if item.id == item_id), None)
    questions: tuple[Mapping[str, Any], ...] = ()
    tried = 0
    refusals: tuple[Refusal, ...] = ()
    if found is not None:
        questions, tried, refusals = _drawn(checked, found, rng, draws)
    return Preview(
        entry,
        tuple(finding for finding in checked.findings if finding.file == entry.file or finding.severity == "fault"),
        found,
        questions,
        tried,
        refusals,
        _version(texts),
        entries[place - 1].item if place else None,
        entries[place + 1].item if place + 1 < len(entries) else None,
    )


def _entries(text: BankText) -> list[Entry]:
    if not text.name.endswith((".yaml", ".yml")):
        return []
    found: list[Entry] = []
    for number, line in enumerate(text.text.splitlines(), 1):
        if match := _ITEM.match(line):
            found.append(Entry(match.group(1), text.name, number, ""))
        elif found and not found[-1].status and (match := _STATUS.match(line)):
            found[-1] = replace(found[-1], status=match.group(1))
    return found


def _stays(text: BankText, entry: Entry) -> bool:
    return text.name == entry.file or not _entries(text)


def _only(text: BankText, entry: Entry) -> BankText:
    """The file with every other block blanked, so that lines keep their numbers."""
    lines = text.text.splitlines()
    end = next((place for place in range(entry.line, len(lines)) if _BLOCK.match(lines[place])), len(lines))
    kept = [line if entry.line - 1 <= place < end else "" for place, line in enumerate(lines)]
    return replace(text, text="\n".join(kept) + "\n")


def _drawn(
    checked: CheckedBank, found: CheckedItem, rng: Any, draws: int
) -> tuple[tuple[Mapping[str, Any], ...], int, tuple[Refusal, ...]]:
    item = compile_item(found.body, checked.aircraft.get(found.folder) if found.uses_aircraft else None)
    counts: dict[str, int] = {}
    examples: dict[str, str] = {}
    tries = TRIES if item.draws.entries else 0
    for _ in range(tries):
        tried = try_draw(item, item.draws.draw(rng))
        if tried.refusal is not None:
            counts[tried.refusal] = counts.get(tried.refusal, 0) + 1
            examples.setdefault(
                tried.refusal, ", ".join(f"{name} {drawn['shown']}" for name, drawn in tried.drawn.items())
            )
    questions = []
    for _ in range(draws if tries else 1):
        try:
            questions.append(shown(item, rng))
        except InputError:
            continue  # the findings say why nothing can be drawn
    refusals = tuple(
        Refusal(reason, count, examples[reason]) for reason, count in sorted(counts.items(), key=lambda one: -one[1])
    )
    return tuple(questions), tries, refusals


def _version(texts: list[BankText]) -> str:
    whole = hashlib.sha256()
    for text in texts:
        whole.update(f"{text.name}\0{text.text}\0".encode())
    return whole.hexdigest()[:16]

"""Checking the text of an item at the bank desk: in a process of its own, for five seconds, one at a time a person."""

from __future__ import annotations

import json
import logging
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from quizsvc.bank.check import CheckedItem
from quizsvc.errors import Finding, InputError, ThrottledError
from quizsvc.services import edge
from quizsvc.store import bank
from quizsvc.store.session import Database

__all__ = ["SECONDS", "DeskCheck", "check", "found_in", "order"]

SECONDS = 5.0
_WHOLE_SECONDS = 60.0
"""Until a process is given up that has not even begun, or has to wait for a busy machine."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class DeskCheck:
    """What a check found. `item` is None where faults leave nothing to use; `draw` is as `showing.shown`."""

    findings: tuple[Finding, ...]
    item: CheckedItem | None
    draw: dict[str, Any] | None

    @property
    def faults(self) -> tuple[Finding, ...]:
        """Findings that keep the item from being read."""
        return tuple(finding for finding in self.findings if finding.severity == "fault")

    @property
    def sections(self) -> tuple[str, ...]:
        """The handbook's sections that the item and its parts cite, each once."""
        if self.item is None:
            return ()
        bodies = (self.item.body, *(self.item.body.get("parts") or ()))
        return tuple(sorted({body["handbook"] for body in bodies if body.get("handbook")}))


def check(
    db: Database, person_id: int, folder: str, text: str, *, locks: Path, seed: int, seconds: float = SECONDS
) -> DeskCheck:
    """Check a text against the aircraft, concepts, sections and cautions that are loaded.

    Parameters
    ----------
    folder : str
        The aircraft's folder, or `general`.
    locks : path
        Folder for the file that stands for a person's running check.
    seed : int
        Of the numbers that are drawn.
    seconds : float
        How long it may take, of the processor's time.

    Raises
    ------
    ThrottledError
        A check of this person is running.
    InputError
        It took longer, or too much memory.
    """
    with _alone(locks, person_id):
        whole = order(db, folder) | {"text": text, "folder": folder, "seed": seed, "seconds": seconds}
        return found_in(_run(whole))


def found_in(found: dict[str, Any]) -> DeskCheck:
    """A check from what `desk_child.examine` gave."""
    item = found["item"]
    return DeskCheck(
        tuple(Finding(**finding) for finding in found["findings"]),
        CheckedItem(**(item | {"also": tuple(item["also"])})) if item else None,
        found["draw"],
    )


def order(db: Database, folder: str) -> dict[str, Any]:
    """What `desk_child.examine` needs of the bank that is loaded: plain values.

    Raises
    ------
    NotFoundError
        The bank has no such folder.
    """
    with db.reading() as session:
        aircraft = bank.aircraft(session, folder)
        concepts = bank.all_concepts(session).values()
        if folder not in {concept.folder for concept in concepts}:
            raise edge.not_found("folder")
        words = ("id", "folder", "title", "system", "handbook", "what", "consequence", "first")
        return {
            "aircraft": json.loads(aircraft.body) if aircraft else None,
            "aircraft_hash": aircraft.hash if aircraft else None,
            "concepts": [
                {word: getattr(concept, word) for word in words}
                for concept in concepts
                if concept.active and concept.folder in ("general", folder)
            ],
            "sections": [row.id for row in bank.sections(session, folder)],
            "cautions": [
                {"id": row.id, "text": row.text, "where": row.where_owed} for row in bank.all_cautions(session).values()
            ],
        }


def _run(whole: dict[str, Any]) -> dict[str, Any]:
    command = [sys.executable, "-I", "-m", "quizsvc.services.desk_child"]
    try:
        done = subprocess.run(
            command, input=json.dumps(whole), capture_output=True, text=True, timeout=_WHOLE_SECONDS, check=False
        )
    except subprocess.TimeoutExpired:
        raise _too_long(whole["seconds"]) from None
    if done.returncode == -signal.SIGPROF:
        raise _too_long(whole["seconds"])
    if done.returncode:
        _log.error("a check at the bank desk ended with %s: %s", done.returncode, done.stderr[-2000:])
        raise InputError(
            "desk-check-broken",
            "the check broke off without a finding",
            where="text",
            mend="take out what was written last and check again; your keeper finds the reason in the log",
        )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _too_long(seconds: float) -> InputError:
    return InputError(
        "desk-check-time",
        f"the check took longer than {seconds:g} s and was ended",
        where="text",
        mend="draw fewer variants or take shorter formulas, then check again",
    )


@contextmanager
def _alone(locks: Path, person_id: int) -> Iterator[None]:
    """Hold this person's lock; a process that dies gives it back."""
    import fcntl  # not on every system that can import the rest

    locks.mkdir(parents=True, exist_ok=True)
    with (locks / f"desk-check-{person_id}.lock").open("w") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise ThrottledError(
                "desk-check-busy",
                "a check of yours is still running",
                retry_after_s=int(SECONDS),
                where="text",
                mend="wait for it, then check again; nothing of the text is lost",
            ) from None
        yield

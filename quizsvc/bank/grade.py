"""From a response to a grade. Nothing but the frozen record of the question is needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from quizsvc.bank.kinds import KINDS
from quizsvc.bank.kinds.base import Graded, Mark, RowMark, Worked, unreadable

__all__ = ["Graded", "Mark", "RowMark", "Worked", "grade", "read_response", "worked"]


def read_response(record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
    """Read what a client sent.

    Parameters
    ----------
    record : mapping
        The question's grading record.
    raw : mapping
        `{"option": id}`, `{"options": [ids]}`, `{"text": "6,500 ft"}`, `{"order": [ids]}`, `{"pairs": {left: right}}`,
        `{"rows": {node: "works"}}`, `{"readings": {dial: "4,700"}, "option": id}`, `{"points": [ids]}`, as its kind
        takes it, or `{"pass": true}`.

    Returns
    -------
    dict
        Canonical and JSON-able; `{"pass": True}` for a pass.

    Raises
    ------
    InputError
        `response-unreadable`, worded for the learner; nothing may be stored then.
    """
    if not isinstance(raw, Mapping):
        raise unreadable("The answer did not arrive in a form that can be read.", "Send it again.")
    if raw.get("pass") is True:
        return {"pass": True}
    return KINDS[record["kind"]].read_response(record, raw)


def grade(record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
    """Grade a canonical response.

    Parameters
    ----------
    record : mapping
        The question's grading record.
    response : mapping
        As `read_response` returned it.

    Returns
    -------
    Graded
        Outcome, credit from 0 to 1, and what to say about it.
    """
    kind = KINDS[record["kind"]]
    if response.get("pass"):
        return kind.passed(record)
    graded = kind.grade(record, response)
    note = record.get("note")
    return replace(graded, remark=f"{note} {graded.remark or ''}".strip()) if note else graded


def worked(record: Mapping[str, Any]) -> Worked:
    """The solution of a question.

    Parameters
    ----------
    record : mapping
        The question's grading record.

    Returns
    -------
    Worked
        The mechanism, the key, what was accepted, the working line by line, and pictures.
    """
    return KINDS[record["kind"]].worked(record)

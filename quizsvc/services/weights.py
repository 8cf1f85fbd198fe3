"""The memory model's weights: a versioned row, read once a process."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from quizsvc.memory.weights import STARTING, Weights
from quizsvc.store import learners
from quizsvc.store.session import Session
from quizsvc.store.tables import Weights as WeightsRow

_read: dict[int, tuple[Any, Weights]] = {}


def parsed(version: int, body: Any) -> Weights:
    """The weights of a row; kept, because every answer needs them."""
    kept = _read.get(version)
    if kept is None or kept[0] != body:
        kept = _read[version] = (body, Weights.from_json(body))
    return kept[1]


def in_use(session: Session, *, now: datetime) -> Weights:
    """The accepted weights with the highest version; the starting ones are written down at their first use."""
    row = learners.weights_row(session)
    if row is None:
        learners.add_weights(session, STARTING.version, STARTING.to_json(), STARTING.source, now)
        row = learners.weights_row(session)
    assert isinstance(row, WeightsRow)
    return parsed(row.version, row.body)

"""Which concepts the items are about that name a failed part, or one that is lost with it."""

from __future__ import annotations

import json
import re
from collections import Counter, OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from threading import Lock
from typing import Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.store import bank
from quizsvc.store.session import Session

__all__ = ["ConceptRow", "about"]

_MOST = 6  # concepts: about as many as a set of five minutes asks
_KEPT = 4096
# A failed part says more about what a person came for than one of twenty that are lost with it.
_FAILED, _LOST = 4.0, 1.0


@dataclass(frozen=True)
class ConceptRow:
    """A concept with live items about the state, and where its handbook explains it."""

    id: str
    title: str
    items: int
    handbook: str | None


_named: OrderedDict[tuple[str, str], frozenset[str]] = OrderedDict()
_lock = Lock()


def about(
    session: Session, folder: str, aircraft: Aircraft, fail: Sequence[str], named: Sequence[str]
) -> tuple[ConceptRow, ...]:
    """The concepts of live items that name a failed or a lost part, those nearest to the failure first.

    Parameters
    ----------
    folder : str
        The bank's folder of the aircraft.
    aircraft : Aircraft
        Its description.
    fail : sequence of str
        Nodes that have failed.
    named : sequence of str
        Nodes that have failed or do not work, the failed ones first.
    """
    concepts = {concept.id: concept for concept in bank.active_concepts(session, [folder])}
    sought, first = set(named), set(fail)
    score: dict[str, float] = {}
    items: Counter[str] = Counter()
    mentioned: Counter[str] = Counter()
    found: list[tuple[str, frozenset[str]]] = []
    for row in bank.live_bodies(session, folder):
        nodes = _nodes(row.hash, row.body, aircraft) & sought
        if nodes and row.concept_id in concepts:
            found.append((row.concept_id, nodes))
            mentioned.update(nodes)
    for concept, nodes in found:
        # What is named by many items, such as the automatic control, tells little about this failure.
        near = sum((_FAILED if node in first else _LOST) / mentioned[node] for node in nodes)
        score[concept] = score.get(concept, 0.0) + near
        items[concept] += 1
    order = sorted(score, key=lambda key: (-score[key], concepts[key].position))[:_MOST]
    return tuple(ConceptRow(key, concepts[key].title, items[key], concepts[key].handbook) for key in order)


def _nodes(text_hash: str, body: str, aircraft: Aircraft) -> frozenset[str]:
    """The nodes that an item's text names, by id or by name; kept, because a text never changes."""
    key = (text_hash, aircraft.key)
    kept = _named.get(key)
    if kept is None:
        kept = frozenset(_find(json.loads(body), aircraft))
        with _lock:
            _named[key] = kept
            while len(_named) > _KEPT:
                _named.popitem(last=False)
    return kept


def _find(body: Any, aircraft: Aircraft) -> set[str]:
    texts = list(_texts(body))
    ids = set(aircraft.nodes) & set(texts)
    whole = " \n ".join(texts).lower()
    for key, node in aircraft.nodes.items():
        name = node.name.partition(" (")[0].lower()
        if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", whole):
            ids.add(key)
    for text in texts:
        failure = aircraft.failures.get(text)
        if failure is not None:
            ids.update(failure.fail)
    return ids


def _texts(value: Any) -> Any:
    """Every text of a body, and every key of a mapping, which may be a node."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, one in value.items():
            yield name
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)

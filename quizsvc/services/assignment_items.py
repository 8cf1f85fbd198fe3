"""What an assignment asks and what it could ask, as its instructor sees it while picking.

An item whose key may be known is marked, and those with own numbers rank first: of them only the way is known. Items
that are unread, withdrawn, disputed or of an older handbook are not offered at all; neither is oral practice, whose
mark would be one's own ticking.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from quizsvc.bank.summary import ENOUGH_ITEMS, ENOUGH_KINDS
from quizsvc.services import older_handbooks
from quizsvc.services.planned import GENERAL
from quizsvc.services.views import CitesOlder
from quizsvc.store import picking
from quizsvc.store.session import Session
from quizsvc.store.tables import Assignment, Group

__all__ = [
    "DEMANDS",
    "KINDS",
    "ConceptLine",
    "Criteria",
    "PickItem",
    "Picking",
    "Place",
    "about",
    "offered",
    "picking_in",
    "shortened",
    "trouble_of",
]

NEVER = ("say",)
KINDS = ("one", "some", "number", "order", "match", "gauge", "profile", "still-works", "scenario")
DEMANDS = ("rote", "understanding", "application", "correlation")
LONGEST_STEM, LONGEST_HEAD = 180, 70
SHORTEST_STEM = 4
"""Letters from which a word also fits those that begin with it: `valve` fits `valves`, `air` not `aircraft`."""
_PLACE = re.compile(r"\{[^{}]*\}")
_WORD = re.compile(r"\w+")

_OWN_NUMBERS, _HOMEWORK_ONLY, _UNSEEN, _SHIPPED, _PRACTISED = range(5)


@dataclass(frozen=True)
class PickItem:
    """An item that an assignment can ask. `stem` is Markdown, with dots for what is drawn.

    `open_key` says in words why its key may be known, and is empty where nothing speaks for it.
    """

    id: str
    kind: str
    demand: str
    stem: str
    concept: str
    concept_title: str
    system: str
    seconds: float
    own_numbers: bool
    homework_only: bool
    open_key: str
    rank: int
    revision_id: int


@dataclass(frozen=True)
class ConceptLine:
    """A concept while picking: how many items it has, how many with own numbers, how many are picked.

    `thin` says that it has fewer than three items, or one kind only.
    """

    id: str
    title: str
    system: str
    items: int
    own_numbers: int
    thin: bool
    picked: int


@dataclass(frozen=True)
class Place:
    """A place of an assignment. `trouble` says why its item cannot be released, and is empty where it can.

    `changed` says that the item has a newer text, which release takes; `older` is caution C3 where its text owes it.
    """

    position: int
    item: PickItem
    trouble: str
    changed: bool
    older: CitesOlder | None = None


@dataclass(frozen=True)
class Picking:
    """What is picked, and what could be. `systems` keeps the order of the bank."""

    places: tuple[Place, ...]
    concepts: tuple[ConceptLine, ...]
    items: tuple[PickItem, ...]

    @property
    def systems(self) -> tuple[str, ...]:
        """The systems of the concepts, each once."""
        return tuple(dict.fromkeys(concept.system for concept in self.concepts))

    @property
    def minutes(self) -> float:
        """How long the places are expected to take, minutes."""
        return sum(place.item.seconds for place in self.places) / 60

    @property
    def covered(self) -> tuple[ConceptLine, ...]:
        """The concepts of each system that is asked, those without a place too."""
        asked = {concept.system for concept in self.concepts if concept.picked}
        return tuple(concept for concept in self.concepts if concept.system in asked)

    def found(self, words: str) -> tuple[PickItem, ...]:
        """The items that are about some words, as `about` finds them."""
        return about(words, self.items)

    def counts(self, of: str) -> dict[str, int]:
        """How many places have each `kind` or `demand`."""
        found = Counter(str(getattr(place.item, of)) for place in self.places)
        order = {"kind": KINDS, "demand": DEMANDS}[of]
        return {word: found[word] for word in order if found[word]}


@dataclass(frozen=True)
class Criteria:
    """What to pick: concepts by id, or all of some systems; any kind or demand where none is named; how many.

    `words` count where neither concept nor system is named: who has ticked something has looked.
    """

    count: int
    concepts: tuple[str, ...] = ()
    systems: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    demands: tuple[str, ...] = ()
    words: str = ""

    def of(self, items: Sequence[PickItem]) -> list[PickItem]:
        """Those that fit, in their order."""
        if self.concepts or self.systems:
            items = [one for one in items if one.concept in self.concepts or one.system in self.systems]
        else:
            items = about(self.words, items)
        return [
            one
            for one in items
            if (one.kind in self.kinds or not self.kinds) and (one.demand in self.demands or not self.demands)
        ]


def about(words: str, items: Sequence[PickItem]) -> tuple[PickItem, ...]:
    """The items that some plain words are about: all of a system or a concept, or else those that ask about it.

    A system is meant where its name, without its number, stands among the words: "bleed air" means `36 bleed`. A
    concept is meant where its title and its system's name have all of them. Where the words mean neither, items are
    looked through: what a situation mentions by the way would bury the concepts otherwise. A word of four letters or
    more also fits a longer one that begins with it.
    """
    wanted = _words(words)
    if not wanted:
        return tuple(items)
    systems = {one.system for one in items if _name(one.system) and _name(one.system) <= wanted}
    concepts = {one.concept for one in items if _has(f"{one.system} {one.concept_title}", wanted)}
    if systems or concepts:
        return tuple(one for one in items if one.system in systems or one.concept in concepts)
    return tuple(one for one in items if _has(f"{one.system} {one.concept_title} {one.stem} {one.id}", wanted))


def _words(text: str) -> frozenset[str]:
    return frozenset(_WORD.findall(text.casefold()))


def _name(system: str) -> frozenset[str]:
    return frozenset(word for word in _words(system) if not word.isdigit())


def _has(text: str, wanted: Collection[str]) -> bool:
    said = _words(text)
    return all(
        word in said or (len(word) >= SHORTEST_STEM and any(one.startswith(word) for one in said)) for word in wanted
    )


def picking_in(session: Session, group: Group, assignment: Assignment | None) -> Picking:
    """What an assignment of a group asks and could ask; without an assignment what a new one could."""
    items = offered(session, group)
    places = _places(session, group, assignment) if assignment is not None else ()
    picked = Counter(place.item.concept for place in places)
    concepts: dict[str, list[PickItem]] = {}
    for one in items:
        concepts.setdefault(one.concept, []).append(one)
    return Picking(
        places,
        tuple(
            ConceptLine(
                id=concept,
                title=ones[0].concept_title,
                system=ones[0].system,
                items=len(ones),
                own_numbers=sum(1 for one in ones if one.own_numbers),
                thin=len(ones) < ENOUGH_ITEMS or len({one.kind for one in ones}) < ENOUGH_KINDS,
                picked=picked[concept],
            )
            for concept, ones in concepts.items()
        ),
        items,
    )


def offered(session: Session, group: Group) -> tuple[PickItem, ...]:
    """The items that a group can be asked, in the order of their concepts."""
    rows = picking.pickable(session, [GENERAL, *group.aircraft], NEVER)
    return _described(session, rows, picking.practised(session, group.id))


def _places(session: Session, group: Group, assignment: Assignment) -> tuple[Place, ...]:
    rows = picking.placed(session, assignment.id)
    described = _described(session, rows, picking.practised(session, group.id))
    draft = assignment.state == "draft"
    older = older_handbooks.of_revisions(session, {row.revision_id for row in rows})
    return tuple(
        Place(
            row.position,
            item,
            trouble_of(row) if draft else "",
            draft and row.revision_id != row.revision_in_use,
            older.get(row.revision_id),
        )
        for row, item in zip(rows, described, strict=True)
    )


def trouble_of(row: Any) -> str:
    """Why the item of a row of `store.picking.placed` cannot be released; empty where it can."""
    if row.withdrawn_at is not None:
        return "withdrawn"
    if row.status != "live":
        return "not live: a second person has not released it"
    return "disputed: a squawk on it is open" if row.disputed else ""


def _described(session: Session, rows: Sequence[Any], practised: Collection[str]) -> tuple[PickItem, ...]:
    texts = _texts(session, rows)
    found = []
    for row in rows:
        demand, stem = texts[row.revision_id]
        shipped = row.source == "shipped"
        met = row.id in practised
        words = [word for word, holds in (("shipped", shipped), ("practised here", met)) if holds]
        found.append(
            PickItem(
                id=row.id,
                kind=row.kind,
                demand=demand,
                stem=stem,
                concept=row.concept_id,
                concept_title=row.concept_title,
                system=row.system,
                seconds=row.seconds,
                own_numbers=row.generated,
                homework_only=row.homework_only,
                open_key=", ".join(words),
                rank=_rank(row, met),
                revision_id=row.revision_id,
            )
        )
    return tuple(found)


def _rank(row: Any, met: bool) -> int:
    if row.generated:
        return _OWN_NUMBERS
    if met:
        return _PRACTISED
    if row.homework_only:
        return _HOMEWORK_ONLY
    return _SHIPPED if row.source == "shipped" else _UNSEEN


def shortened(stem: str) -> str:
    """A stem on one line, at most about `LONGEST_STEM` characters: how it begins, and its last sentence.

    The situation stands first and what is asked stands last, so it is the middle that goes.
    """
    stem = " ".join(stem.split())
    if len(stem) <= LONGEST_STEM:
        return stem
    stem = stem.replace("**", "")  # half a pair of marks would stand there as stars
    asked = re.split(r"(?<=[.?!:]) ", stem)[-1]
    room = LONGEST_STEM - LONGEST_HEAD
    if len(asked) > room:
        asked = asked[-room:].partition(" ")[2]
    return f"{stem[:LONGEST_HEAD].rpartition(' ')[0]} \u2026 {asked}"


# Demand and stem by the revision's hash: they are in its text, and reading every text at each look would be slow.
_known: dict[str, tuple[str, str]] = {}
_MOST_KNOWN = 20_000


def _texts(session: Session, rows: Sequence[Any]) -> dict[int, tuple[str, str]]:
    missing = {row.revision_id: row.hash for row in rows if row.hash not in _known}
    if len(_known) + len(missing) > _MOST_KNOWN:
        _known.clear()
        missing = {row.revision_id: row.hash for row in rows}
    for revision_id, text in picking.bodies(session, list(missing)).items():
        body = json.loads(text)
        _known[missing[revision_id]] = (body["demand"], shortened(_PLACE.sub("\u2026", body["stem"])))
    return {row.revision_id: _known[row.hash] for row in rows}

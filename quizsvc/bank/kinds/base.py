"""What a kind of item is: from its words in a bank text to a question and from a response to a grade.

Each kind is one class in a file of its own; `bank.kinds` lists them. The shapes that every kind fills stand here too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from quizsvc.aircraft.description import Aircraft
from quizsvc.bank.draw import Drawn, Draws, Generator
from quizsvc.bank.formula import Formula, FormulaError
from quizsvc.bank.functions import Library
from quizsvc.bank.solution import let_lines, names_behind
from quizsvc.bank.template import Template
from quizsvc.bank.working import Rounding, Trap, Working
from quizsvc.errors import InputError

if TYPE_CHECKING:
    from quizsvc.bank.block import Block
    from quizsvc.bank.item import Context, ItemText

__all__ = [
    "Build",
    "CompiledOption",
    "FormulaText",
    "Graded",
    "Item",
    "Kind",
    "KindText",
    "Mark",
    "Option",
    "Presented",
    "ReadingField",
    "RowMark",
    "Tried",
    "Worked",
    "lacks_aircraft",
    "lines_of",
    "marks_of",
    "shown_of",
    "unreadable",
]


# Before answering


@dataclass(frozen=True)
class Option:
    """Something to choose, or a row to answer, as shown; `text` is Markdown, `picture` a picture description."""

    id: str
    text: str
    picture: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class ReadingField:
    """A reading that a person types: `label` is the dial's, `unit` what a bare number means."""

    id: str
    label: str
    unit: str


@dataclass(frozen=True)
class Presented:
    """What a person sees of a question before answering; texts are Markdown.

    `lefts` are matched with `options`; each of `rows` is answered by one of `choices`; `ask` is the second question of
    a gauge. `points` and `model` stand only on the second screen of a `say`. `situation` is what all parts of a
    scenario share.
    """

    kind: str
    stem: str
    options: tuple[Option, ...]
    unit: str | None
    how: str | None
    pressure_card: bool
    cautions: tuple[str, ...]
    handbook: str | None
    concept: str
    lefts: tuple[Option, ...] = ()
    rows: tuple[Option, ...] = ()
    choices: tuple[Option, ...] = ()
    readings: tuple[ReadingField, ...] = ()
    ask: str | None = None
    picture: Mapping[str, Any] | None = None
    hint: str | None = None
    speak_s: float | None = None
    points: tuple[Option, ...] = ()
    model: str | None = None
    situation: str | None = None
    part: str | None = None


# After answering


@dataclass(frozen=True)
class Mark:
    """How one option was judged: picked or not, a key or not, and the belief behind it."""

    id: str
    picked: bool
    key: bool
    belief: str | None


@dataclass(frozen=True)
class RowMark:
    """How one row, place, reading or point was judged; `given` and `key` are texts to show, Markdown."""

    id: str
    label: str
    given: str
    key: str
    right: bool
    belief: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Graded:
    """A grade: `outcome` is full, part, miss or pass; `credit` from 0 to 1.

    `trap` is the id of the trap or wrong option that was matched and `belief` what stands behind it; `remark` is a
    sentence about the answer; `read_back` says how a number was read.
    """

    outcome: str
    credit: float
    trap: str | None = None
    belief: str | None = None
    remark: str | None = None
    read_back: str | None = None
    marks: tuple[Mark, ...] = ()
    rows: tuple[RowMark, ...] = ()


@dataclass(frozen=True)
class Worked:
    """The solution with this question's numbers: `why` and `lines` are Markdown, `pictures` picture descriptions."""

    why: str
    key_shown: str
    accepted_shown: str
    lines: tuple[str, ...]
    pictures: tuple[Mapping[str, Any], ...] = ()


# Compiled


@dataclass(frozen=True)
class CompiledOption:
    """An option with its braces compiled."""

    id: str
    text: Template
    key: bool
    belief: str | None


@dataclass(frozen=True)
class Item:
    """A compiled item, ready to draw from; made from a revision's body, about half a millisecond.

    `content` is what its kind has compiled of its own words; `parts` are the items that a scenario consists of.
    """

    body: Mapping[str, Any]
    library: Library
    draws: Draws
    lets: tuple[tuple[str, Formula], ...]
    refuse: tuple[Formula, ...]
    stem: Template
    why: Template
    options: tuple[CompiledOption, ...]
    answer: Formula | None
    traps: tuple[Trap, ...]
    rounding: Rounding | None
    aircraft: Aircraft | None = None
    content: Any = None
    parts: Mapping[str, Item] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """One of the ten kinds."""
        return str(self.body["kind"])


@dataclass(frozen=True)
class Tried:
    """One draw with its values; `working` for numbers. `refusal` says why it may not be asked, None if it may.

    `parts` are those of a scenario.
    """

    drawn: Drawn
    values: dict[str, float]
    working: Working | None
    refusal: str | None
    error: FormulaError | None = None
    parts: Mapping[str, Tried] = field(default_factory=dict)


@dataclass(frozen=True)
class Build:
    """What a kind compiles with: texts and formulas may use the item's draws, lets and the aircraft's numbers."""

    library: Library
    aircraft: Aircraft | None
    template: Callable[[str], Template]
    formula: Callable[[str], Formula]


# While checking


@dataclass(frozen=True)
class KindText:
    """A text with braces of a kind's own: `place` is its key among the item's places."""

    place: str
    text: str


@dataclass(frozen=True)
class FormulaText:
    """A formula of a kind's own: a number of `dimension` (None for any)."""

    place: str
    text: str
    dimension: str | None


class Kind:
    """One kind; each method has an answer that suits most kinds.

    `record` holds all that grading needs, for nothing is ever computed again from the item. To the record of a kind
    come `kind`, `why`, `lines` and `cautions`.
    """

    name = ""
    seconds = 60.0

    # From the text to the body

    def read(self, block: Block, item: ItemText, context: Context) -> None:
        """Read the kind's own words into the item's body and places; faults go to its report."""
        raise NotImplementedError

    def texts(self, body: Mapping[str, Any]) -> Iterable[KindText]:
        """Texts with braces beside stem, why and options."""
        return ()

    def formulas(self, body: Mapping[str, Any]) -> Iterable[FormulaText]:
        """Formulas of its own words."""
        return ()

    def ramp(self, body: Mapping[str, Any]) -> bool:
        """Whether it is fit for a Short set, beside what holds for the stem and the options."""
        return False

    def cautions(self, body: Mapping[str, Any]) -> Iterable[str]:
        """Cautions that it owes by its kind."""
        return ()

    def uses_aircraft(self, body: Mapping[str, Any]) -> bool:
        """Whether key or picture come from the aircraft, beside what its formulas use."""
        return False

    def seen(self, item: Item) -> Iterable[str]:
        """Names of draws and lets that its pictures show, beside those in texts."""
        return ()

    def behind_key(self, item: Item) -> Iterable[str]:
        """Names of draws that its key hangs on, beside those in a number's answer."""
        return ()

    def check(self, item: ItemText, compiled: Item, rng: Generator) -> None:
        """Find what can be found only in the compiled item; it has no faults so far."""

    # From the body to a question

    def build(self, body: Mapping[str, Any], build: Build) -> Any:
        """Compile its own words; kept as the item's `content`."""
        return None

    def templates(self, item: Item) -> Mapping[str, Template]:
        """The compiled texts by their places, beside stem, why and options."""
        return {}

    def refusal(self, item: Item, tried: Tried) -> str | None:
        """Why this draw may not be asked, in few words; None if it may."""
        return None

    def issue(self, item: Item, tried: Tried, rng: Generator) -> tuple[list[str], dict[str, Any]]:
        """Order of what is shuffled, and the grading record."""
        raise NotImplementedError

    def present(
        self, item: Item, drawn: Mapping[str, Mapping[str, Any]], order: Sequence[str], values: Mapping[str, float]
    ) -> Mapping[str, Any]:
        """Fields of `Presented` that it fills; nothing of the key."""
        return {}

    # From a response to a grade

    def read_response(self, record: Mapping[str, Any], raw: Mapping[str, Any]) -> dict[str, Any]:
        """The canonical response; InputError `response-unreadable` with a sentence for the learner."""
        raise NotImplementedError

    def grade(self, record: Mapping[str, Any], response: Mapping[str, Any]) -> Graded:
        """Grade a canonical response that is no pass."""
        raise NotImplementedError

    def passed(self, record: Mapping[str, Any]) -> Graded:
        """The grade of a question left unanswered on purpose."""
        return Graded("pass", 0.0)

    def worked(self, record: Mapping[str, Any]) -> Worked:
        """The solution."""
        raise NotImplementedError


def unreadable(what: str, mend: str, *, where: str = "") -> InputError:
    """The error for a response that is none; worded for the learner. `where` is the open field, as `pairs/adc`."""
    return InputError("response-unreadable", what, where=where, mend=mend)


def lacks_aircraft(block: Block, item: ItemText, context: Context, words: Sequence[str], does: str) -> bool:
    """Whether there is no aircraft to ask; then the kind's words count as read.

    A fault says so where the folder has none; where its file cannot be read, that has findings of its own.
    """
    if context.aircraft is not None:
        return False
    block.ignore(words)
    if context.aircraft_hash is None:
        what = f"a '{item.body['kind']}' item {does} an aircraft, and this folder has none"
        item.report.fault(block.at("kind"), "bank-no-aircraft", what, "put it into the folder of an aircraft")
    return True


def shown_of(drawn: Mapping[str, Mapping[str, Any]]) -> dict[str, str]:
    """What stands for each drawn name in texts."""
    return {name: str(entry["shown"]) for name, entry in drawn.items()}


def lines_of(item: Item, tried: Tried, shown: Mapping[str, str]) -> tuple[list[str], dict[str, str]]:
    """The working of what the answer and the reason are made of, and what stands for each name."""
    told = set(item.answer.names) if item.answer else set()
    told = told.union(*(slot.formula.names for slot in item.why.slots if slot.formula is not None))
    needed = names_behind(told, dict(item.lets))
    return let_lines(item.library, item.lets, item.body["let"], tried.values, shown, needed)


def marks_of(record: Mapping[str, Any], picked: Sequence[str]) -> tuple[Mark, ...]:
    """The options of a record as they were judged, in the shown order."""
    return tuple(
        Mark(option, option in picked, option in record["keys"], record["beliefs"].get(option))
        for option in record["order"]
    )

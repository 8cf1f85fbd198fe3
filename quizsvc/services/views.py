"""What services hand to the web and the command line: frozen values, never mapped rows.

Times are aware UTC. Markdown fields are marked as such; everything else is plain text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any


@dataclass(frozen=True)
class PersonView:
    """A person as their own device sees them. `name` is None for one who has not signed up."""

    id: int
    name: str | None
    roles: tuple[str, ...]
    aircraft: tuple[str, ...]
    check_date: date | None
    minutes_a_day: int
    time_zone: str
    experience: str
    created_at: datetime
    device_id: int

    @property
    def anonymous(self) -> bool:
        """Whether this person has no account yet."""
        return self.name is None


@dataclass(frozen=True)
class SignedIn:
    """A new session: `token` goes into the cookie; `claimable` counts the answers given on this device before."""

    person: PersonView
    token: str
    claimable: int = 0


@dataclass(frozen=True)
class DeviceView:
    """One session of a person."""

    id: int
    device: str
    created_at: datetime
    last_seen_at: datetime
    this_one: bool


@dataclass(frozen=True)
class LinkView:
    """What a one-time link is for, before it is used."""

    name: str
    expires_at: datetime
    first_sign_in: bool


@dataclass(frozen=True)
class SettingsForm:
    """A person's own choices, already parsed."""

    aircraft: tuple[str, ...]
    check_date: date | None
    minutes_a_day: int
    time_zone: str
    experience: str


@dataclass(frozen=True)
class OptionView:
    """One option or row as shown; `text` is Markdown, `picture` a picture description."""

    id: str
    text: str
    picture: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class ReadingView:
    """A dial to be read, and the unit that a bare number means."""

    id: str
    label: str
    unit: str


@dataclass(frozen=True)
class MarkView:
    """How one option was judged; `text` and `belief` are Markdown."""

    id: str
    text: str
    picked: bool
    key: bool
    belief: str | None


@dataclass(frozen=True)
class RowView:
    """How one row, place, reading or point was judged; the texts are Markdown, `note` says why the key is the key."""

    label: str
    given: str
    key: str
    right: bool
    belief: str | None = None
    note: str | None = None
    id: str = ""


@dataclass(frozen=True)
class FeedbackView:
    """What an answered question shows. Markdown: `why`, `belief`, `lines`. `pictures` are picture descriptions."""

    outcome: str
    credit: float
    void_reason: str | None
    sureness: str | None
    read_back: str | None
    typed: str | None
    key_shown: str
    accepted_shown: str | None
    belief: str | None
    remark: str | None
    why: str
    lines: tuple[str, ...]
    marks: tuple[MarkView, ...]
    given_at: datetime
    depth: str = "full"
    offline: bool = False
    device_outcome: str | None = None
    rows: tuple[RowView, ...] = ()
    pictures: tuple[Mapping[str, Any], ...] = ()

    @property
    def differs(self) -> bool:
        """Whether the device made something else of it; an answer that does not count was not judged otherwise."""
        return self.device_outcome is not None and self.outcome not in (self.device_outcome, "void")


@dataclass(frozen=True, order=True)
class CitesOlder:
    """Caution C3 as a text owes it: its manual, the revision that it cites, and the newest one that is loaded."""

    manual: str
    cited: str
    newer: str
    id: str = "C3"

    def put_into(self, text: str) -> str:
        """The caution's text with its places filled in."""
        return text.replace("{manual}", self.manual).replace("{n}", self.cited).replace("{m}", self.newer)


@dataclass(frozen=True)
class QuestionView:
    """One question of a set. The grading record is not in it; `feedback` is, once answered.

    A part of a scenario names itself, all `parts`, and what was answered to those before it; `kept` says that it is
    answered and its feedback waits for the last part, with which the whole `chain` comes.
    """

    id: str
    set_id: str
    position: int
    count: int
    item: str
    item_disputed: bool
    kind: str
    concept: str
    concept_title: str
    system: str
    stem: str
    options: tuple[OptionView, ...]
    unit: str | None
    how: str | None
    pressure_card: tuple[tuple[int, float], ...]
    caution_ids: tuple[str | CitesOlder, ...]
    handbook_aircraft: str | None
    handbook_section: str | None
    handbook_title: str | None
    repeat: bool
    reason: str
    withdrawn: bool
    feedback: FeedbackView | None = None
    cite_source: str | None = None
    cite_read_on: date | None = None
    lefts: tuple[OptionView, ...] = ()
    rows: tuple[OptionView, ...] = ()
    choices: tuple[OptionView, ...] = ()
    readings: tuple[ReadingView, ...] = ()
    ask: str | None = None
    picture: Mapping[str, Any] | None = None
    hint: str | None = None
    speak_s: float | None = None
    points: tuple[OptionView, ...] = ()
    model: str | None = None
    situation: str | None = None
    part: str | None = None
    parts: tuple[str, ...] = ()
    earlier: tuple[tuple[str, str], ...] = ()
    kept: bool = False
    on_device: bool = False
    chain: tuple[QuestionView, ...] = ()

    @property
    def answered(self) -> bool:
        """Whether it has an answer, shown or kept until the last part."""
        return self.feedback is not None or self.kept


@dataclass(frozen=True)
class SetView:
    """A set with its questions in order."""

    id: str
    long: bool
    minutes: int
    started_at: datetime
    ended_at: datetime | None
    questions: tuple[QuestionView, ...]
    missed: int
    repeats_offered: bool
    for_device: bool = False

    @property
    def answered(self) -> int:
        """How many questions have an answer."""
        return sum(1 for question in self.questions if question.answered)

    @property
    def next_question(self) -> QuestionView | None:
        """The first question without an answer."""
        return next((question for question in self.questions if not question.answered), None)

    def after(self, question: QuestionView) -> QuestionView | None:
        """What comes after a question: the next part of its scenario, or the first question without an answer."""
        parts = (one for one in self.questions if one.part and one.item == question.item and not one.answered)
        return next(parts, self.next_question) if question.part else self.next_question


@dataclass(frozen=True)
class AnswerView:
    """The stored result of one answer, the same for the first sending and each repetition of it.

    `feedback` is None while parts of the same scenario wait for an answer.
    """

    uuid: str
    question: QuestionView
    feedback: FeedbackView | None
    received_at: datetime
    already_stored: bool
    next_question_id: str | None


@dataclass(frozen=True)
class SquawkView:
    """A dispute as stored; `caution` is the sentence of C11 that is true."""

    id: int
    status: str
    withdrawn: bool
    caution: str


@dataclass(frozen=True)
class HoldRow:
    """One concept as the learner's own Thin spots screen lists it; `expectation` is None while too little is known."""

    concept: str
    title: str
    system: str
    state: str
    due: bool
    last_seen: datetime | None
    answers: int
    expectation: float | None
    handbook_aircraft: str | None
    handbook_section: str | None
    consequence: int
    reason: str


@dataclass(frozen=True)
class ThinSpots:
    """Concepts with low or uncertain expectation, weakest first, and the counts by state."""

    rows: tuple[HoldRow, ...]
    untried: tuple[HoldRow, ...]
    counts: Mapping[str, int]
    enough_to_say: bool
    answers: int


@dataclass(frozen=True)
class SystemView:
    """What is expected of one system: share right, 0 to 1, with its plausible range."""

    system: str
    share: float
    low: float
    high: float
    concepts: int
    untried: int


@dataclass(frozen=True)
class FadingView:
    """A concept that is held today and will be due by `day` if it is not asked."""

    concept: str
    title: str
    system: str
    day: date
    handbook_aircraft: str | None
    handbook_section: str | None


@dataclass(frozen=True)
class MinuteView:
    """A concept whose expectation a minute now raises most. `reason` is one sentence; `seconds` an answer takes."""

    concept: str
    title: str
    system: str
    seconds: float
    reason: str


@dataclass(frozen=True)
class MinutesOfSystem:
    """A system in which `minutes` now, on up to `questions` concepts, add about `items` items of the blueprint."""

    system: str
    minutes: int
    questions: int
    items: float


@dataclass(frozen=True)
class NeverAsked:
    """The titles of a system's concepts that were never asked, and how many concepts it has."""

    system: str
    concepts: int
    titles: tuple[str, ...]


@dataclass(frozen=True)
class ExpectationView:
    """The check-day expectation; without figures while there is too little to say.

    `day` is the day it is for: the check where `is_check`, else sixty days ahead; `far` where it lies so long after the
    last answer that other models of forgetting differ by more than the range. `moves` and `best_systems` stand with the
    most per minute first. `trend` is a picture description.
    """

    enough: bool
    answers: int
    concepts: int
    days: int
    items: int
    day: date
    is_check: bool
    untried: int
    expected: int = 0
    low: int = 0
    high: int = 0
    systems: tuple[SystemView, ...] = ()
    fading: tuple[FadingView, ...] = ()
    far: bool = False
    moves: tuple[MinuteView, ...] = ()
    best_systems: tuple[MinutesOfSystem, ...] = ()
    never_asked: tuple[NeverAsked, ...] = ()
    trend: Mapping[str, Any] | None = None

    def with_figures(self, **figures: Any) -> ExpectationView:
        """The same with what was worked out."""
        return replace(self, **figures)

    @property
    def bars(self) -> Mapping[str, Any]:
        """The systems as a picture description: how many of ten."""
        return {
            "type": "bars",
            "title": "Expected right of ten, by system",
            "unit": "of 10",
            "rows": [
                {
                    "label": one.system[:1].upper() + one.system[1:],
                    "value": round(10 * one.share, 1),
                    "low": round(10 * one.low, 1),
                    "high": round(10 * one.high, 1),
                }
                for one in self.systems
            ],
        }


@dataclass(frozen=True)
class LogRow:
    """One answer in the Log of answers."""

    answer_id: int
    question_id: str
    given_at: datetime
    concept: str
    concept_title: str
    system: str
    kind: str
    stem: str
    typed: str
    outcome: str
    void_reason: str | None
    sureness: str | None
    revision_number: int
    repeat: bool
    offline: bool
    device_outcome: str | None
    older: CitesOlder | None = None


@dataclass(frozen=True)
class LogPage:
    """A page of the Log, newest first."""

    rows: tuple[LogRow, ...]
    page: int
    pages: int
    total: int
    systems: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaughtConcept:
    """A concept that a section teaches. `items` are live; `section` is its own where that is another one."""

    id: str
    title: str
    items: int
    section: str | None


@dataclass(frozen=True)
class FigureView:
    """A figure of a handbook: `svg` is drawn, `rows` are the same as a table with the heading first."""

    name: str
    title: str
    caption: str
    svg: str
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class SectionView:
    """A handbook section; `body` is Markdown, `figures` are those that it names."""

    aircraft: str
    id: str
    title: str
    body: str
    concepts: tuple[TaughtConcept, ...] = ()
    figures: tuple[FigureView, ...] = ()
    previous: str | None = None
    next: str | None = None


@dataclass(frozen=True)
class HandbookView:
    """The contents of one aircraft's handbook."""

    aircraft: str
    name: str
    sections: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LoadReport:
    """What a load did, by item id."""

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    unchanged: int = 0
    withdrawn: tuple[str, ...] = ()
    concepts: int = 0
    remarks: int = 0


@dataclass(frozen=True)
class HealthView:
    """What `/health` says."""

    database: str
    migration: str
    bank: str
    ok: bool = field(default=True)

"""What services hand out about a person's own homework. Nothing of a key is in it before its release."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from quizsvc.errors import InputError
from quizsvc.services.homework_marks import Mark
from quizsvc.services.remarking import RemarkLine
from quizsvc.services.views import QuestionView

__all__ = ["AssignmentView", "DraftView", "HomeworkQuestion", "Receipt", "SavedDraft", "WorkQuestion", "WorkView"]


@dataclass(frozen=True)
class WorkQuestion:
    """A question of a work in its list.

    `state` is `open`, `answered`, `pass`, `unreadable` (with the sentence that says what is open in `problem`) or
    `fixed` (answered for good); `outcome` comes with the release.
    """

    id: str
    position: int
    part: str | None
    state: str
    problem: str | None = None
    outcome: str | None = None
    sureness: str | None = None
    concept_title: str | None = None


@dataclass(frozen=True)
class WorkView:
    """One try of a person. Times are aware UTC, shown in `zone`; `mark` comes with the release."""

    id: str
    assignment_id: int
    title: str
    number: int
    zone: str
    feedback: str
    sitting: bool
    open: bool
    closes_at: datetime | None
    late_until_at: datetime | None
    ends_at: datetime | None
    begun_at: datetime | None
    handed_in_at: datetime | None
    device_at: datetime | None
    late: bool
    content_hash: str | None
    released_at: datetime | None
    questions: tuple[WorkQuestion, ...] = ()
    mark: Mark | None = None

    @property
    def handed_in(self) -> bool:
        """Whether it was handed in, by the person or by the service at the end of a Sitting."""
        return self.handed_in_at is not None

    @property
    def fixes(self) -> bool:
        """Whether each answer is fixed and told about at once."""
        return self.feedback == "straight away" and not self.sitting

    @property
    def unready(self) -> tuple[WorkQuestion, ...]:
        """What would be handed in as a pass although nobody passed: left open, or unreadable."""
        return tuple(one for one in self.questions if one.state in ("open", "unreadable"))

    @property
    def first_open(self) -> WorkQuestion | None:
        """Where to go on."""
        return next(iter(self.unready), None)

    def after(self, question_id: str) -> WorkQuestion | None:
        """The question that follows in the order of the work; None after the last."""
        places = [one.id for one in self.questions]
        at = places.index(question_id) + 1
        return self.questions[at] if at < len(places) else None

    def before(self, question_id: str) -> WorkQuestion | None:
        """The question before it; None before the first."""
        at = [one.id for one in self.questions].index(question_id)
        return self.questions[at - 1] if at else None


@dataclass(frozen=True)
class AssignmentView:
    """An assignment as one person has it.

    `phase` is `not yet`, `open`, `late` or `over`, by this person's own times; `works` are the tries that were begun.
    """

    id: int
    title: str
    group: str
    zone: str
    phase: str
    opens_at: datetime | None
    closes_at: datetime | None
    late_until_at: datetime | None
    extended: bool
    excused: bool
    reason: str | None
    sitting_minutes: int | None
    tries: int
    numbers: str
    feedback: str
    questions: int
    works: tuple[WorkView, ...]
    first_homework: bool = False
    taken_back: bool = False

    @property
    def at_work(self) -> WorkView | None:
        """The try that was begun and not handed in."""
        return next((one for one in self.works if not one.handed_in), None)

    @property
    def counts(self) -> WorkView | None:
        """The try that counts: the last one handed in."""
        handed_in = [one for one in self.works if one.handed_in]
        return handed_in[-1] if handed_in else None

    @property
    def may_begin(self) -> bool:
        """Whether another try can be begun now."""
        return self.phase in ("open", "late") and self.at_work is None and len(self.works) < self.tries

    @property
    def to_do(self) -> bool:
        """Whether something is still to be handed in."""
        return self.phase != "over" and not self.excused and self.counts is None


@dataclass(frozen=True)
class DraftView:
    """What stands in an answer's fields before handing in; `raw` is empty where nothing is given."""

    version: int
    raw: Mapping[str, Any]
    sureness: str | None
    saved_at: datetime | None


@dataclass(frozen=True)
class HomeworkQuestion:
    """A question of a work with what stands in its fields; its feedback is in `view` once released."""

    view: QuestionView
    work: WorkView
    draft: DraftView
    remarks: tuple[RemarkLine, ...] = ()

    @property
    def following(self) -> WorkQuestion | None:
        """The next question of the work."""
        return self.work.after(self.view.id)

    @property
    def previous(self) -> WorkQuestion | None:
        """The question before."""
        return self.work.before(self.view.id)


@dataclass(frozen=True)
class SavedDraft:
    """What became of a draft: `saved`, or `draft` is the newer one that stands in its place, `said` in words.

    `problem` says what is open in a draft that was saved and cannot be read as an answer yet.
    """

    saved: bool
    draft: DraftView
    problem: InputError | None = None
    said: str | None = None


@dataclass(frozen=True)
class Receipt:
    """What was handed in and when. `content` is the text whose SHA-256 is `content_hash`."""

    work: WorkView
    content: str
    content_hash: str
    open: int

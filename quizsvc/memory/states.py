"""What is kept of a learner and of their hold on one concept, and the word for that hold.

Both states are O(1): nothing in them grows with the number of answers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from quizsvc.errors import InputError
from quizsvc.memory.weights import EXPERIENCE, LITTLE_GUESSING, STARTING, Weights

__all__ = [
    "AnswerEvent",
    "ConceptState",
    "LearnerState",
    "StateWord",
    "enough_to_say",
    "fresh_concept",
    "fresh_learner",
    "hold_after",
    "state_word",
]

StateWord = Literal["untried", "unsettled", "holding", "steady", "slipped", "suspect"]

STEADY_DAYS = 30
ENOUGH_ANSWERS, ENOUGH_CONCEPTS, ENOUGH_DAYS = 20, 8, 2
_OUTCOMES = ("full", "part", "miss", "pass")
_ZEROS = (0.0, 0.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class AnswerEvent:
    """One graded answer as memory takes it from the log.

    Parameters
    ----------
    at : float
        Effective time, days since the epoch, UTC.
    local_day : int
        Ordinal of that day's date in the person's time zone.
    outcome : str
        `full`, `part`, `miss` or `pass`; `void` answers stay outside.
    credit : float
        From 0 to 1; what the model takes as y.
    kind, item, concept : str
        Kind of the item, its id, and the concept that it asks.
    fresh : bool
        Whether the item, or the numbers drawn for it, had not been seen before by this person.
    sureness : str or None
        `sure`, `think` or `guess` if the person said so.
    answer_id : int
        Orders answers of the same moment.
    withdrawn : bool
        Whether the revision that was asked has been withdrawn since; makes the hold `suspect`.
    """

    at: float
    local_day: int
    outcome: str
    credit: float
    kind: str
    item: str
    fresh: bool
    sureness: str | None
    concept: str
    answer_id: int = 0
    withdrawn: bool = False

    def __post_init__(self) -> None:
        if self.outcome not in _OUTCOMES:
            raise InputError(
                "outcome-unknown",
                f"outcome '{self.outcome}' never enters memory",
                where=f"answer {self.answer_id} to item '{self.item}'",
                mend="accepted: full, part, miss, pass; leave void answers out",
            )
        if not (math.isfinite(self.at) and 0.0 <= self.credit <= 1.0):
            raise InputError(
                "answer-out-of-range",
                f"time {self.at} d or credit {self.credit} cannot be used",
                where=f"answer {self.answer_id} to item '{self.item}'",
                mend="give a finite time and a credit from 0 to 1",
            )


@dataclass(frozen=True)
class LearnerState:
    """Ability a ~ N(`ability`, `variance`) as of `at`, and how much it rests on.

    `at` is in days since the epoch (None before the first answer); `answers` counts without repeats, `concepts` those
    answered at least once, `days` the local days with an answer.
    """

    ability: float
    variance: float
    at: float | None = None
    answers: int = 0
    concepts: int = 0
    days: int = 0
    last_day: int | None = None

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`; floats keep every bit."""
        return {
            "ability": self.ability,
            "variance": self.variance,
            "at": self.at,
            "answers": self.answers,
            "concepts": self.concepts,
            "days": self.days,
            "last_day": self.last_day,
        }

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> LearnerState:
        """State that `to_json` wrote; InputError where a word is missing or is no number."""
        try:
            return cls(
                ability=float(raw["ability"]),
                variance=float(raw["variance"]),
                at=_float(raw["at"]),
                answers=int(raw["answers"]),
                concepts=int(raw["concepts"]),
                days=int(raw["days"]),
                last_day=_int(raw["last_day"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise _unreadable("learner", error) from error


@dataclass(frozen=True)
class ConceptState:
    """Everything kept of one learner's hold on one concept.

    Parameters
    ----------
    n, c : tuple of float, five each
        Traces of all answers and of right ones as of `last_at`, one per time constant of the weights.
    last_at : float or None
        Time of the last answer, repeats included, days since the epoch; None where never asked.
    offset, offset_variance : float
        Learner-concept offset b_c ~ N(offset, offset_variance) as of `offset_at`.
    offset_at : float or None
        Time of the last answer that was no repeat, days since the epoch.
    answers : int
        Answers without repeats.
    last_missed : bool
        Whether the last answer that was no repeat was a miss or a pass.
    last_item, last_kind : str or None
        What was asked last.
    last_day : int or None
        Local day of the last answer that was no repeat.
    right_days : int
        Separate local days with a right answer since the last miss, counted to 2.
    right_day : int or None
        The last of these days.
    held : bool
        Whether it was holding or steady at some time.
    steady : bool
        Whether it has become steady since the last miss.
    suspect : bool
        Whether the last right answer was to a revision that has been withdrawn.
    """

    n: tuple[float, ...] = _ZEROS
    c: tuple[float, ...] = _ZEROS
    last_at: float | None = None
    offset: float = 0.0
    offset_variance: float = 1.0
    offset_at: float | None = None
    answers: int = 0
    last_missed: bool = False
    last_item: str | None = None
    last_kind: str | None = None
    last_day: int | None = None
    right_days: int = 0
    right_day: int | None = None
    held: bool = False
    steady: bool = False
    suspect: bool = False

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`; floats keep every bit."""
        return {
            "n": list(self.n),
            "c": list(self.c),
            "last_at": self.last_at,
            "offset": self.offset,
            "offset_variance": self.offset_variance,
            "offset_at": self.offset_at,
            "answers": self.answers,
            "last_missed": self.last_missed,
            "last_item": self.last_item,
            "last_kind": self.last_kind,
            "last_day": self.last_day,
            "right_days": self.right_days,
            "right_day": self.right_day,
            "held": self.held,
            "steady": self.steady,
            "suspect": self.suspect,
        }

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> ConceptState:
        """State that `to_json` wrote; InputError where a word is missing or is no number."""
        try:
            n = tuple(float(x) for x in raw["n"])
            c = tuple(float(x) for x in raw["c"])
            if len(n) != 5 or len(c) != 5:
                raise ValueError(f"{len(n)} and {len(c)} traces in place of 5")
            return cls(
                n=n,
                c=c,
                last_at=_float(raw["last_at"]),
                offset=float(raw["offset"]),
                offset_variance=float(raw["offset_variance"]),
                offset_at=_float(raw["offset_at"]),
                answers=int(raw["answers"]),
                last_missed=bool(raw["last_missed"]),
                last_item=raw["last_item"],
                last_kind=raw["last_kind"],
                last_day=_int(raw["last_day"]),
                right_days=int(raw["right_days"]),
                right_day=_int(raw["right_day"]),
                held=bool(raw["held"]),
                steady=bool(raw["steady"]),
                suspect=bool(raw["suspect"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise _unreadable("concept", error) from error


def _float(raw: Any) -> float | None:
    return None if raw is None else float(raw)


def _int(raw: Any) -> int | None:
    return None if raw is None else int(raw)


def _unreadable(whose: str, error: Exception) -> InputError:
    return InputError(
        "memory-state-unreadable",
        f"a stored {whose} state cannot be read: {type(error).__name__} {error}",
        mend="rebuild it from the log: quizsvc memory replay",
    )


def fresh_learner(experience: str, weights: Weights = STARTING) -> LearnerState:
    """A person before their first answer.

    Parameters
    ----------
    experience : str
        `never trained`, `in training` or `rated` on the type: sets the prior mean of the ability.
    weights : Weights
        Holds that mean and the prior variance.

    Raises
    ------
    InputError
        Another word.
    """
    if experience not in weights.ability_mean:
        raise InputError(
            "experience-unknown",
            f"experience '{experience}' is not one of the words",
            mend=f"accepted: {', '.join(EXPERIENCE)}",
        )
    return LearnerState(weights.ability_mean[experience], weights.ability_variance)


def fresh_concept(weights: Weights = STARTING, concept: str | None = None) -> ConceptState:
    """A concept that was never asked.

    Parameters
    ----------
    weights : Weights
        Hold the prior variance, and the difficulty that the offset starts at.
    concept : str or None
        Its id; None for any concept, at no difficulty.
    """
    shift = 0.0 if concept is None else weights.concept_shift.get(concept, 0.0)
    return ConceptState(offset=shift, offset_variance=weights.offset_variance)


def hold_after(state: ConceptState, event: AnswerEvent) -> ConceptState:
    """The state with the fields of the hold, and only these, moved by one answer that is no repeat.

    Parameters
    ----------
    state : ConceptState
        Before the answer; `last_day` is the day of the answer before it.
    event : AnswerEvent
        The answer.

    Returns
    -------
    ConceptState
        With `last_missed`, `right_days`, `right_day`, `held`, `steady` and `suspect` moved.

    Notes
    -----
    A `part` answer moves nothing but `last_missed`, which it clears: it is no miss. A `say` answer is ticked by the
    learner and moves nothing else either. Days count by `local_day`; a day before the last right one (the person flew
    west, or a clock was wrong) is no new day.
    """
    missed = event.outcome in ("miss", "pass")
    if event.outcome == "part" or event.kind == "say":
        return replace(state, last_missed=missed)
    if missed:
        return replace(state, last_missed=True, right_days=0, right_day=None, steady=False, suspect=False)
    new_day = state.right_day is None or event.local_day > state.right_day
    right_days = min(2, state.right_days + new_day)
    long_after = state.last_day is not None and event.local_day - state.last_day >= STEADY_DAYS
    steady = state.steady or (long_after and event.fresh and event.kind in LITTLE_GUESSING)
    return replace(
        state,
        last_missed=False,
        right_days=right_days,
        right_day=event.local_day if new_day else state.right_day,
        held=state.held or steady or right_days >= 2,
        steady=steady,
        suspect=event.withdrawn,
    )


def state_word(state: ConceptState) -> StateWord:
    """The word for the hold on a concept.

    untried: never asked. suspect: the last right answer was to a revision now withdrawn. steady: right 30 local days
    or more after the answer before, by a kind with little guessing, with numbers or an item not seen before, and no
    miss since. holding: right on two local days since the last miss. slipped: was holding or steady, and the last
    answer that counts was a miss. unsettled: everything else.
    """
    if state.last_at is None:
        return "untried"
    if state.suspect:
        return "suspect"
    if state.steady:
        return "steady"
    if state.right_days >= 2:
        return "holding"
    if state.right_days == 0 and state.held:
        return "slipped"
    return "unsettled"


def enough_to_say(learner: LearnerState) -> bool:
    """Whether an expectation may be shown: 20 answers (repeats apart) over 8 concepts on 2 local days."""
    return learner.answers >= ENOUGH_ANSWERS and learner.concepts >= ENOUGH_CONCEPTS and learner.days >= ENOUGH_DAYS

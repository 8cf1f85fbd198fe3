"""The time until a check: what it covers, what the coming week asks, what the last week has still to go over.

Nothing is planned twice: the sets shown ahead are those that `plan_set` would make if each question before them were
answered right. A miss, a day left out or other minutes change them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from quizsvc.memory.filling import SITTING_DAYS
from quizsvc.memory.picking import Generator
from quizsvc.memory.planning import Outlook, plan_set
from quizsvc.memory.pool import Candidate, Pool
from quizsvc.memory.recall import update
from quizsvc.memory.scoring import STUDY_SHARE, Budget
from quizsvc.memory.states import AnswerEvent, LearnerState
from quizsvc.memory.weights import Weights

__all__ = ["LAST_WEEK_DAYS", "Coming", "coming_sets", "outlook", "to_cover"]

LAST_WEEK_DAYS = 7.0
"""Days before a check in which each system, limit and drill is gone over once, and what was missed again, days."""

_SECONDS_A_DAY = 86_400.0


@dataclass(frozen=True)
class Coming:
    """A concept that comes up: in which of the sets ahead it does first, from 0, and why."""

    concept: str
    set_number: int
    reason: str


def outlook(
    choice: Pool, *, now: float, horizon: float, minutes_a_day: float, study_share: float = STUDY_SHARE
) -> Outlook:
    """What the time until a day covers in Short sets.

    Parameters
    ----------
    choice : Pool
        All active concepts.
    now, horizon : float
        Days since the epoch.
    minutes_a_day : float
        Minutes on each study day.
    study_share : float
        Study days as a share of all days.

    Returns
    -------
    Outlook
        As a plan gives it.
    """
    answers_a_day = 60.0 * minutes_a_day / choice.mean_seconds(False)
    budget = Budget(len(choice.candidates), answers_a_day, now, horizon, study_share)
    return Outlook.of(budget, int(choice.held.untried.sum()))


def to_cover(
    candidates: Sequence[Candidate], cold: Collection[str], *, now: float, check_day: float | None
) -> tuple[Candidate, ...]:
    """The candidates, each with what asking it still goes over in the last week before a check.

    Whatever was missed last, in an earlier sitting, is gone over again: by its score alone a concept just missed and
    explained could wait until after the check.

    Parameters
    ----------
    candidates : sequence of Candidate
        All active concepts.
    cold : collection of str
        Concepts that are limits or drills: each has to come up itself.
    now : float
        Days since the epoch.
    check_day : float or None
        Start of the day of the check, days since the epoch; None without one.

    Returns
    -------
    tuple of Candidate
        Outside the week there is nothing to go over.
    """
    if check_day is None or not check_day - LAST_WEEK_DAYS <= now < check_day:
        return tuple(replace(one, cover=()) if one.cover else one for one in candidates)
    came_up = {one.concept for one in candidates if _asked_since(one, check_day - LAST_WEEK_DAYS)}
    systems = {(one.folder, one.system) for one in candidates if one.concept in came_up}
    return tuple(
        replace(
            one,
            cover=(
                *(() if (one.folder, one.system) in systems else (" ".join(("system", *_where(one))),)),
                *((f"concept {one.concept}",) if one.concept in cold and one.concept not in came_up else ()),
                *((f"missed {one.concept}",) if _missed_before(one, now) else ()),
            ),
        )
        for one in candidates
    )


def _where(one: Candidate) -> tuple[str, ...]:
    return (one.folder, one.system) if one.folder else (one.system,)


def _missed_before(one: Candidate, now: float) -> bool:
    return one.state.last_missed and one.state.last_at is not None and now - one.state.last_at > SITTING_DAYS


def _asked_since(one: Candidate, day: float) -> bool:
    return one.state.last_at is not None and one.state.last_at >= day


def coming_sets(
    candidates: Sequence[Candidate],
    cold: Collection[str],
    learner: LearnerState,
    weights: Weights,
    *,
    moments: Sequence[float],
    minutes: float,
    check_day: float | None,
    rng: Generator,
    minutes_a_day: float | None = None,
    study_share: float = STUDY_SHARE,
) -> tuple[Coming, ...]:
    """What Short sets at some moments ask if every question is answered right.

    Parameters
    ----------
    candidates, cold
        As for `to_cover`.
    learner, weights
        The person, and the weights of the model.
    moments : sequence of float
        When the sets begin, rising, days since the epoch.
    minutes : float
        Length of each set, minutes.
    check_day : float or None
        Days since the epoch, as for `plan_set`.
    rng : Generator
        Breaks ties.
    minutes_a_day : float or None
        Minutes of a study day, by which the time left is reckoned; those of a set if not given.
    study_share : float
        Study days as a share of all days.

    Returns
    -------
    tuple of Coming
        Each concept once, in the order in which they come up.
    """
    there = {one.concept: one for one in candidates}
    found: dict[str, Coming] = {}
    for number, at in enumerate(moments):
        covered = to_cover(tuple(there.values()), cold, now=at, check_day=check_day)
        plan = plan_set(
            covered,
            learner,
            weights,
            now=at,
            minutes=minutes,
            minutes_a_day=minutes if minutes_a_day is None else minutes_a_day,
            check_day=check_day,
            long=False,
            rng=rng,
            study_share=study_share,
        )
        for place in plan.places:
            found.setdefault(place.concept, Coming(place.concept, number, place.reason))
            at += place.seconds / _SECONDS_A_DAY
            learner, there[place.concept] = _answered_right(there[place.concept], place.item, learner, weights, at)
    return tuple(found.values())


def _answered_right(
    one: Candidate, item: str, learner: LearnerState, weights: Weights, at: float
) -> tuple[LearnerState, Candidate]:
    asked = next(way for way in one.items if way.item == item)
    event = AnswerEvent(
        at=at,
        local_day=int(at),
        outcome="full",
        credit=1.0,
        kind=asked.kind,
        item=item,
        fresh=asked.generated or asked.last_asked is None,
        sureness=None,
        concept=one.concept,
    )
    learner, state, _ = update(learner, one.state, event, weights)
    items = tuple(replace(way, last_asked=at, asks=way.asks + 1) if way.item == item else way for way in one.items)
    return learner, replace(one, state=state, items=items)

"""How a person really practises: how long answers take them, on how many days they practise, for how many minutes.

What is known of an answer is when its question was put and when the answer counts as given. All questions of a set are
put at once, so what an answer took is the time since the one before it in the set, or since the start: reading the
question, answering, and reading the feedback of the one before. A telephone laid aside cannot be told from hard
thinking. So a time above ten minutes is taken for a pause and one below two seconds for no reading, both are left out,
and of the rest the median counts.

Everything learned leans to what was said or usual, with the weight of so many answers or days.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

from quizsvc.memory.scoring import STUDY_SHARE

__all__ = ["NO_HABIT", "WEEKS", "Given", "Habit", "habit_of"]

WEEKS = 8
"""How far back a habit is read, weeks."""

PAUSE_S = 600.0
LEAST_S = 2.0
USUAL_ANSWERS = 20
USUAL_DAYS = 14
USUAL_STUDY_DAYS = 10
LEAST_PACE, MOST_PACE = 0.5, 2.0
_SAID_FROM_DAYS = 14
_SAID_FROM_PRACTISED = 3


class Given(NamedTuple):
    """An answer of practice.

    Parameters
    ----------
    set_id : str
        The set it was given in.
    kind : str
        Kind of the item.
    seconds : float
        Expected time of the item, s.
    issued_at, at : float
        When its question was put and when the answer counts as given, s since any one moment.
    day : int
        Ordinal of the date in the person's zone.
    alone : bool
        Whether the item's seconds are those of this answer: neither a part of a scenario nor a repeat.
    """

    set_id: str
    kind: str
    seconds: float
    issued_at: float
    at: float
    day: int
    alone: bool = True


@dataclass(frozen=True)
class Habit:
    """How a person has practised of late.

    Parameters
    ----------
    paces : mapping of str to float
        Factor of an item's seconds by kind, .5 to 2; a kind that is not there has 1.
    practised, observed : int
        Days with an answer, and the days looked at: from the first of them to the last day that is over, or to today
        where it has answers already.
    minutes : float or None
        Median of the minutes used on a day with practice, without today; None where there is no such day.
    minutes_of : int
        Days that this median is of.
    """

    paces: Mapping[str, float]
    practised: int
    observed: int
    minutes: float | None
    minutes_of: int

    def pace(self, kind: str) -> float:
        """Factor of the seconds of an item of a kind."""
        return self.paces.get(kind, 1.0)

    @property
    def study_share(self) -> float:
        """Days with practice as a share of all days, leaning to five of seven with the weight of 14 days."""
        return (self.practised + USUAL_DAYS * STUDY_SHARE) / (self.observed + USUAL_DAYS)

    def minutes_a_day(self, said: float) -> float:
        """Minutes of a study day, leaning to what the person says with the weight of 10 study days.

        Parameters
        ----------
        said : float
            What the person means to spend on a study day, minutes.

        Returns
        -------
        float
            Minutes, above 0.
        """
        if self.minutes is None:
            return said
        return (self.minutes_of * self.minutes + USUAL_STUDY_DAYS * said) / (self.minutes_of + USUAL_STUDY_DAYS)

    @property
    def enough(self) -> bool:
        """Whether it can be said aloud: two weeks looked at, three days with practice, one of them over."""
        return self.observed >= _SAID_FROM_DAYS and self.practised >= _SAID_FROM_PRACTISED and self.minutes is not None


NO_HABIT = Habit({}, 0, 0, None, 0)
"""Of who has not practised of late: everything is as said or usual."""


def habit_of(given: Sequence[Given], *, today: int) -> Habit:
    """The habit that some answers show.

    An absence longer than what is looked at leaves nothing to learn from, and is itself no habit: counting begins with
    the first day with practice.

    Parameters
    ----------
    given : sequence of Given
        The answers of the last eight weeks in the order of their times.
    today : int
        Ordinal of today's date in the person's zone.

    Returns
    -------
    Habit
        `NO_HABIT` without answers.
    """
    if not given:
        return NO_HABIT
    ratios: dict[str, list[float]] = defaultdict(list)
    used: dict[int, float] = defaultdict(float)
    last_of_set: dict[str, float] = {}
    for set_id, kind, seconds, issued_at, at, day, alone in given:
        took = at - max(issued_at, last_of_set.get(set_id, issued_at))
        last_of_set[set_id] = at
        plausible = LEAST_S <= took <= PAUSE_S
        used[day] += took if plausible else seconds
        if plausible and alone:
            ratios[kind].append(took / seconds)
    over = [seconds / 60.0 for day, seconds in used.items() if day < today]
    return Habit(
        paces={kind: _pace(found) for kind, found in ratios.items()},
        practised=len(used),
        observed=max(len(used), today - min(used) + (today in used)),
        minutes=median(over) if over else None,
        minutes_of=len(over),
    )


def _pace(ratios: Sequence[float]) -> float:
    """The median ratio, leaning to 1 with the weight of 20 answers; a root, so that half and double weigh alike."""
    leaning: float = median(ratios) ** (len(ratios) / (len(ratios) + USUAL_ANSWERS))
    return min(max(leaning, LEAST_PACE), MOST_PACE)

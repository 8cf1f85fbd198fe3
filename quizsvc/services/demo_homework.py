"""The homework of the invented school: assigned, done, closed and disputed by the real services, at past times."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta

from quizsvc.errors import ConflictError
from quizsvc.services import (
    allowances,
    assignment_picking,
    assignment_release,
    assignment_rules,
    assignments,
    groups,
    handing_in,
    homework,
    homework_release,
    local_times,
    squawks,
)
from quizsvc.services.allowances import AllowanceForm
from quizsvc.services.assignment_items import Criteria
from quizsvc.services.demo_responses import response
from quizsvc.services.demo_school import School, SchoolHomework
from quizsvc.store.session import Database
from quizsvc.store.tables import Question

__all__ = ["Event", "events"]

CLOSING_HOUR = 20
# Nobody hands in during an evening of practice: at noon, each some minutes after the one before.
_NOON = 12
_EACH_TAKES = timedelta(minutes=11)
_LOOKED_AT = timedelta(minutes=5)
_PASSED_OVER = 0.08
_HELD_SO_FAR = 0.6

Event = tuple[datetime, Callable[[], int]]
"""When something happens, and what; it gives how many answers were handed in."""


def events(db: Database, school: School, ids: Mapping[str, int], *, now: datetime, seed: str) -> Iterator[Event]:
    """Everything that happens in the homework of a school before `now`, not in the order of time.

    Parameters
    ----------
    ids : mapping
        The people by their names.
    seed : str
        What all chance hangs on: the same school has the same homework.
    """
    for one in school.homework:
        told = _Told(db, school, one, ids, now, random.Random(f"{seed} {one.title}"))
        yield from told.events()


class _Told:
    """One assignment from its making on."""

    def __init__(
        self,
        db: Database,
        school: School,
        one: SchoolHomework,
        ids: Mapping[str, int],
        now: datetime,
        rng: random.Random,
    ) -> None:
        self.db, self.one, self.ids, self.rng = db, one, ids, rng
        self.zone = school.time_zone
        self.by = ids[one.by]
        self.opened = self._at(now, -one.opened, _NOON)
        self.closes = self._at(now, one.closes, CLOSING_HOUR)
        self.now = now
        self.assignment = 0
        self.last = self.closes

    def _at(self, now: datetime, days: int, hour: int) -> datetime:
        return local_times.days_later_at(now, self.zone, days=days, hour=hour)

    def events(self) -> Iterator[Event]:
        """What happens, each with its time."""
        yield self.opened, self._assign
        begin = self._at(self.opened, 1, _NOON)
        for place, (name, hold) in enumerate(self.one.done.items()):
            moment = begin + place * _EACH_TAKES
            if self.one.extended is not None and name == self.one.extended.name:
                self.last = self.closes + timedelta(days=self.one.extended.days)
                yield self.closes - timedelta(hours=4), self._extend
                moment = self.closes + timedelta(hours=1)
            yield moment, self._does(name, hold, moment)
        for place, (name, how_many) in enumerate(self.one.begun.items(), len(self.one.done)):
            moment = begin + place * _EACH_TAKES
            yield moment, self._does(name, _HELD_SO_FAR, moment, only=how_many)
        if self.last < self.now:
            yield self.last + _LOOKED_AT, self._over
            if self.one.squawk is not None:
                yield self.last + timedelta(hours=12), self._squawk

    def _assign(self) -> int:
        at = self.opened
        group = next(one.id for one in groups.own(self.db, self.by) if one.name == self.one.group)
        first, *others = (Criteria(one.count, systems=one.systems, kinds=one.kinds) for one in self.one.pick)
        self.assignment = assignment_picking.make_and_pick(
            self.db, self.by, group, self.one.title, first, now=at, rng=self.rng
        )
        made = assignments.view(self.db, self.by, self.assignment, now=at)
        for criteria in others:
            assignment_picking.pick(self.db, self.by, self.assignment, made.version, criteria, now=at, rng=self.rng)
            made = assignments.view(self.db, self.by, self.assignment, now=at)
        form = assignment_rules.RulesForm(
            title=self.one.title,
            numbers="own",
            feedback=self.one.feedback,
            tries=1,
            sitting_minutes=None,
            opens=local_times.LocalForm(""),
            closes=local_times.shown(self.closes, self.zone),
            late_until=local_times.LocalForm(""),
        )
        made = assignments.change(self.db, self.by, self.assignment, made.version, form, now=at)
        assignment_release.release(self.db, self.by, self.assignment, made.version, now=at)
        return 0

    def _extend(self) -> int:
        extended = self.one.extended
        assert extended is not None  # or this would not have been planned
        until = local_times.shown(self.last, self.zone)
        form = AllowanceForm(self.ids[extended.name], "extension", extended.reason, until)
        allowances.give(self.db, self.by, self.assignment, form, now=self.closes - timedelta(hours=4))
        return 0

    def _does(self, name: str, hold: float, moment: datetime, *, only: int | None = None) -> Callable[[], int]:
        """Somebody fills in the questions and hands in, or only the first of them and leaves it."""

        def does() -> int:
            person, at = self.ids[name], moment
            work = homework.begin(self.db, person, self.assignment, now=at, rng=self.rng)
            for question in work.questions[:only]:
                at += timedelta(seconds=self.rng.uniform(15, 60))
                with self.db.reading() as session:
                    record = session.get_one(Question, question.id).record
                raw = response(record, knows=self.rng.random() < hold, rng=self.rng)
                sureness = None if self.rng.random() < _PASSED_OVER else self.rng.choice(("sure", "think", "guess"))
                homework.save_draft(
                    self.db, person, work.id, question.id, raw=raw, sureness=sureness, version=1, now=at
                )
            if only is not None:
                return 0
            handing_in.hand_in(self.db, person, work.id, anyway=True, device_at=at, now=at + timedelta(seconds=20))
            return len(work.questions)

        return does

    def _over(self) -> int:
        homework_release.settle_assignment(self.db, self.assignment, now=self.last + _LOOKED_AT)
        return 0

    def _squawk(self) -> int:
        squawk = self.one.squawk
        assert squawk is not None  # or this would not have been planned
        person, at = self.ids[squawk.name], self.last + timedelta(hours=12)
        view = homework.assignment(self.db, person, self.assignment, now=at)
        if view.counts is None:
            raise ConflictError("demo-squawk", f"{squawk.name} has handed in nothing", mend="name somebody of done:")
        asked = homework.work(self.db, person, view.counts.id, now=at).questions
        missed = next((one for one in asked if one.outcome == "miss"), asked[0])
        squawks.raise_squawk(self.db, person, missed.id, squawk.text, now=at)
        return 0

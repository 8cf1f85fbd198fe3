"""Difficulties learned from a log: recovered where they are known, as scipy finds them, only where there is enough.

The learners are invented and answer as the model says; each concept's offsets lie around a difficulty of its own.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from quizsvc.errors import InputError
from quizsvc.memory import fit_concepts, refitting
from quizsvc.memory.fit_rows import believed, believed_from, rows_of, shown
from quizsvc.memory.metrics import log_losses
from quizsvc.memory.recall import update
from quizsvc.memory.refitting import refit
from quizsvc.memory.states import fresh_concept, fresh_learner
from quizsvc.memory.weights import STARTING
from tests.memory.logs import CONCEPTS, TRUE, model_log
from tests.memory.test_fitting import by_scipy

LEARNERS, ANSWERS = 50, 230
_drawn = random.Random(11)
KNOWN = {concept: _drawn.gauss(0, fit_concepts.CONCEPT_SD) for concept in CONCEPTS}


@pytest.fixture(scope="module")
def learners():
    """Some 11,000 answers of fifty invented learners."""
    return [rows_of(model_log(s, ANSWERS, difficulty=KNOWN), "never trained", STARTING) for s in range(LEARNERS)]


@pytest.fixture(scope="module")
def fits(learners):
    """What every turn gave to the solver and got from it, and the weights."""
    calls = []
    real = refitting.fit_bounded

    def heard(*given):
        calls.append((given, real(*given)))
        return calls[-1][1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(refitting, "fit_bounded", heard)
        return refit(learners, STARTING), calls


def test_known_difficulties_are_recovered(fits):
    """Their errors have the size that the standard errors say: scipy.stats.chi2(40).ppf([.0005, .9995]) = 16.9, 76.1.

    The true ones were drawn from the prior of the fit, so that its pull towards 0 is no error in the mean.
    """
    found, _ = fits
    assert [one.concept for one in found.concepts] == sorted(KNOWN) == sorted(found.weights.concept_shift)
    errors = np.array([(one.after - KNOWN[one.concept]) / one.se for one in found.concepts])

    assert 16.9 < errors @ errors < 76.1
    pairs = np.array([(one.after, KNOWN[one.concept]) for one in found.concepts])
    assert np.corrcoef(pairs.T)[0, 1] > 0.8
    assert found.concepts_answered == 40
    assert sum(one.answers for one in found.concepts) == found.answers
    assert {38, 39, 40} == {one.learners for one in found.concepts}  # of forty, some were never asked one of them
    assert found.settled and found.weights.source.endswith("from version 1; difficulties of concepts: 40")


def test_the_last_turn_is_what_scipy_finds_on_the_same_design(fits):
    """L-BFGS-B on the dense design, a column for each concept, ridge of sd .5: weights and difficulties within 1e-6."""
    found, calls = fits
    (design, outcome, prior, offset, groups), fit = calls[-1]
    columns = np.zeros((len(outcome), groups.count))
    columns[np.arange(len(outcome)), groups.number] = groups.scale
    more = np.zeros(groups.count)
    wide = replace(
        prior,
        mean=np.append(prior.mean, more),
        sd=np.append(prior.sd, more + 0.5),
        lowest=np.append(prior.lowest, more - np.inf),
    )
    peer = by_scipy(np.hstack([design, columns]), outcome, offset, wide)

    np.testing.assert_allclose(np.append(fit.theta, fit.groups), peer, rtol=0, atol=1e-6)
    assert fit.groups.tolist() == [one.after for one in found.concepts] == list(found.weights.concept_shift.values())
    assert len(calls) == found.turns


def test_they_serve_learners_who_were_held_out(fits, learners):
    """Better than the same weights without them, by more than two standard errors over the ten learners."""
    found, _ = fits
    held_out = learners[4::5]
    outcome = np.concatenate([rows.credit for rows in held_out])
    without = log_losses(outcome, shown(held_out, replace(found.weights, concept_shift={})))
    gains = log_losses(outcome, shown(held_out, found.weights)) - without
    mean, error = refitting._paired(gains, [len(rows) for rows in held_out])

    assert mean < -2 * error
    assert found.after.log_loss == pytest.approx(np.mean(gains + without), abs=1e-12)


def test_a_second_fit_starts_from_them_and_stays(fits, learners):
    """From version 2 the difficulties of version 1's fit are what stood before, and move by less than an s.e."""
    found, _ = fits
    again = refit(learners, found.weights.with_version(2))

    assert {one.concept: one.before for one in again.concepts} == found.weights.concept_shift
    for one in again.concepts:
        assert abs(one.after - one.before) < one.se / 2


def test_what_is_left_of_a_start_is_what_the_updates_leave_of_it():
    """Each `update` takes V to V - V^2 r and so leaves the share V after / V before of what the mean started from; V
    before is that of the answer before it, crept back."""
    log, used = model_log(3, ANSWERS, difficulty=KNOWN), replace(TRUE, concept_shift=KNOWN, creep_days=90.0)
    learner, states, shares, expected = fresh_learner("never trained", used), {}, {}, []
    for event in log:
        before = states.get(event.concept, fresh_concept(used, event.concept))
        learner, after, note = update(learner, before, event, used)
        states[event.concept] = after
        if not note.repeat:
            lag = 0.0 if before.offset_at is None else event.at - before.offset_at
            crept = 1.0 - (1.0 - before.offset_variance) * np.exp(-lag / 90.0)
            share = shares.get(event.concept, 1.0)
            expected.append(share)
            shares[event.concept] = share * after.offset_variance / crept
    rows = rows_of(log, "never trained", used)
    mean, variance, left = believed_from(rows, used)

    np.testing.assert_allclose(left, expected, rtol=0, atol=1e-12)
    assert left.min() < 0.6
    assert all((one == other).all() for one, other in zip((mean, variance), believed(rows, used), strict=True))


def test_only_concepts_of_thirty_answers_and_five_learners_have_one(learners):
    """Counted by hand: a rare concept of 30 and of 29 answers by five people, one of 40 by four, and all the rest."""
    names = {"R30": [6, 6, 6, 6, 6], "R29": [6, 6, 6, 6, 5], "R40": [10, 10, 10, 10]}
    changed = list(learners)
    for concept, counts in names.items():
        for place, count in enumerate(counts):
            changed[place] = with_more(changed[place], concept, count)
    counted = {one.concept: one for one in fit_concepts.answered(changed)}

    assert {concept: (counted[concept].answers, counted[concept].learners) for concept in names} == {
        "R30": (30, 5), "R29": (29, 5), "R40": (40, 4)}  # fmt: skip
    assert [concept for concept in names if counted[concept].enough] == ["R30"]
    # The fifth learner is held out, so that of those fitted to four have answered R30 too.
    found = refit(changed, STARTING)
    assert not set(names) & set(found.weights.concept_shift)
    assert found.concepts_answered == 43 and len(found.concepts) == 40
    # Under its number each row keeps its concept, and rows without a difficulty have none.
    ready = [one for one in counted.values() if one.enough]
    number = fit_concepts.numbered(changed, ready)
    spelt = [rows.names[place] for rows in changed for place in rows.concept]
    assert [ready[place].concept if place >= 0 else None for place in number] == [
        concept if counted[concept].enough else None for concept in spelt
    ]


def with_more(rows, concept, count):
    """The rows with the first ones once more, as answers to another concept."""
    return replace(
        rows,
        **{name: np.concatenate([getattr(rows, name), getattr(rows, name)[:count]])
           for name in ("logs", "at", "credit", "shift")},
        concept=np.concatenate([rows.concept, np.full(count, len(rows.names))]),
        names=(*rows.names, concept),
    )  # fmt: skip


def test_where_no_concept_has_enough_the_weights_name_none(learners):
    """Every learner with concepts of their own."""
    own = [replace(rows, names=tuple(f"{name}-{at}" for name in rows.names)) for at, rows in enumerate(learners)]
    found = refit(own, STARTING)

    assert (found.concepts, found.weights.concept_shift) == ((), {})
    fitted = [rows for place, rows in enumerate(own, 1) if place % 5]
    assert found.concepts_answered == sum(len(rows.names) for rows in fitted) > 1500
    assert found.weights.source.endswith("from version 1")


def test_a_difficulty_stops_where_weights_may_go():
    """Three either way; what is held there has no standard error."""
    concepts = [fit_concepts.Answered(name, 900, 40) for name in ("A-1", "B-1", "C-1")]
    kept = refitting._kept_within(np.array([-5.0, 0.25, 3.5]))
    said = fit_concepts.found_of(concepts, replace(STARTING, concept_shift={"B-1": 0.5}), kept, np.full(3, 0.1))

    assert [(one.before, one.after, one.se) for one in said] == [(0.0, -3.0, None), (0.5, 0.25, 0.1), (0.0, 3.0, None)]
    assert replace(STARTING, concept_shift={one.concept: one.after for one in said})


def test_too_few_answers_are_refused_whatever_is_known_of_concepts(learners):
    """Below 10,000 nothing is fitted, difficulties neither."""
    with pytest.raises(InputError, match="too few .* until there are 10,000"):
        refit(learners[:40], replace(STARTING, concept_shift=KNOWN))

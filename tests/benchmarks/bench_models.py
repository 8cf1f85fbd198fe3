"""The memory model that ships against its rivals, each fitted to the same simulated logs with one world left out.

Prints three tables: prediction of the people of the world left out; the best gap and published human data; the planner
with each model, paired with the one that ships. `--learners N` of `python -m tests.benchmarks.bench_models` sets the
people of a replay cell (8) and a quarter as many for each plain schedule of the logs. The same numbers for the same N.

A rival is kept if it is better by more than two standard errors in log loss and in recall at the check, and its best
gaps are no worse. Sureness is not among them: in no world does it tell anything of memory, so that a world would give
back what was put in.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import expit, log_expit, logit
from scipy.stats import spearmanr

from quizsvc.memory.fitting import Prior, fit_bounded
from quizsvc.memory.gap import RETENTION_DAYS, best_gaps
from quizsvc.memory.metrics import log_losses, scores
from quizsvc.memory.simulation.bank_shape import BankShape, columns
from quizsvc.memory.simulation.believing import Shipped
from quizsvc.memory.simulation.goals import PEOPLE_GAPS
from quizsvc.memory.simulation.people import crowd
from quizsvc.memory.simulation.running import run as practise
from quizsvc.memory.simulation.scenario import BANK_CELLS, Cell
from quizsvc.memory.simulation.worlds import begun
from quizsvc.memory.states import LearnerState
from quizsvc.memory.weights import STARTING
from quizsvc.services.memory_study import streams
from tests.benchmarks import Row
from tests.benchmarks.model_variants import NEVER, Answered, Fitted, Variant, fitted, logs, taught
from tests.benchmarks.trace_bank import BankPlanner, after_sessions
from tests.reference.published_recall import MUCH, Point, predicted, published, refitted

WORLDS = "ABC"
SEED, LEARNERS = 1, 8
BASE = Variant("0  as it ships, refitted")
STUDY = (
    BASE,
    Variant("1  trace bank", traces="bank"),
    Variant("1+ trace bank, right ones apart", traces="bank+"),
    Variant("4  difficulty of the concept", difficulty=True),
    Variant("5  prior training: a shift", extra=("trained",)),
    Variant("5w the same, the shift that ships *", words=True),
    Variant("5u the same, for the untried only", extra=("trained_untried",)),
    Variant("6- variance does not grow", creep=NEVER),
    Variant("6+ variance grows in 90 d", creep=90.0),
)
BANK = (
    replace(BASE, name="0b as it ships, bank of our shape"),
    Variant("1b trace bank, right ones apart", traces="bank+"),
    Variant("3b item as last time, item seen", extra=("same", "seen")),
)
Logs = Mapping[str, Sequence[Answered]]
Fits = Mapping[str, Fitted]


def run(learners: int = LEARNERS) -> list[Row]:
    """Prints the tables; the row is what they took."""
    began = time.process_time()
    progress = _Progress()
    each = max(1, learners // 4)
    for variants, bank in ((STUDY, False), (BANK, True)):
        where = "in a bank of the shape of ours" if bank else "in the study's worlds"
        answered = {
            world: list(progress.of(f"logs of {world}", logs(world, each, SEED, bank=bank))) for world in WORLDS
        }
        fits = {variant: _fits(variant, answered, progress) for variant in variants}
        prediction = list(_prediction(variants, answered, fits))
        people = list(_people(variants, fits, progress))
        progress.end()
        _print(f"Prediction {where}, people of the world left out", prediction)
        _print("Answers by predicted recall, in tenths", list(_bins(variants, answered, fits)))
        if not bank:
            _print("Best gap, and published recall: fitted to all three worlds, one free level an experiment", people)
            _print("The form alone: level and trace weights fitted to the 37 points of 2008", list(_form()))
        replay = list(_replay(variants, fits, learners, bank, progress))
        progress.end()
        _print(f"Recall at the check with the planner {where}", replay)
        _print(f"In short, {where}", list(_summary(prediction, people, replay)))
        if not bank:
            within = list(_within(fits[BASE], answered, learners, progress))
            progress.end()
            _print("4s difficulty from half of the people of the same world, for the other half; less 0's (se)", within)
    print("* from the first-day recall of these very worlds, those of the test among them\n")
    return [Row("models: all tables", time.process_time() - began, "s of a processor")]


def _summary(*tables: Sequence[Sequence[str]]) -> Iterator[tuple[str, ...]]:
    """The columns that decide."""
    for prediction, people, replay in zip(*tables, strict=True):
        yield prediction[0], prediction[2], *people[2:6], replay[2]


class _Progress:
    """One line on a terminal, nothing in a pipe."""

    def say(self, what: str) -> None:
        if sys.stderr.isatty():
            print(f"\r\x1b[Kmodels: {what}", end="", file=sys.stderr, flush=True)

    def of(self, what: str, things: Iterator[Answered]) -> Iterator[Answered]:
        for number, thing in enumerate(things, 1):
            self.say(f"{what}, {number} people")
            yield thing

    def end(self) -> None:
        if sys.stderr.isatty():
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


def _fits(variant: Variant, answered: Logs, progress: _Progress) -> Fits:
    """Weights with each world left out, and with none (under the empty name)."""
    found = {}
    for out in (*WORLDS, ""):
        progress.say(f"fit of {variant.name}{', without ' + out if out else ''}")
        found[out] = fitted(variant, [person for world in WORLDS if world != out for person in answered[world]])
    return found


# --- prediction -----------------------------------------------------------------------------------------------------


def _outcomes(answered: Logs, fits: Fits, world: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Credit, prediction and person of each answer in a world that the weights never saw."""
    people = answered[world]
    return (
        np.concatenate([person.rows.credit for person in people]),
        np.concatenate([fits[world].predicted(person) for person in people]),
        np.repeat(np.arange(len(people)), [len(person.rows) for person in people]),
    )


def _prediction(variants: Sequence[Variant], answered: Logs, fits: Mapping[Variant, Fits]) -> Iterator[tuple[str, ...]]:
    each = (f"  in {world}" for world in WORLDS)
    yield "model", "log loss", "log loss less 0's (se)", *each, "Brier", "ECE", "AUC", "answers"
    base: dict[str, np.ndarray] = {}
    for variant in variants:
        found, changes = [], []
        for world in WORLDS:
            outcome, shown, who = _outcomes(answered, fits[variant], world)
            losses = log_losses(outcome, shown)
            changes.append(_clustered(losses - base.setdefault(world, losses), who))
            found.append(scores(outcome, shown))
        yield (
            variant.name,
            f"{np.mean([one.log_loss for one in found]):.4f}",
            _signed(*_over_worlds(changes)),
            *(_signed(*change) for change in changes),
            f"{np.mean([one.brier for one in found]):.4f}",
            f"{np.mean([one.ece for one in found]):.3f}",
            f"{np.mean([one.auc for one in found]):.3f}",
            f"{sum(one.answers for one in found):,}",
        )


def _bins(variants: Sequence[Variant], answered: Logs, fits: Mapping[Variant, Fits]) -> Iterator[tuple[str, ...]]:
    yield "model", *(f"from .{tenth}" for tenth in range(10))
    for variant in variants:
        counts = np.sum([scores(*_outcomes(answered, fits[variant], world)[:2]).bins for world in WORLDS], axis=0)
        yield variant.name, *(f"{count:,}" for count in counts)


def _clustered(differences: np.ndarray, who: np.ndarray) -> tuple[float, float]:
    """Mean over answers, and its standard error where people, not answers, are independent."""
    mean = float(differences.mean())
    sums = np.bincount(who, differences - mean)
    return mean, float(np.sqrt(np.sum(sums**2) * sums.size / (sums.size - 1)) / differences.size)


def _over_worlds(changes: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean over worlds, and its standard error."""
    return float(np.mean([mean for mean, _ in changes])), math.hypot(*(error for _, error in changes)) / len(changes)


# --- people ---------------------------------------------------------------------------------------------------------


def _gaps(fit: Fitted) -> list[float]:
    if fit.variant.traces == "credit":
        return best_gaps(fit.weights)
    tried = np.geomspace(3 / 1440, 400, 160)  # the grid of `memory.gap`
    found = []
    for retention in RETENTION_DAYS:
        traces = after_sessions(fit.read, tried, np.full(tried.size, retention))
        found.append(float(tried[np.argmax(fit.read.odds(traces[:, :6], traces[:, 6:]))]))
    return found


def _recalled(fit: Fitted, points: Sequence[Point], ability: float) -> np.ndarray:
    if fit.variant.traces == "credit":
        return predicted(list(points), ability, fit.weights)
    traces = after_sessions(fit.read, *_times(points), ability)
    return expit(ability + fit.read.odds(traces[:, :6], traces[:, 6:]))


def _times(points: Sequence[Point]) -> tuple[np.ndarray, np.ndarray]:
    gap = np.array([math.nan if point.gap is None else point.gap for point in points])
    return gap, np.array([point.retention for point in points])


def _levelled(fit: Fitted, points: Sequence[Point]) -> np.ndarray:
    """Recall with the one ability, free for each experiment, whose predictions have the least log loss."""
    recalled = np.array([point.recalled for point in points])

    def loss(ability: float) -> float:
        x = logit(np.clip(_recalled(fit, points, ability), 1e-12, 1 - 1e-12))
        return -float(np.sum(recalled * log_expit(x) + (1 - recalled) * log_expit(-x)))

    best = minimize_scalar(loss, bounds=(-8, 8), method="bounded", options={"xatol": 1e-3}).x
    return _recalled(fit, points, float(best))


def _rms(points: Sequence[Point], found: np.ndarray) -> float:
    return float(100 * np.sqrt(np.mean((found - [point.recalled for point in points]) ** 2)))


def _rank(points: Sequence[Point], found: np.ndarray) -> float:
    """Rank correlation with the published recall over the gaps of one retention interval, mean over the intervals."""
    spaced = np.array([-1.0 if point.gap is None else point.retention for point in points])
    recalled = np.array([point.recalled for point in points])
    intervals = np.unique(spaced[spaced > 0])
    return float(np.mean([spearmanr(recalled[spaced == one], found[spaced == one]).statistic for one in intervals]))


def _people(
    variants: Sequence[Variant], fits: Mapping[Variant, Fits], progress: _Progress
) -> Iterator[tuple[str, ...]]:
    yield (
        "model", "gap at 7/35/70/350 d", "gap rises, of 4", "gap off, rms factor",
        "2008: rms %", "rank", "2009: rms %", "rank",
    )  # fmt: skip
    everything = published()
    first = everything["Cepeda 2008, spacing"] + everything["Cepeda 2008, forgetting"]
    second = [
        everything[f"{name}, spacing"] + everything[f"{name}, forgetting"]
        for name in dict.fromkeys(name.rpartition(",")[0] for name in everything if "2009" in name)
    ]
    for variant in variants:
        progress.say(f"published recall, {variant.name}")
        of_weights = {out: _gaps(fit) for out, fit in fits[variant].items()}
        rising = sum(all(a < b for a, b in zip(gaps, gaps[1:], strict=False)) for gaps in of_weights.values())
        off = np.log(np.array(list(of_weights.values())) / PEOPLE_GAPS)
        pooled = fits[variant][""]
        found, later = _levelled(pooled, first), [_levelled(pooled, points) for points in second]
        yield (
            variant.name,
            "/".join(f"{gap:.3g}" for gap in of_weights[""]),
            str(rising),
            f"{math.exp(math.sqrt(np.mean(off**2))):.2f}",
            f"{_rms(first, found):.1f}",
            f"{_rank(first, found):.2f}",
            f"{np.mean([_rms(*one) for one in zip(second, later, strict=True)]):.1f}",
            f"{np.mean([_rank(*one) for one in zip(second, later, strict=True)]):.2f}",
        )


def _form() -> Iterator[tuple[str, ...]]:
    yield "traces", "free numbers", "rms %", "rank"
    everything = published()
    points = everything["Cepeda 2008, spacing"] + everything["Cepeda 2008, forgetting"]
    found, theta = refitted(points)
    yield "as they ship, all answers", str(theta.size), f"{_rms(points, found):.1f}", f"{_rank(points, found):.2f}"
    read = Fitted(STUDY[1], np.zeros(7), np.zeros(1)).read
    design = np.column_stack([np.ones(len(points)), after_sessions(read, *_times(points))[:, :6]])
    prior = Prior(np.zeros(7), np.full(7, np.sqrt(MUCH)), np.array([-np.inf] + [0.0] * 6))
    recalled = np.array([point.recalled for point in points])
    fit = fit_bounded(np.repeat(design, int(MUCH), axis=0), np.repeat(recalled, int(MUCH)), prior)
    found = expit(design @ fit.theta)
    yield "trace bank, all answers", str(fit.theta.size), f"{_rms(points, found):.1f}", f"{_rank(points, found):.2f}"


# --- the planner ----------------------------------------------------------------------------------------------------


class _Begun(Shipped):
    """The planner that ships with what a variant knows before the first answer."""

    def __init__(self, cell: Cell, people: int, rng: np.random.Generator, fit: Fitted) -> None:
        super().__init__(cell, people, rng, fit.weights)
        trained = cell.start == "rich"
        extra = dict(zip(fit.variant.extra, fit.theta[11:].tolist(), strict=True))
        self.shift = trained * extra.get("trained_untried", 0.0)
        ability = trained * (STARTING.ability_mean["rated"] if fit.variant.words else extra.get("trained", 0.0))
        self.learner = [LearnerState(ability, one.variance) for one in self.learner]
        start = np.zeros(cell.items)
        start[: fit.difficulty.size] = fit.difficulty
        for person in range(people):
            for item, offset in enumerate((start + self.shift).tolist()):
                self._know(person, item, offset)

    def _know(self, person: int, item: int, offset: float) -> None:
        state = replace(self.states[person][item], offset=offset)
        self.states[person][item] = state
        self.candidates[person][item] = replace(self.candidates[person][item], state=state)

    def heard(self, person: int, item: int, at: float, right: bool) -> None:
        """A shift for the untried ends with the first answer."""
        untried = self.states[person][item].last_at is None
        super().heard(person, item, at, right)
        if untried and self.shift:
            self._know(person, item, self.states[person][item].offset - self.shift)


def _recall_at_check(fit: Fitted, cell: Cell, people: int) -> np.ndarray:
    drawn = streams(SEED, cell.world, cell.start, people, 0, 0)
    everybody = crowd(drawn.people, drawn.bank, columns(cell.items) if cell.bank else cell.items)
    learners = begun(cell.world, cell.start, everybody)
    if cell.bank:
        learners = BankShape(learners, cell.items, people)
    if fit.variant.traces == "credit":
        planner = _Begun(cell, people, drawn.schedule, fit)
    else:
        planner = BankPlanner(cell, people, drawn.schedule, fit.read, fit.variant.flat)
    return practise(cell, learners, everybody, planner).at_check


def _replay(
    variants: Sequence[Variant], fits: Mapping[Variant, Fits], people: int, bank: bool, progress: _Progress
) -> Iterator[tuple[str, ...]]:
    cells = BANK_CELLS if bank else tuple(Cell(world, start, 90) for start in ("sparse", "rich") for world in WORLDS)
    yield "model", "recall", "recall less 0's (se)", *(cell.name for cell in cells)
    base: dict[Cell, np.ndarray] = {}
    for variant in variants:
        changes, recalls = [], []
        for cell in cells:
            progress.say(f"planner in {cell.name}, {variant.name}")
            found = _recall_at_check(fits[variant][cell.world], cell, people)
            change = found - base.setdefault(cell, found)
            changes.append((float(change.mean()), float(change.std(ddof=1)) / math.sqrt(people)))
            recalls.append(found.mean())
        each = [f"{one.mean():.3f}" for one in base.values()] if variant is variants[0] else []
        yield (
            variant.name,
            f"{np.mean(recalls):.4f}",
            _signed(*_over_worlds(changes)),
            *(each or (_signed(*change) for change in changes)),
        )


def _within(fits: Fits, answered: Logs, people: int, progress: _Progress) -> Iterator[tuple[str, ...]]:
    """Nothing that worlds share helps here: the weights are from the others, the difficulties from this one alone."""
    yield "world", "answers of the first half", "log loss, the other half", "recall, sparse", "recall, rich"
    for world in WORLDS:
        first, other = answered[world][::2], {world: answered[world][1::2]}
        progress.say(f"difficulty within {world}")
        fit = taught(fits[world], first)
        (outcome, shown, who), (_, plain, _) = (_outcomes(other, {world: one}, world) for one in (fit, fits[world]))
        changes = [_clustered(log_losses(outcome, shown) - log_losses(outcome, plain), who)]
        for cell in (Cell(world, start, 90) for start in ("sparse", "rich")):
            change = _recall_at_check(fit, cell, people) - _recall_at_check(fits[world], cell, people)
            changes.append((float(change.mean()), float(change.std(ddof=1)) / math.sqrt(people)))
        yield world, f"{sum(len(one.rows) for one in first):,}", *(_signed(*change) for change in changes)


# --- printing -------------------------------------------------------------------------------------------------------


def _signed(mean: float, error: float) -> str:
    return f"{mean:+.4f} ({error:.4f})"


def _print(heading: str, lines: Sequence[Sequence[str]]) -> None:
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    print(f"{heading}\n")
    for line in lines:
        first, *rest = (cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        print("  ".join([first, *rest]).rstrip())
    print(flush=True)


def main() -> int:
    """As `run`, with the number of people."""
    words = argparse.ArgumentParser(prog="python -m tests.benchmarks.bench_models")
    words.add_argument("--learners", type=int, default=LEARNERS, help="people of a replay cell, 2 or more")
    chosen = words.parse_args()
    if chosen.learners < 2:
        words.error("a standard error takes 2 learners or more")
    for row in run(chosen.learners):
        print(f"{row.name}: {row.figure:.0f} {row.unit}")
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""The weights of the memory model, and where the starting ones come from.

A weights value is a versioned row of the database: the log of answers replays into any version of them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from quizsvc.errors import InputError

__all__ = ["EXPERIENCE", "LITTLE_GUESSING", "MOST_CONCEPT_SHIFT", "STARTING", "Weights"]

EXPERIENCE = ("never trained", "in training", "rated")
"""What a person can say at the start about the type they fly."""

# Chance of a full answer by guessing, at the usual size of each kind: four options; four options with any number of
# keys (2**4 - 1 answers); four steps in 24 orders; three pairs in 6 ways; four rows of three words; three plots. The
# rest is typed or spoken. `order` and `match` are counted, not measured.
_GUESS_LEVEL = {
    "one": 1 / 4,
    "some": 1 / 15,
    "order": 1 / 24,
    "match": 1 / 6,
    "number": 0.0,
    "gauge": 0.0,
    "profile": 1 / 3,
    "still-works": 1 / 81,
    "scenario": 0.0,
    "say": 0.0,
}

LITTLE_GUESSING = frozenset({"some", "order", "match", "number", "gauge", "still-works", "scenario"})
"""Kinds that chance answers fully at most once in six tries; `say` is ticked by the learner and proves nothing."""

MOST_CONCEPT_SHIFT = 3.0
"""Furthest that the difficulty of a concept may move its log odds: from an even chance to one in twenty-one."""


def _guess_shift(level: float) -> float:
    """Rise of the log odds where an honest half becomes level + (1 - level) / 2."""
    return math.log((1 + level) / (1 - level))


@dataclass(frozen=True)
class Weights:
    """Weights of `b0 + a + b_c + k_kind + sum_k v_k log(1 + n_k) + w_k log(1 + c_k)`.

    Parameters
    ----------
    version : int
        Running number, from 1.
    source : str
        Where they come from, in words that may be shown.
    b0 : float
        Log odds of recall without any trace, for the middle learner.
    v, w : tuple of float, five each
        Weights of the traces of all answers and of right answers, each >= 0; one per time constant.
    tau_days : tuple of float, five
        Time constants of the traces, days, rising; the last is infinite.
    spacing_days : tuple of float, five
        What stands for tau in the spacing credit, days: the same with 105 for the infinite one.
    rho : float
        Fraction of `spacing_days` at which an answer earns 1 - 1/e of a full credit; no such time may exceed tau.
    kind_shift : mapping of str to float
        Rise of the log odds by kind of item, for its guess level; a kind that is not named has none.
    concept_shift : mapping of str to float
        Difficulty by concept id: the rise of the log odds at which everybody's b_c starts, below 0 for a hard one, at
        most `MOST_CONCEPT_SHIFT` either way. A concept that is not named has none; one that is gone may stay.
    ability_mean : mapping of str to float
        Prior mean of the ability by what the person said at the start.
    ability_variance, offset_variance : float
        Prior variances, which the variances creep back to while nothing is asked.
    ability_floor : float
        Lowest variance of the ability after an answer.
    creep_days : float
        Time constant of the creep, days.
    """

    version: int
    source: str
    b0: float
    v: tuple[float, ...]
    w: tuple[float, ...]
    tau_days: tuple[float, ...] = (1 / 24, 1.0, 7.0, 30.0, math.inf)
    spacing_days: tuple[float, ...] = (1 / 24, 1.0, 7.0, 30.0, 105.0)
    rho: float = 0.05
    kind_shift: Mapping[str, float] = field(default_factory=dict)
    concept_shift: Mapping[str, float] = field(default_factory=dict)
    ability_mean: Mapping[str, float] = field(default_factory=lambda: dict.fromkeys(EXPERIENCE, 0.0))
    ability_variance: float = 1.0
    ability_floor: float = 0.01
    offset_variance: float = 1.0
    creep_days: float = 365.0

    def __post_init__(self) -> None:
        if not len(self.v) == len(self.w) == len(self.tau_days) == len(self.spacing_days) == 5:
            raise _unusable("v, w, tau_days and spacing_days need five numbers each", "give one per trace")
        if not all(0 <= weight < math.inf for weight in (*self.v, *self.w)):
            raise _unusable(f"a trace weight is negative or not finite: v {self.v}, w {self.w}", "bound the fit at 0")
        if not all(tau > 0 for tau in (*self.tau_days, *self.spacing_days, self.rho, self.creep_days)):
            raise _unusable("a time constant is not above 0", "give days above 0")
        if any(self.rho * spacing > tau for spacing, tau in zip(self.spacing_days, self.tau_days, strict=True)):
            # An answer would then take more from the credit of the next one than is left of its own.
            raise _unusable("the credit of a trace comes back more slowly than the trace fades", "lower rho")
        if not (0 < self.ability_floor <= self.ability_variance < math.inf and 0 < self.offset_variance < math.inf):
            raise _unusable("a prior variance is not above 0", "give variances above 0")
        numbers = (self.b0, *self.kind_shift.values(), *self.ability_mean.values())
        if not all(math.isfinite(number) for number in numbers):
            raise _unusable("b0, a kind shift or an ability is not finite", "give finite numbers")
        for concept, shift in self.concept_shift.items():
            if not abs(shift) <= MOST_CONCEPT_SHIFT:  # true for NaN too
                raise _unusable(
                    f"the difficulty of concept '{concept[:80]}' is {shift}",
                    f"give log odds from -{MOST_CONCEPT_SHIFT:g} to {MOST_CONCEPT_SHIFT:g}, or leave the concept out",
                )

    def to_json(self) -> dict[str, Any]:
        """Value for `json.dumps`; the infinite time constant is null, all other floats keep every bit."""
        return {
            "version": self.version,
            "source": self.source,
            "b0": self.b0,
            "v": list(self.v),
            "w": list(self.w),
            "tau_days": [None if math.isinf(tau) else tau for tau in self.tau_days],
            "spacing_days": list(self.spacing_days),
            "rho": self.rho,
            "kind_shift": dict(self.kind_shift),
            "concept_shift": dict(self.concept_shift),
            "ability_mean": dict(self.ability_mean),
            "ability_variance": self.ability_variance,
            "ability_floor": self.ability_floor,
            "offset_variance": self.offset_variance,
            "creep_days": self.creep_days,
        }

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Weights:
        """Weights that `to_json` wrote, now or before there were difficulties: those then are none.

        Raises
        ------
        InputError
            A word is missing or a number cannot be used.
        """
        try:
            return cls(
                version=int(raw["version"]),
                source=str(raw["source"]),
                b0=float(raw["b0"]),
                v=tuple(float(x) for x in raw["v"]),
                w=tuple(float(x) for x in raw["w"]),
                tau_days=tuple(math.inf if x is None else float(x) for x in raw["tau_days"]),
                spacing_days=tuple(float(x) for x in raw["spacing_days"]),
                rho=float(raw["rho"]),
                kind_shift={str(kind): float(x) for kind, x in raw["kind_shift"].items()},
                concept_shift={str(concept): float(x) for concept, x in raw.get("concept_shift", {}).items()},
                ability_mean={str(word): float(x) for word, x in raw["ability_mean"].items()},
                ability_variance=float(raw["ability_variance"]),
                ability_floor=float(raw["ability_floor"]),
                offset_variance=float(raw["offset_variance"]),
                creep_days=float(raw["creep_days"]),
            )
        except InputError:
            raise
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise _unusable(f"cannot read them: {type(error).__name__} {error}", "load them again") from error

    def with_version(self, version: int) -> Weights:
        """The same numbers under another running number."""
        return replace(self, version=version)


def _unusable(what: str, mend: str) -> InputError:
    return InputError("weights-unusable", f"memory weights cannot be used: {what}", mend=mend)


STARTING = Weights(
    version=1,
    source="simulated learners of the scheduling study (three invented populations); not yet fitted to people",
    # Scheduling study, section 6: pooled starting values at rho = .05. The 1 h values come from simulated repeats only.
    b0=-2.49,
    v=(3.24, 0.10, 1.55, 0.74, 1.12),
    w=(0.05, 0.0, 0.0, 0.49, 0.14),
    rho=0.05,
    kind_shift={kind: _guess_shift(level) for kind, level in _GUESS_LEVEL.items()},
    # Log odds over b0 of the mean first-day recall in the study's two starting states (section 2): sparse .09 .16 .06,
    # rich .24 .38 .26. Someone never trained stands at b0.
    ability_mean={"never trained": 0.0, "in training": 0.33, "rated": 1.61},
)
"""The weights that the service starts with. They come from simulated learners."""

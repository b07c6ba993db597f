"""Do the tests and intervals of the differences keep what they promise? Simulated panels with known truth.

Run: python -m benchmarks.calibration [PANELS] [DASK-SCHEDULER]: on all processors, or on a cluster. Prints one row
per kind of panel: how often the test of no difference is wrong at 5 % (no prototype differs), how often some pair is
wrongly told apart by Tukey (family-wise) and some difference from the benchmark by Dunnett, and how often 95 %
intervals of one mean and one difference hold the truth. All panels of a kind share one design, so that they are
fitted together; with scores missing, the pattern is drawn anew for every 100 panels. Scores are not rounded or cut
off at the ends of the scale.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from itertools import combinations, product

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from panel.spread import spread
from panel.stats.arrays import Array
from panel.stats.comparing.multiplicity import many_to_one, tukey_p_value
from panel.stats.mixed.inference import _kenward_roger, estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model

PROTOTYPES = 6
SD_ASSESSOR, SD_INTERACTION, SD_SITTING, SD_RESIDUAL = 8.0, 5.0, 2.0, 8.0
PATTERN = 100  # panels that share one pattern of missing scores


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of simulated panel."""

    assessors: int
    replicates: int
    missing: float = 0.0
    interaction: float = SD_INTERACTION
    sessions: bool = False
    reversed_one: bool = False  # one assessor uses the scale backwards; prototypes then differ

    @property
    def words(self) -> str:
        """The kind in words."""
        parts = [f"{self.assessors} assessors x {self.replicates} {'sessions' if self.sessions else 'replicates'}"]
        parts += ["10 % missing"] if self.missing else []
        parts += ["no interaction"] if not self.interaction else []
        parts += ["one reversed"] if self.reversed_one else []
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Outcome:
    """Shares over the panels of one kind; NaN where the question does not arise."""

    size: float
    size_kenward_roger: float
    any_pair: float
    any_from_benchmark: float
    covers_mean: float
    covers_difference: float


def kinds() -> list[Kind]:
    """Return the kinds of panel that are simulated."""
    plain = [Kind(a, r) for a, r in product((6, 8, 10, 12), (2, 3))]
    missing = [Kind(a, r, missing=0.1) for a, r in product((6, 8, 12), (2, 3))]
    none = [Kind(a, r, interaction=0.0) for a, r in product((6, 12), (2, 3))]
    sessions = [Kind(a, 3, m, sessions=True) for a, m in product((6, 8, 10, 12), (0.0, 0.1))]
    return plain + missing + none + sessions + [Kind(a, 3, reversed_one=True) for a in (8, 12)]


def simulate(kind: Kind, panels: int, rng: np.random.Generator) -> Outcome:
    """Return the outcome of `panels` panels of one kind."""
    parts = [_some_panels(kind, min(PATTERN, panels - done), rng) for done in range(0, panels, PATTERN)]
    columns = [np.concatenate([part[place] for part in parts]) for place in range(len(parts[0]))]
    return Outcome(*(float(column.mean()) for column in columns))


def _some_panels(kind: Kind, n: int, rng: np.random.Generator) -> tuple[Array, ...]:
    """Return, for n panels that share a design, the six outcomes of each."""
    person, sample, turn = (grid.ravel() for grid in np.indices((kind.assessors, PROTOTYPES, kind.replicates)))
    kept = rng.random(len(person)) >= kind.missing
    person, sample, turn = person[kept], sample[kept], turn[kept]
    truth = np.linspace(-10, 10, PROTOTYPES) if kind.reversed_one else np.zeros(PROTOTYPES)
    sign = np.where((person == 0) & kind.reversed_one, -1.0, 1.0)
    pair, sitting = person * PROTOTYPES + sample, person * kind.replicates + turn
    scores = (sign * truth[sample])[:, None] + SD_RESIDUAL * rng.normal(size=(len(person), n))
    scores += SD_ASSESSOR * rng.normal(size=(kind.assessors, n))[person]
    scores += kind.interaction * rng.normal(size=(kind.assessors * PROTOTYPES, n))[pair]
    fixed, groups = np.eye(PROTOTYPES)[sample], [person, pair]
    if kind.sessions:
        scores += SD_SITTING * rng.normal(size=(kind.assessors * kind.replicates, n))[sitting]
        each = np.eye(kind.replicates)[turn]
        fixed, groups = np.hstack([fixed, each[:, :-1] - each[:, -1:]]), [*groups, sitting]
    return _judge(kind, scores, fixed, [np.unique(g, return_inverse=True)[1].reshape(-1) for g in groups])


def _judge(kind: Kind, scores: Array, fixed: Array, groups: list[np.ndarray]) -> tuple[Array, ...]:
    fit = fit_mixed_model(scores, fixed, groups)
    pairs = list(combinations(range(PROTOTYPES), 2))
    contrasts = np.zeros((len(pairs), fixed.shape[1]))
    contrasts[np.arange(len(pairs)), [i for i, _ in pairs]] = -1
    contrasts[np.arange(len(pairs)), [j for _, j in pairs]] = 1
    from_first = contrasts[: PROTOTYPES - 1]
    test = test_contrasts(fit, from_first).p_value < 0.05
    adjusted = _kenward_roger(fit).test_contrasts(from_first).p_value < 0.05
    found = estimate_contrasts(fit, contrasts)
    tukey = (tukey_p_value(found.statistic, PROTOTYPES, found.df) < 0.05).any(axis=1)
    base = estimate_contrasts(fit, from_first)
    family, _ = many_to_one(from_first @ fit.covariance[0] @ from_first.T)
    dunnett = (family.sf(np.abs(base.statistic), base.df) < 0.05).any(axis=1)
    low, high = estimate_contrasts(fit, np.eye(PROTOTYPES, fixed.shape[1])).interval(0.95)
    mean = ((low <= 0) & (high >= 0)).mean(axis=1)
    low, high = found.interval(0.95)
    truth = contrasts[:, :PROTOTYPES] @ np.linspace(-10, 10, PROTOTYPES) if kind.reversed_one else 0.0
    difference = ((low <= truth) & (high >= truth)).mean(axis=1)
    nothing = np.full(scores.shape[1], np.nan)
    if kind.reversed_one:  # prototypes differ, and for the average assessor by less than for the honest ones
        shrunk = truth * (kind.assessors - 2) / kind.assessors
        difference = ((low <= shrunk) & (high >= shrunk)).mean(axis=1)
        return nothing, nothing, nothing, nothing, nothing, difference
    return test * 1.0, adjusted * 1.0, tukey * 1.0, dunnett * 1.0, mean, difference


def _outcome(task: tuple[int, Kind, int]) -> Outcome:
    number, kind, panels = task
    return simulate(kind, panels, np.random.default_rng([20250311, number]))


def main(panels: int = 5000, scheduler: str = "") -> None:
    """Print the table."""
    head = (
        "panel",
        "test at 5 %",
        "Kenward-Roger",
        "some pair",
        "some from benchmark",
        "mean in 95 %",
        "difference in 95 %",
    )
    print(f"{panels} panels of each kind, {PROTOTYPES} prototypes, seed 20250311; per cent.\n")
    print("| " + " | ".join(head) + " |\n|" + "---|" * len(head))
    tasks = [(number, kind, panels) for number, kind in enumerate(kinds())]
    for (_, kind, _), found in zip(tasks, spread(_outcome, tasks, scheduler=scheduler), strict=True):
        shares = [getattr(found, name) for name in Outcome.__dataclass_fields__]
        cells = ["–" if np.isnan(share) else f"{100 * share:.1f}" for share in shares]
        print(f"| {kind.words} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main(*([int(sys.argv[1]), *sys.argv[2:]] if len(sys.argv) > 1 else []))

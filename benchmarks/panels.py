"""Seeded panels of four sizes for the timings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.moments import Array, Codes


@dataclass(frozen=True, eq=False, slots=True)
class Panel:
    """Scores (n, q) with the assessor, prototype and repetition of each row."""

    name: str
    assessor: Codes
    prototype: Codes
    repetition: Codes
    scores: Array
    replicated: bool

    @property
    def groups(self) -> list[Codes]:
        """Random terms: the assessor, and assessor x prototype where something is repeated."""
        pair = self.assessor * (int(self.prototype.max()) + 1) + self.prototype
        return [self.assessor, pair] if self.replicated else [self.assessor]

    @property
    def fixed(self) -> Array:
        """One column per prototype."""
        return np.eye(int(self.prototype.max()) + 1)[self.prototype]


def trained(seed: int, missing: float) -> Panel:
    """12 assessors x 8 prototypes x 3 repetitions x 20 attributes, with a share of the rows missing."""
    rng = np.random.default_rng(seed)
    a, p, r = (grid.ravel() for grid in np.indices((12, 8, 3)))
    kept = rng.random(len(a)) >= missing
    a, p, r = a[kept], p[kept], r[kept]
    scores = 50 + 4 * rng.normal(size=(8, 20))[p] + 8 * rng.normal(size=(12, 20))[a]
    scores += 4 * rng.uniform(0, 1.5, size=20) * rng.normal(size=(96, 20))[a * 8 + p] + 8 * rng.normal(
        size=(len(a), 20)
    )
    return Panel("10 % missing" if missing else "balanced", a, p, r, scores, replicated=True)


def consumers(seed: int, people: int, prototypes: int, served: int, questions: int, lost: float) -> Panel:
    """People who each answer on some of the prototypes, once, with a share of the rows lost."""
    rng = np.random.default_rng(seed)
    a = np.repeat(np.arange(people), served)
    p = rng.permuted(np.tile(np.arange(prototypes), (people, 1)), axis=1)[:, :served].ravel()
    kept = rng.random(len(a)) >= lost
    a, p = a[kept], p[kept]
    scores = 6 + 0.4 * rng.normal(size=(prototypes, questions))[p] + 0.8 * rng.normal(size=(people, questions))[a]
    scores += 1.5 * rng.normal(size=(len(a), questions))
    return Panel(f"{people} consumers", a, p, np.zeros_like(a), scores, replicated=False)


def all_panels() -> list[Panel]:
    """Return the four panels of the timings."""
    return [
        trained(1, 0.0),
        trained(2, 0.10),
        consumers(3, 200, 6, 4, 30, 0.0),
        consumers(4, 5000, 8, 6, 40, 0.03),
    ]

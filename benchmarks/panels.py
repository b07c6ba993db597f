"""Seeded panels for the timings: what the app fits, and panels whose terms run across each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.arrays import Array, Codes

NESTED = ("a", "a:p")
SESSIONS = ("a", "a:p", "a:r")  # with the session fixed


@dataclass(frozen=True, eq=False, slots=True)
class Panel:
    """Scores (n, q) with the assessor (a), prototype (p) and repetition or session (r) of each row.

    `terms` are the random ones, in the letters above; with `session_fixed` the session is fixed beside the prototype.
    """

    name: str
    assessor: Codes
    prototype: Codes
    repetition: Codes
    scores: Array
    terms: tuple[str, ...] = NESTED
    session_fixed: bool = False

    @property
    def groups(self) -> list[Codes]:
        """Group numbers of each random term."""
        codes = {"a": self.assessor, "p": self.prototype, "r": self.repetition}
        groups = []
        for term in self.terms:
            first, *others = (codes[letter] for letter in term.split(":"))
            for other in others:
                first = first * (int(other.max()) + 1) + other
            groups.append(first)
        return groups

    @property
    def fixed(self) -> Array:
        """One column per prototype, and sum-to-zero contrasts of a fixed session."""
        columns = np.eye(int(self.prototype.max()) + 1)[self.prototype]
        if not self.session_fixed:
            return columns
        each = np.eye(int(self.repetition.max()) + 1)[self.repetition]
        return np.hstack([columns, each[:, :-1] - each[:, -1:]])

    @property
    def formula(self) -> str:
        """The right side of the model in the notation of R's lme4."""
        random = " + ".join(f"(1|{term})" for term in self.terms)
        return f"~ p + {'r + ' if self.session_fixed else ''}{random}"


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
    return Panel("10 % missing" if missing else "balanced", a, p, r, scores)


def with_sessions(seed: int, missing: float, terms: tuple[str, ...]) -> Panel:
    """Return the same size with differences between sessions, felt by all, by each assessor and on each prototype."""
    rng = np.random.default_rng(seed)
    plain = trained(seed, missing)
    a, p, r = plain.assessor, plain.prototype, plain.repetition
    scores = plain.scores + 2 * rng.normal(size=(3, 20))[r] + 2 * rng.normal(size=(36, 20))[a * 3 + r]
    if "p:r" in terms:
        scores += 1.5 * rng.normal(size=(24, 20))[p * 3 + r]
    name = f"sessions, {'10 % missing' if missing else 'balanced'}"
    return Panel(name, a, p, r, scores, terms, session_fixed="r" not in terms)


def consumers(seed: int, people: int, prototypes: int, served: int, questions: int, lost: float) -> Panel:
    """People who each answer on some of the prototypes, once, with a share of the rows lost."""
    rng = np.random.default_rng(seed)
    a = np.repeat(np.arange(people), served)
    p = rng.permuted(np.tile(np.arange(prototypes), (people, 1)), axis=1)[:, :served].ravel()
    kept = rng.random(len(a)) >= lost
    a, p = a[kept], p[kept]
    scores = 6 + 0.4 * rng.normal(size=(prototypes, questions))[p] + 0.8 * rng.normal(size=(people, questions))[a]
    scores += 1.5 * rng.normal(size=(len(a), questions))
    return Panel(f"{people} consumers", a, p, np.zeros_like(a), scores, ("a",))


def all_panels() -> list[Panel]:
    """Return the panels of the timings."""
    return [
        trained(1, 0.0),
        trained(2, 0.10),
        with_sessions(5, 0.0, SESSIONS),
        with_sessions(6, 0.10, SESSIONS),
        consumers(3, 200, 6, 4, 30, 0.0),
        consumers(4, 5000, 8, 6, 40, 0.03),
    ]

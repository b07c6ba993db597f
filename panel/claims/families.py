"""Which claims are adjusted together? Those of one family: by name, else those on one prototype and one evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from panel.claims.claim import Claim
from panel.claims.evidence import Evidence
from panel.stats.comparing.multiplicity import holm


@dataclass(frozen=True, slots=True)
class InFamily:
    """The family of a claim, how many tests it holds, and the p-value adjusted over them (Holm)."""

    family: str
    size: int
    p_adjusted: float


def adjust_together(claims: Sequence[Claim], evidence: Sequence[Evidence]) -> tuple[InFamily, ...]:
    """Return the family of each claim and its p-value adjusted by Holm; NaN where no test could be made."""
    names = [family_of(claim, found) for claim, found in zip(claims, evidence, strict=True)]
    p_values = np.array([found.p_value for found in evidence], dtype=float)
    adjusted = np.full(len(p_values), np.nan)
    for name in set(names):
        own = np.array([other == name for other in names])
        adjusted[own] = holm(p_values[own])
    sizes = {name: sum(n == name and not np.isnan(p) for n, p in zip(names, p_values, strict=True)) for name in names}
    return tuple(InFamily(name, sizes[name], float(value)) for name, value in zip(names, adjusted, strict=True))


def family_of(claim: Claim, evidence: Evidence) -> str:
    """Return the name of the family: the stated one, else what it rests on and the prototype."""
    return claim.family or f"{evidence.rests_on}, {claim.prototype}"

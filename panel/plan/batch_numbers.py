"""Two batches at half the replicates, or one batch scored more often: what does each buy?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.plan.sample_size import POWER, Scatter
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.comparing.power import LARGEST_DF, detection_power, smallest_difference
from panel.words import level_digits


@dataclass(frozen=True, eq=False, slots=True)
class BatchNumbers:
    """What batches and replicates buy at the same number of servings.

    Parameters
    ----------
    rows
        `batches replicates servings std_error_these std_error df seen_these seen power`: each of `batches` batches of a
        prototype is scored `replicates` times by everybody. `std_error_these` and `seen_these` speak for the batches
        that were scored alone; `std_error`, `df`, `seen` and `power` for the formulas: what would be true of other
        batches too. With one batch these rest on the batch SD being known.
    """

    rows: pd.DataFrame
    batch_sd: float
    difference: float
    method: str
    notes: tuple[str, ...]


def batch_numbers(
    difference: float, prototypes: int, scatter: Scatter, batch_sd: float, assessors: int, scored: int
) -> BatchNumbers:
    """Weigh batches against replicates: everybody scores each prototype `scored` times, of 1, 2 ... batches.

    Raises
    ------
    ModelError
        If a number is too small to plan with.
    """
    if not (difference > 0 and batch_sd >= 0 and prototypes > 1 and assessors > 1 and scored > 0):
        raise ModelError(
            "Weighing batches needs a difference above zero, a batch SD of zero or more, two prototypes, two assessors "
            "and one score of each."
        )
    rows = _rows(difference, prototypes, scatter, batch_sd, assessors, scored)
    method = (
        "Standard error of a difference: sqrt(2 (s_pa^2/a + s_b^2/b + s_e^2/(a b r))), a assessors, b batches of each "
        "prototype, r scores of each batch by everybody; Satterthwaite's degrees of freedom from the mean squares of "
        f"assessor x prototype and of batch. Chances at {level_digits(LEVEL)} for one planned difference."
    )
    notes = (
        f"Scatter: {scatter.source}.",
        "With one batch the batch SD cannot be seen in the study: it must be known from elsewhere, and is taken as "
        "exactly known.",
    )
    return BatchNumbers(rows, batch_sd, difference, method, notes)


def _rows(
    difference: float, prototypes: int, scatter: Scatter, batch_sd: float, assessors: int, scored: int
) -> pd.DataFrame:
    """Return the rows of `BatchNumbers`."""
    batches = np.array([b for b in range(1, scored + 1) if scored % b == 0], dtype=float)
    r, a, p = scored / batches, float(assessors), float(prototypes)
    n = a * scored
    variance, between = batch_sd**2, scatter.assessor_prototype
    views, batch, rest = scatter.residual + scored * between, scatter.residual + a * r * variance, scatter.residual
    these = np.sqrt(2 * views / n) * np.ones_like(batches)
    all_batches = np.sqrt(2 * (between / a + variance / batches + scatter.residual / n))
    df_views, df_batch = (a - 1) * (p - 1), p * (batches - 1)
    df_rest = np.maximum(p * n - p * a - df_batch, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = (views + batch - rest) ** 2 / (views**2 / df_views + batch**2 / df_batch + rest**2 / df_rest)
    added = variance / batches
    stated = (between / a + scatter.residual / n + added) ** 2 / ((between / a + scatter.residual / n) ** 2 / df_views)
    df = np.minimum(np.where(batches > 1, pooled, stated), LARGEST_DF)
    critical, critical_these = stdtrit(df, (1 + LEVEL) / 2), stdtrit(df_views, (1 + LEVEL) / 2)
    return pd.DataFrame(
        {
            "batches": batches.astype(int),
            "replicates": r.astype(int),
            "servings": int(n * p),
            "std_error_these": these,
            "std_error": all_batches,
            "df": df,
            "seen_these": smallest_difference(these, df_views, power=POWER, critical=critical_these),
            "seen": smallest_difference(all_batches, df, power=POWER, critical=critical),
            "power": detection_power(difference, all_batches, df, critical),
        }
    )

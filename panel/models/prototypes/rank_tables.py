"""Ranks of one attribute as tables: the test its gaps allow, rank sums, pairs, and who is lost."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.comparing.range_distribution import tukey_p_value
from panel.stats.ranking.incomplete_ranks import (
    FEWEST_IN_BLOCK,
    durbin_test,
    is_balanced_incomplete,
    skillings_mack_test,
)
from panel.stats.ranking.rank_differences import INFINITE, rank_sum_differences
from panel.stats.ranking.ranks import FEWEST_BLOCKS, friedman_test, ranks_within_blocks

FRIEDMAN, DURBIN, SKILLINGS_MACK = "Friedman", "Durbin", "Skillings-Mack"


@dataclass(frozen=True, eq=False, slots=True)
class RankTables:
    """One attribute; the columns are those of `panel.models.prototypes.rank_sums.RankComparison`."""

    attribute: dict[str, Any]
    rank_sums: pd.DataFrame
    pairs: pd.DataFrame
    gaps: pd.DataFrame


def rank_tables(attribute: str, means: pd.DataFrame) -> RankTables:
    """Return the rank tables of an attribute from its mean scores, assessors by prototypes, NaN for gaps.

    Raises
    ------
    ModelError
        If fewer than two assessors rank two prototypes, or the ranks cannot be compared.
    """
    scores = means.to_numpy(dtype=float)
    present = np.isfinite(scores)
    used = present.sum(axis=1) >= FEWEST_IN_BLOCK
    if used.sum() < FEWEST_BLOCKS or scores.shape[1] < 2:
        raise ModelError("fewer than two assessors scored two prototypes or more, so there are no orders to compare.")
    test = _test(scores[used])
    pairs = _complete_pairs(scores[used]) if test["method"] == FRIEDMAN else _incomplete_pairs(scores[used])
    ranks = ranks_within_blocks(scores[used])
    names = list(means.columns)
    first, second = np.array(list(combinations(range(len(names)), 2))).T
    return RankTables(
        attribute={"attribute": attribute} | test | {"n_assessors": int(used.sum()), "n_lost": int((~used).sum())},
        rank_sums=pd.DataFrame(
            {
                "attribute": attribute,
                "prototype": names,
                "n_ranked": np.isfinite(ranks).sum(axis=0),
                "rank_sum": np.nansum(ranks, axis=0),
                "mean_rank": np.nanmean(ranks, axis=0),
            }
        ),
        pairs=pairs.assign(attribute=attribute, prototype=[names[j] for j in second], versus=[names[i] for i in first])[
            ["attribute", "prototype", "versus", "difference", "std_error", "statistic", "p_value", "p_adjusted"]
        ],
        gaps=_gaps(attribute, means, present, used),
    )


def _test(scores: Array) -> dict[str, Any]:
    """Return the test that the gaps of the scores allow."""
    present = np.isfinite(scores)
    nothing = {"df_error": np.nan, "exact": False, "f_p_value": np.nan, "kendall_w": np.nan}
    if present.all():
        friedman = friedman_test(scores)
        return nothing | {
            "method": FRIEDMAN,
            "statistic": friedman.statistic,
            "df": float(friedman.df),
            "p_value": friedman.p_value,
            "exact": friedman.exact,
            "f_p_value": friedman.f_p_value,
            "kendall_w": friedman.kendall_w,
        }
    if is_balanced_incomplete(present):
        durbin = durbin_test(scores)
        return nothing | {
            "method": DURBIN,
            "statistic": durbin.f_statistic,
            "df": float(durbin.df),
            "df_error": float(durbin.df_error),
            "p_value": durbin.p_value,
        }
    gapped = skillings_mack_test(scores)
    return nothing | {
        "method": SKILLINGS_MACK,
        "statistic": gapped.statistic,
        "df": float(gapped.df),
        "p_value": gapped.p_value,
    }


def _complete_pairs(scores: Array) -> pd.DataFrame:
    found, n = rank_sum_differences(scores), len(scores)
    return pd.DataFrame(
        {
            "difference": found.difference / n,
            "std_error": found.std_error / n,
            "statistic": found.difference / found.std_error,
            "p_value": found.p_value,
            "p_adjusted": found.p_adjusted,
        }
    )


def _incomplete_pairs(scores: Array) -> pd.DataFrame:
    """Return differences of the adjusted effects, scaled to mean ranks among all k prototypes."""
    found, k = skillings_mack_test(scores), scores.shape[1]
    first, second = np.array(list(combinations(range(k), 2))).T
    scale = np.sqrt(12 / (k + 1)) * k * (k + 1) / 12  # one block without gaps or ties has effects of this size
    variances = np.diagonal(found.covariance)
    std_error = np.sqrt(variances[first] + variances[second] - 2 * found.covariance[first, second])
    z = (found.effects[second] - found.effects[first]) / std_error
    return pd.DataFrame(
        {
            "difference": z * std_error * scale,
            "std_error": std_error * scale,
            "statistic": z,
            "p_value": 2 * ndtr(-np.abs(z)),
            "p_adjusted": tukey_p_value(z, k, np.full(len(z), INFINITE)),
        }
    )


def _gaps(attribute: str, means: pd.DataFrame, present: np.ndarray, used: np.ndarray) -> pd.DataFrame:
    """Return the assessors who did not score every prototype."""
    gapped = np.flatnonzero(~present.all(axis=1))
    missing = [", ".join(means.columns[~present[row]]) for row in gapped]
    frame = pd.DataFrame(
        {
            "attribute": attribute,
            "assessor": pd.Series(means.index[gapped], dtype="str"),
            "n_prototypes": present[gapped].sum(axis=1),
            "missing": pd.Series(missing, dtype="str"),
            "lost": ~used[gapped],
        }
    )
    return frame.astype({"attribute": "str"})

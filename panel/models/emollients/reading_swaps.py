"""What each emollient swap did to the instrument measures. No people stand behind it: pairs of prototypes do."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.emollients.reading_means import ReadingMeans
from panel.stats.formulas.composition import paired_contrasts
from panel.study.study import Study
from panel.study.swaps import joint_changes, matched_pairs

FEWEST_PAIRS = 3  # with two pairs the interval has one degree of freedom: 12.7 standard errors
_CHANGE = ["swap", "removed", "added", "percent"]
_COLUMNS = [
    "measure", "unit", *_CHANGE, "n_pairs", "estimate", "std_error", "df", "ci_low", "ci_high", "ratio", "ratio_ci_low",
    "ratio_ci_high", "ratio_lowest", "ratio_highest",
]  # fmt: skip


def reading_swaps(study: Study, readings: ReadingMeans, level: float) -> pd.DataFrame:
    """Return one row per measure and swap (or joint change): mean difference and mean ratio over the matched pairs.

    `estimate` is the reading with the swap minus without it, `ratio` their geometric mean ratio (NaN where ratios say
    nothing), `ratio_lowest` and `ratio_highest` the ends over the pairs. The unit of inference is the matched pair of
    prototypes, one batch each: intervals need three pairs that share no prototype, and are NaN otherwise. They hold
    batch, reading and whatever the swap does differently in different company.
    """
    if study.table("formulas").empty:
        return _empty()
    pairs = pd.concat([matched_pairs(study), joint_changes(study)], ignore_index=True)
    wide = readings.wide
    pairs = pairs.loc[pairs["prototype"].isin(wide.index) & pairs["versus"].isin(wide.index)]
    parts = [_effect(wide, rows, readings, level) for _, rows in pairs.groupby("swap", sort=False)]
    if not parts:
        return _empty()
    order = {name: place for place, name in enumerate(wide.columns)}
    frame = pd.concat(parts, ignore_index=True)
    return frame.sort_values("measure", key=lambda names: names.map(order), kind="stable", ignore_index=True)


def _effect(wide: pd.DataFrame, pairs: pd.DataFrame, readings: ReadingMeans, level: float) -> pd.DataFrame:
    after, before = (wide.loc[list(pairs[end])].to_numpy(dtype=float) for end in ("prototype", "versus"))
    ratios = readings.measures["ratios"].to_numpy() & ((after > 0) | np.isnan(after)).all(axis=0)
    ratios &= ((before > 0) | np.isnan(before)).all(axis=0)
    logs = np.full_like(after, np.nan)
    logs[:, ratios] = np.log(after[:, ratios] / before[:, ratios])
    difference, ratio = paired_contrasts(after - before, level), paired_contrasts(logs, level)
    shared = pd.concat([pairs["prototype"], pairs["versus"]]).duplicated().any()
    told = (difference.n >= FEWEST_PAIRS) & ~shared
    known = difference.n > 0
    ends = {"lowest": _end(logs, np.fmin), "highest": _end(logs, np.fmax)}
    frame = pd.DataFrame(
        {
            "measure": list(wide.columns),
            "unit": list(readings.measures["unit"]),
            **{column: pairs[column].iloc[0] for column in _CHANGE},
            "n_pairs": difference.n,
            "estimate": difference.estimate,
            **{name: np.where(told, getattr(difference, name), np.nan) for name in ("std_error", "df")},
            **{name: np.where(told, getattr(difference, name), np.nan) for name in ("ci_low", "ci_high")},
            "ratio": np.exp(ratio.estimate),
            **{f"ratio_{name}": np.where(told, np.exp(getattr(ratio, name)), np.nan) for name in ("ci_low", "ci_high")},
            **{f"ratio_{name}": np.exp(end) for name, end in ends.items()},
        }
    )
    return frame.loc[known, _COLUMNS]


def _end(logs: NDArray[np.float64], least: np.ufunc) -> NDArray[np.float64]:
    return np.asarray(least.reduce(logs, axis=0))


def _empty() -> pd.DataFrame:
    text = ("measure", "unit", "swap", "removed", "added")
    return pd.DataFrame({name: pd.Series(dtype="str" if name in text else "float64") for name in _COLUMNS})

"""Liking answers counted: the nine points, the top of the scale, who gave one answer only, what each method loses."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr

from panel.models.consumers.answers_read import AnswersRead
from panel.models.consumers.liking_checks import RanksBeside
from panel.models.consumers.liking_model import CORRECTED
from panel.stats.answers.binomial_tests import wilson_interval
from panel.stats.arrays import Array

POINTS = range(1, 10)
BOXES = {"top 2": 8, "top 3": 7}  # the lowest answer that counts
FEWEST_ALIKE = 3  # one answer for two prototypes says nothing about a person


def answer_counts(frame: pd.DataFrame) -> pd.DataFrame:
    """Return how often each point was given: `prototype answer count base share`; means go to the nearest point."""
    value = np.rint(frame.to_numpy(dtype=float))
    base = np.isfinite(value).sum(axis=0)
    count = np.array([(value == point).sum(axis=0) for point in POINTS]).T
    return pd.DataFrame(
        {
            "prototype": pd.Series(np.repeat(frame.columns.to_numpy(dtype=object), len(POINTS)), dtype="str"),
            "answer": np.tile(list(POINTS), frame.shape[1]),
            "count": count.ravel(),
            "base": np.repeat(base, len(POINTS)),
            "share": (count / base[:, None]).ravel(),
        }
    )


def top_boxes(frame: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return `prototype box count base share ci_low ci_high`: answers at the top of the scale."""
    value = frame.to_numpy(dtype=float)
    base = np.isfinite(value).sum(axis=0)
    rows = []
    for box, lowest in BOXES.items():
        count = (value >= lowest).sum(axis=0)
        low, high = wilson_interval(count, base, level)
        rows.append(
            pd.DataFrame(
                {
                    "prototype": pd.Series(frame.columns, dtype="str"),
                    "box": box,
                    "count": count,
                    "base": base,
                    "share": count / base,
                    "ci_low": low,
                    "ci_high": high,
                }
            )
        )
    return pd.concat(rows, ignore_index=True)


def same_everywhere(frame: pd.DataFrame) -> pd.DataFrame:
    """Return `assessor answer n`: consumers who answered three times or more, always the same."""
    value = frame.to_numpy(dtype=float)
    n = np.isfinite(value).sum(axis=1)
    alike = (np.nanmax(value, axis=1) == np.nanmin(value, axis=1)) & (n >= FEWEST_ALIKE)
    return pd.DataFrame(
        {
            "assessor": pd.Series(frame.index[alike], dtype="str"),
            "answer": np.nanmax(value[alike], axis=1) if alike.any() else np.zeros(0),
            "n": n[alike],
        }
    )


def with_paired_tests(differences: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """Return `differences` with `n_both paired_std_error paired_p_value`, Student's paired test of each pair alone."""
    value = frame.to_numpy(dtype=float)
    place = frame.columns.get_indexer
    apart = value[:, place(pd.Index(differences["prototype"]))] - value[:, place(pd.Index(differences["versus"]))]
    n, mean, std_error = _paired(apart)
    with np.errstate(divide="ignore", invalid="ignore"):
        p_value = 2 * stdtr(n - 1.0, -np.abs(mean / std_error))
    return differences.assign(n_both=n, paired_std_error=std_error, paired_p_value=p_value)


def evenness(frame: pd.DataFrame) -> float:
    """Return Box's epsilon (1954, Ann. Math. Stat. 25:484) of the consumers who tried everything; NaN if too few did.

    It is 1 where the differences of all pairs scatter alike, and 1 / (k - 1) where one direction holds all the scatter.
    """
    value = frame.dropna().to_numpy(dtype=float)
    k = value.shape[1]
    if len(value) <= 2 * k:
        return float("nan")
    covariance = np.cov(value, rowvar=False)
    centre = np.eye(k) - 1 / k
    inner = centre @ covariance @ centre
    squares = float((inner**2).sum())
    return float(np.trace(inner)) ** 2 / ((k - 1) * squares) if squares > 0 else float("nan")


def _paired(apart: Array) -> tuple[NDArray[np.int64], Array, Array]:
    """Return number, mean and standard error of the columns of `apart`, without gaps."""
    there = np.isfinite(apart)
    n = there.sum(axis=0)
    mean = np.where(there, apart, 0.0).sum(axis=0) / np.maximum(n, 1)
    squares = np.where(there, apart - mean, 0.0)
    spread = (squares**2).sum(axis=0) / np.where(n > 1, n - 1, np.nan)
    return n, np.where(n > 0, mean, np.nan), np.sqrt(spread / np.where(n > 1, n, np.nan))


def losses(answers: AnswersRead, ranks: RanksBeside, with_order: bool) -> pd.DataFrame:
    """Return what each method uses and loses: `method consumers consumers_lost answers answers_lost why`."""
    consumers, total = answers.n_consumers, int(answers.frame.notna().to_numpy().sum())
    rows = [(name, consumers, total, "") for name in ("mixed model", CORRECTED)]
    rows += [(ranks.name, ranks.n_consumers, ranks.n_answers, ranks.why)] if ranks.name else []
    rows += [("cumulative logit", consumers, total, "")] if with_order else []
    return pd.DataFrame(
        [(name, n, consumers - n, used, total - used, why) for name, n, used, why in rows],
        columns=["method", "consumers", "consumers_lost", "answers", "answers_lost", "why"],
    )

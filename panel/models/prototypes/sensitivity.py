"""What is the smallest difference this panel could have shown?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.comparing.power import smallest_difference as smallest_shown
from panel.study.study import Study

ALL_PAIRS = "all pairs (Tukey)"
_AGAINST_BENCHMARK = "against the benchmark (Dunnett)"
ONE_PLANNED = "one planned difference"
_FAMILIES = (ALL_PAIRS, _AGAINST_BENCHMARK, ONE_PLANNED)
_COLUMNS = ["attribute", "prototype", "versus", "std_error", "df", "smallest_difference", "family"]


@dataclass(frozen=True, eq=False, slots=True)
class Sensitivity:
    """The smallest true difference that would have been shown with probability `power`.

    Parameters
    ----------
    differences
        `attribute prototype versus std_error df smallest_difference family`: every pair in every family it belongs
        to; families are the entries of `_FAMILIES`.
    medians
        `attribute family smallest_difference`: the median over the pairs of an attribute.
    """

    differences: pd.DataFrame
    medians: pd.DataFrame
    power: float
    level: float
    method: str
    notes: tuple[str, ...]


def smallest_difference(source: Study | Differences, power: float = 0.8) -> Sensitivity:
    """Return what differences the design behind `source` can show.

    Parameters
    ----------
    source
        The result of `find_differences`, or a study to compute it from.
    power
        Chance of showing a difference of that size.

    Raises
    ------
    ModelError
        If nothing can be compared, or the power is not between the chance of a false alarm and 1.
    """
    found = find_differences(source) if isinstance(source, Study) else source
    alone = stdtrit(found.pairs["df"].to_numpy(float), (1 + found.level) / 2)
    parts = [
        _rows(found.pairs, _used_critical(found.pairs), power, ALL_PAIRS),
        _rows(found.versus, _used_critical(found.versus), power, _AGAINST_BENCHMARK),
        _rows(found.pairs, alone, power, ONE_PLANNED),
    ]
    differences = pd.concat([part for part in parts if len(part)], ignore_index=True)
    medians = differences.groupby(["attribute", "family"], sort=False)["smallest_difference"].median().reset_index()
    return Sensitivity(
        differences=differences,
        medians=medians,
        power=power,
        level=found.level,
        method=(
            f"Smallest true difference that a two-sided t test would show with probability {power:g}, solved from the "
            "noncentral t distribution with the standard errors and degrees of freedom of this panel's own mixed "
            "model. The bar that t must pass is Tukey's for all pairs, Dunnett's against the benchmark, and the plain "
            f"one for one difference planned beforehand, at a level of {found.level:g}."
        ),
        notes=(
            "The standard errors are estimated from this panel and are themselves uncertain, the more so the fewer the "
            "degrees of freedom; the smallest differences share that uncertainty.",
            "It speaks of what a panel like this one can show, not of what these prototypes are: read it before the "
            "next test, not as evidence that a difference not shown is small.",
        ),
    )


def _used_critical(rows: pd.DataFrame) -> np.ndarray:
    """Return the critical value behind each simultaneous interval: half its width in standard errors."""
    return ((rows["ci_high"] - rows["ci_low"]) / 2 / rows["std_error"]).to_numpy(float)


def _rows(rows: pd.DataFrame, critical: np.ndarray, power: float, family: str) -> pd.DataFrame:
    known = rows["std_error"].notna().to_numpy()
    rows, critical = rows.loc[known], critical[known]
    if rows.empty:
        return pd.DataFrame(columns=_COLUMNS)
    smallest = smallest_shown(
        rows["std_error"].to_numpy(float), rows["df"].to_numpy(float), power=power, critical=critical
    )
    return rows.assign(smallest_difference=smallest, family=family)[_COLUMNS]

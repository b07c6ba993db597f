"""Do the differences that were planned beforehand show, and what of those that were chosen afterwards?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.models.prototypes.differences import Differences
from panel.stats.comparing.multiplicity import holm
from panel.study.planned_differences import PlannedDifference, stated_differences
from panel.study.study import Study

COLUMNS = (
    "attribute",
    "prototype",
    "versus",
    "planned",
    "estimate",
    "std_error",
    "df",
    "statistic",
    "p_value",
    "p_adjusted",
    "ci_low",
    "ci_high",
)


@dataclass(frozen=True, eq=False, slots=True)
class PlannedDifferences:
    """Differences stated in the study, and others chosen after it was opened.

    Parameters
    ----------
    differences
        `attribute prototype versus planned estimate std_error df statistic p_value p_adjusted ci_low ci_high`, estimate
        = prototype minus versus. Where `planned`, the interval is that of the difference alone and the p-value is
        adjusted by Holm over all planned differences; elsewhere both are Tukey's over all pairs of the attribute, for
        whatever was chosen with the scores in sight belongs there.
    """

    differences: pd.DataFrame
    level: float
    method: str
    notes: tuple[str, ...]


def planned_differences(
    study: Study, result: Differences, chosen: Sequence[tuple[str, str]] = ()
) -> PlannedDifferences:
    """Return the planned differences of `study` from the models behind `result`.

    Parameters
    ----------
    result
        The differences; what was taken out there, and the method of small samples, hold here as well.
    chosen
        (prototype, versus) pairs chosen now: exploratory, on every attribute. What the study states is not repeated.
    """
    stated = stated_differences(study)
    planned = _rows(result.pairs, stated.differences)
    half = stdtrit(planned["df"].to_numpy(float), (1 + result.level) / 2) * planned["std_error"]
    planned = planned.assign(
        planned=True,
        p_adjusted=holm(planned["p_value"].to_numpy(float)),
        ci_low=planned["estimate"] - half,
        ci_high=planned["estimate"] + half,
    )
    explored = _rows(result.pairs, [PlannedDifference(*pair) for pair in chosen]).assign(planned=False)
    known = pd.MultiIndex.from_frame(planned[["attribute", "prototype", "versus"]])
    turned = pd.MultiIndex.from_frame(planned[["attribute", "versus", "prototype"]])
    place = pd.MultiIndex.from_frame(explored[["attribute", "prototype", "versus"]])
    explored = explored.loc[~(place.isin(known) | place.isin(turned))]
    rows = pd.concat([part for part in (planned, explored) if len(part)] or [planned], ignore_index=True)
    return PlannedDifferences(
        differences=rows[list(COLUMNS)].astype({"planned": bool}),
        level=result.level,
        method=_method(len(planned), len(explored), result.level),
        notes=(*(f"{what} {advice}" for what, advice in stated.problems), *_notes(result, stated.differences, chosen)),
    )


def _rows(pairs: pd.DataFrame, wanted: Iterable[PlannedDifference]) -> pd.DataFrame:
    """Return the rows of all pairs that are wanted, turned round where they stand the other way."""
    parts = []
    for one in wanted:
        on = (pairs["attribute"] == one.attribute) | (one.attribute == "")
        for prototype, versus, sign in ((one.prototype, one.versus, 1.0), (one.versus, one.prototype, -1.0)):
            own = pairs.loc[on & (pairs["prototype"] == prototype) & (pairs["versus"] == versus)]
            ends = own[["ci_low", "ci_high"]].to_numpy(float) * sign
            parts.append(
                own.assign(
                    prototype=one.prototype,
                    versus=one.versus,
                    estimate=sign * own["estimate"],
                    statistic=sign * own["statistic"],
                    ci_low=np.minimum(ends[:, 0], ends[:, 1]),
                    ci_high=np.maximum(ends[:, 0], ends[:, 1]),
                )
            )
    held = [part for part in parts if len(part)]
    return pd.concat(held, ignore_index=True) if held else pairs.iloc[:0]


def _method(n_planned: int, n_explored: int, level: float) -> str:
    parts = []
    if n_planned:
        parts.append(
            f"Planned differences: t tests of the mixed model, p-values adjusted by Holm over all {n_planned} of them, "
            f"each {100 * level:g} % interval for its difference alone."
        )
    if n_explored:
        parts.append("Differences chosen afterwards: Tukey, over all pairs of the attribute.")
    return " ".join(parts) or "No difference was planned."


def _notes(
    result: Differences, stated: tuple[PlannedDifference, ...], chosen: Sequence[tuple[str, str]]
) -> Iterator[str]:
    for one in (*stated, *(PlannedDifference(*pair) for pair in chosen)):
        found = _rows(result.pairs, [one])
        asked = {one.attribute} if one.attribute else set(result.attributes["attribute"])
        absent = [name for name in result.attributes["attribute"] if name in asked - set(found["attribute"])]
        if one.attribute and one.attribute not in set(result.attributes["attribute"]):
            absent = [one.attribute]
        if absent:
            yield (
                f"{one.prototype} minus {one.versus} is not tested on {', '.join(absent)}: one of them was not scored "
                "there, or no model fits."
            )
    if stated:
        yield (
            "The study states these differences; nothing in it shows that they were written down before anybody saw "
            "the scores."
        )

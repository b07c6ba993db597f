"""Which of the things seen in the residuals and the scores are problems?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.models.prototypes.residual_checks import UNEVEN_ASSESSORS
from panel.study.study import Study

FLOOR, CEILING, ONE_SCORE_DECIDES = "floor", "ceiling", "one score decides"
CROWDED = 0.15  # share at an end of the scale that counts as crowded (McHorney & Tarlov 1995, Qual. Life Res. 4:293)
MOVED = 1.0  # standard errors by which a single score may move the largest difference before it counts as decisive
_COLUMNS = ["attribute", "kind", "prototype", "assessor", "row", "size", "p_adjusted"]


def end_rows(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """Return how many scores sit at the ends of the scale, per attribute and prototype, where a scale is known."""
    scales = {name: study.scale(name) for name in dict.fromkeys(frame["attribute"])}
    limits = np.array([scales[name] or (np.nan, np.nan) for name in frame["attribute"]]).reshape(-1, 2)
    marked = frame.assign(at_floor=frame["score"] <= limits[:, 0], at_ceiling=frame["score"] >= limits[:, 1])
    marked = marked.loc[np.isfinite(limits).all(axis=1)]
    counts = marked.groupby(["attribute", "prototype"], sort=False).agg(
        n_scores=("score", "size"), at_floor=("at_floor", "sum"), at_ceiling=("at_ceiling", "sum")
    )
    return counts.assign(
        share_floor=counts["at_floor"] / counts["n_scores"], share_ceiling=counts["at_ceiling"] / counts["n_scores"]
    ).reset_index()


def problem_rows(
    tests: pd.DataFrame, assessors: pd.DataFrame, ends: pd.DataFrame, influence: pd.DataFrame, level: float
) -> pd.DataFrame:
    """Return one row per problem: `attribute kind prototype assessor row size p_adjusted`."""
    rows = [
        *_from_tests(tests, assessors, level),
        *_from_ends(ends, "share_floor", FLOOR),
        *_from_ends(ends, "share_ceiling", CEILING),
        *_from_influence(influence, level),
    ]
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    text = dict.fromkeys(["attribute", "kind", "prototype", "assessor"], "str")
    return frame.astype(text | dict.fromkeys(["row", "size", "p_adjusted"], "float64"))


def _from_tests(tests: pd.DataFrame, assessors: pd.DataFrame, level: float) -> Iterator[tuple[object, ...]]:
    for test in tests.loc[tests["p_adjusted"] < 1 - level].to_dict("records"):
        attribute, who, size = str(test["attribute"]), "", test["statistic"]
        if test["kind"] == UNEVEN_ASSESSORS:
            own = assessors.loc[assessors["attribute"] == attribute]
            widest = own.sort_values("ratio", ascending=False, kind="stable").iloc[0]  # NaN comes last
            who, size = str(widest["assessor"]), float(widest["ratio"])
        yield attribute, test["kind"], "", who, np.nan, size, test["p_adjusted"]


def _from_ends(ends: pd.DataFrame, share: str, kind: str) -> Iterator[tuple[object, ...]]:
    for row in ends.loc[ends[share] >= CROWDED].to_dict("records"):
        yield row["attribute"], kind, row["prototype"], "", np.nan, row[share], np.nan


def _from_influence(influence: pd.DataFrame, level: float) -> Iterator[tuple[object, ...]]:
    """Yield scores without which an attribute's test turns, or its largest difference moves by a standard error."""
    moved = (influence["estimate_without"] - influence["estimate"]).abs() / influence["std_error"]
    turned = (influence["p_value"] < 1 - level) != (influence["p_value_without"] < 1 - level)
    found = influence.assign(moved=moved).loc[turned | (moved > MOVED)]
    for row in found.to_dict("records"):
        yield row["attribute"], ONE_SCORE_DECIDES, row["prototype"], row["assessor"], row["row"], row["moved"], np.nan

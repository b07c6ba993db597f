"""Panels with known truth: honest people who differ as people do, and people with one known quirk."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from panel.study.study import Study, empty_table

# Standard deviation of the true differences on each attribute, 0 to 100: none, weak, middling, strong.
STRENGTHS = (0, 0, 3, 3, 5, 5, 8, 8, 10, 12, 6, 4)
STRONG = STRENGTHS.index(12)
# Attributes 2 and 4, and 5 and 10, carry one quality each at two stages.
WORDS = {2: "stickiness of the bulk", 4: "stickiness", 5: "greasy film", 10: "greasy film, later"}
LEVEL_SD, ATTRIBUTE_LEVEL_SD, OWN_VIEW_SD, SCATTER_SD = 6.0, 4.0, 5.0, 8.0
SCALE_LOG_SD, SCATTER_LOG_SD = 0.18, 0.15


def simulated_panel(
    rng: np.random.Generator,
    *,
    assessors: int = 9,
    prototypes: int = 8,
    replicates: int = 2,
    sessions: bool = False,
    halo: float = 0.3,
    scale: Mapping[tuple[int, int], float] | None = None,
    scatter: Mapping[int, float] | None = None,
    narrow: Mapping[int, float] | None = None,
) -> Study:
    """Return a panel in which honest people differ in level, use of the scale, view of a prototype, and scatter.

    Parameters
    ----------
    sessions
        Each replicate is a session of its own; otherwise it carries a replicate number only.
    halo
        Share of the variance of views and scatter that the attributes of one sample have in common.
    scale
        Quirks: (attribute, assessor) to the factor on the true differences in place of the honest one.
    scatter
        Quirks: assessor to the factor on the scatter.
    narrow
        Quirks: assessor to the factor on everything about the person's own level.
    """
    q, a, p, k = len(STRENGTHS), assessors, prototypes, replicates
    truth = rng.normal(size=(q, p))
    truth -= truth.mean(axis=1, keepdims=True)
    truth *= (np.array(STRENGTHS) / truth.std(axis=1, ddof=1))[:, None]
    factor = np.ones((q, 1)) * np.exp(rng.normal(0, SCALE_LOG_SD, a))
    for (attribute, assessor), value in (scale or {}).items():
        factor[attribute, assessor] = value
    noise = SCATTER_SD * np.exp(rng.normal(0, SCATTER_LOG_SD, a))
    for assessor, value in (scatter or {}).items():
        noise[assessor] = SCATTER_SD * value

    def shared(*shape: int) -> np.ndarray:
        return np.sqrt(1 - halo) * rng.normal(size=(q, *shape)) + np.sqrt(halo) * rng.normal(size=(1, *shape))

    level = 50 + rng.normal(0, LEVEL_SD, (1, a, 1, 1)) + rng.normal(0, ATTRIBUTE_LEVEL_SD, (q, a, 1, 1))
    told = factor[:, :, None, None] * truth[:, None, :, None] + OWN_VIEW_SD * shared(a, p, 1)
    told = told + noise[:, None, None] * shared(a, p, k)
    for assessor, value in (narrow or {}).items():
        told[:, assessor] *= value
    return _study(np.clip(level + told, 0, 100), sessions)


def _study(score: np.ndarray, sessions: bool) -> Study:
    attribute, assessor, prototype, replicate = (grid.ravel() for grid in np.indices(score.shape))
    repeat = np.array([str(number + 1) for number in range(score.shape[3])])[replicate]
    names = np.array([f"T{number:02d}" for number in range(score.shape[0])])
    scores = pd.DataFrame(
        {
            "assessor": np.array([f"A{number + 1:02d}" for number in range(score.shape[1])])[assessor],
            "prototype": np.array([f"P{number + 1}" for number in range(score.shape[2])])[prototype],
            "attribute": names[attribute],
            "score": score.ravel(),
            "session": repeat if sessions else "",
            "replicate": "" if sessions else repeat,
        }
    )
    words = [WORDS.get(number, name) for number, name in enumerate(names)]
    attributes = pd.DataFrame({"attribute": names, "name": words}, dtype="str")
    tables = {"scores": scores, "attributes": attributes, "prototypes": pd.DataFrame({"prototype": []}, dtype="str")}
    blanks = {name: empty_table(name) for name in tables}
    filled = {
        name: frame.assign(
            **{c: "" if blanks[name][c].dtype == "str" else np.nan for c in blanks[name] if c not in frame}
        )
        for name, frame in tables.items()
    }
    return Study(filled, {"scale_min": 0, "scale_max": 100})

"""Does a panel whose size was planned from a study of one's own find as often as the plan says?

`python -m benchmarks.power_assurance 600 20251128`: simulated studies of 6 assessors x 4 prototypes x 2 repeats (SD of
level 6, of own view 5, residual 8), each fitted as the app does. From each the number of assessors is planned for one
planned difference with a chance of 80 %: by the plain number, and by the assurance. The true chance of that panel is
exact (noncentral t at the true variances). Prints one line per kind of study.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from benchmarks.confounds import RESIDUAL_SD, VIEW_SD, simulated
from panel.models.prototypes.differences import find_differences
from panel.plan.sample_size import independent_attributes, own_scatter, panel_sizes, typical_scatter
from panel.stats.arrays import Array
from panel.stats.comparing.power import detection_power
from panel.study.study import Study

PROTOTYPES, REPEATS, DIFFERENCE = 4, 2, 8.0
MOST_ASSESSORS = 40
KINDS = {"one attribute": (1, 0.0), "6 attributes, alike": (6, 0.0), "6 attributes, SDs differ by 1.4 times": (6, 0.35)}


def realised(study: Study, own: int, stretch: Array) -> pd.DataFrame:
    """Return what was planned from each group of `own` attributes as a study, with the true chance of that panel.

    Columns `way assessors told true`: told by that number itself for the panel it plans, which is found true on
    average over the attributes, whose true standard deviations are `stretch` times the usual ones.
    """
    variances = find_differences(study).variances
    names = list(variances["attribute"])
    by_attribute = dict(list(study.scores.groupby("attribute")))
    rows = []
    for first in range(0, len(names) - own + 1, own):
        mine = names[first : first + own]
        scores = pd.concat([by_attribute[name] for name in mine])
        scatter = typical_scatter(
            own_scatter(variances.loc[variances["attribute"].isin(mine)], scores=scores), independent_attributes(scores)
        )
        sizes = panel_sizes(
            DIFFERENCE, PROTOTYPES, scatter, assessors=range(3, MOST_ASSESSORS + 1), replicates=[REPEATS]
        ).sizes
        for way in ("power", "assurance"):
            enough = sizes.loc[sizes[way] >= 0.8]
            row = enough.iloc[0] if len(enough) else sizes.iloc[-1]
            true = _true_power(int(row["assessors"]), stretch[first : first + own]).mean()
            rows.append((way, int(row["assessors"]), float(row[way]), float(true)))
    return pd.DataFrame(rows, columns=["way", "assessors", "told", "true"])


def _true_power(assessors: int, stretch: Array) -> Array:
    error = stretch * np.sqrt(2 * (VIEW_SD**2 + RESIDUAL_SD**2 / REPEATS) / assessors)
    df = (assessors - 1) * (PROTOTYPES - 1)
    return detection_power(DIFFERENCE, error, df, stdtrit(df, 0.975))


def simulate(rng: np.random.Generator, studies: int, own: int, spread: float) -> pd.DataFrame:
    """Return the plans of `studies` studies of `own` attributes whose log SDs scatter by `spread`."""
    count = studies * own
    study = simulated(rng, count, assessors=6, prototypes=PROTOTYPES, replicates=REPEATS)
    stretch = np.exp(spread * rng.normal(size=count))
    scores = study.scores
    place = pd.Index(pd.unique(scores["attribute"])).get_indexer(scores["attribute"])
    stretched = scores.assign(score=scores["score"].to_numpy(float) * stretch[place])
    return realised(replace(study, tables={**study.tables, "scores": stretched}), own, stretch)


def main(studies: int, seed: int) -> None:
    """Print the measurements."""
    for kind, (own, spread) in KINDS.items():
        found = simulate(np.random.default_rng(seed), studies, own, spread)
        for way, rows in found.groupby("way", sort=False):
            low, high = rows["true"].quantile([0.1, 0.9])
            print(
                f"| {kind} | {way} | {rows['assessors'].median():.0f} | {100 * rows['told'].mean():.1f} | "
                f"{100 * rows['true'].mean():.1f} ± {100 * rows['true'].sem():.1f} | "
                f"{100 * low:.0f} to {100 * high:.0f} |"
            )


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:3]))

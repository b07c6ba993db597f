"""How many assessors and replicates does it take to see a difference that matters, and what can these people see?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.stats.comparing.equivalence import detection_power, smallest_difference
from panel.stats.comparing.power import f_power, sample_noncentrality
from panel.stats.comparing.studentized import many_to_one, tukey_critical

# How much do scores scatter: planning values until there is a study of one's own, then one's own.


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much scores scatter, as variances in squared scale units, and where that is known from.

    `assessor_prototype`: assessors see the prototypes differently. `residual`: left over, from score to score.
    """

    assessor_prototype: float
    residual: float
    source: str
    attribute: str = ""


PLANNING_SCATTER = Scatter(
    5.0**2,
    8.0**2,
    "planning values for a scale of 0 to 100 (standard deviations 5 and 8; common practice, no source): replace them "
    "by your own after the first study",
)


def own_scatter(variances: pd.DataFrame) -> list[Scatter]:
    """Return the scatter of each attribute from a table `attribute assessor_prototype residual` (variances).

    Such a table comes with the differences between prototypes of an earlier study. Without replicates the two cannot
    be told apart; then all of it is taken as between assessors, so that replicates are not credited with anything.
    Attributes without a residual are left out.
    """
    found = []
    for row in variances.to_dict("records"):
        residual, between = float(row["residual"]), float(row.get("assessor_prototype", np.nan))
        if np.isnan(residual):
            continue
        name = str(row["attribute"])
        if np.isnan(between):
            source = "your own panel; not replicated, so all scatter is taken as between assessors"
            found.append(Scatter(residual, 0.0, source, name))
        else:
            found.append(Scatter(between, residual, "your own panel", name))
    return found


def typical_scatter(scatters: Sequence[Scatter]) -> Scatter:
    """Return the median of the variances over attributes.

    Raises
    ------
    ModelError
        If there are none.
    """
    if not scatters:
        raise ModelError("No attribute has a scatter to plan with. Use the planning values.")
    between = float(np.median([scatter.assessor_prototype for scatter in scatters]))
    residual = float(np.median([scatter.residual for scatter in scatters]))
    return Scatter(between, residual, f"median of {len(scatters)} attributes of your own panel")


# How many assessors and replicates does it take to see a difference that matters, and what can these people see?


POWER = 0.8
LEVEL = 0.95
ASSESSORS = tuple(range(4, 31))
REPLICATES = (1, 2, 3, 4)

ALONE, ALL_PAIRS, WITH_BENCHMARK = "one planned difference", "all pairs", "all with the benchmark"
COMPARISONS = (ALONE, ALL_PAIRS, WITH_BENCHMARK)


@dataclass(frozen=True, eq=False, slots=True)
class PanelSizes:
    """What panels of different sizes can see.

    Parameters
    ----------
    sizes
        One row for each number of assessors and replicates: `assessors replicates servings std_error df
        least_significant least_significant_pairs seen seen_pairs seen_benchmark seen_swap power power_pairs
        power_benchmark power_any`. `seen` is the true difference found with the wanted power by one planned comparison,
        among all pairs (Tukey), among those with the benchmark (Dunnett); `seen_swap` a swap effect. `power` is the
        chance to find the difference that matters, `power_any` that of the F test when two prototypes differ by it and
        the others lie halfway.
    needed
        `comparison replicates assessors servings`: the fewest assessors that reach the wanted power; 0 where none of
        those tried does.
    curve
        `assessors replicates difference power`: chance to find one planned difference of each size.
    """

    sizes: pd.DataFrame
    needed: pd.DataFrame
    curve: pd.DataFrame
    scatter: Scatter
    difference: float
    prototypes: int
    level: float
    power: float
    method: str
    notes: tuple[str, ...]


def panel_sizes(
    difference: float,
    prototypes: int,
    scatter: Scatter = PLANNING_SCATTER,
    *,
    assessors: Sequence[int] = ASSESSORS,
    replicates: Sequence[int] = REPLICATES,
    level: float = LEVEL,
    power: float = POWER,
    with_swap: int | None = None,
) -> PanelSizes:
    """Return what panels of different sizes can see of a difference that matters.

    Parameters
    ----------
    difference
        The smallest difference that matters, in scale units.
    prototypes
        How many are compared.
    scatter
        Of this laboratory's own panel (`own_scatter`), else planning values.
    with_swap
        How many of the prototypes carry a swap, the others not; by default half of them.

    Raises
    ------
    ModelError
        If the difference or the scatter is not above zero, or there are too few prototypes or people.
    """
    _ask(difference, prototypes, scatter, assessors, replicates)
    grid = pd.MultiIndex.from_product([assessors, replicates], names=["assessors", "replicates"]).to_frame(index=False)
    carrying = prototypes // 2 if with_swap is None else with_swap
    if not 0 < carrying < prototypes:
        raise ModelError(f"A swap in {carrying} of {prototypes} prototypes has nothing to be compared with.")
    sizes = _seen(grid, prototypes, carrying, scatter, level, power, difference)
    return PanelSizes(
        sizes=sizes,
        needed=_needed(sizes, power),
        curve=_curve(grid, scatter, prototypes, difference, level),
        scatter=scatter,
        difference=difference,
        prototypes=prototypes,
        level=level,
        power=power,
        method=_method(level, power, prototypes, carrying),
        notes=_notes(scatter, replicates),
    )


def what_you_can_see(
    assessors: int,
    replicates: int,
    prototypes: int,
    scatters: Iterable[Scatter] = (PLANNING_SCATTER,),
    *,
    level: float = LEVEL,
    power: float = POWER,
) -> pd.DataFrame:
    """Return what the people you have can see, one row for each scatter (each attribute of your own panel).

    Columns `attribute std_error df least_significant least_significant_pairs seen seen_pairs seen_benchmark seen_swap`,
    the widest attribute last.

    Raises
    ------
    ModelError
        If numbers are too small to compare anything.
    """
    grid = pd.DataFrame({"assessors": [assessors], "replicates": [replicates]})
    rows = []
    for scatter in scatters:
        _ask(1.0, prototypes, scatter, [assessors], [replicates])
        found = _seen(grid, prototypes, prototypes // 2, scatter, level, power, np.nan)
        rows.append(found.assign(attribute=scatter.attribute))
    columns = ["attribute", "std_error", "df", "least_significant", "least_significant_pairs"]
    columns += ["seen", "seen_pairs", "seen_benchmark", "seen_swap"]
    return pd.concat(rows, ignore_index=True)[columns].sort_values("std_error", kind="stable", ignore_index=True)


def _seen(
    grid: pd.DataFrame,
    prototypes: int,
    carrying: int,
    scatter: Scatter,
    level: float,
    power: float,
    difference: float,
) -> pd.DataFrame:
    """Return the rows of `PanelSizes.sizes`."""
    a, r = grid["assessors"].to_numpy(dtype=float), grid["replicates"].to_numpy(dtype=float)
    of_mean = scatter.assessor_prototype / a + scatter.residual / (a * r)
    std_error, df = np.sqrt(2 * of_mean), (a - 1) * (prototypes - 1)
    swap_error = np.sqrt((1 / carrying + 1 / (prototypes - carrying)) * of_mean)
    alone = stdtrit(df, (1 + level) / 2)
    pairs = tukey_critical(prototypes, df, level)
    equal = many_to_one((np.eye(prototypes - 1) + 1) / 2)
    benchmark = equal.critical(df, level)
    critical = {"": alone, "_pairs": pairs, "_benchmark": benchmark}
    noncentrality = sample_noncentrality(a, r, difference**2 / 2, scatter.assessor_prototype, scatter.residual)
    return grid.assign(
        servings=(a * r * prototypes).astype(int),
        std_error=std_error,
        df=df,
        least_significant=alone * std_error,
        least_significant_pairs=pairs * std_error,
        **{f"seen{name}": smallest_difference(std_error, df, power=power, critical=c) for name, c in critical.items()},
        seen_swap=smallest_difference(swap_error, df, power=power, critical=alone),
        **{f"power{name}": detection_power(difference, std_error, df, c) for name, c in critical.items()},
        power_any=f_power(prototypes - 1, df, noncentrality, 1 - level),
    )


def _needed(sizes: pd.DataFrame, power: float) -> pd.DataFrame:
    rows = []
    for comparison, column in zip(COMPARISONS, ("power", "power_pairs", "power_benchmark"), strict=True):
        for replicates, part in sizes.groupby("replicates"):
            enough = part.loc[part[column] >= power].sort_values("assessors")
            first = enough.iloc[0] if len(enough) else None
            found = (0, 0) if first is None else (int(first["assessors"]), int(first["servings"]))
            rows.append((comparison, replicates, *found))
    return pd.DataFrame(rows, columns=["comparison", "replicates", "assessors", "servings"])


def _curve(grid: pd.DataFrame, scatter: Scatter, prototypes: int, difference: float, level: float) -> pd.DataFrame:
    """Return the chance to find one planned difference, from none to twice the one that matters."""
    steps = np.linspace(0, 2 * difference, 41)
    rows = grid.loc[grid.index.repeat(len(steps))].reset_index(drop=True)
    rows["difference"] = np.tile(steps, len(grid))
    a, r = rows["assessors"].to_numpy(dtype=float), rows["replicates"].to_numpy(dtype=float)
    std_error = np.sqrt(2 * (scatter.assessor_prototype / a + scatter.residual / (a * r)))
    df = (a - 1) * (prototypes - 1)
    return rows.assign(power=detection_power(rows["difference"], std_error, df, stdtrit(df, (1 + level) / 2)))


def _ask(
    difference: float, prototypes: int, scatter: Scatter, assessors: Sequence[int], replicates: Sequence[int]
) -> None:
    if not difference > 0:
        raise ModelError("The smallest difference that matters must be above zero, in scale units, such as 8 of 100.")
    if scatter.assessor_prototype < 0 or scatter.residual < 0 or scatter.assessor_prototype + scatter.residual <= 0:
        raise ModelError("Variances cannot be negative, and scores that do not scatter need no planning.")
    if prototypes < 2 or min(assessors, default=0) < 2 or min(replicates, default=0) < 1:
        raise ModelError("Planning needs at least two prototypes, two assessors and one replicate.")


def _method(level: float, power: float, prototypes: int, carrying: int) -> str:
    return (
        f"Standard error of a difference: sqrt(2 (s_pa^2/a + s_e^2/(a r))), a assessors who each try {prototypes} "
        f"prototypes r times, degrees of freedom (a - 1)({prototypes} - 1). Chances by the noncentral t distribution "
        f"against the critical value of the t test, Tukey's and Dunnett's at {100 * level:g} %, and by noncentral F "
        f"with the interaction of assessor and prototype as error; 'seen' is found with a chance of {100 * power:g} %. "
        f"A swap effect is the mean of {carrying} prototypes with it minus that of {prototypes - carrying} without."
    )


def _notes(scatter: Scatter, replicates: Sequence[int]) -> tuple[str, ...]:
    notes = [
        f"Scatter: {scatter.source}.",
        "The numbers hold for the mean over assessors of one batch of each prototype. They say nothing about another "
        "batch, and nothing about liking.",
        "It is assumed that everybody tries everything in every session, or that sessions differ little. With "
        "prototypes split over sessions, or gaps, take the precision shown with the serving plan into account.",
        "A swap effect assumes that it is the same in every pair: the interactions of swaps are then not looked at.",
    ]
    if scatter.residual < 2 * scatter.assessor_prototype and max(replicates) > 1:
        notes.append(
            "Assessors differ more in how they see the prototypes than their scores scatter: more replicates help "
            "little, more assessors do."
        )
    return tuple(notes)

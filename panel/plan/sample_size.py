"""How many people does it take, assessors with their replicates or consumers, and what can these people see?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gammaincinv, stdtrit

from panel.errors import ModelError
from panel.stats.answers.binomial import chance_correct, enough_answers, power_above, power_below, power_parity
from panel.stats.answers.discrimination import guessing
from panel.stats.arrays import Array
from panel.stats.assessors.departures import moderated_variances
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, many_to_one, tukey_critical
from panel.stats.comparing.power import detection_power, f_power, sample_noncentrality, smallest_difference
from panel.study.study import Study
from panel.words import counted, level_digits, typed_share

# How much do scores scatter: planning values until there is a study of one's own, then one's own.


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much scores scatter, as variances in squared scale units, and where that is known from.

    Parameters
    ----------
    assessor_prototype, residual
        How differently assessors see the prototypes; what is left over, from score to score.
    df, replicates
        Degrees of freedom of the two mean squares behind them, infinite where they are taken as known, and how often
        everybody scored a prototype there.
    of, independent
        The attributes whose median it is, and how many independent ones they amount to.
    """

    assessor_prototype: float
    residual: float
    source: str
    attribute: str = ""
    df: tuple[float, float] = (np.inf, np.inf)
    replicates: float = 1.0
    of: tuple[Scatter, ...] = ()
    independent: float = 1.0


_NOT_REPLICATED = "not replicated"

_PLANNED_SD = (0.05, 0.08)
"""Standard deviations to plan with, as parts of the scale: assessors by prototypes, and score to score.

Common practice, no source.
"""


def planning_scatter(length: float) -> Scatter:
    """Return the scatter to plan with on a scale of this length, until there is a study of one's own.

    Raises
    ------
    ModelError
        If the scale has no length.
    """
    if not (length > 0 and np.isfinite(length)):
        raise ModelError("The scale must end above where it begins. Correct its lowest and highest score.")
    between, residual = (part * length for part in _PLANNED_SD)
    source = (
        f"planning values for a scale {length:g} long (standard deviations {between:.3g} and {residual:.3g}, 5 and 8 % "
        "of it; common practice, no source): replace them by your own after the first study"
    )
    return Scatter(between**2, residual**2, source)


PLANNING_SCATTER = planning_scatter(100.0)
"""On a scale of 0 to 100, and where everything is in per cent of a scale."""


def own_scatter(
    variances: pd.DataFrame, units: Mapping[str, float] | None = None, scores: pd.DataFrame | None = None
) -> list[Scatter]:
    """Return the scatter of each attribute from a table `attribute assessor_prototype residual` (variances).

    Such a table comes with the differences between prototypes of an earlier study. Without replicates the two cannot
    be told apart; then all of it is taken as between assessors, so that replicates are not credited with anything.
    Attributes without a residual are left out.

    Parameters
    ----------
    units
        Attribute to how many units of the plan are one unit of its scale (`planning_scale`); 1 if not given.
    scores
        The scores the variances were estimated from, `attribute assessor prototype session`: they say how well the
        variances are known. Taken as known exactly if not given.
    """
    known = {} if scores is None else {str(name): _df(rows) for name, rows in scores.groupby("attribute")}
    found = []
    for row in variances.to_dict("records"):
        residual, between = float(row["residual"]), float(row.get("assessor_prototype", np.nan))
        if np.isnan(residual):
            continue
        name = str(row["attribute"])
        square = (units or {}).get(name, 1.0) ** 2
        residual, between = square * residual, square * between
        df, replicates = known.get(name, ((np.inf, np.inf), 1.0))
        if np.isnan(between):
            source = f"your own panel; {_NOT_REPLICATED}, so all scatter is taken as between assessors"
            found.append(Scatter(residual, 0.0, source, name, (df[0], np.inf)))
        else:
            found.append(Scatter(between, residual, "your own panel", name, df, replicates))
    return found


def _df(rows: pd.DataFrame) -> tuple[tuple[float, float], float]:
    """Return the degrees of freedom of assessor x prototype and of what is left, and how often each was scored."""
    people, prototypes, sessions = (rows[name].nunique() for name in ("assessor", "prototype", "session"))
    cells = len(rows.drop_duplicates(["assessor", "prototype"]))
    views, rest = cells - people - prototypes + 1, len(rows) - cells - (sessions - 1)
    return (float(max(views, 1)), float(max(rest, 1))), len(rows) / cells


def independent_attributes(scores: pd.DataFrame) -> float:
    """Return how many independent attributes the scatter of a panel amounts to: q^2 over the squared correlations.

    Scores of one serving go together. The correlations are those of the scores less the person's mean of the prototype;
    their squares are freed of what chance adds.
    """
    cell = ["attribute", "assessor", "prototype"]
    rest = scores["score"] - scores.groupby(cell)["score"].transform("mean")
    turn = scores.groupby([*cell, "session"]).cumcount()
    wide = scores.assign(rest=rest, turn=turn).pivot_table(
        index=["assessor", "prototype", "session", "turn"], columns="attribute", values="rest"
    )
    square = wide.corr(min_periods=3).to_numpy() ** 2
    q, df = len(square), max(len(wide) - len(wide.droplevel(["session", "turn"]).index.unique()), 2)
    square = np.clip((np.nan_to_num(square) - 1 / df) / (1 - 1 / df), 0.0, 1.0)
    np.fill_diagonal(square, 1.0)
    return float(q**2 / square.sum())


def typical_scatter(scatters: Sequence[Scatter], independent: float | None = None) -> Scatter:
    """Return the median of the variances over attributes, which amount to so many `independent` ones (all of them).

    Raises
    ------
    ModelError
        If there are none.
    """
    if not scatters:
        raise ModelError("No attribute has a scatter to plan with. Use the planning values.")
    between = float(np.median([scatter.assessor_prototype for scatter in scatters]))
    residual = float(np.median([scatter.residual for scatter in scatters]))
    source = f"median of {counted(len(scatters), 'attribute')} of your own panel"
    if any(_NOT_REPLICATED in scatter.source for scatter in scatters):
        source += f"; {_NOT_REPLICATED}, so all scatter is taken as between assessors"
    return Scatter(between, residual, source, of=tuple(scatters), independent=independent or len(scatters))


_NODES = (60, 24)  # possible values of either mean square
_KEPT = 200  # possible variances that stand for all of them


def _possible_variances(scatter: Scatter, replicates: float) -> Array:
    """Return equally likely values, in ascending order, of the variance of what one assessor adds to a mean.

    That is s_pa^2 + s_e^2 / r. A mean square on d degrees of freedom leaves the true one as d MS / chi-square(d), as
    Bayes' rule has it without knowledge beforehand. Mean squares of several attributes are first drawn towards what
    they have in common, as far as they are alike (`moderated_variances`). One value where the scatter is known exactly.
    """
    own = scatter.of or (scatter,)
    between, rest, k = (
        np.array([getattr(s, n) for s in own]) for n in ("assessor_prototype", "residual", "replicates")
    )
    df = np.array([s.df for s in own]).T
    if np.isinf(df[0]).all():
        return np.array([scatter.assessor_prototype + scatter.residual / replicates])
    views, left = (
        _possible(square, d, count, scatter.independent)
        for square, d, count in zip((rest + k * between, rest), df, _NODES, strict=True)
    )
    k, views, left = k[:, None, None], views[:, :, None], left[:, None, :]
    # s_pa^2 + s_e^2/r can be no smaller than the part of it that r scores in place of k could take away
    found = np.maximum(views / k + left * (1 / replicates - 1 / k), views / np.maximum(k, replicates))
    return np.quantile(found, (np.arange(_KEPT) + 0.5) / _KEPT)


def _possible(square: Array, df: Array, count: int, independent: float) -> Array:
    """Return equally likely true values (q, count) behind mean squares (q,) on `df`."""
    if np.isinf(df).all():
        return np.repeat(square[:, None], count, axis=1)
    variance, df, *_ = moderated_variances(square, df, independent)
    half, share = df[:, None] / 2, (np.arange(count) + 0.5) / count
    return np.asarray(variance[:, None] * half / gammaincinv(half, share))


# How many assessors and replicates does it take to see a difference that matters, and what can these people see?


POWER = 0.8
_ASSESSORS = tuple(range(4, 31))
_REPLICATES = (1, 2, 3, 4)

ALONE, ALL_PAIRS, WITH_BENCHMARK = "one planned difference", "all pairs", "all with the benchmark"
_FURTHEST, _STEPS = 4.0, 121  # of a difference in critical values: no chance is below one there


@dataclass(frozen=True, eq=False, slots=True)
class PanelSizes:
    """What panels of different sizes can see.

    Parameters
    ----------
    sizes
        One row for each number of assessors and replicates: `assessors replicates servings std_error df
        least_significant least_significant_pairs seen seen_pairs seen_benchmark seen_swap power power_pairs
        power_benchmark power_any assurance assurance_pairs assurance_benchmark assurance_low assurance_high`. `seen`
        is the true difference found with the wanted power by one planned comparison, among all pairs (Tukey), among
        those with the benchmark (Dunnett); `seen_swap` a swap effect. `power` is the chance to find the difference that
        matters, `power_any` that of the F test when two prototypes differ by it and the others lie halfway.
        `assurance`: the chances averaged over what is not known of the scatter; that of a planned comparison lies
        between `assurance_low` and `assurance_high` in four of five cases.
    needed
        `comparison replicates assessors servings assured`: the fewest assessors that reach the wanted power if the
        scatter is what it is taken for, and on average over what is not known of it; 0 where none of those tried does.
    curve
        `assessors replicates difference power assurance`: chance to find one planned difference of each size, up to
        twice the one that matters or the whole scale.
    """

    sizes: pd.DataFrame
    needed: pd.DataFrame
    curve: pd.DataFrame
    scatter: Scatter
    difference: float
    prototypes: int
    power: float
    method: str
    notes: tuple[str, ...]


def panel_sizes(
    difference: float,
    prototypes: int,
    scatter: Scatter = PLANNING_SCATTER,
    *,
    assessors: Sequence[int] = _ASSESSORS,
    replicates: Sequence[int] = _REPLICATES,
    power: float = POWER,
    with_swap: int | None = None,
    length: float = np.inf,
) -> PanelSizes:
    """Return what panels of different sizes can see of a difference that matters.

    Parameters
    ----------
    difference
        The smallest difference that matters, in scale units.
    prototypes
        How many are compared.
    scatter
        Of this laboratory's own panel (`own_scatter`), else planning values for the length of the scale
        (`planning_scatter`); by default those for a scale of 0 to 100.
    with_swap
        How many of the prototypes carry a swap, the others not; by default half of them.
    length
        From the lowest to the highest possible score, where it is known: no difference can be larger.

    Raises
    ------
    ModelError
        If the difference or the scatter is not above zero, the difference is larger than the scale, or there are
        too few prototypes or people.
    """
    _ask(difference, prototypes, scatter, assessors, replicates)
    if difference > length:
        raise ModelError(f"A difference of {difference:g} does not fit on a scale that is {length:g} long. Correct it.")
    grid = pd.MultiIndex.from_product([assessors, replicates], names=["assessors", "replicates"]).to_frame(index=False)
    carrying = prototypes // 2 if with_swap is None else with_swap
    if not 0 < carrying < prototypes:
        raise ModelError(f"A swap in {carrying} of {prototypes} prototypes has nothing to be compared with.")
    sizes = _seen(grid, prototypes, carrying, scatter, power, difference)
    return PanelSizes(
        sizes=sizes,
        needed=_needed(sizes, power),
        curve=_curve(grid, scatter, prototypes, min(2 * difference, length)),
        scatter=scatter,
        difference=difference,
        prototypes=prototypes,
        power=power,
        method=_method(power, prototypes, carrying),
        notes=_notes(scatter, replicates),
    )


def what_you_can_see(
    assessors: int, replicates: int, prototypes: int, scatters: Iterable[Scatter] = (PLANNING_SCATTER,)
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
        found = _seen(grid, prototypes, prototypes // 2, scatter, POWER, np.nan)
        rows.append(found.assign(attribute=scatter.attribute))
    columns = ["attribute", "std_error", "df", "least_significant", "least_significant_pairs"]
    columns += ["seen", "seen_pairs", "seen_benchmark", "seen_swap"]
    return pd.concat(rows, ignore_index=True)[columns].sort_values("std_error", kind="stable", ignore_index=True)


def _seen(
    grid: pd.DataFrame, prototypes: int, carrying: int, scatter: Scatter, power: float, difference: float
) -> pd.DataFrame:
    """Return the rows of `PanelSizes.sizes`."""
    a, r = grid["assessors"].to_numpy(dtype=float), grid["replicates"].to_numpy(dtype=float)
    of_mean = scatter.assessor_prototype / a + scatter.residual / (a * r)
    std_error, df = np.sqrt(2 * of_mean), (a - 1) * (prototypes - 1)
    swap_error = np.sqrt((1 / carrying + 1 / (prototypes - carrying)) * of_mean)
    alone: Array = np.asarray(stdtrit(df, (1 + LEVEL) / 2), dtype=np.float64)
    pairs = tukey_critical(prototypes, df, LEVEL)
    equal, _ = many_to_one((np.eye(prototypes - 1) + 1) / 2)
    benchmark = equal.isf(ALPHA, df)
    critical = {"": alone, "_pairs": pairs, "_benchmark": benchmark}
    assured = {name: _assured(grid, np.full(len(grid), difference), scatter, df, c) for name, c in critical.items()}
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
        power_any=f_power(prototypes - 1, df, noncentrality, ALPHA),
        **{f"assurance{name}": mean for name, (mean, *_) in assured.items()},
        assurance_low=assured[""][1],
        assurance_high=assured[""][2],
    )


def _assured(grid: pd.DataFrame, difference: Array, scatter: Scatter, df: Array, critical: Array) -> Array:
    """Return the chances to find the differences, averaged over the possible variances, and their 10 and 90 % points.

    The chance depends on the difference over its standard error, the critical value and the degrees of freedom alone:
    it is worked out at steps of the first and read off between them.
    """
    a, r = grid["assessors"].to_numpy(dtype=float), grid["replicates"].to_numpy(dtype=float)
    variances = {repeated: _possible_variances(scatter, repeated) for repeated in np.unique(r)}
    if len(next(iter(variances.values()))) == 1:
        of_mean = np.array([variances[repeated][0] for repeated in r]) / a
        return np.tile(detection_power(difference, np.sqrt(2 * of_mean), df, critical), (3, 1))
    found = np.full((3, len(grid)), np.nan)
    for people in np.unique(a):
        first = np.flatnonzero(a == people)[0]
        steps = critical[first] * np.linspace(0, _FURTHEST, _STEPS)
        chance = detection_power(steps, 1.0, df[first], critical[first])
        for repeated, possible in variances.items():
            places = np.flatnonzero((a == people) & (r == repeated) & np.isfinite(difference))
            each = np.interp(difference[places, None] / np.sqrt(2 * possible / people), steps, chance)
            found[:, places] = each.mean(axis=1), *np.quantile(each, (0.1, 0.9), axis=1, method="hazen")
    return found


def _needed(sizes: pd.DataFrame, power: float) -> pd.DataFrame:
    rows = []
    for comparison, name in zip((ALONE, ALL_PAIRS, WITH_BENCHMARK), ("", "_pairs", "_benchmark"), strict=True):
        for replicates, part in sizes.groupby("replicates"):
            fewest = _fewest(part, f"power{name}", power)
            servings = int(part.loc[part["assessors"] == fewest, "servings"].sum())
            rows.append((comparison, replicates, fewest, servings, _fewest(part, f"assurance{name}", power)))
    return pd.DataFrame(rows, columns=["comparison", "replicates", "assessors", "servings", "assured"])


def _fewest(sizes: pd.DataFrame, column: str, power: float) -> int:
    enough = sizes.loc[sizes[column] >= power, "assessors"]
    return int(enough.min()) if len(enough) else 0


def _curve(grid: pd.DataFrame, scatter: Scatter, prototypes: int, largest: float) -> pd.DataFrame:
    """Return the chance to find one planned difference, from none to the largest that is looked at."""
    steps = np.linspace(0, largest, 41)
    rows = grid.loc[grid.index.repeat(len(steps))].reset_index(drop=True)
    rows["difference"] = np.tile(steps, len(grid))
    a, r = rows["assessors"].to_numpy(dtype=float), rows["replicates"].to_numpy(dtype=float)
    std_error = np.sqrt(2 * (scatter.assessor_prototype / a + scatter.residual / (a * r)))
    df = (a - 1) * (prototypes - 1)
    critical: Array = np.asarray(stdtrit(df, (1 + LEVEL) / 2), dtype=np.float64)
    sizes = rows["difference"].to_numpy(dtype=float)
    return rows.assign(
        power=detection_power(sizes, std_error, df, critical), assurance=_assured(rows, sizes, scatter, df, critical)[0]
    )


def _ask(
    difference: float, prototypes: int, scatter: Scatter, assessors: Sequence[int], replicates: Sequence[int]
) -> None:
    if not difference > 0:
        raise ModelError("The smallest difference that matters must be above zero, in scale units, such as 8 of 100.")
    if scatter.assessor_prototype < 0 or scatter.residual < 0 or scatter.assessor_prototype + scatter.residual <= 0:
        raise ModelError("Variances cannot be negative, and scores that do not scatter need no planning.")
    if prototypes < 2 or min(assessors, default=0) < 2 or min(replicates, default=0) < 1:
        raise ModelError("Planning needs at least two prototypes, two assessors and one replicate.")


def _method(power: float, prototypes: int, carrying: int) -> str:
    return (
        f"Standard error of a difference: sqrt(2 (s_pa^2/a + s_e^2/(a r))), a assessors who each try {prototypes} "
        f"prototypes r times, degrees of freedom (a - 1)({prototypes} - 1). Chances by the noncentral t distribution "
        f"against the critical value of the t test, Tukey's and Dunnett's at {level_digits(LEVEL)}, and by noncentral "
        f"F with the interaction of assessor and prototype as error; 'seen' is found with a chance of "
        f"{typed_share(power)}. The assured chance is averaged over the variances that the mean squares of the own "
        "study leave possible (scaled inverse chi-square), drawn towards what the attributes have in common (Smyth "
        f"2004). A swap effect is the mean of {carrying} prototypes with it minus that of {prototypes - carrying} "
        "without."
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
    if _NOT_REPLICATED in scatter.source:
        notes.append("What repeats would add cannot be told from one repeat.")
    elif scatter.residual < 2 * scatter.assessor_prototype and max(replicates) > 1:
        notes.append(
            "Assessors differ more in how they see the prototypes than their scores scatter: more replicates help "
            "little, more assessors do."
        )
    return tuple(notes)


# In which units is a panel planned? In those of the scale that all attributes share, else in per cent of each.


_USUAL_DIFFERENCE = 0.08
"""Smallest difference that matters, as a part of the scale, where nobody has stated one; common practice, no source."""

_DIGITS = 9  # of a length: 10.3 - 0.3 is as long as 10 - 0
_ALL = 100.0  # per cent: the length of every scale once each is divided by its own


@dataclass(frozen=True, slots=True)
class PlanningScale:
    """The units of a plan.

    Parameters
    ----------
    length
        From the lowest to the highest possible score, in the units of the plan; 100 where they are per cent.
    units
        Attribute to how many units of the plan are one unit of its own scale: 1 where all attributes share a scale.
    shared
        True if all attributes are on scales of the same length, so that the plan is in their units.
    """

    length: float
    units: Mapping[str, float]
    shared: bool

    @property
    def usual_difference(self) -> float:
        """The usual smallest difference that matters, in the units of the plan."""
        return _USUAL_DIFFERENCE * self.length


def planning_scale(study: Study, ends: tuple[float, float] | None = None) -> PlanningScale | None:
    """Return the units in which a panel for the attributes of a study is planned; None if they are not known.

    Scales of one length are planned in their own units. Where lengths differ, a point of one attribute is not a point
    of another: everything is then planned in per cent of the scale of each attribute.

    Parameters
    ----------
    ends
        Lowest and highest possible score where the study says nothing; never in place of what it says.

    Raises
    ------
    ModelError
        If a scale ends where it begins, or before.
    """
    names = study.attributes
    scales = {name: study.scale(name) or ends for name in names} if names else {"": study.scale("") or ends}
    known = {name: scale for name, scale in scales.items() if scale is not None}
    if len(known) < len(scales):
        return None
    lengths = {name: round(high - low, _DIGITS) for name, (low, high) in known.items()}
    for name, length in lengths.items():
        if not length > 0:
            of = f" of {name}" if name else ""
            raise ModelError(f"The scale{of} must end above where it begins. Correct its lowest and highest score.")
    if len(set(lengths.values())) == 1:
        return PlanningScale(next(iter(lengths.values())), dict.fromkeys(lengths, 1.0), True)
    return PlanningScale(_ALL, {name: _ALL / length for name, length in lengths.items()}, False)


# How many consumers does it take to show that enough agree, or which they prefer? Counts are exact, so the chance of
# success climbs in teeth: given is the number from which on it is never missed again. Invite some more: not everybody
# comes back. Tests are exact binomial ones, one-sided at 5 % unless another level is given.


_MAJORITY = 0.5


def _ask_between(what: str, low: float, value: float, high: float) -> None:
    """Raise ModelError if a share does not lie between two others."""
    if not low < value < high:
        raise ModelError(f"{what} must lie between {100 * low:g} and {100 * high:g} %, and it is {100 * value:g} %.")


def share_numbers(share: float, bar: float = _MAJORITY) -> int:
    """Return how many people show that more than a share `bar` agree, or prefer the sample, if `share` of all do.

    Of a preference, both samples tried by each: people without one are not among these; keep and report their answer.
    """
    _ask_between("The true share", bar, share, 1.0)
    return enough_answers(lambda n: power_above(n, bar, share, ALPHA), POWER)


def parity_numbers(margin: float = 0.05, *, one_sided: bool = False) -> int:
    """Return how many people show that preference lies within 50 % plus or minus a margin, if it is 50 %.

    `one_sided`: that more than 50 % minus the margin prefer the sample, which is then unsurpassed.
    """
    _ask_between("The margin", 0.0, margin, 0.5)
    low, high = _MAJORITY - margin, _MAJORITY + margin
    if one_sided:
        return enough_answers(lambda n: power_above(n, low, _MAJORITY, ALPHA), POWER)
    return enough_answers(lambda n: power_parity(n, low, high, _MAJORITY, ALPHA), POWER)


# How many testers who must choose does it take to tell two samples apart, or to show that few people can?


def told_apart(method: str, share: float, *, alpha: float = ALPHA, power: float = POWER) -> int:
    """Return how many testers show that two samples can be told apart, if `share` of people can (others guess).

    Raises
    ------
    ModelError
        If the method is not known, or the share is not between 0 and 1.
    """
    guess = guessing(method)
    _ask_between("The share of people who can tell", 0.0, share, 1.0)
    return enough_answers(lambda n: power_above(n, guess, chance_correct(share, guess), alpha), power)


def similar(method: str, share: float, *, beta: float = ALPHA, power: float = POWER, two_sided: bool = False) -> int:
    """Return how many testers show that fewer than `share` of people can tell two samples apart, if nobody can.

    `two_sided`: neither of the two may be chosen too often, where none was expected to be.
    """
    guess = guessing(method)
    _ask_between("The share of people who may tell", 0.0, share, 1.0)
    limit = chance_correct(share, guess)
    if two_sided:
        return enough_answers(lambda n: power_parity(n, 1 - limit, limit, guess, beta), power)
    return enough_answers(lambda n: power_below(n, limit, guess, beta), power)
